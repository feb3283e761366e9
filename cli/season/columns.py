"""The columns of a season's tables, a row a stroke, a frame or a sample, and what fills them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any, get_type_hints

from pennyfall.cli.report.data_columns import SD, coin_columns, columns_of, quantity_columns, stroke_columns
from pennyfall.kinematics.values import Estimate, LooseObjectBand, Measurement, StrokeMeasures

ESTIMATES = tuple(name for name, kind in get_type_hints(StrokeMeasures).items() if kind is Estimate)
"""Every estimate of a stroke, by its name in the measurement file."""

STROKES = (
    *columns_of("clip"),
    *columns_of("stroke"),
    *quantity_columns(),
    *coin_columns(),
    *columns_of("measuring"),
    *columns_of("ending"),
)
"""The columns of a season's table, in order: one row a stroke, and one for each clip that was refused."""

TRACKS = (*columns_of("track"), stroke_columns()["clip_sha256"])
"""The columns of the tracks: one row a frame."""
CURVES = (stroke_columns()["stroke"], *columns_of("curve"), stroke_columns()["clip_sha256"])
"""The columns of the strokes' curves: one row a sample."""


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
    return values | {f"{name}{SD}": each.sd for name, each in estimates.items()}
