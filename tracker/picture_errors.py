"""What the smoother cannot see: errors of a picture that follow the motion itself."""

from __future__ import annotations

from dataclasses import fields, replace

from pennyfall.kinematics.values import Estimate, StrokeMeasures

PICTURE_FACTOR = 1.4
"""Chosen by us: a registered tag errs by a few hundredths of a pixel that depend on where in the pixel it
lies, on its blur and on the lens; they follow the motion smoothly, so no residual shows them. On eleven
rendered strokes of known motion the errors were about 1.3 times the smoother's standard deviations."""

PEAK_SPEED_PLACE_SD_S = 0.008
"""Chosen by us: near its peak the speed is flat, so its place is softer than noise alone makes it."""


def with_picture_errors(stroke: StrokeMeasures) -> StrokeMeasures:
    """Return the stroke with every standard deviation widened by what the picture adds."""
    widened = {
        each.name: Estimate(value.value, PICTURE_FACTOR * value.sd)
        for each in fields(stroke)
        if isinstance(value := getattr(stroke, each.name), Estimate)
    }
    place = widened["peak_speed_after_impact_s"]
    softer = (place.sd**2 + PEAK_SPEED_PLACE_SD_S**2) ** 0.5
    widened["peak_speed_after_impact_s"] = Estimate(place.value, softer)
    profile = replace(stroke.profile, a_sd_mps2=PICTURE_FACTOR * stroke.profile.a_sd_mps2)
    return replace(stroke, profile=profile, **widened)  # type: ignore[arg-type]
