"""The columns of a season's tables, a row a stroke, a frame or a sample: name, kind, unit, meaning."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Literal, get_type_hints

from pennyfall.cli.report.quantities import GROUPS
from pennyfall.kinematics.values import Estimate, LooseObjectBand, Measurement, StrokeMeasures

Kind = Literal["text", "date", "whole", "yes or no", "number"]

SI_UNITS = {
    "mps2": "m/s²",
    "mps": "m/s",
    "rad": "rad",
    "hz": "Hz",
    "px": "px",
    "ft": "ft",
    "m": "m",
    "s": "s",
}
"""By the last part of a name, as the code has it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Column:
    """One column of a table."""

    name: str
    kind: Kind
    meaning: str

    @property
    def unit(self) -> str:
        """Its unit, as its name says; empty for what has none."""
        return SI_UNITS.get(self.name.removesuffix("_sd").rpartition("_")[2], "") if self.is_number else ""

    @property
    def is_number(self) -> bool:
        """Whether it holds numbers with a point."""
        return self.kind == "number"


def _text(name: str, meaning: str) -> Column:
    return Column(name=name, kind="text", meaning=meaning)


def _number(name: str, meaning: str) -> Column:
    return Column(name=name, kind="number", meaning=meaning)


def _estimate(name: str, meaning: str) -> tuple[Column, Column]:
    return _number(name, meaning), _number(f"{name}_sd", f"standard deviation of {name}")


def _band(name: str, meaning: str) -> tuple[Column, Column]:
    stem, _, unit = name.rpartition("_")
    return (
        _number(f"{stem}_low_{unit}", f"{meaning}; lower end of its band"),
        _number(f"{stem}_high_{unit}", f"{meaning}; upper end of its band"),
    )


CLIP_COLUMNS = (
    _text("clip", "the clip's file name, without a time of day that stands in it"),
    _text("clip_sha256", "SHA-256 of the clip's content, which tells it for certain"),
    _text("student", "the student's code, as the lesson file has it; none where the clip lies in no lesson"),
    Column(name="date", kind="date", meaning="day of the lesson, as the lesson file has it"),
    _text("hand", "right or left"),
    _number("green_speed_ft", "Stimpmeter reading"),
    _text("condition", "version of the drill: by the lesson file, in no lesson by the clip's name"),
    _number("putt_ft", "length of the putt, from the same place"),
)
"""Known of a clip before it is measured."""

ENDING_COLUMNS = (
    _text("refused", "why the clip was not measured; such a clip has one row, without a stroke"),
    _text("remedy", "what to do about it"),
    _text("software_version", "version of pennyfall that measured it"),
)
"""How measuring a clip ended."""

MEASURING_COLUMNS = (
    _text(
        "cautions", "codes of the clip's cautions, with blanks between; what each means is in its register"
    ),
    _number("frame_rate_hz", "frames in a second of true time"),
    _number("slow_motion_factor", "how much slower than life the file plays"),
    _text("time_source", "where the times come from: timestamps, stated or metadata"),
    Column(name="frames_dropped", kind="whole", meaning="frames that the phone left out"),
    _text("head_followed_by", "what was followed on the head: tag, dot, patch or bare (the shaft)"),
    _number("frames_seen_share", "share of the frames in which it was seen"),
    _number("head_noise_sd_m", "scatter of the head's position in one frame, standard deviation"),
    _text("scale_source", "what the scale rests on: sheet, head-tag, ball or stated"),
    _number("scale_rel_sd", "relative standard deviation of the scale, shared by all lengths of the clip"),
)
"""How well a clip could be measured."""

_OWN_MEANINGS = {"peak_acceleration_s": "when the acceleration peaks, clip time"}
"""Of an estimate that is not shown, so that the table of quantities does not have it."""


def _quantities() -> tuple[Column, ...]:
    meanings = _OWN_MEANINGS | {
        each.name: f"{each.label}: {each.meaning}"
        for group in reversed(GROUPS)
        for each in group.quantities[::-1]
    }
    return tuple(column for name in ESTIMATES for column in _estimate(name, meanings[name]))


ESTIMATES = tuple(name for name, kind in get_type_hints(StrokeMeasures).items() if kind is Estimate)
"""Every estimate of a stroke, by its name in the measurement file."""

STROKE_COLUMNS = (
    Column(name="stroke", kind="whole", meaning="number of the stroke in its clip, from 1"),
    _text("direction", "whether it runs with the arrow on the sheet or against it"),
    Column(name="practice", kind="yes or no", meaning="whether it was a stroke without a ball"),
    _text("impact_source", "what the impact was seen by: ball, head or sound"),
    *_quantities(),
)

