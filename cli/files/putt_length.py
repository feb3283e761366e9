"""A putt's length as a coach writes it: '10ft', '3 m', '250cm'; the same in every option, name and answer."""

from __future__ import annotations

import re

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.putt.roll import FOOT_M

PUTT_LENGTHS_FT = (0.5, 150.0)
"""Chosen by us: anything outside is a typing error or a slip of the unit."""

LENGTH = r"(?P<number>\d+(?:[.,]\d+)?)[-_ ]?(?P<unit>ft|feet|m|cm)"
"""A number with its unit, as a regular expression; letters in lower case."""

_UNITS_M = {"ft": FOOT_M, "feet": FOOT_M, "m": 1.0, "cm": 0.01}


def length_in_m(words: str) -> float:
    """Return a putt length such as '10ft', '3 m' or '250cm' in metres.

    Raises
    ------
    CannotMeasure
        When it has no number, no unit, or is no putt's length.

    """
    match = re.fullmatch(LENGTH, words.strip().lower())
    if match is None:
        raise CannotMeasure(f"'{words}' is not a length.", fix="Give a number with its unit: 10ft or 3m.")
    length_m = float(match["number"].replace(",", ".")) * _UNITS_M[match["unit"]]
    low_ft, high_ft = PUTT_LENGTHS_FT
    if not low_ft <= length_m / FOOT_M <= high_ft:
        raise CannotMeasure(
            f"A putt of {words.strip()} is outside {low_ft:g} to {high_ft:g} ft "
            f"({low_ft * FOOT_M:.2f} to {high_ft * FOOT_M:.0f} m).",
            fix="Check the number and its unit.",
        )
    return length_m


def length_words(length_ft: float) -> str:
    """Return a putt's length in the unit that it was most likely given in: '6 ft' for 6, '3 m' for 9.84."""
    for unit, unit_ft, step in (
        ("ft", 1.0, 0.25),
        ("m", 1 / FOOT_M, 0.1),
        ("ft", 1.0, 0.1),
        ("m", 1 / FOOT_M, 0.01),
    ):
        rounded = round(length_ft / unit_ft / step) * step
        if abs(rounded * unit_ft - length_ft) <= 0.005:
            return f"{rounded:.2f}".rstrip("0").rstrip(".") + f" {unit}"
    return f"{length_ft:.2f} ft"


def length_in_ft(words: str) -> float:
    """Return the same in feet, to the hundredth, as a lesson file keeps it (3 m are 9.84 ft)."""
    return round(length_in_m(words) / FOOT_M, 2)
