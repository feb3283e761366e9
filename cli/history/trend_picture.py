"""Trends drawn: each quantity over the lessons, the smallest change worth believing as a band."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.files.putt_length import length_words
from pennyfall.cli.history.trend import Trend
from pennyfall.cli.report.palette import INKS, ink_numbers
from pennyfall.cli.report.pictures.figure_file import figure_file, file_kind
from pennyfall.cli.report.pictures.fitting import fit, shortened
from pennyfall.cli.report.quantities import Quantity, quantity

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN, PANEL_IN, HEAD_IN, GAP_IN = 7.5, 1.6, 0.9, 0.6
AXIS_IN, DATE_IN = 0.5, 0.65
"""Room beside a panel for the numbers of its axis, and under it for one date."""
MOST_LETTERS, HANDLE_LETTERS = 80, 8
"""Letters of a legend's line, chosen by us for the width; the drawn sign takes the room of the second."""
MARKS = {"circle": "o", "square": "s", "diamond": "D", "triangle": "^"}


def save_trend_picture(student: str, trends: Sequence[Trend], path: Path) -> None:
    """Write the picture as PNG or SVG, told by the suffix.

    Raises
    ------
    CannotMeasure
        When the suffix is another, or the place cannot be written.

    """
    write_whole(path, figure_file(lambda: draw_trends(student, trends), file_kind(path), font_size=10))


def draw_trends(student: str, trends: Sequence[Trend]) -> Figure:
    """Return the figure: a panel for each quantity and putt length, a line for each condition."""
    from matplotlib.figure import Figure

    panels = list(dict.fromkeys((each.quantity, each.putt_ft) for each in trends))
    inks = ink_numbers(each.condition for each in trends)
    columns = len(dict.fromkeys(putt_ft for _, putt_ft in panels)) or 1
    rows = math.ceil(len(panels) / columns)
    room_in = WIDTH_IN / columns - AXIS_IN
    figure = Figure(figsize=(WIDTH_IN, HEAD_IN + rows * (PANEL_IN + GAP_IN)), layout="constrained")
    heading = figure.suptitle(
        f"{student}: bands show what scatter alone may do to the first lesson's mean (95 %)",
        size=11,
        x=0.01,
        ha="left",
    )
    fit(heading, 0.98 * WIDTH_IN, most_lines=2)
    axes = np.atleast_1d(figure.subplots(rows, columns, squeeze=False)).ravel()
    for panel, (name, putt_ft) in zip(axes, panels, strict=False):
        shown = quantity(name)
        title = panel.set_title(f"{shown.heading}\nputt of {length_words(putt_ft)}", size=9, loc="left")
        fit(title, room_in, most_lines=3)
        for trend in trends:
            if (trend.quantity, trend.putt_ft) == (name, putt_ft):
                _draw(panel, trend, inks[trend.condition], shown, room_in)
    for panel in axes[len(panels) :]:
        panel.set_axis_off()
    handles, labels = axes[0].get_legend_handles_labels()
    named = [shortened(each, lambda words: len(words) <= MOST_LETTERS) for each in labels]
    abreast = max(1, MOST_LETTERS // (max(map(len, named), default=1) + HANDLE_LETTERS))
    figure.legend(handles, named, loc="outside lower left", ncols=abreast, frameon=False)
    return figure


def _draw(panel: Axes, trend: Trend, condition: int, what: Quantity, room_in: float) -> None:
    look = INKS[condition % len(INKS)]
    factor, least, most = what.factor, what.factor * what.least, what.factor * what.most
    lessons = np.arange(1, len(trend.points) + 1)
    mean = factor * np.array([each.scatter.mean for each in trend.points])
    reach = factor * np.array([each.detectable_change for each in trend.points])
    first = mean[0]
    low, high = np.clip([first - reach, first + reach], least, most)
    panel.fill_between(lessons, low, high, color=look.light, alpha=0.13, linewidth=0)
    panel.plot(
        lessons,
        mean,
        color=look.light,
        marker=MARKS[look.mark],
        linestyle="--" if look.dash else "-",
        linewidth=1.8,
        label=trend.condition,
    )
    dates = [f"{each.date.day} {each.date:%b}" for each in trend.points]
    every = math.ceil(len(dates) * DATE_IN / room_in)
    panel.set_xticks(lessons[::every], dates[::every])
    panel.margins(x=0.12)
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)
