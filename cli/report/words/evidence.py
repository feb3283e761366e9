"""Reading the evidence: a plain sentence for each thing that a lesson's numbers say."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.words.numbers import (
    called,
    capital,
    held,
    listed,
    phase,
    place,
    probability,
    putt,
    shown,
    shown_difference,
    size,
    span,
)
from pennyfall.kinematics.lesson.comparison import PairComparison, QuantityComparison
from pennyfall.kinematics.lesson.condition_summary import ConditionSummary, QuantitySummary
from pennyfall.kinematics.lesson.profile_comparison import DifferingStretch
from pennyfall.kinematics.lesson.rules import Rules
from pennyfall.kinematics.lesson.verdict import LessonComparison


@dataclass(frozen=True, kw_only=True, slots=True)
class Sentence:
    """A plain sentence."""

    main: str
    """What it says."""
    detail: str = ""
    """A second sentence with what stands behind it, such as the difference at each putt length."""
    kind: Literal["claim", "no claim", "too few", "condition"]
    """'claim': a difference is claimed; 'no claim': it is not; 'too few': how many strokes to film;
    'condition': what one condition looks like at one putt length."""
    quantity: str = ""
    """What a claim is about, by its name in the measurement file; empty for any other."""

    @property
    def text(self) -> str:
        """The whole of it."""
        return f"{self.main} {self.detail}" if self.detail else self.main

    @property
    def claim(self) -> bool:
        """Whether it claims a difference."""
        return self.kind == "claim"


def lesson_sentences(lesson: LessonComparison) -> tuple[Sentence, ...]:
    """Say what the numbers of a lesson say, the claims first, each condition by itself last."""
    said = [sentence for pair in lesson.pairs for sentence in read_pair(pair, lesson.rules)]
    said.sort(key=lambda each: not each.claim)
    return (*said, *read_conditions(lesson.summaries, lesson.rules))


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
    what, pooled = quantity(each.quantity.name), each.pooled
    change = shown_difference(what, pooled.value, pooled.interval)
    before, after = shown(what, pooled.first_mean), shown(what, pooled.second_mean)
    if what.place_of:
        moved = f"{quantity(what.place_of).label} moved"
        places = place(pooled.first_mean), place(pooled.second_mean)
        if places[0] == places[1]:
            text = f"{moved} from {before} to {after} of the forward swing"
        else:
            text = f"{moved} from {places[0]} ({before} of the forward swing) to {places[1]} ({after})"
    else:
        text = f"{what.label} {'rose' if pooled.value > 0 else 'fell'} from {before} to {after}"
    return Sentence(
        main=f"With {pair.second}, {text}, by {change}.",
        detail=_at_each_length(each),
        kind="claim",
        quantity=each.quantity.name,
    )


def _at_each_length(each: QuantityComparison) -> str:
    if len(each.by_length) < 2:
        return ""
    sign = math.copysign(1.0, each.pooled.value)
    parts = [
        f"at {putt(d.putt_length_m or 0.0)} {'' if sign * d.value > 0 else 'the other way '}"
        f"by {shown_difference(quantity(each.quantity.name), d.value, d.interval)}"
        for d in each.by_length
    ]
    return f"{capital(listed(parts))}."


def _stretch(pair: PairComparison, each: DifferingStretch) -> Sentence:
    more = "more" if each.difference_mps2 > 0 else "less"
    text = (
        f"With {pair.second}, the head was accelerated {more} toward the target from "
        f"{phase(each.from_phase)} to {phase(each.to_phase)}, by "
        f"{abs(each.difference_mps2):.1f} m/s² on average (the whole profiles differ, "
        f"{probability(each.p_adjusted)}; where the stretch begins and ends is an estimate)."
    )
    return Sentence(main=text, kind="claim")


def _nothing(pair: PairComparison) -> Sentence:
    smallest = min(
        (each.p_adjusted for each in pair.quantities if not math.isnan(each.p_adjusted)), default=1.0
    )
    text = (
        f"Between {pair.first} and {pair.second} nothing changed by more than chance explains "
        f"(smallest corrected {probability(smallest)})."
    )
    return Sentence(main=text, kind="no claim")


def _no_claim(pair: PairComparison, each: QuantityComparison) -> Sentence:
    what, pooled = quantity(each.quantity.name), each.pooled
    measured = (
        f"{called(what)} differed by {shown_difference(what, pooled.value, pooled.interval)} between "
        f"{pair.first} and {pair.second}"
    )
    worthwhile = size(what, each.quantity.worthwhile)
    if pooled.interval.within(each.quantity.worthwhile):
        text = f"{capital(measured)}: any difference is smaller than {worthwhile}, the least worth acting on."
    else:
        text = f"{capital(measured)}: no claim. {_to_film(pair, each, worthwhile)}"
    return Sentence(main=text, kind="no claim")


def _to_film(pair: PairComparison, each: QuantityComparison, worthwhile: str) -> str:
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
    return Sentence(main=text, kind="too few")


def _left_out(pair: PairComparison) -> Sentence:
    counts = listed(
        [f"{first} against {second} at {putt(length)}" for length, first, second in pair.left_out]
    )
    text = f"Left out for too few strokes of {pair.first} and {pair.second}: {counts}."
    return Sentence(main=text, kind="too few")


def _condition(summary: ConditionSummary, each: QuantitySummary) -> Sentence:
    what, spread = quantity(each.quantity.name), each.scatter
    text = (
        f"{capital(summary.condition)} at {putt(summary.putt_length_m)}: {what.label} "
        f"{shown(what, spread.mean)} (95 %: {span(what, held(what, spread.mean_interval))}){_standing(each)}."
    )
    scattered = (
        f"Own scatter {shown(what, spread.own_sd)} (95 %: {span(what, spread.own_sd_interval)}) "
        f"beside a measurement error of {shown(what, spread.measurement_sd)}, {spread.strokes} strokes."
    )
    return Sentence(main=text, detail=scattered, kind="condition")


_STANDS = {
    "inside": "inside",
    "below": "below",
    "above": "above",
    "cannot tell": "not surely inside or outside",
}


def _standing(each: QuantitySummary) -> str:
    if each.band is None or each.standing is None:
        return ""
    band = span(quantity(each.quantity.name), (each.band.low, each.band.high))
    return f", {_STANDS[each.standing]} the reference band, {band} ({each.band.source})"
