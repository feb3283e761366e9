"""Acceleration profiles of the conditions at one putt length: every stroke, the mean and its interval."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from markupsafe import Markup

from pennyfall.cli.report.page.svg import LETTER, PlotArea, drawing, element, padded, ticks
from pennyfall.cli.report.palette import ink, tone
from pennyfall.cli.report.pictures.fitting import shortened
from pennyfall.kinematics.lesson.profile_comparison import DifferingStretch, ProfileBand
from pennyfall.kinematics.values import FloatArray

WIDTH, HEIGHT = 360.0, 250.0
"""Drawn for a phone held upright, one drawing unit a CSS pixel; wider pages set drawings side by side."""
REACH = 0.4
"""Half the width of a curve's name, as a share of the forward swing; chosen by us for some 18 letters."""
NAME_ROOM = 0.1
"""Room above the curves for a name, as a share of the range; chosen by us."""
LANDMARKS = ((0.0, "takeaway"), (1.0, "top"), (2.0, "impact"))


def profile_range(bands: Sequence[ProfileBand]) -> tuple[float, float]:
    """Return one range of accelerations for all the drawings of a lesson, with room for names [m/s^2]."""
    values = [band.strokes_mps2.ravel() for band in bands]
    low, high = padded([0.0, *np.concatenate(values).tolist()]) if values else (0.0, 1.0)
    return low, high + NAME_ROOM * (high - low)


def profile_chart(
    bands: Sequence[tuple[str, int, ProfileBand, Sequence[str]]],
    stretches: Sequence[DifferingStretch],
    *,
    y_range: tuple[float, float],
    title: str,
) -> Markup:
    """Return the drawing for one putt length.

    Parameters
    ----------
    bands : sequence of (condition, number of its ink, ProfileBand, stroke ids)
        The ids link each thin curve to its stroke's clip.
    stretches : sequence of DifferingStretch
        Where the conditions differ; only the claimed ones are drawn.
    y_range : tuple of float
        Accelerations shown [m/s^2].
    title : str
        Said to those who cannot see the drawing.

    """
    area = PlotArea(left=30, right=WIDTH - 12, top=24, bottom=HEIGHT - 34, x_range=(0, 2), y_range=y_range)
    parts = [*_grid(area), *_stretches(area, stretches)]
    for _, number, band, _ in bands:
        d = area.band(band.phase, band.low_mps2, band.high_mps2)
        parts.append(element("path", d=d, class_=f"band {tone(number)}"))
    for _, number, band, ids in bands:
        parts += _strokes(area, number, band, ids)
    for _, number, band, _ in bands:
        parts.append(
            element(
                "path",
                d=area.curve(band.phase, band.mean_mps2),
                class_=f"mean {tone(number)}",
                stroke_dasharray=ink(number).dash or "none",
            )
        )
    if len(bands) == 2:
        parts += _labels(area, bands)
    return drawing(WIDTH, HEIGHT, title, parts)


def _grid(area: PlotArea) -> list[Markup]:
    parts = [
        element("rect", x=area.x(1), y=area.top, width=area.x(2) - area.x(1), height=area.bottom - area.top,
                class_="forward")
    ]  # fmt: skip
    for value in ticks(*area.y_range):
        kind = "zero" if value == 0 else "grid"
        parts.append(
            element("line", x1=area.left, x2=area.right, y1=area.y(value), y2=area.y(value), class_=kind)
        )
        parts.append(element("text", f"{value:g}", x=area.left - 5, y=area.y(value) + 4, class_="axis end"))
    for phase, name in LANDMARKS:
        x = area.x(phase)
        parts.append(element("line", x1=x, x2=x, y1=area.top, y2=area.bottom, class_="event"))
        align = "start" if phase == 0 else "end" if phase == 2 else "middle"
        parts.append(element("text", name, x=x, y=area.bottom + 16, class_=f"axis {align}"))
    parts.append(element("text", "m/s², + toward the target", x=2.0, y=13.0, class_="axis"))
    return parts


def _labels(area: PlotArea, bands: Sequence[tuple[str, int, ProfileBand, Sequence[str]]]) -> list[Markup]:
    """Name both curves where they lie farthest apart in the forward swing, one above them and one below."""
    phase, means = bands[0][2].phase, [each[2].mean_mps2 for each in bands]
    apart = means[0] - means[1]
    if not np.isfinite(apart).all():
        return []
    centres = np.linspace(1 + REACH, 2 - REACH, 9)
    spans = [np.abs(phase - each) <= REACH for each in centres]
    best = int(np.argmax([abs(apart[each].mean()) for each in spans]))
    here, x = spans[best], area.x(float(centres[best]))
    first_on_top = apart[here].mean() > 0
    edges = [np.nan_to_num(np.stack([each[2].low_mps2, each[2].high_mps2, each[2].mean_mps2])[:, here])
             for each in bands]  # fmt: skip
    above = max(area.y(float(np.max(edges))) - 6, area.top + 12)
    below = min(area.y(float(np.min(edges))) + 15, area.bottom - 4)
    parts = []
    for k, (name, number, _, _) in enumerate(bands):
        y = above if (k == 0) == first_on_top else below
        words = shortened(name, lambda text: len(text) * LETTER <= 2 * REACH * (area.x(2) - area.x(1)))
        parts.append(element("text", words, x=x, y=y, class_=f"label strong middle {tone(number)}"))
    return parts


def _stretches(area: PlotArea, stretches: Sequence[DifferingStretch]) -> list[Markup]:
    y = area.bottom + 26
    return [
        element("line", x1=area.x(each.from_phase), x2=area.x(each.to_phase), y1=y, y2=y, class_="differs")
        for each in stretches
        if each.claimed
    ]


def _strokes(area: PlotArea, number: int, band: ProfileBand, ids: Sequence[str]) -> list[Markup]:
    curves: FloatArray = band.strokes_mps2
    parts = []
    for index, curve in enumerate(curves):
        link = {"data_stroke": ids[index]} if len(ids) == len(curves) else {}
        parts.append(
            element("path", d=area.curve(band.phase, curve), class_=f"stroke {tone(number)}", **link)
        )
    return parts
