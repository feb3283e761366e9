"""The figures of the proof as people read them: one table each, cells in the units of the reports."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pennyfall.cli.proof.comparison import COMPARED
from pennyfall.cli.proof.conditions import SOURCES
from pennyfall.cli.proof.published import Result
from pennyfall.cli.proof.scores import METHOD, BudgetRow, Rival, Score, at_rate, score
from pennyfall.cli.proof.study import DETAILED_RATES_HZ, Outcome
from pennyfall.cli.proof.trials import QUANTITIES
from pennyfall.cli.proof.worlds import WORLDS
from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.tables.written import Row, Table

TARGET = (0.93, 0.97)
"""What the coverage of a 95 % interval should lie in."""
PLAUSIBLE = 0.90
"""What it should not fall below in a world that is not the one assumed."""


def coverage_table(rate_hz: float, scores: Sequence[Score], missed: int) -> Table:
    """Return bias, error, coverage and efficiency of every quantity at one frame rate."""
    rows = []
    for each in scores:
        low, high = each.coverage_interval
        rows.append(
            Row(
                label=quantity(each.name).label,
                cells=(
                    field_text(each.name, each.bias, signed=True),
                    field_text(each.name, each.rms),
                    field_text(each.name, each.half_width),
                    f"{100 * each.coverage:.1f} %",
                    f"{100 * low:.1f} to {100 * high:.1f} %",
                    _times(each.over_state_bound),
                ),
                marked=high < TARGET[0] or low > TARGET[1],
            )
        )
    strokes = max(each.strokes for each in scores)
    return Table(
        title=f"{rate_hz:.0f} frames/s, {strokes} strokes" + (f", {missed} more not found" if missed else ""),
        columns=(
            "bias",
            "RMS error",
            "median ± stated",
            "truth inside ±",
            "95 % interval of that share",
            "variance over state-model bound",
        ),
        rows=tuple(rows),
    )


def worlds_table(outcomes: Sequence[Outcome]) -> Table | None:
    """Return how often the intervals held in each world, at two frame rates; None where not all were drawn.

    A row is marked where fewer than `PLAUSIBLE` held in one of them.
    """
    found = {
        world.name: [at_rate(outcomes, rate, world.name) for rate in DETAILED_RATES_HZ] for world in WORLDS
    }
    if not all(each for by_rate in found.values() for each in by_rate):
        return None
    rows = []
    for name in QUANTITIES:
        shares = [[score(each, name).coverage for each in by_rate] for by_rate in found.values()]
        cells = tuple(" / ".join(_percent(share) for share in each) for each in shares)
        least = min((share for each in shares for share in each if math.isfinite(share)), default=1.0)
        rows.append(Row(label=quantity(name).label, cells=cells, marked=least < PLAUSIBLE))
    counts = [max(len(by_rate[n]) for by_rate in list(found.values())[2:]) for n in range(2)]
    rates = " and ".join(f"{rate:.0f}" for rate in DETAILED_RATES_HZ)
    return Table(
        title=f"Truth inside ± [%] at {rates} frames/s, {counts[0]} and {counts[1]} strokes of each world",
        columns=tuple(found),
        rows=tuple(rows),
        note=". ".join(f"{world.name}: {world.meaning}" for world in WORLDS) + ".",
    )


def rival_table(rate_hz: float, rivals: Sequence[Rival], strokes: int) -> Table:
    """Return the errors of ours and the usual methods on the same tracks."""
    return Table(
        title=f"{rate_hz:.0f} frames/s, the same {strokes} tracks: RMS error",
        columns=("setting", *(f"{quantity(name).label} [{_field_unit(name)}]" for name in COMPARED)),
        rows=tuple(
            Row(
                label=each.name,
                cells=(
                    each.setting,
                    *(
                        field_text(name, value, unit=False)
                        for name, value in zip(COMPARED, each.rms, strict=True)
                    ),
                ),
            )
            for each in rivals
        ),
    )


def budget_table(rate_hz: float, rows: Sequence[BudgetRow], strokes: int) -> Table:
    """Return each quantity's budget: standard uncertainty by source."""
    columns = (*SOURCES, METHOD)
    return Table(
        title=f"{rate_hz:.0f} frames/s, {strokes} strokes: standard uncertainty by source",
        columns=("largest", *columns, "RMS error in all"),
        rows=tuple(
            Row(
                label=f"{quantity(each.name).label} [{_field_unit(each.name)}]",
                cells=(
                    next(iter(each.parts)),
                    *(
                        field_text(each.name, each.parts.get(source, math.nan), unit=False)
                        for source in columns
                    ),
                    field_text(each.name, each.total, unit=False),
                ),
            )
            for each in rows
        ),
    )


def published_table(results: Sequence[Result]) -> Table:
    """Return the errors on the published recordings."""
    methods = tuple(results[0].rms)
    return Table(
        title="RMS error of the angular acceleration [rad/s²]",
        columns=(*methods, "published by others", "source"),
        rows=tuple(
            Row(
                label=each.recording.title,
                cells=(
                    *(f"{each.rms[method]:.2f}" for method in methods),
                    each.recording.published,
                    each.recording.source,
                ),
            )
            for each in results
        ),
    )


def field_text(name: str, value: float, *, signed: bool = False, unit: bool = True) -> str:
    """Return an SI value in the field unit of a quantity, with two significant digits."""
    if not math.isfinite(value):
        return "–"
    shown, unit_text = quantity(name), _field_unit(name)
    scaled = value * (1e3 if shown.unit == "s" else shown.factor)
    decimals = max(0, 1 - math.floor(math.log10(abs(scaled)))) if scaled else 0
    text = f"{scaled:{'+' if signed else ''}.{min(decimals, 4)}f}"
    return f"{text} {unit_text}" if unit and unit_text != "-" else text


def _field_unit(name: str) -> str:
    """Return the unit of an error: of an instant it is milliseconds."""
    unit = quantity(name).unit
    return "ms" if unit == "s" else unit


def _percent(share: float) -> str:
    return f"{100 * share:.0f}" if math.isfinite(share) else "–"


def _times(ratio: float) -> str:
    if not math.isfinite(ratio):
        return "–"
    return f"{ratio:.0f}" if ratio >= 9.5 else f"{ratio:.2g}"
