"""Ranges to hold a quantity against, each with its source; without one they are off until the coach says."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any, Literal

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.lesson.rules import COMPARABLE, entries, record

Standing = Literal["inside", "below", "above", "cannot tell"]


@dataclass(frozen=True, kw_only=True, slots=True)
class ReferenceBand:
    """A range to hold a quantity against."""

    quantity: str
    """Name in the measurement file."""
    low: float
    """Lower end, SI."""
    high: float
    """Upper end, SI."""
    source: str
    """Where it comes from, or 'common practice, no source'."""
    on: bool = True
    """Whether the lesson goes by it."""
    putt_length_low_m: float = 0.0
    """Shortest putt it is meant for [m]."""
    putt_length_high_m: float = math.inf
    """Longest putt it is meant for [m]."""

    def applies_to(self, quantity: str, putt_length_m: float) -> bool:
        """Whether the band is on, and about this quantity at this putt length."""
        within = self.putt_length_low_m <= putt_length_m <= self.putt_length_high_m
        return self.on and self.quantity == quantity and within

    def standing(self, interval: tuple[float, float]) -> Standing:
        """Say where an interval lies: wholly inside the band, wholly on one side, or neither."""
        low, high = interval
        if self.low <= low and high <= self.high:
            return "inside"
        if high < self.low:
            return "below"
        return "above" if low > self.high else "cannot tell"


def standard_reference_bands() -> tuple[ReferenceBand, ...]:
    """Return the bands that come with the package."""
    text = (
        resources.files("pennyfall.kinematics.lesson")
        .joinpath("reference_bands.toml")
        .read_text(encoding="utf-8")
    )
    return reference_bands_from(tomllib.loads(text))


def reference_bands_from(table: Mapping[str, Any]) -> tuple[ReferenceBand, ...]:
    """Return the bands of a parsed bands file.

    Raises
    ------
    CannotMeasure
        If a key is missing, unknown or of the wrong kind, a band is upside down, or it has no source.

    """
    bands = tuple(record(ReferenceBand, each, "band") for each in entries(table, "band"))
    for band in bands:
        if band.quantity not in COMPARABLE:
            raise CannotMeasure(
                f"A reference band is about {band.quantity!r}, which no measurement has.",
                fix=f"Use one of: {', '.join(sorted(COMPARABLE))}.",
            )
        if not band.low < band.high:
            raise CannotMeasure(
                f"The reference band of {band.quantity!r} runs from {band.low:g} to {band.high:g}.",
                fix="Give the lower end first.",
            )
        if not band.source.strip():
            raise CannotMeasure(
                f"The reference band of {band.quantity!r} has no source.",
                fix="Name the publication, or write 'common practice, no source'.",
            )
    return bands
