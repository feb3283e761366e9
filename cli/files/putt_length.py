"""A putt's length as a coach writes it: '10ft', '3 m', '250cm'; the same in every option, name and answer."""

from __future__ import annotations

import re

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.putt.roll import FOOT_M

PUTT_LENGTHS_FT = (0.5, 150.0)
"""Chosen by us: anything outside is a typing error or a slip of the unit."""

LENGTH = r"(?P<number>\d+(?:[.,]\d+)?)[-_ ]?(?P<unit>ft|feet|m|cm)"
"""A number with its unit, as a regular expression; letters in lower case."""

FINEST_FT = 1e-4
"""To this a length is kept in feet: what was typed in metres comes out of it as it was typed."""

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
    """Return a putt's length in the unit it was given in: '6 ft' for 6, '3 m' for 9.8425, '8.2 ft' for 8.2.

    Feet are given to the hundredth at most. 9.84 is read as the 3 m of a file that kept no more digits.
    """
    hundredths = abs(length_ft - round(length_ft, 2)) < FINEST_FT / 2
    tenths = any(abs(length_ft / step - round(length_ft / step)) < 1e-6 for step in (0.25, 0.1))
    decimetres_ft = round(10 * length_ft * FOOT_M) / 10 / FOOT_M
    if tenths or (hundredths and abs(decimetres_ft - length_ft) > 0.005):
        return f"{length_ft:.2f}".rstrip("0").rstrip(".") + " ft"
    return f"{length_ft * FOOT_M:.{1 if hundredths else 3}f}".rstrip("0").rstrip(".") + " m"


def length_in_ft(words: str) -> float:
    """Return the same in feet, as a lesson file keeps it (3 m are 9.8425 ft)."""
    return round(length_in_m(words) / FOOT_M, 4)
