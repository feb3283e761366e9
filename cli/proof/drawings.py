"""The pictures of the proof: how often intervals held, one stroke at impact, where errors come from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from markupsafe import Markup

from pennyfall.cli.proof.alternatives import METHODS, even_track
from pennyfall.cli.proof.scores import METHOD, BudgetRow, Score
from pennyfall.cli.proof.tables import TARGET
from pennyfall.cli.proof.trials import draw_trial, measure_trial
from pennyfall.cli.report.page.svg import PlotArea, drawing, element, mark, ticks
from pennyfall.cli.report.quantities import quantity
from pennyfall.kinematics.values import INTERVAL_SDS, FloatArray

ROW = 21.0
LABEL_WIDTH = 312.0
SHAPES = ("circle", "diamond", "square", "triangle")
EXAMPLE_SPAN_S = (-0.45, 0.16)


def coverage_drawing(scores_by_rate: Mapping[float, Sequence[Score]]) -> Markup:
    """Return the share of intervals that held the truth, by quantity and frame rate."""
    names = [each.name for each in next(iter(scores_by_rate.values()))]
    height = ROW * len(names) + 40
    area = PlotArea(left=LABEL_WIDTH, right=640, top=10, bottom=height - 30, x_range=(0.80, 1.0))
    parts = [
        element(
            "rect",
            x=area.x(TARGET[0]),
            y=area.top,
            width=area.x(TARGET[1]) - area.x(TARGET[0]),
            height=area.bottom - area.top,
            class_="reference",
        )
    ]
    for share in (0.80, 0.85, 0.90, 0.95, 1.0):
        x = area.x(share)
        parts.append(element("line", x1=x, x2=x, y1=area.top, y2=area.bottom, class_="grid"))
        parts.append(element("text", f"{100 * share:.0f} %", x=x, y=area.bottom + 16, class_="axis middle"))
    for row, name in enumerate(names):
        middle = area.top + ROW * (row + 0.5)
        parts.append(element("text", quantity(name).label, x=LABEL_WIDTH - 12, y=middle + 4, class_="end"))
        for number, scores in enumerate(scores_by_rate.values()):
            each = next(one for one in scores if one.name == name)
            y = middle + 7 * (number - (len(scores_by_rate) - 1) / 2)
            low, high = (area.x(max(share, 0.80)) for share in each.coverage_interval)
            tone = f"c{number}"
            parts.append(element("line", x1=low, x2=high, y1=y, y2=y, class_=f"interval {tone}"))
            parts.append(mark(SHAPES[number], area.x(max(each.coverage, 0.80)), y, 3.4, class_=f"dot {tone}"))
    return drawing(660, height, "Share of 95 % intervals that hold the truth", parts)


def example_drawing(seed: int, rate_hz: float) -> Markup:
    """Return one stroke's acceleration in the forward swing: truth, ours, two usual ways."""
    trial, measured = next(
        (trial, found)
        for number in range(50)
        if (found := measure_trial(trial := draw_trial(seed, rate_hz, number))) is not None
    )
    event = trial.performance.strokes[0]
    fine = event.impact_s + np.arange(*EXAMPLE_SPAN_S, 1e-3)
    truth = trial.performance.motion.acceleration(fine)
    truth[np.argmin(np.abs(fine - event.impact_s))] = np.nan  # the pen lifts at the step
    profile = measured.stroke.profile
    inside = (profile.t_s > fine[0]) & (profile.t_s < fine[-1])
    head = measured.placed.head
    time, x = even_track(head.time_s, head.x_m)
    curves: list[tuple[str, str, FloatArray, FloatArray]] = [
        ("truth", "truth", fine, truth),
        ("pennyfall, 95 %", "mean c0", profile.t_s[inside], profile.a_mps2[inside]),
    ]
    for number, method in ((1, METHODS[0]), (2, METHODS[3])):
        curve = method.smooth(time, x, method.choose(time, x))
        seen = (curve.time_s > fine[0]) & (curve.time_s < fine[-1])
        curves.append((method.name, f"mean c{number}", curve.time_s[seen], curve.a_mps2[seen]))
    low = min(-12.0, float(np.nanmin(truth)) - 2)
    area = PlotArea(left=50, right=640, top=14, bottom=300, x_range=(fine[0], fine[-1]), y_range=(low, 14.0))
    ours = profile.a_mps2[inside]
    reach = INTERVAL_SDS * profile.a_sd_mps2[inside]
    band = area.band(profile.t_s[inside], ours - reach, ours + reach)
    parts = [element("path", d=band, class_="band c0")]
    for value in ticks(*area.y_range):
        parts.append(
            element("line", x1=area.left, x2=area.right, y1=area.y(value), y2=area.y(value), class_="grid")
        )
        parts.append(element("text", f"{value:g}", x=area.left - 8, y=area.y(value) + 4, class_="axis end"))
    for offset in (-0.4, -0.3, -0.2, -0.1, 0.0, 0.1):
        at = area.x(event.impact_s + offset)
        parts.append(element("text", f"{1e3 * offset:.0f}", x=at, y=area.bottom + 16, class_="axis middle"))
    at = area.x(event.impact_s)
    parts.append(element("line", x1=at, x2=at, y1=area.top, y2=area.bottom, class_="event"))
    for number, (label, style, times, values) in enumerate(curves):
        clipped = np.where((values > area.y_range[0]) & (values < area.y_range[1]), values, np.nan)
        parts.append(element("path", d=area.curve(times, clipped), class_=style))
        y = area.bottom - 64 + 16 * number
        parts.append(element("line", x1=62, x2=92, y1=y - 4, y2=y - 4, class_=style))
        parts.append(element("text", label, x=98, y=y, class_="label"))
    parts.append(element("text", "m/s², against ms from impact", x=area.left, y=area.top - 2, class_="axis"))
    return drawing(660, 326, "Acceleration of one simulated stroke", parts)


def budget_drawing(rows: Sequence[BudgetRow]) -> Markup:
    """Return each quantity's error by source, as shares of its variance."""
    height = ROW * len(rows) + 34
    area = PlotArea(left=LABEL_WIDTH, right=640, top=6, bottom=height - 28, x_range=(0.0, 1.0))
    order = sorted({source for each in rows for source in each.parts}, key=_source_order)
    parts = []
    for number, each in enumerate(rows):
        top = area.top + ROW * number
        parts.append(element("text", quantity(each.name).label, x=LABEL_WIDTH - 12, y=top + 14, class_="end"))
        whole = sum(part**2 for part in each.parts.values()) or 1.0
        left = 0.0
        for source in order:
            share = each.parts.get(source, 0.0) ** 2 / whole
            if share < 0.002:
                continue
            parts.append(
                element(
                    "rect",
                    element("title", f"{source}: {100 * share:.0f} %"),
                    x=area.x(left),
                    y=top + 2,
                    width=area.x(left + share) - area.x(left),
                    height=ROW - 5,
                    class_=f"part p{order.index(source)}",
                )
            )
            left += share
    for share in (0.0, 0.5, 1.0):
        at = area.x(share)
        parts.append(element("text", f"{100 * share:.0f} %", x=at, y=area.bottom + 16, class_="axis middle"))
    return drawing(660, height, "Share of each source in the variance of every quantity", parts)


def budget_legend(rows: Sequence[BudgetRow]) -> list[tuple[int, str]]:
    """Return number and name of each source, in the order of the bars."""
    order = sorted({source for each in rows for source in each.parts}, key=_source_order)
    return list(enumerate(order))


def _source_order(source: str) -> tuple[bool, str]:
    return source == METHOD, source
