"""Which condition to prescribe, by the stated rules and no further than the data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pennyfall.kinematics.comparison import PairComparison, QuantityComparison
from pennyfall.kinematics.rules import Quantity, Rule, Rules
from pennyfall.kinematics.wording import listed, shown, shown_difference


@dataclass(frozen=True, kw_only=True, slots=True)
class Reason:
    """A rule that speaks, in one pair of conditions."""

    rule: Rule
    favours: str
    over: str
    text: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Recommendation:
    """What to prescribe, why, and what would change it."""

    condition: str | None
    """The condition prescribed; None where the data do not decide."""
    text: str
    """One sentence."""
    reasons: tuple[Reason, ...]
    """Every rule that speaks, the deciding ones first."""
    would_change: tuple[str, ...]
    """What would change its mind, a sentence each."""


def recommend(conditions: Sequence[str], pairs: Sequence[PairComparison], rules: Rules) -> Recommendation:
    """Apply the rules to the claims.

    A rule speaks in a pair where its quantity's difference is claimed and one condition is surely closer to
    the target. A condition is prescribed when deciding rules speak for it against every other condition and
    none speaks against it.
    """
    reasons = [
        reason for pair in pairs for rule in rules.rules if (reason := _reason(pair, rule)) is not None
    ]
    reasons.sort(key=lambda each: not each.rule.decides)
    deciding = [each for each in reasons if each.rule.decides]
    for condition in conditions:
        others = set(conditions) - {condition}
        won = {each.over for each in deciding if each.favours == condition}
        lost = any(each.over == condition for each in deciding)
        if won == others and not lost:
            mine = [each for each in reasons if each.favours == condition and each.rule.decides]
            return Recommendation(
                condition=condition,
                text=f"Prescribe {condition}: {listed([each.text for each in mine])}.",
                reasons=tuple(reasons),
                would_change=_would_overturn(mine, pairs, reasons),
            )
    return Recommendation(
        condition=None,
        text=_undecided(pairs, deciding),
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
    favours, over = (pair.second, pair.first) if second_closer else (pair.first, pair.second)
    near, far = each.pooled.second_mean, each.pooled.first_mean
    if not second_closer:
        near, far = far, near
    quantity = each.quantity
    text = (
        f"{_called(quantity)} is {shown(quantity, near)} with {favours} against {shown(quantity, far)} with {over}, "
        f"a difference of {shown_difference(quantity, each.pooled.value, each.pooled.interval)}, and "
        f"{rule.because}"
    )
    return Reason(rule=rule, favours=favours, over=over, text=text)


def _undecided(pairs: Sequence[PairComparison], deciding: Sequence[Reason]) -> str:
    if not any(pair.enough for pair in pairs):
        return "No prescription: there are too few strokes to claim anything."
    if not deciding:
        return "No prescription: no difference that the rules go by can be claimed."
    said = listed([f"{each.rule.name!r} speaks for {each.favours} over {each.over}" for each in deciding])
    return f"No prescription: the rules do not single out one condition ({said})."


def _would_overturn(
    mine: Sequence[Reason], pairs: Sequence[PairComparison], reasons: Sequence[Reason]
) -> tuple[str, ...]:
    changes = []
    for reason in mine:
        each = _comparison(reason, pairs)
        changes.append(
            f"A later lesson in which {reason.over} comes as close to "
            f"{shown(each.quantity, reason.rule.target)} in {_called(each.quantity)} as {reason.favours}, or "
            f"closer; with as many strokes a change of {shown(each.quantity, each.mean_mdc)} could be believed."
        )
    against = [each for each in reasons if not each.rule.decides and each.over == mine[0].favours]
    changes += [
        f"Letting the rule {each.rule.name!r} decide: it speaks for {each.favours}; {each.text}."
        for each in against
    ]
    return tuple(changes)


def _would_decide(pairs: Sequence[PairComparison], rules: Rules) -> tuple[str, ...]:
    changes = []
    for pair in pairs:
        if not pair.enough:
            changes.append(
                f"{pair.strokes_to_claim} strokes of {pair.first} and of {pair.second} at the same putt lengths: "
                "with fewer no claim is possible."
            )
            continue
        for rule in rules.rules:
            each = pair.quantity(rule.quantity)
            if rule.decides and not each.claimed and each.strokes_needed < float("inf"):
                changes.append(
                    f"A difference in {_called(each.quantity)} between {pair.first} and {pair.second}: about "
                    f"{int(each.strokes_needed)} strokes of each at each putt length would show one of "
                    f"{shown(each.quantity, each.quantity.worthwhile)}."
                )
    return tuple(changes)


def _called(quantity: Quantity) -> str:
    return f"the place of {quantity.label}" if quantity.says == "place" else quantity.label


def _comparison(reason: Reason, pairs: Sequence[PairComparison]) -> QuantityComparison:
    pair = next(each for each in pairs if {each.first, each.second} == {reason.favours, reason.over})
    return pair.quantity(reason.rule.quantity)
