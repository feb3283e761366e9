"""The picture of the plan: friction demand at the top against putt length, and what the coin does."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pennyfall.cli.report.palette import ACCENT, INK, QUIET
from pennyfall.cli.report.pictures.coin import COIN_INK
from pennyfall.cli.report.pictures.figure_file import FileKind, figure_file
from pennyfall.cli.report.pictures.fitting import fit
from pennyfall.kinematics.putt.planner import Plan, Verdict
from pennyfall.kinematics.putt.roll import FOOT_M, Green
from pennyfall.kinematics.values import INTERVAL_SDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SHADES: dict[Verdict, str] = {"stays": "#d5dde2", "doubtful": "#9fb6c2", "leaves": COIN_INK}
"""Darker the surer the coin leaves, so that grey print tells them apart too."""
WIDTH_IN, HEIGHT_IN = 6.0, 5.3
SHORT_WORDS: dict[Verdict, str] = {"stays": "stays on", "doubtful": "doubtful", "leaves": "leaves"}


def plan_picture(plan: Plan, green: Green, *, title: str, kind: FileKind = "png") -> bytes:
    """Return the picture as a file's content, the same bytes for the same plan."""
    return figure_file(lambda: draw_plan(plan, green, title=title), kind)


def draw_plan(plan: Plan, green: Green, *, title: str) -> Figure:
    """Return the figure."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN))
    fit(figure.text(0.03, 0.973, title, size=15, weight="bold", va="top"), 0.94 * WIDTH_IN)
    figure.text(
        0.03, 0.915, "Friction demand at the top of the backswing, with its 95 % band", size=12, va="top"
    )
    _draw_demand(figure.add_axes((0.1, 0.33, 0.87, 0.53)), plan)
    _draw_verdicts(figure.add_axes((0.1, 0.125, 0.87, 0.055)), plan)
    scaling = "fitted on this student" if plan.scaling.source == "fitted" else "published"
    figure.text(0.03, 0.012, f"Green {green.stimp_m / FOOT_M:g} ft, grade {100 * green.grade:g} %; scaling "
                f"{scaling}.", size=10, color=QUIET, va="bottom")  # fmt: skip
    return figure


def _draw_demand(axes: Axes, plan: Plan) -> None:
    feet = np.array([each.length_m for each in plan.lengths]) / FOOT_M
    value = np.array([each.demand_at_top.value for each in plan.lengths])
    reach = INTERVAL_SDS * np.array([each.demand_at_top.sd for each in plan.lengths])
    axes.axhspan(plan.friction.low, plan.friction.high, color=COIN_INK, alpha=0.18, linewidth=0, zorder=1)
    axes.fill_between(feet, value - reach, value + reach, color=ACCENT, alpha=0.25, linewidth=0, zorder=2)
    axes.plot(feet, value, color=ACCENT, linewidth=2.2, zorder=3)
    inside = [(length_m / FOOT_M, demand) for length_m, demand in plan.measured
              if feet[0] <= length_m / FOOT_M <= feet[-1]]  # fmt: skip
    for at_ft, demand in inside:
        axes.errorbar(at_ft, demand.value, INTERVAL_SDS * demand.sd, fmt="o", markersize=7, color=ACCENT,
                      markerfacecolor="white", markeredgewidth=2, linewidth=1.5, zorder=4)  # fmt: skip
    axes.annotate("friction", (feet[-1], (plan.friction.low + plan.friction.high) / 2), xytext=(-5, 0),
                  textcoords="offset points", ha="right", va="center", color=COIN_INK, size=11)  # fmt: skip
    if len(inside):
        at_ft, demand = min(inside, key=lambda each: each[1].value)
        axes.annotate("measured", (at_ft, demand.value), xytext=(9, -4), textcoords="offset points",
                      color=ACCENT, size=11)  # fmt: skip
    axes.set_xlim(feet[0], feet[-1])
    tallest = max([float((value + reach).max()), plan.friction.high, *(each.value for _, each in inside)])
    axes.set_ylim(0, 1.12 * tallest)
    axes.set_xticks([5, 10, 15, 20, 25, 30])
    axes.tick_params(length=3, color=QUIET)
    axes.set_xlabel("putt length, ft", labelpad=2)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)


def _draw_verdicts(axes: Axes, plan: Plan) -> None:
    """Draw one strip: what the coin does at each length, named where there is room."""
    feet = np.array([each.length_m for each in plan.lengths]) / FOOT_M
    edges = np.concatenate([[feet[0]], (feet[1:] + feet[:-1]) / 2, [feet[-1]]])
    runs: list[tuple[Verdict, float, float]] = []
    for each, left, right in zip(plan.lengths, edges[:-1], edges[1:], strict=True):
        if runs and runs[-1][0] == each.verdict:
            runs[-1] = (each.verdict, runs[-1][1], float(right))
        else:
            runs.append((each.verdict, float(left), float(right)))
    for verdict, left, right in runs:
        axes.axvspan(left, right, color=SHADES[verdict], linewidth=0)
        if right - left > 3.5:
            axes.text((left + right) / 2, 0.5, SHORT_WORDS[verdict], ha="center", va="center", size=11,
                      color="white" if verdict == "leaves" else INK)  # fmt: skip
    axes.set_xlim(feet[0], feet[-1])
    axes.set_axis_off()
    axes.set_title("In the transition the coin by itself: stays on (light), doubtful, leaves (dark)", size=11,
                   loc="left", pad=4, x=-0.08, color=QUIET)  # fmt: skip
