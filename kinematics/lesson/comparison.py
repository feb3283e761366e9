"""Two conditions compared, quantity by quantity."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pennyfall.kinematics.lesson.permutation import adjusted_p, arrangements, smallest_p
from pennyfall.kinematics.lesson.power import (
    EffectSize,
    hedges_g,
    minimal_detectable_change,
    strokes_for_permutation,
    strokes_for_power,
)
from pennyfall.kinematics.lesson.profile_comparison import ProfileComparison, compare_profiles
from pennyfall.kinematics.lesson.rules import ComparedQuantity, Levels, Rules
from pennyfall.kinematics.lesson.scatter import Spread
from pennyfall.kinematics.lesson.set_ups import statistics
from pennyfall.kinematics.lesson.stratified_difference import StratifiedDifference, stratified_difference
from pennyfall.kinematics.lesson.stroke_table import StrokeTable
from pennyfall.kinematics.values import INTERVAL_SDS, BoolArray


class Interval(NamedTuple):
    """Both ends of an interval, SI."""

    low: float
    high: float

    @property
    def excludes_zero(self) -> bool:
        """Whether zero lies outside; False where an end is unknown."""
        return self.low > 0 or self.high < 0

    def within(self, size: float) -> bool:
        """Whether the interval lies inside (-size, size)."""
        return -size < self.low and self.high < size


@dataclass(frozen=True, kw_only=True, slots=True)
class Difference:
    """Second condition minus first in one quantity; NaN where there are too few strokes to tell."""

    putt_length_m: float | None
    """Putt length [m]; None for all of them put together."""
    first_mean: float
    """SI; over the putt lengths with the weights of the difference."""
    second_mean: float
    """SI."""
    value: float
    """Second mean minus first, SI."""
    interval: Interval
    """95 % interval of this one difference, SI; scatter, measurement error and what the scales share are in
    it."""
    sum_interval: Interval
    """95 % interval of second mean plus first, SI: tells which of two means is closer to a target."""
    within_sd: float
    """Standard deviation between the strokes of one condition at one putt length, pooled, SI."""
    scale_sd: float
    """Standard deviation that the set-ups' scales give the difference where the conditions are alike, SI: 0
    in one set-up, and for times, ratios and shares."""
    effect: EffectSize
    """Hedges' g."""


