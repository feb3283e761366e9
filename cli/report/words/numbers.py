"""Numbers in words: a quantity's value, difference and interval as people read them."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pennyfall.cli.files.putt_length import length_words
from pennyfall.cli.report.quantities import OF_NUMBERS, UNITS, Quantity
from pennyfall.kinematics.putt.roll import FOOT_M

LEAST_P = 0.001
"""Chosen by us: smaller probabilities are not told apart."""
NO_BREAK_SPACE = "\u00a0"


def shown(quantity: Quantity, value: float) -> str:
    """Return a value in the unit shown to people."""
    return _with_unit(number(quantity, value), quantity.unit)


def number(quantity: Quantity, value: float) -> str:
    """Return a value in the unit shown to people, which is left out."""
    text = f"{value * quantity.factor:.{UNITS[quantity.unit].decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def shown_difference(quantity: Quantity, value: float, interval: tuple[float, float]) -> str:
    """Return the size of a difference with its interval, turned so that the size is positive."""
    sign = -1.0 if value < 0 else 1.0
    size = _with_unit(
        number(quantity, abs(value)), "percentage points" if quantity.unit == "%" else quantity.unit
    )
    ends = held_difference(quantity, value, interval)
    return f"{size} (95 %: {span(quantity, sorted(sign * each for each in ends))})"


def span(quantity: Quantity, ends: Sequence[float]) -> str:
    """Return both ends of a range in the unit shown to people, which is left out."""
    return " to ".join(number(quantity, each) for each in ends)


def held(quantity: Quantity, ends: Sequence[float]) -> tuple[float, ...]:
    """Return an interval of a quantity's value, held within what the quantity can be."""
    return tuple(min(max(each, quantity.least), quantity.most) for each in ends)


def held_difference(quantity: Quantity, value: float, ends: Sequence[float]) -> tuple[float, ...]:
    """Return an interval of a difference, held within what two values can differ by; its value stays in."""
    widest = max(quantity.widest_change, abs(value))
    return tuple(min(max(each, -widest), widest) for each in ends)


def size(quantity: Quantity, value: float) -> str:
    """Return the size of a difference; one too small for the digits shown is 'under' the last of them."""
    text = number(quantity, abs(value))
    if not text.strip("0."):
        text = f"under {10.0 ** -UNITS[quantity.unit].decimals:g}"
    return _with_unit(text, "percentage points" if quantity.unit == "%" else quantity.unit)


def putt(length_m: float) -> str:
    """Return a putt length as the coach typed it, as far as the lesson file keeps that."""
    return length_words(length_m / FOOT_M)


def called(quantity: Quantity) -> str:
    """Return what a quantity is called where only its value follows."""
    return f"the {quantity.label}" if quantity.place_of else quantity.label


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
    if share >= 0.80:
        return "just before impact"
    part = "first third" if share < 1 / 3 else "middle" if share < 2 / 3 else "last third"
    return f"the {part} of the forward swing"


def phase(value: float) -> str:
    """Name a phase: 0 takeaway, 1 top, 2 impact."""
    if value <= 1:
        return f"{100 * value:.0f} % of the backswing"
    return f"{100 * (value - 1):.0f} % of the forward swing"


def probability(p: float) -> str:
    """Return 'p = 0.012', or 'p < 0.001' where it is smaller."""
    return f"p < {LEAST_P:g}" if p < LEAST_P else f"p = {p:.3f}"


def typeset(text: str) -> str:
    """Return text with true minus signs, raised exponents, and units that stay with their numbers."""
    text = re.sub(r"(?<![\w.])-(?=\d)", "−", text).replace("m/s^2", "m/s²")
    return re.sub(r"(?<=\d) (?=%|(?:m|cm|ms|ft|m/s²|cm/s)(?!\w))", NO_BREAK_SPACE, text)


def _with_unit(text: str, unit: str) -> str:
    return text if unit in OF_NUMBERS else f"{text} {unit}"
