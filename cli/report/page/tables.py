"""The tables of a lesson's report: differences with intervals, and each condition at each putt length."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pennyfall.cli.report.quantities import Quantity, quantity
from pennyfall.cli.report.tables.written import Row, Table
from pennyfall.cli.report.words.numbers import held, held_difference, number, putt, size, typeset
from pennyfall.kinematics.lesson.comparison import PairComparison, QuantityComparison
from pennyfall.kinematics.lesson.condition_summary import ConditionSummary
from pennyfall.kinematics.lesson.verdict import LessonComparison

UNKNOWN = "–"


def pair_tables(comparison: LessonComparison) -> list[Table]:
    """Return a table of differences for each two conditions."""
    return [_pair_table(pair) for pair in comparison.pairs if pair.quantities]


def summary_table(summaries: Sequence[ConditionSummary]) -> Table:
    """Return mean and own scatter of every quantity, a column for each condition and putt length."""
    names = [each.quantity.name for each in summaries[0].quantities] if summaries else []
    return Table(
        title="Each condition at each putt length",
        columns=tuple(
            f"{each.condition}, {putt(each.putt_length_m)} ({each.strokes} strokes)" for each in summaries
        ),
        rows=tuple(
            Row(
                label=quantity(name).heading,
                cells=tuple(_mean_and_scatter(each, quantity(name)) for each in summaries),
            )
            for name in names
        ),
        note="Mean (95 % interval of the mean); own: the student's own scatter, one standard deviation, the "
        "measurement error taken out.",
    )


def _pair_table(pair: PairComparison) -> Table:
    counts = " and ".join(
        f"{first} against {second} at {putt(length)}"
        for (first, second), length in zip(pair.strokes, pair.putt_lengths_m, strict=True)
    )
    return Table(
        title=f"{pair.first} against {pair.second}",
        columns=(
            "difference (95 %)",
            pair.first,
            pair.second,
            "p, corrected",
            "effect size g (95 %)",
            "believable from",
        ),
        rows=tuple(_pair_row(each) for each in pair.quantities),
        note=f"Strokes: {counts}. Difference: second minus first, putt lengths together. "
        f"The p: permutation, {'all' if pair.exact else 'a sample of'} {pair.arrangements} arrangements, "
        "corrected for the number of quantities. Believable from: the smallest change between two lessons "
        "like this one that is more than scatter. A filled mark: a difference is claimed.",
    )


def _pair_row(each: QuantityComparison) -> Row:
    what, pooled = quantity(each.quantity.name), each.pooled
    low, high = held_difference(what, pooled.value, pooled.interval)
    g_low, g_high = pooled.effect.interval
    return Row(
        label=what.heading,
        marked=each.claimed,
        cells=(
            f"{_signed(what, pooled.value)} ({_signed(what, low)} to {_signed(what, high)})"
            if math.isfinite(pooled.value)
            else UNKNOWN,
            _number(what, pooled.first_mean),
            _number(what, pooled.second_mean),
            _probability(each.p_adjusted),
            UNKNOWN
            if math.isnan(pooled.effect.g)
            else typeset(f"{pooled.effect.g:.1f} ({g_low:.1f} to {g_high:.1f})"),
            typeset(size(what, each.mean_mdc)) if math.isfinite(each.mean_mdc) else UNKNOWN,
        ),
    )


def _mean_and_scatter(summary: ConditionSummary, what: Quantity) -> str:
    scatter = summary.quantity(what.name).scatter
    if not math.isfinite(scatter.mean):
        return UNKNOWN
    low, high = held(what, scatter.mean_interval)
    words = _number(what, scatter.mean)
    if math.isfinite(low):
        words += f" ({_number(what, low)} to {_number(what, high)})"
    return f"{words}; own {_number(what, scatter.own_sd)}" if math.isfinite(scatter.own_sd) else words


def _probability(p: float) -> str:
    if math.isnan(p):
        return UNKNOWN
    return "< 0.001" if p < 0.001 else f"{p:.3f}"


def _number(what: Quantity, value: float) -> str:
    return typeset(number(what, value)) if math.isfinite(value) else UNKNOWN


def _signed(what: Quantity, value: float) -> str:
    written = _number(what, value)
    return f"+{written}" if value > 0 and written.strip("0.") else written
