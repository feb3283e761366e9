"""Which condition to prescribe, by the stated rules and no further than the data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pennyfall.kinematics.lesson.comparison import PairComparison, QuantityComparison
from pennyfall.kinematics.lesson.rules import Rule, Rules


@dataclass(frozen=True, kw_only=True, slots=True)
class Reason:
    """A rule that speaks, in one pair of conditions."""

    rule: Rule
    comparison: QuantityComparison
    """The claim it rests on."""
    favours: str
    favoured_mean: float
    """Mean of the rule's quantity in that condition, SI."""
    over: str
    other_mean: float
    """Mean in the other, SI."""
    putt_lengths_m: tuple[float, ...]
    """Putt lengths at which the difference points the same way [m]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class OpenQuestion:
    """What more strokes could settle, in one pair of conditions that has enough to claim something."""

    pair: PairComparison
    comparison: QuantityComparison
    """Of a deciding rule's quantity."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Recommendation:
    """What to prescribe, why, and what would change it."""

    condition: str | None
    """The condition prescribed; None where the data do not decide."""
    putt_lengths_m: tuple[float, ...]
    """Putt lengths it is prescribed for [m]: filmed, and with every reason pointing the same way."""
    reasons: tuple[Reason, ...]
    """Every rule that speaks."""
    open_questions: tuple[OpenQuestion, ...]
    """What would lead to a prescription; empty where there is one."""
    unequal_counts: bool
    """Whether two conditions have different numbers of strokes at a putt length."""

    @property
    def grounds(self) -> tuple[Reason, ...]:
        """The deciding reasons for the condition prescribed."""
        return _deciding_for(self.condition, self.reasons)


def recommend(conditions: Sequence[str], pairs: Sequence[PairComparison], rules: Rules) -> Recommendation:
    """Apply the rules to the claims.

    A rule speaks in a pair where its quantity's difference is claimed and one condition is surely closer to
    the target. A condition is prescribed when deciding rules speak for it against every other condition and
    none speaks against it, for the putt lengths at which each of those differences points the same way.
    """
    reasons = tuple(
        reason for pair in pairs for rule in rules.rules if (reason := _reason(pair, rule)) is not None
    )
    prescribed, lengths_m = next(
        (
            (condition, lengths_m)
            for condition in conditions
            if (lengths_m := _prescribed_for(condition, conditions, reasons))
        ),
        (None, ()),
    )
    return Recommendation(
        condition=prescribed,
        putt_lengths_m=lengths_m,
        reasons=reasons,
        open_questions=_open_questions(pairs, rules) if prescribed is None else (),
        unequal_counts=any(first != second for pair in pairs for first, second in pair.strokes),
    )


def _reason(pair: PairComparison, rule: Rule) -> Reason | None:
    if not pair.quantities:
        return None
    each = pair.quantity(rule.quantity)
    low, high = (end - 2 * rule.target for end in each.pooled.sum_interval)
    if not each.claimed or low <= 0 <= high:
        return None
    # |second - target|^2 - |first - target|^2 = (second - first)(second + first - 2 target)
    second_closer = each.pooled.value * (low + high) < 0
    means = {pair.first: each.pooled.first_mean, pair.second: each.pooled.second_mean}
    favours, over = (pair.second, pair.first) if second_closer else (pair.first, pair.second)
    same_way = tuple(
        d.putt_length_m
        for d in each.by_length
        if d.putt_length_m is not None and math.copysign(1, d.value) == math.copysign(1, each.pooled.value)
    )
    return Reason(
        rule=rule,
        comparison=each,
        favours=favours,
        favoured_mean=means[favours],
        over=over,
        other_mean=means[over],
        putt_lengths_m=same_way,
    )


def _deciding_for(condition: str | None, reasons: Sequence[Reason]) -> tuple[Reason, ...]:
    return tuple(each for each in reasons if each.rule.decides and each.favours == condition)


def _prescribed_for(
    condition: str, conditions: Sequence[str], reasons: Sequence[Reason]
) -> tuple[float, ...]:
    """Return the putt lengths a condition is prescribed for [m]; empty where it is not."""
    mine = _deciding_for(condition, reasons)
    lost = any(each.rule.decides and each.over == condition for each in reasons)
    if lost or {each.over for each in mine} != set(conditions) - {condition}:
        return ()
    return tuple(sorted(set.intersection(*(set(each.putt_lengths_m) for each in mine))))


def _open_questions(pairs: Sequence[PairComparison], rules: Rules) -> tuple[OpenQuestion, ...]:
    questions = []
    for pair in pairs:
        for rule in rules.rules if pair.enough else ():
            each = pair.quantity(rule.quantity)
            undecided = not each.claimed and not each.pooled.interval.within(each.quantity.worthwhile)
            if rule.decides and undecided and math.isfinite(each.strokes_needed):
                questions.append(OpenQuestion(pair=pair, comparison=each))
    return tuple(questions)
