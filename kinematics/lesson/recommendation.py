"""Which condition to prescribe, by the stated rules and no further than the data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pennyfall.kinematics.lesson.comparison import PairComparison, QuantityComparison
from pennyfall.kinematics.lesson.rules import Rule, Rules
from pennyfall.kinematics.lesson.wording import called, listed, putt, shown, shown_difference


@dataclass(frozen=True, kw_only=True, slots=True)
class Reason:
    """A rule that speaks, in one pair of conditions."""

    rule: Rule
    comparison: QuantityComparison
    """The claim it rests on."""
    favours: str
    over: str
    putt_lengths_m: tuple[float, ...]
    """Putt lengths at which the difference points the same way [m]."""
    text: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Recommendation:
    """What to prescribe, why, and what would change it."""

    condition: str | None
    """The condition prescribed; None where the data do not decide."""
    putt_lengths_m: tuple[float, ...]
    """Putt lengths it is prescribed for [m]: filmed, and with every reason pointing the same way."""
    verdict: str
    """What to prescribe, or that nothing is."""
    because: str
    """Why, to be read on after the verdict."""
    reasons: tuple[Reason, ...]
    """Every rule that speaks, the deciding ones first."""
    would_change: tuple[str, ...]
    """What would change its mind, a sentence each."""

    @property
    def text(self) -> str:
        """Verdict and reason as one sentence."""
        return f"{self.verdict}: {self.because}."


def recommend(conditions: Sequence[str], pairs: Sequence[PairComparison], rules: Rules) -> Recommendation:
    """Apply the rules to the claims.

    A rule speaks in a pair where its quantity's difference is claimed and one condition is surely closer to
    the target. A condition is prescribed when deciding rules speak for it against every other condition and
    none speaks against it, for the putt lengths at which each of those differences points the same way.
    """
    reasons = [
        reason for pair in pairs for rule in rules.rules if (reason := _reason(pair, rule)) is not None
    ]
    reasons.sort(key=lambda each: not each.rule.decides)
    deciding = [each for each in reasons if each.rule.decides]
    for condition in conditions:
        mine = [each for each in deciding if each.favours == condition]
        lost = any(each.over == condition for each in deciding)
        lengths = _common(mine)
        if {each.over for each in mine} == set(conditions) - {condition} and not lost and lengths:
            where = listed([putt(each) for each in lengths])
            return Recommendation(
                condition=condition,
                putt_lengths_m=lengths,
                verdict=f"Prescribe {condition} for putts of {where}",
                because=listed([each.text for each in mine]),
                reasons=tuple(reasons),
                would_change=_would_overturn(condition, mine, reasons, pairs),
            )
    return Recommendation(
        condition=None,
        putt_lengths_m=(),
        verdict="No prescription",
        because=_undecided(pairs, deciding),
        reasons=tuple(reasons),
        would_change=_would_decide(pairs, rules),
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
    quantity = each.quantity
    apart = shown_difference(quantity, each.pooled.value, each.pooled.interval)
    text = (
        f"{called(quantity)} is {shown(quantity, means[favours])} against "
        f"{shown(quantity, means[over])} with {over}, apart by {apart}"
    )
    same_way = tuple(
        d.putt_length_m
        for d in each.by_length
        if d.putt_length_m is not None and math.copysign(1, d.value) == math.copysign(1, each.pooled.value)
    )
    return Reason(
        rule=rule,
        comparison=each,
        favours=favours,
        over=over,
        putt_lengths_m=same_way,
        text=text,
    )


def _common(reasons: Sequence[Reason]) -> tuple[float, ...]:
    if not reasons:
        return ()
    common = set.intersection(*(set(each.putt_lengths_m) for each in reasons))
    return tuple(sorted(common))


def _undecided(pairs: Sequence[PairComparison], deciding: Sequence[Reason]) -> str:
    if not any(pair.enough for pair in pairs):
        return "there are too few strokes to claim anything"
    if not deciding:
        return "no difference that the rules go by can be claimed"
    said = listed([f"{each.rule.name!r} speaks for {each.favours} over {each.over}" for each in deciding])
    return f"the rules do not single out one condition ({said})"


def _would_overturn(
    condition: str, mine: Sequence[Reason], reasons: Sequence[Reason], pairs: Sequence[PairComparison]
) -> tuple[str, ...]:
    changes = []
    for reason in mine:
        each = reason.comparison
        changes.append(
            f"A later lesson in which {reason.over} comes as close to "
            f"{shown(each.quantity, reason.rule.target)} in {called(each.quantity)} as {condition}, or "
            f"closer; with as many strokes, a change of {shown(each.quantity, each.mean_mdc)} could be "
            "believed."
        )
        changes.append(f"Thinking otherwise of the rule {reason.rule.name!r}: {reason.rule.because}.")
    changes += [
        f"Letting the rule {each.rule.name!r} decide: it speaks for {each.favours}, as {each.text}."
        for each in reasons
        if not each.rule.decides and each.over == condition
    ]
    if any(first != second for pair in pairs for first, second in pair.strokes):
        changes.append(
            "As many strokes of each condition: with unequal counts a condition that only scatters more can "
            "look like one that differs."
        )
    changes.append(
        "The conditions filmed in turns: filmed one after the other, warming up or tiring looks like a "
        "difference."
    )
    return tuple(changes)


def _would_decide(pairs: Sequence[PairComparison], rules: Rules) -> tuple[str, ...]:
    changes = []
    for pair in pairs:
        if not pair.enough:
            changes.append(
                f"{pair.strokes_to_claim} strokes of {pair.first} and of {pair.second} at the same putt "
                "lengths: with fewer no claim is possible."
            )
            continue
        for rule in rules.rules:
            each = pair.quantity(rule.quantity)
            open_question = not each.claimed and not each.pooled.interval.within(each.quantity.worthwhile)
            if rule.decides and open_question and math.isfinite(each.strokes_needed):
                changes.append(
                    f"A difference in {called(each.quantity)} between {pair.first} and {pair.second}: about "
                    f"{int(each.strokes_needed)} strokes of each at each putt length would show one of "
                    f"{shown(each.quantity, each.quantity.worthwhile)}."
                )
    return tuple(changes)
