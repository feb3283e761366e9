"""Measured beside true: what a clip with known truth says about the measurement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from textwrap import fill
from typing import Any

from pennyfall.cli.report.quantities import Quantity, quantity
from pennyfall.cli.report.tables.coin import from_top, place, seen_sentence
from pennyfall.kinematics.values import ClipFacts, Estimate, Measurement, StrokeMeasures

TRUE_NAMES = {
    "takeaway_s": "start_leaves_rest_s",
    "top_s": "top_s",
    "impact_s": "impact_s",
    "finish_s": "head_at_rest_again_s",
    "backswing_s": "backswing_duration_s",
    "forward_swing_s": "forward_duration_s",
    "tempo_ratio": "tempo_ratio_back_over_forward",
    "backswing_length_m": "backswing_length_m",
    "through_length_m": "through_length_m",
    "peak_acceleration_mps2": "peak_forward_accel_m_s2",
    "peak_acceleration_share": "peak_forward_accel_time_frac_of_forward",
    "acceleration_before_impact_mps2": "accel_mean_20ms_before_impact_m_s2",
    "acceleration_at_impact_mps2": "accel_just_before_impact_m_s2",
    "peak_speed_mps": "peak_forward_speed_m_s",
    "peak_speed_after_impact_s": "peak_forward_speed_time_rel_impact_s",
    "impact_speed_mps": "impact_speed_just_before_m_s",
    "speed_lost_share": "speed_lost_share",
    "ball_speed_mps": "ball_launch_speed_m_s",
}
"""Field of `StrokeMeasures` and its name in a truth document."""

WIDEST = 99
"""As wide as the table of what was measured and what is true."""

SAME_STROKE_S = 0.1
"""Chosen by us: a measured impact this near a true one is that stroke; strokes are over a second apart."""

SAME_LENGTH_S = 0.1
"""Chosen by us: a clip and its truth last equally long, but for a few frames lost at the end."""

ROUNDING = 1e-9
"""Truth documents are written to nine decimals; an interval without width must not miss by less."""


@dataclass(frozen=True, slots=True)
class Compared:
    """One quantity of one stroke, measured and true."""

    name: str
    """Field of `StrokeMeasures`."""
    measured: Estimate
    true: tuple[float, float]
    """Lowest and highest true value, SI; they differ only where a plateau leaves the peak's place open."""

    @property
    def inside(self) -> bool:
        """Whether the truth lies in the 95 % interval; a missing measurement does not hold it."""
        low, high = self.measured.interval()
        return low - ROUNDING <= self.true[1] and self.true[0] <= high + ROUNDING


def other_clip(clip: ClipFacts, truth: Mapping[str, Any]) -> str | None:
    """Return in words what shows that a truth document belongs to another clip; None where nothing does."""
    name, stem = truth.get("name"), Path(clip.file).stem
    if name is not None and name != stem:
        return f"it is that of {name}"
    width, height = truth.get("image_size", (clip.width, clip.height))
    if {width, height} != {clip.width, clip.height}:
        return f"its pictures have {width} x {height} px, the clip's {clip.width} x {clip.height}"
    stamps_s = truth["frames"]["container_pts_s"]
    true_s, clip_s = stamps_s[-1] - stamps_s[0], clip.duration_s * clip.slow_motion_factor
    if abs(true_s - clip_s) > SAME_LENGTH_S:
        return f"it lasts {true_s:.2f} s, the clip {clip_s:.2f} s"
    return None


def compare(measurement: Measurement, truth: Mapping[str, Any]) -> dict[int, list[Compared]]:
    """Return measured beside true for every true stroke, by its number in the truth, counted from 1.

    A stroke that was not measured has only missing estimates.

    Parameters
    ----------
    measurement : Measurement
        What was measured.
    truth : mapping
        A truth document; its events are taken on the clip's clock, from the first frame.

    """
    first_frame_s = float(truth["frames"]["container_pts_s"][0])
    found = {}
    for number, true in enumerate(truth["strokes_container_clock"], start=1):
        impact_s = true["impact_s"] - first_frame_s
        stroke = _nearest(measurement.strokes, impact_s)
        found[number] = [
            Compared(
                name,
                getattr(stroke, name) if stroke else Estimate.missing(),
                _true_range(true, name, true_name, first_frame_s),
            )
            for name, true_name in TRUE_NAMES.items()
            if true.get(true_name) is not None
        ]
    return found


def truth_table(clip: str, compared: Mapping[int, Sequence[Compared]]) -> str:
    """Return one block a stroke: measured, true, and whether the interval holds the truth."""
    lines = []
    for number, rows in compared.items():
        lines.append(f"{clip}, stroke {number}".ljust(54) + f"{'measured':>20}{'true':>16}   inside")
        for each in rows:
            shown = quantity(each.name)
            lines.append(
                f"  {shown.label:<46}{shown.unit:<6}{shown.text(each.measured):>20}"
                f"{_true_text(each, shown):>16}   {'yes' if each.inside else 'NO'}"
            )
        held = sum(each.inside for each in rows)
        lines += [f"  {held} of {len(rows)} intervals hold the truth", ""]
    return "\n".join(lines)


def coin_beside_truth(measurement: Measurement, truth: Mapping[str, Any]) -> str:
    """Return what was seen of the coin in the clip beside what it did; empty where the truth knows none."""
    coin = truth.get("coin")
    if coin is None:
        return ""
    seen = [
        f"  stroke {stroke.number}: {seen_sentence(stroke) or 'The coin is not told.'}"
        for stroke in measurement.strokes
    ]
    told = [*seen, f"  True: {_true_coin(coin, truth)}"]
    return "\n".join([*(fill(each, WIDEST, subsequent_indent="    ") for each in told), ""])


def _true_coin(coin: Mapping[str, Any], truth: Mapping[str, Any]) -> str:
    left_s = coin["leave_container_clock_s"]
    if left_s is None:
        return "it stays on the head."
    top_s = max(
        each["top_s"] for each in truth["strokes_container_clock"] if each["start_leaves_rest_s"] < left_s
    )
    return f"it leaves the head {from_top(left_s, top_s)} and comes to lie {place(coin['resting_x_m'])}."


def _nearest(strokes: Sequence[StrokeMeasures], impact_s: float) -> StrokeMeasures | None:
    near = [each for each in strokes if abs(each.impact_s.value - impact_s) < SAME_STROKE_S]
    return min(near, key=lambda each: abs(each.impact_s.value - impact_s), default=None)


def _true_range(
    true: Mapping[str, Any], name: str, true_name: str, first_frame_s: float
) -> tuple[float, float]:
    if name == "peak_acceleration_share" and "peak_forward_accel_plateau_s" in true:
        low_s, high_s = true["peak_forward_accel_plateau_s"]
        top_s, forward_s = true["top_s"], true["forward_duration_s"]
        return (low_s - top_s) / forward_s, (high_s - top_s) / forward_s
    value = float(true[true_name])
    if name in ("takeaway_s", "top_s", "impact_s", "finish_s"):
        value -= first_frame_s
    return value, value


def _true_text(each: Compared, shown: Quantity) -> str:
    decimals = _decimals(shown.pair(each.measured)[0])
    low, high = (f"{shown.factor * value:.{decimals}f}" for value in each.true)
    return low if low == high else f"{low} to {high}"


def _decimals(number: str) -> int:
    """Return how many decimals a printed number has; two where nothing was measured."""
    return len(number.partition(".")[2]) if any(sign.isdigit() for sign in number) else 2
