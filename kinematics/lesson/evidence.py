"""Reading the evidence: plain sentences, each with the numbers it rests on."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pennyfall.kinematics.lesson.comparison import Difference, PairComparison, QuantityComparison
from pennyfall.kinematics.lesson.condition_summary import ConditionSummary, QuantitySummary
from pennyfall.kinematics.lesson.profile_comparison import DifferingStretch
from pennyfall.kinematics.lesson.rules import Quantity, Rules
from pennyfall.kinematics.lesson.wording import (
    Number,
    Sentence,
    called,
    capital,
    listed,
    phase,
    place,
    probability,
    putt,
    shown,
    shown_difference,
)


def read_pair(pair: PairComparison, rules: Rules) -> tuple[Sentence, ...]:
    """Say what two conditions differ in; with too few strokes, only how many more to film."""
    if not pair.enough:
        return (_too_few(pair),)
    left_out = [_left_out(pair)] if pair.left_out else []
    claims = [_claim(pair, each) for each in pair.quantities if each.claimed]
    stretches = pair.profile.stretches if pair.profile else ()
    profile = [_stretch(pair, each) for each in stretches if each.claimed]
    decisive = {rule.quantity for rule in rules.rules if rule.decides}
    silent = [
        _no_claim(pair, each)
        for each in pair.quantities
        if not each.claimed and each.quantity.name in decisive and not math.isnan(each.pooled.value)
    ]
    nothing = [] if claims or profile else [_nothing(pair)]
    return (*claims, *profile, *nothing, *silent, *left_out)


def read_conditions(summaries: Sequence[ConditionSummary], rules: Rules) -> tuple[Sentence, ...]:
    """Say where each quantity that a rule is about stands against its band, and how repeatable it is."""
    in_rules = {rule.quantity for rule in rules.rules}
    return tuple(
        _condition(summary, each)
        for summary in summaries
        for each in summary.quantities
        if each.scatter.strokes >= rules.levels.fewest_strokes and each.quantity.name in in_rules
    )


def _claim(pair: PairComparison, each: QuantityComparison) -> Sentence:
    quantity, pooled = each.quantity, each.pooled
    change = shown_difference(quantity, pooled.value, pooled.interval)
    before, after = shown(quantity, pooled.first_mean), shown(quantity, pooled.second_mean)
    places = place(pooled.first_mean), place(pooled.second_mean)
    if quantity.says == "place" and places[0] == places[1]:
        text = (
            f"With {pair.second}, {quantity.label} moved from {before} to {after} of the forward swing, "
            f"by {change}"
        )
    elif quantity.says == "place":
        text = (
            f"With {pair.second}, {quantity.label} moved from {places[0]} ({before} of the "
            f"forward swing) to {places[1]} ({after}), by {change}"
        )
    else:
        verb = "rose" if pooled.value > 0 else "fell"
        text = f"With {pair.second}, {quantity.label} {verb} from {before} to {after}, by {change}"
    numbers = _numbers(pair, each)
    return Sentence(main=f"{text}.", detail=_at_each_length(each), numbers=numbers, kind="claim")


def _at_each_length(each: QuantityComparison) -> str:
    if len(each.by_length) < 2:
        return ""
    sign = math.copysign(1.0, each.pooled.value)
    parts = [
        f"at {putt(d.putt_length_m or 0.0)} {'' if sign * d.value > 0 else 'the other way '}"
        f"by {shown_difference(each.quantity, d.value, d.interval)}"
        for d in each.by_length
    ]
    return f"{capital(listed(parts))}."


def _stretch(pair: PairComparison, each: DifferingStretch) -> Sentence:
    more = "more" if each.difference_mps2 > 0 else "less"
    text = (
        f"With {pair.second}, the head was accelerated {more} toward the target from "
        f"{phase(each.from_phase)} to {phase(each.to_phase)}, by "
        f"{abs(each.difference_mps2):.1f} m/s^2 on average (the whole profiles differ, "
        f"{probability(each.p_adjusted)}; where the stretch begins and ends is an estimate)."
    )
    number = Number(
        name="mean acceleration difference over the stretch",
        value=each.difference_mps2,
        p=each.p_adjusted,
        strokes=_strokes(pair),
    )
    return Sentence(main=text, numbers=(number,), kind="claim")


def _nothing(pair: PairComparison) -> Sentence:
    smallest = min(
        (each.p_adjusted for each in pair.quantities if not math.isnan(each.p_adjusted)), default=1.0
    )
    text = (
        f"Between {pair.first} and {pair.second} nothing changed by more than chance explains "
        f"(smallest corrected {probability(smallest)})."
    )
    number = Number(name="smallest corrected p", value=smallest, p=smallest, strokes=_strokes(pair))
    return Sentence(main=text, numbers=(number,), kind="no claim")


def _no_claim(pair: PairComparison, each: QuantityComparison) -> Sentence:
    quantity, pooled = each.quantity, each.pooled
    worthwhile = shown(quantity, quantity.worthwhile)
    measured = (
        f"{called(quantity)} differed by {shown_difference(quantity, pooled.value, pooled.interval)} between "
        f"{pair.first} and {pair.second}"
    )
    if pooled.interval.within(quantity.worthwhile):
        text = f"{capital(measured)}: any difference is smaller than {worthwhile}, the least worth acting on."
    else:
        text = f"{capital(measured)}: no claim. {_to_film(pair, each)}"
    return Sentence(main=text, numbers=_numbers(pair, each), kind="no claim")


def _to_film(pair: PairComparison, each: QuantityComparison) -> str:
    worthwhile = shown(each.quantity, each.quantity.worthwhile)
    have = min(min(counts) for counts in pair.strokes)
    if math.isinf(each.strokes_needed):
        return f"With this scatter no lesson is long enough to show a change of {worthwhile}."
    more = int(each.strokes_needed) - have
    if more <= 0:
        return f"A change of {worthwhile} would probably have shown with these {have} strokes."
    return (
        f"To see a change of {worthwhile}, film about {more} more strokes of each at each putt length "
        f"({have} now, {int(each.strokes_needed)} needed)."
    )


def _too_few(pair: PairComparison) -> Sentence:
    fewest = min((min(counts) for counts in pair.strokes), default=0)
    if not pair.strokes:
        text = (
            f"{capital(pair.first)} and {pair.second} were not filmed at the same putt length: nothing is "
            f"claimed. Film {pair.strokes_to_claim} strokes of each at one length."
        )
    else:
        counts = listed([
            f"{first} against {second} at {putt(length)}"
            for (first, second), length in zip(pair.strokes, pair.putt_lengths_m, strict=True)
        ])  # fmt: skip
        more = max(1, pair.strokes_to_claim - fewest)
        noun = "stroke" if more == 1 else "strokes"
        where = " at each putt length" if len(pair.strokes) > 1 else ""
        text = (
            f"Too few strokes to claim anything about {pair.first} and {pair.second} ({counts}; the "
            f"smallest p they could give is {pair.smallest_p:.2g}): film at least {more} more {noun} of "
            f"each{where}."
        )
    number = Number(name="smallest p these strokes can give", value=pair.smallest_p, strokes=_strokes(pair))
    needed = Number(name="strokes needed of each", value=pair.strokes_to_claim)
    return Sentence(main=text, numbers=(number, needed), kind="too few")


def _left_out(pair: PairComparison) -> Sentence:
    counts = listed(
        [f"{first} against {second} at {putt(length)}" for length, first, second in pair.left_out]
    )
    text = f"Left out for too few strokes of {pair.first} and {pair.second}: {counts}."
    numbers = tuple(
        Number(name=f"strokes at {putt(length)}", value=first + second)
        for length, first, second in pair.left_out
    )
    return Sentence(main=text, numbers=numbers, kind="too few")


def _condition(summary: ConditionSummary, each: QuantitySummary) -> Sentence:
    quantity, spread = each.quantity, each.scatter
    low, high = spread.mean_interval
    text = (
        f"{capital(summary.condition)} at {putt(summary.putt_length_m)}: {quantity.label} "
        f"{shown(quantity, spread.mean)} (95 %: {_range(quantity, spread.mean_interval)}){_standing(each)}."
    )
    scattered = (
        f"Own scatter {shown(quantity, spread.own_sd)} (95 %: {_range(quantity, spread.own_sd_interval)}) "
        f"beside a measurement error of {shown(quantity, spread.measurement_sd)}, {spread.strokes} strokes."
    )
    numbers = (
        Number(name=f"mean {quantity.name}", value=spread.mean, low=low, high=high, strokes=spread.strokes),
        Number(
            name=f"own scatter of {quantity.name}",
            value=spread.own_sd,
            low=spread.own_sd_interval[0],
            high=spread.own_sd_interval[1],
            strokes=spread.strokes,
        ),
    )
    return Sentence(main=text, detail=scattered, numbers=numbers, kind="condition")


_STANDS = {
    "inside": "inside",
    "below": "below",
    "above": "above",
    "cannot tell": "not surely inside or outside",
}


def _standing(each: QuantitySummary) -> str:
    if each.band is None or each.standing is None:
        return ""
    band = _range(each.quantity, (each.band.low, each.band.high))
    return f", {_STANDS[each.standing]} the reference band, {band} ({each.band.source})"


def _range(quantity: Quantity, ends: tuple[float, float]) -> str:
    return " to ".join(shown(quantity, each, unit=False) for each in ends)


def _numbers(pair: PairComparison, each: QuantityComparison) -> tuple[Number, ...]:
    def number(difference: Difference, name: str, p: float) -> Number:
        return Number(
            name=name,
            value=difference.value,
            low=difference.interval.low,
            high=difference.interval.high,
            p=p,
            strokes=_strokes(pair, difference.putt_length_m),
        )

    name = f"difference in {each.quantity.name}"
    at_lengths = (
        number(difference, f"{name} at {putt(difference.putt_length_m or 0.0)}", math.nan)
        for difference in each.by_length
        if len(each.by_length) > 1
    )
    return (number(each.pooled, name, each.p_adjusted), *at_lengths)


def _strokes(pair: PairComparison, length: float | None = None) -> int:
    counts = zip(pair.putt_lengths_m, pair.strokes, strict=True)
    return sum(sum(both) for each, both in counts if length is None or each == length)
