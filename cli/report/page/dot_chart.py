"""One quantity: a dot for each stroke, the mean and its interval, a row for each condition and putt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from pennyfall.cli.report.page.svg import PlotArea, cut_to, drawing, element, mark, padded, ticks
from pennyfall.cli.report.palette import ink, tone

WIDTH = 360.0
ROW, HEAD, FOOT = 40.0, 8.0, 24.0
MEAN = 50.0
"""Room for the mean, written at the right."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Dot:
    """One stroke, in the unit shown."""

    value: float
    stroke: str
    """Id of the stroke."""


@dataclass(frozen=True, kw_only=True, slots=True)
class DotRow:
    """One condition at one putt length."""

    condition: int
    label: str
    dots: tuple[Dot, ...]
    mean: float
    mean_low: float
    """Lower end of the 95 % interval of the mean."""
    mean_high: float


def dot_chart(
    rows: Sequence[DotRow], *, title: str, digits: int, reference: tuple[float, float] | None = None
) -> Markup:
    """Return the drawing of one quantity.

    Parameters
    ----------
    rows : sequence of DotRow
        In the order drawn, all in one unit.
    title : str
        Said to those who cannot see the drawing.
    digits : int
        Decimals of the means written at the right.
    reference : tuple of float, optional
        A reference band in the same unit.

    """
    height = HEAD + ROW * len(rows) + FOOT
    known = [dot.value for row in rows for dot in row.dots]
    known += [each for row in rows for each in (row.mean_low, row.mean_high)]
    low, high = padded([*known, *(reference or ())])
    area = PlotArea(left=8, right=WIDTH - 8, top=HEAD, bottom=height - FOOT, x_range=(low, high))
    parts = []
    if reference:
        left, right = area.x(reference[0]), area.x(reference[1])
        parts.append(
            element("rect", x=left, width=right - left, y=HEAD, height=area.bottom - HEAD, class_="reference")
        )
    for value in ticks(low, high):
        parts.append(
            element("line", x1=area.x(value), x2=area.x(value), y1=HEAD, y2=area.bottom, class_="grid")
        )
        parts.append(element("text", f"{value:g}", x=area.x(value), y=height - 8, class_="axis middle"))
    for index, row in enumerate(rows):
        parts += _row(area, row, HEAD + ROW * index, digits)
    return drawing(WIDTH, height, title, parts)


def _row(area: PlotArea, row: DotRow, top: float, digits: int) -> list[Markup]:
    y = top + 27
    room = area.right - area.left - MEAN
    parts = [element("text", cut_to(row.label, room), x=area.left, y=top + 13, class_="label")]
    if math.isfinite(row.mean):
        written = f"{row.mean:.{digits}f}"
        parts.append(
            element(
                "text", written, x=area.right, y=top + 13, class_=f"label end strong {tone(row.condition)}"
            )
        )
    if math.isfinite(row.mean_low):
        parts.append(
            element("line", x1=area.x(row.mean_low), x2=area.x(row.mean_high), y1=y, y2=y,
                    class_=f"interval {tone(row.condition)}")
        )  # fmt: skip
    for dot in row.dots:
        parts.append(
            mark(ink(row.condition).mark, area.x(dot.value), y, 4.0, class_=f"dot {tone(row.condition)}",
                 data_stroke=dot.stroke)
        )  # fmt: skip
    if math.isfinite(row.mean):
        x = area.x(row.mean)
        parts.append(element("line", x1=x, x2=x, y1=y - 8, y2=y + 8, class_=f"centre {tone(row.condition)}"))
    return parts
