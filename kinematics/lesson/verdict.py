"""A lesson's verdict: its conditions compared, and what to prescribe."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.lesson.comparison import PairComparison, compare_pair
from pennyfall.kinematics.lesson.condition_summary import ConditionSummary, condition_summary
from pennyfall.kinematics.lesson.permutation import DRAWS
from pennyfall.kinematics.lesson.recommendation import Recommendation, recommend
from pennyfall.kinematics.lesson.reference_bands import ReferenceBand, standard_reference_bands
from pennyfall.kinematics.lesson.rules import Rules, standard_rules
from pennyfall.kinematics.lesson.scatter import Spread
from pennyfall.kinematics.lesson.set_ups import SetUps
from pennyfall.kinematics.lesson.stroke_table import Strokes, stroke_table


@dataclass(frozen=True, kw_only=True, slots=True)
class LessonComparison:
    """Everything a lesson says about its conditions."""

    conditions: tuple[str, ...]
    rules: Rules
    summaries: tuple[ConditionSummary, ...]
    """Each condition at each putt length."""
    pairs: tuple[PairComparison, ...]
    """Each two conditions, in the order given."""
    recommendation: Recommendation
    practice_left_out: int
    """Strokes without a ball that were left out because others were made with one."""

    def pair(self, first: str, second: str) -> PairComparison:
        """Return the comparison of two conditions, in the order of `conditions`."""
        return next(each for each in self.pairs if (each.first, each.second) == (first, second))


def compare_conditions(
    conditions: Strokes,
    *,
    rules: Rules | None = None,
    bands: Sequence[ReferenceBand] | None = None,
    set_ups: SetUps | None = None,
    earlier: Mapping[str, Spread] | None = None,
    seed: int = 0,
    draws: int = DRAWS,
) -> LessonComparison:
    """Compare the conditions of a lesson.

    Parameters
    ----------
    conditions : mapping of str to mapping of float to sequence of StrokeMeasures
        Strokes of each condition at each putt length [m]. Differences are later condition minus earlier, so
        name the one the student comes from first.
    rules : Rules, optional
        Quantities, levels and rules of recommendation; `standard_rules()` by default.
    bands : sequence of ReferenceBand, optional
        `standard_reference_bands()` by default.
    set_ups : mapping, optional
        The set-up of each stroke, shaped as `conditions`; without it all are of one, whose scale is known.
    earlier : mapping, optional
        How much the student's strokes varied in earlier lessons, by quantity: with this lesson's own scatter
        it tells how many strokes are needed, and claims nothing.
    seed, draws : int
        Of the random arrangements, used only where there are too many to visit all.

    Returns
    -------
    LessonComparison

    Raises
    ------
    CannotMeasure
        If there are fewer than two conditions, or one has no stroke.

    Notes
    -----
    The family of claims is: every quantity of the rules, all putt lengths put together, and the whole
    profile, for every pair of conditions. A lesson without any difference makes any claim at all with a
    chance of at most `rules.levels.family`: the profile has its share of it, the quantities share the rest by
    the step-down maximum statistic, pairs by Bonferroni. Labels are exchanged within a putt length only.
    Differences at one putt length are given with their intervals and claim nothing.

    With 3 v 3 strokes at one putt length an exact two-sided permutation p cannot fall below 0.1, so nothing
    can be claimed and a fourth stroke is asked for; at two putt lengths there are 20 x 20 arrangements, p can
    fall to 0.005, and claims are possible. A claim never rests on the t distribution alone, whose 5 % at such
    counts would rest on a normality that nobody can check.

    The error of a set-up's scale is common to its strokes. It cancels between conditions filmed in one
    set-up; between two it stays whole, in the interval and in the permutations, which are shifted by errors
    drawn anew.

    What no test can see: a drift over the lesson when one condition is filmed after the other.

    The level is that of a lesson in which the condition changes nothing. Where it changes only how much the
    strokes scatter, equal counts still keep it (3 v 3 with twice the scatter: 5 % of 500 simulated lessons),
    but six steady strokes against three wild ones do not (10 %): film as many of each.

    The same comparison serves two lessons of one student: name the conditions by their dates.

    Examples
    --------
    With lists of strokes of each condition at each putt length:

    >>> lesson = compare_conditions(
    ...     {
    ...         "coin kept on": {1.83: short_kept_on, 3.66: long_kept_on},
    ...         "coin let go": {1.83: short_let_go, 3.66: long_let_go},
    ...     }
    ... )
    >>> lesson.recommendation.condition, lesson.recommendation.putt_lengths_m
    ('coin let go', (1.83, 3.66))

    """
    rules = standard_rules() if rules is None else rules
    bands = standard_reference_bands() if bands is None else bands
    if len(conditions) < 2:
        raise CannotMeasure(
            f"A comparison needs at least two conditions; there is {len(conditions)}.",
            fix="Film the drill in a second version, or look at the strokes one by one.",
        )
    for name, lengths in conditions.items():
        if not any(len(strokes) for strokes in lengths.values()):
            raise CannotMeasure(
                f"The condition {name!r} has no measured stroke.",
                fix="Film it again, or take the condition out of the lesson.",
            )
    table = stroke_table(conditions, rules.quantities, set_ups)
    couples = list(itertools.combinations(conditions, 2))
    pairs = tuple(
        compare_pair(
            table, first, second, rules=rules, pairs=len(couples), seed=seed, draws=draws, earlier=earlier
        )
        for first, second in couples
    )
    summaries = tuple(
        condition_summary(table, condition, length, rules, bands)
        for condition in conditions
        for length in table.lengths_m(condition)
    )
    return LessonComparison(
        conditions=tuple(conditions),
        rules=rules,
        summaries=summaries,
        pairs=pairs,
        recommendation=recommend(tuple(conditions), pairs, rules),
        practice_left_out=table.practice_left_out,
    )