COIN_COLUMNS = (
    _text("coin_seen", "what the picture shows of a coin on the head: left, stayed, no coin or not told"),
    _text("coin_outcome", "what is predicted over the range of friction: leaves, stays on or either"),
    *_estimate(
        "peak_friction_demand", "largest share of its weight that the coin must be held with sideways"
    ),
    _number("coin_friction_low", "lowest static friction considered"),
    _number("coin_friction_high", "highest static friction considered"),
    *_band("coin_slip_s", "when the coin starts to slide, predicted, clip time"),
    *_band("coin_leave_s", "when it passes the edge, predicted, clip time"),
    *_band("coin_leave_x_m", "where it passes the edge, predicted, along the target line from the ball"),
    *_band("coin_landing_x_m", "where it lands, predicted, along the target line from the ball"),
    *_estimate("coin_place_on_head_m", "the coin's middle from the tracked point, seen, toward the face"),
    *_estimate("coin_observed_leave_s", "when it was seen to pass the edge, clip time"),
    *_estimate(
        "coin_observed_landing_x_m", "where it lay afterwards, seen, along the target line from the ball"
    ),
)
"""The loose coin's; empty where nothing was asked of one."""

STROKES = (*CLIP_COLUMNS, *STROKE_COLUMNS, *COIN_COLUMNS, *MEASURING_COLUMNS, *ENDING_COLUMNS)
"""The columns of a season's table, in order: one row a stroke, and one for each clip that was refused."""

_ARROW = {"text": "string", "date": "date32", "whole": "int32", "yes or no": "bool_", "number": "float64"}


def arrow_schema() -> Any:  # noqa: ANN401 - a pyarrow.Schema; pyarrow is an extra
    """Return the schema of a season's table; each field keeps unit and meaning beside it."""
    import pyarrow as pa

    return pa.schema(
        [
            pa.field(
                each.name,
                getattr(pa, _ARROW[each.kind])(),
                metadata={"unit": each.unit, "meaning": each.meaning},
            )
            for each in STROKES
        ]
    )


def stroke_rows(measurement: Measurement) -> list[dict[str, Any]]:
    """Return what a season's table holds of a measured clip, a row a stroke, by column, in SI units."""
    clip, tracking, scale = measurement.clip, measurement.tracking, measurement.calibration
    shared = {
        "cautions": " ".join(dict.fromkeys(each.code for each in measurement.warnings)),
        "frame_rate_hz": clip.frame_rate_hz,
        "slow_motion_factor": clip.slow_motion_factor,
        "time_source": clip.time_source,
        "frames_dropped": clip.frames_dropped,
        "head_followed_by": tracking.method,
        "frames_seen_share": tracking.frames_seen_share,
        "head_noise_sd_m": tracking.noise_sd_m,
        "scale_source": scale.source,
        "scale_rel_sd": scale.scale_rel_sd,
    }
    return [_row(each) | _coin_row(each.loose_object) | shared for each in measurement.strokes]


def _row(stroke: StrokeMeasures) -> dict[str, Any]:
    row: dict[str, Any] = {
        "stroke": stroke.number,
        "direction": stroke.direction,
        "practice": stroke.practice,
        "impact_source": stroke.impact_source,
    }
    return row | _pairs({name: getattr(stroke, name) for name in ESTIMATES})


def _coin_row(coin: LooseObjectBand | None) -> dict[str, Any]:
    if coin is None:
        return {}
    row: dict[str, Any] = {"coin_seen": coin.seen, "coin_outcome": coin.outcome}
    row["coin_friction_low"], row["coin_friction_high"] = coin.friction
    bands = {each.name: getattr(coin, each.name) for each in fields(coin)}
    for name in ("slip_s", "leave_s", "leave_x_m", "landing_x_m"):
        stem, _, unit = f"coin_{name}".rpartition("_")
        if bands[name] is not None:
            row[f"{stem}_low_{unit}"], row[f"{stem}_high_{unit}"] = bands[name]
    return row | _pairs(
        {
            "peak_friction_demand": coin.peak_friction_demand,
            "coin_place_on_head_m": coin.place_on_head_m,
            "coin_observed_leave_s": coin.observed_leave_s,
            "coin_observed_landing_x_m": coin.observed_landing_x_m,
        }
    )


def _pairs(estimates: Mapping[str, Estimate]) -> dict[str, float]:
    values = {name: each.value for name, each in estimates.items()}
    return values | {f"{name}_sd": each.sd for name, each in estimates.items()}
