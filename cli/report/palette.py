"""Colours, dashes and marks, for every kind of colour vision and in grey print."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Ink:
    """How one condition is drawn."""

    light: str
    """Colour on a light page, and in print."""
    dark: str
    """Colour on a dark page."""
    dash: str
    """Dash pattern of its mean curve, SVG units; empty for a full line."""
    mark: str
    """Shape of its strokes: circle, square, diamond or triangle."""


INK = "#1d2a33"
QUIET = "#5a6872"
FORWARD_TINT = "#eef2f5"
"""Ground of the forward swing."""
ACCENT = "#b4441c"
"""One accent, for acceleration: a rust that stays apart from the dark ink for every kind of colour vision,
and in grey print by its lightness."""
PAPER_LIGHT, PAPER_DARK = "#fbfaf7", "#12181c"

INKS = (
    Ink(light="#0f6380", dark="#62c3e4", dash="", mark="circle"),
    Ink(light="#b4441c", dark="#f49a6c", dash="9 4", mark="diamond"),
    Ink(light="#3a2f7d", dark="#8f8fff", dash="2 4", mark="square"),
    Ink(light="#6b6b6b", dark="#cfcfcf", dash="9 4 2 4", mark="triangle"),
)
"""Chosen by us, checked by simulating dichromacy; they repeat from the fifth condition on."""


def ink_numbers(conditions: Iterable[str]) -> dict[str, int]:
    """Return the number of each condition's ink, by its name: the order of a lesson changes no colour."""
    named = list(dict.fromkeys(conditions))
    ranked = sorted(named, key=str.casefold)
    return {each: ranked.index(each) for each in named}


def tone(condition: int) -> str:
    """Return the style class that colours what belongs to a condition."""
    return f"c{condition % len(INKS)}"


def ink(condition: int) -> Ink:
    """Return how the condition with this number is drawn."""
    return INKS[condition % len(INKS)]