@dataclass(frozen=True, kw_only=True, slots=True)
class QuantityComparison:
    """One quantity under two conditions."""

    quantity: ComparedQuantity
    pooled: Difference
    """All putt lengths together; the only one a claim rests on."""
    by_length: tuple[Difference, ...]
    """At each putt length alone: to be read, claims nothing."""
    p_adjusted: float
    """Permutation p corrected for the number of quantities and of pairs of conditions."""
    claimed: bool
    """Whether a difference is claimed: p_adjusted at the level of the rules and the interval without zero."""
    mean_mdc: float
    """Smallest change between the means of two lessons with as many strokes a condition as this one that is
    worth believing (95 %), SI."""
    spread: Spread
    """Between the strokes of one condition at one putt length, earlier lessons included where given."""
    strokes_needed: float
    """Strokes a condition and putt length that by `spread` would show `quantity.worthwhile`; inf where none
    would do."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PairComparison:
    """Everything about two conditions; differences are second minus first."""

    first: str
    second: str
    putt_lengths_m: tuple[float, ...]
    """Putt lengths at which both have strokes enough to compare [m]."""
    strokes: tuple[tuple[int, int], ...]
    """Strokes of first and second at each of them."""
    left_out: tuple[tuple[float, int, int], ...]
    """Putt lengths [m] with too few strokes to compare, and the strokes of first and second there."""
    arrangements: int
    """Arrangements of the strokes visited."""
    exact: bool
    """Whether that was all there are."""
    smallest_p: float
    """Smallest p_adjusted these stroke counts can give."""
    strokes_to_claim: int
    """Strokes a condition and putt length below which no claim is possible at all."""
    quantities: tuple[QuantityComparison, ...]
    profile: ProfileComparison | None
    """None where too few strokes have a profile."""
    enough: bool
    """Whether there are strokes enough to claim anything."""

    def quantity(self, name: str) -> QuantityComparison:
        """Return the comparison of the quantity called `name`."""
        return next(each for each in self.quantities if each.quantity.name == name)


def compare_pair(
    table: StrokeTable,
    first: str,
    second: str,
    *,
    rules: Rules,
    pairs: int,
    seed: int,
    draws: int,
    earlier: Mapping[str, Spread] | None = None,
) -> PairComparison:
    """Compare two conditions at the putt lengths they share.

    Parameters
    ----------
    table : StrokeTable
        All strokes of the lesson.
    first, second : str
        The conditions.
    rules : Rules
        Quantities and levels.
    pairs : int
        Pairs of conditions compared in the lesson; p values are multiplied by it (Bonferroni).
    seed, draws : int
        Of the random arrangements, used only where there are too many to visit all.
    earlier : mapping, optional
        How much the student's strokes varied in earlier lessons, by quantity: for the strokes needed.

    """
    levels = rules.levels
    filmed = sorted({*table.lengths_m(first), *table.lengths_m(second)})
    counts = {x: (int(table.rows(first, x).sum()), int(table.rows(second, x).sum())) for x in filmed}
    shared = tuple(x for x in filmed if min(counts[x]) >= levels.fewest_strokes)
    lengths = shared or tuple(x for x in filmed if min(counts[x]) > 0)
    here = np.isin(table.putt_length_m, lengths) & (table.rows(first) | table.rows(second))
    mine = table.only(here)
    is_first = mine.rows(first)
    sizes = tuple(counts[each] for each in lengths)
    attainable = min(1.0, smallest_p(sizes) * pairs) if lengths else 1.0
    enough = bool(shared) and attainable <= levels.quantities
    if lengths:
        labels, exact = arrangements(is_first, mine.putt_length_m, seed=seed, draws=draws)
    else:
        labels, exact = np.zeros((0, 0), dtype=np.bool_), True
    quantities: tuple[QuantityComparison, ...] = ()
    profile = None
    if lengths:
        quantities = _compare_quantities(
            mine, is_first, labels, rules, pairs, claims=enough, seed=seed, earlier=earlier or {}
        )
        profile = compare_profiles(
            mine, is_first, labels, level=levels.profile, pairs=pairs, claims=enough, seed=seed
        )
    return PairComparison(
        first=first,
        second=second,
        putt_lengths_m=lengths,
        strokes=sizes,
        left_out=tuple((each, *counts[each]) for each in filmed if each not in lengths),
        arrangements=len(labels),
        exact=exact,
        smallest_p=attainable,
        strokes_to_claim=strokes_for_permutation(
            levels.quantities / pairs, max(1, len(lengths)), levels.fewest_strokes
        ),
        quantities=quantities,
        profile=profile,
        enough=enough,
    )


def _compare_quantities(
    table: StrokeTable,
    is_first: BoolArray,
    labels: BoolArray,
    rules: Rules,
    pairs: int,
    *,
    claims: bool,
    seed: int,
    earlier: Mapping[str, Spread],
) -> tuple[QuantityComparison, ...]:
    every = stratified_difference(table.values, table.sds, table.putt_length_m, labels)
    observed = _observed(table, is_first)
    shared = table.shared_scale(is_first)
    p_adjusted = np.minimum(1.0, pairs * adjusted_p(*statistics(every, observed, shared, seed=seed)))
    scale = np.sqrt(np.mean(table.scale_rel_sd**2)) * table.scaled
    pooled = _differences(table, is_first, None)
    by_length = [
        _differences(table.only(rows), is_first[rows], length)
        for length in np.unique(table.putt_length_m).tolist()
        for rows in [table.putt_length_m == length]
    ]
    strokes = 2 / observed.inverse_n[0]
    comparisons = []
    for column, quantity in enumerate(rules.quantities):
        difference = pooled[column]
        known = not np.isnan(difference.value)
        claimed = claims and known and p_adjusted[column] <= rules.levels.quantities
        sd, df = difference.within_sd, float(observed.within_df[0, column])
        spread = Spread(variance=sd**2, df=0.0 if np.isnan(sd) else df)
        if quantity.name in earlier:
            spread = spread.with_more(earlier[quantity.name])
        comparisons.append(
            QuantityComparison(
                quantity=quantity,
                pooled=difference,
                by_length=tuple(each[column] for each in by_length),
                p_adjusted=float(p_adjusted[column]) if known else np.nan,
                claimed=bool(claimed and difference.interval.excludes_zero),
                mean_mdc=minimal_detectable_change(
                    sd,
                    strokes=float(strokes[column]),
                    df=df,
                    shared_sd=float(scale[column] * abs(difference.first_mean + difference.second_mean) / 2),
                ),
                spread=spread,
                strokes_needed=strokes_needed(spread, quantity, rules, pairs=pairs, lengths=len(by_length)),
            )
        )
    return tuple(comparisons)


def strokes_needed(
    spread: Spread, quantity: ComparedQuantity, rules: Rules, *, pairs: int, lengths: int
) -> float:
    """Return strokes a condition and putt length that would show the least worth acting on; NaN if unknown.

    By Bonferroni over the quantities: a little more than the step-down test needs.
    """
    levels: Levels = rules.levels
    level = levels.quantities / (pairs * len(rules.quantities))
    by_power = strokes_for_power(
        quantity.worthwhile, spread.sd, level=level, power=levels.power, lengths=lengths
    )
    by_permutation = strokes_for_permutation(levels.quantities / pairs, lengths, levels.fewest_strokes)
    return max(by_power, float(by_permutation)) if not np.isnan(by_power) else by_power


def _observed(table: StrokeTable, is_first: BoolArray) -> StratifiedDifference:
    return stratified_difference(table.values, table.sds, table.putt_length_m, is_first[None, :])


def _differences(table: StrokeTable, is_first: BoolArray, length: float | None) -> tuple[Difference, ...]:
    observed = _observed(table, is_first)
    # second minus (minus first): the sum of the means, with the same weights and the same standard error
    mirrored = np.where(is_first[:, None], -table.values, table.values)
    sums = stratified_difference(mirrored, table.sds, table.putt_length_m, is_first[None, :]).difference[0]
    half = observed.half_width()[0]
    shared = table.shared_scale(is_first)
    halves = (np.hypot(half, INTERVAL_SDS * each) for each in (shared.of_difference, shared.of_sum))
    width_of_difference, width_of_sum = (each.tolist() for each in halves)
    scale_sds = np.linalg.norm(shared.null, axis=0).tolist()
    out = []
    for column, value in enumerate(observed.difference[0].tolist()):
        total = float(sums[column])
        width, sum_width = width_of_difference[column], width_of_sum[column]
        within_sd = float(observed.within_sd[0, column])
        out.append(
            Difference(
                putt_length_m=length,
                first_mean=(total - value) / 2,
                second_mean=(total + value) / 2,
                value=value,
                interval=Interval(value - width, value + width),
                sum_interval=Interval(total - sum_width, total + sum_width),
                within_sd=within_sd,
                scale_sd=scale_sds[column],
                effect=hedges_g(
                    value,
                    within_sd,
                    inverse_n=float(observed.inverse_n[0, column]),
                    df=float(observed.within_df[0, column]),
                ),
            )
        )
    return tuple(out)
