"""Drawing in SVG: elements as escaped text, and a plot area that maps values to the page."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from pennyfall.cli.report.pictures.fitting import shortened
from pennyfall.kinematics.values import FloatArray

MOST_TICKS = 6
LETTER = 7.2
"""Chosen by us: width of a letter of 12 units, on the average of a widely running system font."""


def element(tag: str, *inside: str | Markup, **attributes: str | float) -> Markup:
    """Return an element; underscores in attribute names become dashes, `class_` becomes class.

    >>> element("text", "5 < 6", x=1.0, class_="axis")
    Markup('<text x="1" class="axis">5 &lt; 6</text>')
    """
    written = "".join(f' {_name(key)}="{_value(value)}"' for key, value in attributes.items())
    content = Markup("").join(escape(each) for each in inside)
    return Markup("<{}{}>{}</{}>").format(Markup(tag), Markup(written), content, Markup(tag))


def drawing(width: float, height: float, title: str, parts: Iterable[Markup]) -> Markup:
    """Return a whole SVG drawing that scales with the page and says what it shows."""
    return element(
        "svg",
        element("title", title),
        *parts,
        viewBox=f"0 0 {width:g} {height:g}",
        role="img",
        aria_label=title,
        class_="chart",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class PlotArea:
    """A rectangle of the drawing and the range of values it shows."""

    left: float
    right: float
    top: float
    bottom: float
    x_range: tuple[float, float]
    y_range: tuple[float, float] = (0.0, 1.0)

    def x(self, value: float) -> float:
        """Return the drawing's x of a value."""
        low, high = self.x_range
        return self.left + (value - low) / (high - low) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Return the drawing's y of a value; larger values stand higher."""
        low, high = self.y_range
        return self.bottom - (value - low) / (high - low) * (self.bottom - self.top)

    def curve(self, xs: FloatArray, ys: FloatArray) -> str:
        """Return the path data of a curve; NaN breaks it."""
        pieces, pen_down = [], False
        for x, y in zip(xs.tolist(), ys.tolist(), strict=True):
            if math.isnan(x) or math.isnan(y):
                pen_down = False
                continue
            pieces.append(f"{'L' if pen_down else 'M'}{self.x(x):.1f} {self.y(y):.1f}")
            pen_down = True
        return "".join(pieces)

    def band(self, xs: FloatArray, low: FloatArray, high: FloatArray) -> str:
        """Return the path data of the area between two curves, where both are known."""
        good = np.isfinite(low) & np.isfinite(high)
        if good.sum() < 2:
            return ""
        there = self.curve(xs[good], np.clip(high[good], *self.y_range))
        back = self.curve(xs[good][::-1], np.clip(low[good][::-1], *self.y_range))
        return f"{there}L{back[1:]}Z"


def cut_to(words: str, width: float) -> str:
    """Return words of 12 units' type that fit a width, shortened in the middle where they do not."""
    return shortened(words, lambda said: LETTER * len(said) <= width)


def ticks(low: float, high: float) -> Sequence[float]:
    """Return round values across a range, at most `MOST_TICKS`.

    >>> ticks(-2.3, 3.4)
    [-2.0, -1.0, 0.0, 1.0, 2.0, 3.0]
    """
    if not high > low:
        return [low]
    rough = (high - low) / MOST_TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(each * power for each in (1, 2, 5, 10) if each * power >= rough * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(number * step, 10) + 0.0 for number in range(first, last + 1)]


def padded(values: Iterable[float], share: float = 0.06) -> tuple[float, float]:
    """Return a range that holds all finite values with some room."""
    known = [each for each in values if math.isfinite(each)]
    if not known:
        return 0.0, 1.0
    low, high = min(known), max(known)
    room = share * (high - low) or 0.5 * abs(high) or 0.5
    return low - room, high + room


def mark(shape: str, x: float, y: float, size: float, **attributes: str | float) -> Markup:
    """Return a small mark centred on a point: circle, square, diamond or triangle."""
    if shape == "circle":
        return element("circle", cx=x, cy=y, r=size, **attributes)
    corners = {
        "square": [(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)],
        "diamond": [(0, -1.25), (1.25, 0), (0, 1.25), (-1.25, 0)],
        "triangle": [(0, -1.2), (1.1, 0.85), (-1.1, 0.85)],
    }[shape]
    points = " ".join(f"{x + size * dx:.1f},{y + size * dy:.1f}" for dx, dy in corners)
    return element("polygon", points=points, **attributes)


def _name(key: str) -> str:
    return "viewBox" if key == "viewBox" else key.rstrip("_").replace("_", "-")


def _value(value: str | float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(escape(value))
