"""Trends and students as text tables."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from textwrap import fill

import pandas as pd

from pennyfall.cli.history.trend import Trend, TrendPoint
from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.words.numbers import typeset
from pennyfall.cli.report.words.scales import UNTOUCHED, reach, rests_on

UNKNOWN = "–"
WIDTH = 80


def trend_table(student: str, trends: Sequence[Trend]) -> str:
    """Return a block a quantity, a line a lesson: mean, own scatter, and what the change means."""
    lines = [
        f"{student}: change since the first lesson, beside the smallest change that is more than scatter"
    ]
    for name in dict.fromkeys(each.quantity for each in trends):
        shown = quantity(name)
        lines += ["", shown.heading]
        for trend in (each for each in trends if each.quantity == name):
            lines.append(f"  {trend.title}")
            lines += [_line(point, trend.points[0], shown.factor) for point in trend.points]
    return "\n".join([*lines, *_scales(trends)])


def _scales(trends: Sequence[Trend]) -> list[str]:
    """Say of each lesson whose scale rests on more than the sheet how well it is known."""
    vague: dict[dt.date, TrendPoint] = {}
    for point in (each for trend in trends for each in trend.points if each.scale_sd > 0):
        if set(point.scale_sources) - {"", "sheet"}:
            vague.setdefault(point.date, point)
    said = [
        f"On {date.day} {date:%B %Y} the scale rests on {rests_on(point.scale_sources)}, known to "
        f"{reach(point.scale_sd / abs(point.scatter.mean))}: lengths, speeds and accelerations are compared "
        f"with other lessons no better than that; {UNTOUCHED}."
        for date, point in sorted(vague.items())
    ]
    return ["", *(typeset(fill(each, WIDTH)) for each in said)] if said else []


def students_table(students: pd.DataFrame) -> str:
    """Return a line a student."""
    if students.empty:
        return "The history is empty."
    lines = [f"{'student':<12} {'lessons':>7} {'strokes':>7}  first       last"]
    lines += [
        f"{row.student:<12} {row.lessons:>7} {row.strokes:>7}  {row.first}  {row.last}"
        for row in students.itertuples()
    ]
    return "\n".join(lines)


def judgement(point: TrendPoint, first: TrendPoint) -> str:
    """Return what a change amounts to, in a word or two."""
    if math.isnan(point.detectable_change):
        return "too few strokes to tell"
    changed = abs(point.change_from(first)) > point.detectable_change
    return "changed" if changed else "within scatter"


def _line(point: TrendPoint, first: TrendPoint, factor: float) -> str:
    scatter = point.scatter
    strokes = f"{scatter.strokes} stroke{'s' if scatter.strokes > 1 else ''}"
    mean, own = _number(scatter.mean, factor), _number(scatter.own_sd, factor)
    words = f"    {point.date}  {strokes:>10}  {mean:>8}  own scatter {own:>6}"
    if point is first:
        return words
    change = f"{factor * point.change_from(first):+.3g}"
    believable = _number(point.detectable_change, factor)
    return f"{words}  change {change:>7} (believable from {believable}): {judgement(point, first)}"


def _number(value: float, factor: float) -> str:
    return f"{factor * value:.3g}" if math.isfinite(value) else UNKNOWN
