"""A round sticker of one colour, on the head or on the floor."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """A disc on a plane: in head axes on the head's top, in world axes on the floor."""

    colour: tuple[float, float, float]
    """Linear red, green, blue reflectance."""
    diameter_m: float = 0.015
    """Diameter [m]."""
    centre_m: tuple[float, float] = (0.0, 0.0)
    """Its middle, x and y [m]; the origin is the head's reference point."""
