"""The quantities of a stroke as people read them: label, field unit, digits."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pennyfall.kinematics.values import INTERVAL_SDS, STANDARD_GRAVITY_MPS2, Estimate

MOST_DECIMALS = 4
"""Chosen by us: no field unit here is worth more."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Quantity:
    """One quantity of a stroke, with its presentation."""

    name: str
    """Field of `StrokeMeasures`."""
    label: str
    """What a coach calls it."""
    unit: str
    """Field unit, as printed."""
    factor: float
    """Field units in one SI unit."""

    def text(self, estimate: Estimate) -> str:
        """Return 'value ± half-width' of the 95 % interval in the field unit, or a dash when not measured."""
        number, reach = self.pair(estimate)
        return f"{number} ± {reach}" if reach else number

    def pair(self, estimate: Estimate) -> tuple[str, str]:
        """Return the value and the half-width of its 95 % interval as text in the field unit."""
        return rounded_pair(self.factor * estimate.value, INTERVAL_SDS * self.factor * estimate.sd)


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """Quantities that are read together."""

    title: str
    quantities: tuple[Quantity, ...]
    subject: str = ""
    """What a label lacks when it stands alone, such as 'head speed' before 'peak'."""


def _quantity(name: str, label: str, unit: str, factor: float) -> Quantity:
    return Quantity(name=name, label=label, unit=unit, factor=factor)


GROUPS = (
    Group(
        title="Events in the clip",
        quantities=(
            _quantity("takeaway_s", "takeaway", "s", 1.0),
            _quantity("top_s", "top of the backswing", "s", 1.0),
            _quantity("impact_s", "impact", "s", 1.0),
            _quantity("finish_s", "finish", "s", 1.0),
        ),
    ),
    Group(
        title="Tempo and length",
        quantities=(
            _quantity("backswing_s", "backswing time", "ms", 1e3),
            _quantity("forward_swing_s", "forward-swing time", "ms", 1e3),
            _quantity("tempo_ratio", "tempo ratio", ": 1", 1.0),
            _quantity("backswing_length_m", "backswing length", "cm", 1e2),
            _quantity("through_length_m", "through length", "cm", 1e2),
        ),
    ),
    Group(
        title="Acceleration along the target line (positive: toward the target)",
        subject="acceleration",
        quantities=(
            _quantity("acceleration_at_top_mps2", "at the top", "m/s²", 1.0),
            _quantity("peak_acceleration_mps2", "peak", "m/s²", 1.0),
            _quantity("peak_acceleration_mps2", "peak, share of g", "g", 1.0 / STANDARD_GRAVITY_MPS2),
            _quantity("peak_acceleration_share", "peak, place (0 top, 100 impact)", "%", 1e2),
            _quantity("acceleration_before_impact_mps2", "mean of the last 20 ms", "m/s²", 1.0),
            _quantity("acceleration_at_impact_mps2", "at impact", "m/s²", 1.0),
        ),
    ),
    Group(
        title="Head speed",
        subject="head speed",
        quantities=(
            _quantity("peak_speed_mps", "peak", "cm/s", 1e2),
            _quantity("peak_speed_after_impact_s", "peak, from impact (- before)", "ms", 1e3),
            _quantity("impact_speed_mps", "at impact", "cm/s", 1e2),
            _quantity("speed_lost_share", "lost at impact", "%", 1e2),
        ),
    ),
    Group(
        title="Ball",
        subject="ball",
        quantities=(
            _quantity("ball_speed_mps", "launch speed", "cm/s", 1e2),
            _quantity("ball_to_head_ratio", "ball to head speed", ": 1", 1.0),
        ),
    ),
    Group(
        title="Path and smoothness",
        quantities=(
            _quantity("head_tilt_range_rad", "head tilt, range", "deg", 180.0 / math.pi),
            _quantity("hub_radius_m", "hub above the head", "cm", 1e2),
            _quantity("spectral_arc_length", "spectral arc length (0: smooth)", "-", 1.0),
            _quantity("log_dimensionless_jerk", "log dimensionless jerk (0: smooth)", "-", 1.0),
        ),
    ),
)
"""Every estimate of a stroke, in reading order."""


def quantity(name: str) -> Quantity:
    """Return the first quantity of a field of `StrokeMeasures`."""
    return next(each for group in GROUPS for each in group.quantities if each.name == name)


def full_label(name: str) -> str:
    """Return the label of a field of `StrokeMeasures` as it reads outside its group."""
    group = next(group for group in GROUPS for each in group.quantities if each.name == name)
    return f"{group.subject}, {quantity(name).label}" if group.subject else quantity(name).label


def rounded_pair(value: float, half_width: float) -> tuple[str, str]:
    """Return a value and its half-width as text, with no more digits than the half-width supports.

    The half-width keeps two significant digits when they are 10 to 35, else one (rounding of the Particle
    Data Group, Review of Particle Physics, introduction 5.3; from memory). It is empty where it is unknown;
    the value is a dash where it is missing.
    """
    if math.isnan(value):
        return "–", ""
    if not math.isfinite(half_width) or half_width <= 0:
        return f"{value:.3g}", ""
    leading = float(f"{half_width:.2e}".partition("e")[0])
    rounded = float(f"{half_width:.{1 if leading <= 3.54 else 0}e}")
    digits = 1 if 3.54 < leading < 9.5 else 2
    decimals = min(max(digits - 1 - math.floor(math.log10(rounded)), 0), MOST_DECIMALS)
    return f"{value:.{decimals}f}", f"{half_width:.{decimals}f}"
