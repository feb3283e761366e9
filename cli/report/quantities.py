"""The quantities of a stroke as people read them: label, field unit, digits, meaning."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import NamedTuple

from pennyfall.kinematics.values import INTERVAL_SDS, STANDARD_GRAVITY_MPS2, Estimate


class Unit(NamedTuple):
    """A field unit."""

    factor: float
    """How many there are in one SI unit."""
    decimals: int
    """Digits after the point where an uncertainty does not decide them."""


UNITS = {
    "s": Unit(1.0, 3),
    "ms": Unit(1e3, 0),
    "cm": Unit(1e2, 1),
    "cm/s": Unit(1e2, 0),
    "m/s²": Unit(1.0, 1),
    "g": Unit(1 / STANDARD_GRAVITY_MPS2, 2),
    "%": Unit(1e2, 0),
    "deg": Unit(180 / math.pi, 1),
    ": 1": Unit(1.0, 2),
    "-": Unit(1.0, 2),
}
"""By what is printed."""
OF_NUMBERS = (": 1", "-")
"""Units of plain numbers, which stand alone in a sentence."""
MOST_DECIMALS = 4
"""Chosen by us: no field unit here is worth more."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Quantity:
    """One quantity of a stroke, with its presentation."""

    name: str
    """Field of `StrokeMeasures` or `LooseObjectBand`."""
    label: str
    """What a coach calls it."""
    unit: str
    """Field unit, as printed."""
    meaning: str
    """What it is, to be read on after its label."""
    short: str = ""
    """Its label under the title of its group; empty where that is the label itself."""
    place_of: str = ""
    """Name of the quantity whose place in the forward swing this is; empty for any other."""
    least: float = -math.inf
    most: float = math.inf
    """Ends of its range, SI: what an interval of its value does not pass."""

    @property
    def factor(self) -> float:
        """Field units in one SI unit."""
        return UNITS[self.unit].factor

    @property
    def widest_change(self) -> float:
        """Largest difference of two values, SI: its range; for a place, the forward swing's whole length."""
        return 1.0 if self.place_of else self.most - self.least

    @property
    def in_group(self) -> str:
        """Label under the title of its group."""
        return self.short or self.label

    @property
    def heading(self) -> str:
        """Label and unit, for the head of a row or of a drawing."""
        words = f"{self.label[0].upper()}{self.label[1:]}"
        if self.place_of:
            return f"{words}, {self.unit} of the forward swing"
        return words if self.unit in OF_NUMBERS else f"{words}, {self.unit}"

    def text(self, estimate: Estimate) -> str:
        """Return 'value ± half-width' of the 95 % interval in the field unit, or a dash when not measured."""
        return estimate_text(estimate, self.factor)

    def pair(self, estimate: Estimate) -> tuple[str, str]:
        """Return the value and the half-width of its 95 % interval as text in the field unit."""
        return rounded_pair(self.factor * estimate.value, INTERVAL_SDS * self.factor * estimate.sd)


@dataclass(frozen=True, kw_only=True, slots=True)
class Term:
    """What a table shows beside the quantities."""

    label: str
    meaning: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """Quantities that are read together."""

    title: str
    quantities: tuple[Quantity, ...]
    terms: tuple[Term, ...]


def _groups() -> tuple[Group, ...]:
    text = resources.files("pennyfall.cli.report").joinpath("quantities.toml").read_text(encoding="utf-8")
    return tuple(
        Group(
            title=each["title"],
            quantities=tuple(Quantity(**one) for one in each["quantity"]),
            terms=tuple(Term(**one) for one in each.get("term", [])),
        )
        for each in tomllib.loads(text)["group"]
    )


GROUPS = _groups()
"""Every estimate of a stroke, in reading order; the loose coin's last."""
STROKE_GROUPS, COIN_GROUP = GROUPS[:-1], GROUPS[-1]


def quantity(name: str) -> Quantity:
    """Return the first quantity of a name in the measurement file."""
    return next(each for group in GROUPS for each in group.quantities if each.name == name)


def estimate_text(estimate: Estimate, factor: float = 1.0) -> str:
    """Return 'value ± half-width' of the 95 % interval, `factor` units shown in one SI unit, or a dash."""
    number, reach = rounded_pair(factor * estimate.value, INTERVAL_SDS * factor * estimate.sd)
    return f"{number} ± {reach}" if reach else number


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
