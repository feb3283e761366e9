"""Numbers in words: a quantity's value, difference and interval as people read them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from pennyfall.kinematics.lesson.rules import Quantity

FOOT_M = 0.3048
LEAST_P = 0.001
"""Chosen by us: smaller probabilities are not told apart."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Number:
    """A number that a sentence rests on."""

    name: str
    """What it is."""
    value: float
    """SI."""
    low: float = math.nan
    """Lower end of its 95 % interval, SI; NaN where it has none."""
    high: float = math.nan
    """Upper end."""
    p: float = math.nan
    """Corrected permutation p; NaN where none is meant."""
    strokes: int = 0
    """Strokes behind it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sentence:
    """A plain sentence with the numbers it rests on."""

    main: str
    """What it says."""
    detail: str = ""
    """A second sentence with what stands behind it, such as the difference at each putt length."""
    numbers: tuple[Number, ...]
    kind: Literal["claim", "no claim", "too few", "condition"]
    """'claim': a difference is claimed; 'no claim': it is not; 'too few': how many strokes to film;
    'condition': what one condition looks like at one putt length."""

    @property
    def text(self) -> str:
        """The whole of it."""
        return f"{self.main} {self.detail}" if self.detail else self.main

    @property
    def claim(self) -> bool:
        """Whether it claims a difference."""
        return self.kind == "claim"


def shown(quantity: Quantity, value: float, *, unit: bool = True) -> str:
    """Return a value in the unit shown to people."""
    digits = _plain(value * quantity.factor, quantity.decimals)
    return f"{digits} {quantity.unit}" if unit and quantity.unit else digits


def shown_difference(quantity: Quantity, value: float, interval: tuple[float, float]) -> str:
    """Return the size of a difference with its interval, turned so that the size is positive."""
    sign = -1.0 if value < 0 else 1.0
    low, high = sorted(sign * each for each in interval)
    size = shown(quantity, abs(value), unit=False)
    unit = "percentage points" if quantity.says == "place" else quantity.unit
    between = f"95 %: {shown(quantity, low, unit=False)} to {shown(quantity, high, unit=False)}"
    return f"{size} {unit} ({between})" if unit else f"{size} ({between})"


def putt(length_m: float) -> str:
    """Return a putt length in metres and feet."""
    return f"{length_m:.2f} m ({length_m / FOOT_M:.0f} ft)"


def called(quantity: Quantity) -> str:
    """Return what a quantity is called where only its value follows."""
    return f"the place of {quantity.label}" if quantity.says == "place" else quantity.label


def capital(text: str) -> str:
    """Return a text as it begins a sentence."""
    return text[:1].upper() + text[1:]


def listed(parts: tuple[str, ...] | list[str]) -> str:
    """Join with commas and a final 'and'."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def place(share: float) -> str:
    """Name a place in the forward swing by its share of it; the borders, chosen by us, decide nothing."""
    if share < -0.15:
        return "before the top"
    if share <= 0.15:
        return "the top"
    return "the middle of the forward swing" if share < 0.80 else "just before impact"


def phase(value: float) -> str:
    """Name a phase: 0 takeaway, 1 top, 2 impact."""
    if value <= 1:
        return f"{100 * value:.0f} % of the backswing"
    return f"{100 * (value - 1):.0f} % of the forward swing"


def _plain(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def probability(p: float) -> str:
    """Return 'p = 0.012', or 'p < 0.001' where it is smaller."""
    return f"p < {LEAST_P:g}" if p < LEAST_P else f"p = {p:.3f}"
