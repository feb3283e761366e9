"""The measurement as a table for the terminal: strokes side by side, facts about the clip, warnings."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

import numpy as np

from pennyfall.cli.report.quantities import COIN_GROUP, STROKE_GROUPS, estimate_text, quantity, rounded_pair
from pennyfall.cli.report.tables.brief import RESTS_ON
from pennyfall.kinematics.values import (
    INTERVAL_SDS,
    CalibrationFacts,
    ClipFacts,
    CoinOutcome,
    Estimate,
    Measurement,
    StrokeMeasures,
)

WIDTH = 100
LABEL_CELLS, UNIT_CELLS, VALUE_CELLS = 37, 6, 19
OUTCOMES: dict[CoinOutcome, str] = {
    "leaves": "would leave",
    "stays on": "would stay on",
    "either": "may leave or stay",
}
"""Over the friction range, as wide as a column."""
LENS_FROM: dict[str, str] = {
    "lens-file": "from its file",
    "sheet": "from the sheet",
    "assumed": "assumed",
}
FOLLOWED: dict[str, str] = {"tag": "tag", "dot": "dot", "patch": "patch", "bare": "shaft"}
STROKES_ABREAST = (WIDTH - LABEL_CELLS - UNIT_CELLS) // VALUE_CELLS
MOST_FOR_NO_SPREAD = 2
"""Chosen by us: the scatter of two strokes says nothing; from three on it is shown."""


def measurement_table(measurement: Measurement) -> str:
    """Return the measurement in field units with 95 % half-widths, at most 100 columns wide."""
    parts = [*_about(measurement), ""]
    strokes, arrow = measurement.strokes, measurement.calibration.source == "sheet"
    for first in range(0, len(strokes), STROKES_ABREAST):
        parts += _block(strokes[first : first + STROKES_ABREAST], arrow=arrow)
    if len(strokes) > MOST_FOR_NO_SPREAD:
        parts += _scatter(strokes)
    parts.append("Value ± half-width of the 95 % interval; – where it could not be measured.")
    for caution in measurement.warnings:
        parts += textwrap.wrap(f"Warning: {caution.message}", WIDTH, subsequent_indent="  ")
    return "\n".join(parts) + "\n"


def _about(measurement: Measurement) -> list[str]:
    tracking = measurement.tracking
    return [
        _clip_line(measurement.clip),
        *_time_lines(measurement),
        *_calibration_lines(measurement.calibration),
        f"Tracking: by the {FOLLOWED[tracking.method]}, head seen in "
        f"{100 * tracking.frames_seen_share:.1f} % of the frames, noise {1e3 * tracking.noise_sd_m:.2f} mm.",
    ]


def _time_lines(measurement: Measurement) -> list[str]:
    said = [f"Time: {measurement.clip.time_base}"] if measurement.clip.time_base else []
    if measurement.rolling_shutter is not None:
        shutter = measurement.rolling_shutter
        ask = " The option --readout-ms states it." if math.isnan(shutter.readout_s) else ""
        said.append(f"Rows: {shutter.words}{ask}")
    if measurement.sound is not None:
        said.append(f"Sound: {measurement.sound.words}")
    return [line for each in said for line in textwrap.wrap(each, WIDTH, subsequent_indent="  ")]


def _clip_line(clip: ClipFacts) -> str:
    line = (
        f"Clip: {clip.file}, {clip.width} x {clip.height}, {clip.frames} frames in {clip.duration_s:.2f} s, "
        f"{clip.frame_rate_hz:.4g} frames/s"
    )
    if clip.slow_motion_factor != 1.0:
        line += f", slow motion by {clip.slow_motion_factor:g} ({clip.time_source})"
    if clip.frames_dropped:
        line += f", {clip.frames_dropped} dropped"
    return line + "."


def _calibration_lines(facts: CalibrationFacts) -> list[str]:
    rms = facts.reprojection_rms_px
    corners = f"corners within {rms:.2f} px, " if np.isfinite(rms) else ""
    height = estimate_text(facts.tag_height_m, 1e3)
    tag = f", tag height {height} mm ({facts.tag_height_source})" if facts.tag_height_m.known else ""
    return textwrap.wrap(
        f"Calibration: from {RESTS_ON[facts.source]}, lens {LENS_FROM[facts.focal_source]} "
        f"({estimate_text(facts.focal_px)} px), {corners}"
        f"scale ± {100 * INTERVAL_SDS * facts.scale_rel_sd:.1f} %"
        f"{tag}{', the camera or the sheet moved' if facts.camera_moved else ''}.",
        WIDTH,
        subsequent_indent="  ",
    )


def _block(strokes: Sequence[StrokeMeasures], *, arrow: bool) -> list[str]:
    names = [f"{'practice ' if stroke.practice else ''}stroke {stroke.number}" for stroke in strokes]
    lines = [_row("", "", names), "-" * (LABEL_CELLS + UNIT_CELLS + VALUE_CELLS * len(strokes))]
    for group in STROKE_GROUPS:
        lines.append(group.title)
        lines += [
            _row(
                f"  {each.in_group}",
                each.unit,
                [each.text(getattr(stroke, each.name)) for stroke in strokes],
            )
            for each in group.quantities
        ]
    if any(stroke.loose_object for stroke in strokes):
        lines += _loose_object(strokes)
    lines.append(_row("Impact found from", "", [stroke.impact_source for stroke in strokes]))
    if arrow:
        lines.append(_row("Direction", "", [stroke.direction for stroke in strokes]))
    return [*lines, ""]


def _loose_object(strokes: Sequence[StrokeMeasures]) -> list[str]:
    coins = [stroke.loose_object for stroke in strokes]
    demand = quantity("peak_friction_demand")
    lines = [
        COIN_GROUP.title,
        _row("  friction", "-", [_band(stroke, "friction", 1.0) for stroke in strokes]),
        _row("  seen in the clip", "", [coin.seen if coin else "–" for coin in coins]),
        _row("  predicted", "", [OUTCOMES[coin.outcome] if coin else "–" for coin in coins]),
        _row(
            f"  {demand.label}",
            demand.unit,
            [demand.text(coin.peak_friction_demand) if coin else "–" for coin in coins],
        ),
    ]
    for name, label in (("slip_s", "slips"), ("leave_s", "leaves"), ("observed_leave_s", "seen to go")):
        bands = [_band(stroke, name, 1e3, zero=stroke.impact_s.value) for stroke in strokes]
        lines.append(_row(f"  {label}, from impact (- before)", "ms", bands))
    for name, label in (
        ("leave_x_m", "leaves"),
        ("landing_x_m", "lands"),
        ("observed_landing_x_m", "seen to land"),
    ):
        lines.append(
            _row(f"  {label}, from the ball", "cm", [_band(stroke, name, 1e2) for stroke in strokes])
        )
    return lines


def _band(stroke: StrokeMeasures, name: str, factor: float, *, zero: float = 0.0) -> str:
    found = getattr(stroke.loose_object, name, None)
    if found is None:
        return "–"
    digits = {1.0: 2, 1e2: 1, 1e3: 0}[factor]
    if isinstance(found, Estimate) and not found.known:
        return "–"
    ends = found if isinstance(found, tuple) else (found.value,)
    return " to ".join(f"{factor * (end - zero):.{digits}f}" for end in ends)


def _scatter(strokes: Sequence[StrokeMeasures]) -> list[str]:
    """Return means and stroke-to-stroke standard deviations, measurement error included."""
    lines = [
        _row(f"All {len(strokes)} strokes", "", ["mean", "scatter (sd)"]),
        "-" * (LABEL_CELLS + UNIT_CELLS + 2 * VALUE_CELLS),
    ]
    for group in STROKE_GROUPS[1:]:  # the events' places in the clip have no mean
        lines.append(group.title)
        for each in group.quantities:
            values = np.array([getattr(stroke, each.name).value for stroke in strokes])
            values = each.factor * values[~np.isnan(values)]
            enough = len(values) > MOST_FOR_NO_SPREAD
            spread = float(np.std(values, ddof=1)) if enough else np.nan
            mean, sd = rounded_pair(float(np.mean(values)) if enough else np.nan, spread)
            lines.append(_row(f"  {each.in_group}", each.unit, [mean, sd or "–"]))
    return [*lines, ""]


def _row(label: str, unit: str, values: Sequence[str]) -> str:
    return f"{label:<{LABEL_CELLS}}{unit:<{UNIT_CELLS}}" + "".join(
        f"{value:>{VALUE_CELLS}}" for value in values
    )
