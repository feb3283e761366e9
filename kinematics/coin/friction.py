"""The coin and the friction under it: published sizes and coefficients, as ranges."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from pennyfall.kinematics.errors import CannotMeasure

DEFAULT_SURFACE = "coated"
"""Assumed where nothing is said: the widest everyday case, and most heads are anodised or painted."""
DEFAULT_COIN = "us-quarter"
"""Assumed where nothing is said; size matters only for a lip and for finding the coin in a clip."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Friction:
    """Coulomb friction between coin and head.

    Raises
    ------
    CannotMeasure
        When a coefficient is negative, or the kinetic one exceeds the static one.

    """

    static: float
    """Largest tangential over normal force at rest [-]."""
    kinetic: float
    """Tangential over normal force while sliding [-]."""

    def __post_init__(self) -> None:
        if not (self.static >= 0 and self.kinetic >= 0):
            raise CannotMeasure(
                f"Friction cannot be negative (static {self.static:g}, kinetic {self.kinetic:g}).",
                fix="Give the coefficients as positive numbers, for example 0.2 to 0.4 on painted metal.",
            )
        if self.kinetic > self.static:
            raise CannotMeasure(
                f"Kinetic friction {self.kinetic:g} is above static friction {self.static:g}.",
                fix="A sliding coin is held no better than a resting one: give at most the static value.",
            )


@dataclass(frozen=True, kw_only=True, slots=True)
class FrictionRange:
    """A range of static friction, with the kinetic one as a share of it."""

    low: float
    """Lowest static coefficient [-]."""
    high: float
    """Highest static coefficient [-]."""
    kinetic_share: float = 0.85
    """Kinetic over static friction [-]; the published pairs lie between 0.68 and 1."""
    source: str = "stated"
    """Where the range comes from."""

    def __post_init__(self) -> None:
        if self.high < self.low:
            raise CannotMeasure(
                f"The friction range runs backwards ({self.low:g} to {self.high:g}).",
                fix="Give the lower coefficient first.",
            )
        for static in (self.low, self.high):
            self.at(static)

    def at(self, static: float) -> Friction:
        """Return the friction pair at one static coefficient."""
        return Friction(static=static, kinetic=static * self.kinetic_share)

    def spread(self, count: int) -> tuple[Friction, ...]:
        """Return `count` friction pairs evenly spaced over the range, ends included."""
        return tuple(self.at(float(static)) for static in np.linspace(self.low, self.high, count))


@dataclass(frozen=True, kw_only=True, slots=True)
class Coin:
    """A coin lying flat."""

    name: str
    diameter_m: float
    """Diameter [m]."""
    thickness_m: float
    """Thickness [m]."""

    def tipping_demand(self, barrier_height_m: float) -> float:
        """Return the demand (tangential over normal force) that tips the coin over a barrier [-].

        The coin counts as a rectangle turning about the barrier's upper edge. A barrier of half its thickness
        or more takes the push at or above the centre of mass and holds it; none at all holds nothing.
        """
        if barrier_height_m <= 0:
            return 0.0
        lever_m = self.thickness_m / 2 - barrier_height_m
        return self.diameter_m / 2 / lever_m if lever_m > 0 else float("inf")


@cache
def _table(name: str) -> dict[str, dict[str, Any]]:
    return tomllib.loads((files("pennyfall.kinematics.coin") / name).read_text(encoding="utf-8"))


def coins() -> tuple[str, ...]:
    """Return the names of the coins whose size is known."""
    return tuple(_table("coins.toml"))


def published_friction(surface: str = DEFAULT_SURFACE) -> FrictionRange:
    """Return the published friction of a coin on `surface`.

    Raises
    ------
    CannotMeasure
        When the surface is not in the table.

    """
    entry = _entry("friction.toml", surface, "surface")
    low, high = entry["static"]
    return FrictionRange(low=low, high=high, kinetic_share=entry["kinetic_share"], source=entry["source"])


def known_coin(name: str = DEFAULT_COIN) -> Coin:
    """Return the size of a coin in circulation.

    Raises
    ------
    CannotMeasure
        When the coin is not in the table.

    """
    entry = _entry("coins.toml", name, "coin")
    return Coin(
        name=entry["name"], diameter_m=entry["diameter_mm"] / 1000, thickness_m=entry["thickness_mm"] / 1000
    )


def _entry(table: str, key: str, kind: str) -> dict[str, Any]:
    entries = _table(table)
    if key not in entries:
        raise CannotMeasure(
            f"The {kind} '{key}' is not in the table.", fix=f"Choose one of: {', '.join(entries)}."
        )
    return entries[key]
