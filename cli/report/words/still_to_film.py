"""How many strokes to film: said before a lesson, and counted down while it fills."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.words.numbers import called, listed, putt, size
from pennyfall.kinematics.lesson.comparison import PairComparison, QuantityComparison, strokes_needed
from pennyfall.kinematics.lesson.condition_summary import ConditionSummary
from pennyfall.kinematics.lesson.power import strokes_for_permutation
from pennyfall.kinematics.lesson.rules import ComparedQuantity, Levels, Rules, standard_rules
from pennyfall.kinematics.lesson.scatter import Spread
from pennyfall.kinematics.lesson.verdict import LessonComparison

GUIDE_DF = 6
"""Chosen by us: the scatter of four strokes of each of two versions tells how many are needed; that of two or
three is no guide."""

Missing = dict[tuple[str, float], int]
"""Strokes still to film, by version and putt length [m]."""


def before_filming() -> str:
    """Say how many strokes a lesson needs before anything can be claimed."""
    levels = standard_rules().levels
    one, two = _to_claim(levels, 1), _to_claim(levels, 2)
    return (
        f"Film at least {one} strokes of each version at one putt length, or {two} at each of two, in turns "
        "(A B A B): from fewer nothing can be claimed."
    )


def still_to_film(
    summaries: Sequence[ConditionSummary],
    lesson: LessonComparison | None,
    earlier: Mapping[str, Spread] | None = None,
) -> str:
    """Say how many strokes of which version are missing at which putt length; nothing where none is.

    At least the fewest that can claim anything; as many as this student's own scatter asks for, to see what
    the deciding rules go by, where enough strokes tell that scatter, those of earlier lessons included.

    Parameters
    ----------
    summaries : sequence of ConditionSummary
        Each version at each putt length.
    lesson : LessonComparison or None
        Their comparison, which knows the earlier lessons; None where there is but one version.
    earlier : mapping, optional
        How much the student's strokes varied in earlier lessons, by quantity.

    """
    missing: Missing = {}
    soonest: list[ComparedQuantity] = []
    found = [_of_one_version(summaries, earlier or {})] if lesson is None else []
    found += [_of_pair(pair, lesson.rules) for pair in lesson.pairs] if lesson else []
    for places, decides in found:
        soonest += [decides] if decides else []
        for place, more in places.items():
            missing[place] = max(more, missing.get(place, 0))
    if not missing:
        return ""
    said = f"Still to film, in turns: {listed(_counted(missing))}."
    return f"{said} {_why(soonest[0] if soonest else None, earlier=bool(earlier))}"


def _counted(missing: Missing) -> list[str]:
    """Return the strokes missing, put together where a length lacks as many of every version."""
    versions = {name for name, _ in missing}
    said = []
    for length in dict.fromkeys(length for _, length in missing):
        here = {name: more for (name, at), more in missing.items() if at == length}
        if len(versions) > 1 and here.keys() == versions and len(set(here.values())) == 1:
            here = {"each": next(iter(here.values()))}
        said += [f"{more} more of {name} at {putt(length)}" for name, more in here.items()]
    return said


def _of_one_version(
    summaries: Sequence[ConditionSummary], earlier: Mapping[str, Spread]
) -> tuple[Missing, ComparedQuantity | None]:
    have = {
        (each.condition, each.putt_length_m): max(one.scatter.strokes for one in each.quantities)
        for each in summaries
    }
    rules, lengths = standard_rules(), max(len(have), 1)
    told = [
        (strokes_needed(spread, each, rules, pairs=1, lengths=lengths), each)
        for each in rules.quantities
        if each.name in _deciding_names(rules)
        and (spread := _spread(summaries, each.name, earlier)).df >= GUIDE_DF
    ]
    by_scatter, soonest = min(told, key=lambda each: each[0], default=(math.inf, None))
    needed = _to_claim(rules.levels, lengths)
    if math.isfinite(by_scatter):
        needed = max(needed, int(by_scatter))
    missing = {
        (f'"{name}"', length): needed - strokes
        for (name, length), strokes in have.items()
        if strokes < needed
    }
    missing |= {("a second version", length): needed for _, length in have}
    return missing, soonest if math.isfinite(by_scatter) else None


def _spread(summaries: Sequence[ConditionSummary], name: str, earlier: Mapping[str, Spread]) -> Spread:
    """Return how much a quantity varies over all there is."""
    spread = earlier.get(name, Spread(variance=math.nan, df=0))
    for each in (summary.quantity(name).scatter for summary in summaries):
        spread = spread.with_more(Spread(variance=each.sd**2, df=max(each.strokes - 1, 0)))
    return spread


def _of_pair(pair: PairComparison, rules: Rules) -> tuple[Missing, ComparedQuantity | None]:
    deciding = [each for each in pair.quantities if each.quantity.name in _deciding_names(rules)]
    if any(each.claimed for each in deciding):
        return {}, None
    needed = 0 if pair.enough else pair.strokes_to_claim
    soonest = _soonest(deciding)
    if soonest:
        needed = max(needed, int(soonest.strokes_needed))
    counts = dict(zip(pair.putt_lengths_m, pair.strokes, strict=True))
    if not counts:  # never at the same length: go on where there is most
        length, *most = max(pair.left_out, key=lambda each: each[1] + each[2])
        counts = {length: (most[0], most[1])}
    missing = {
        (f'"{name}"', length): needed - strokes
        for length, both in counts.items()
        for name, strokes in zip((pair.first, pair.second), both, strict=True)
        if strokes < needed
    }
    return missing, soonest.quantity if soonest else None


def _deciding_names(rules: Rules) -> set[str]:
    return {rule.quantity for rule in rules.rules if rule.decides}


def _soonest(deciding: Sequence[QuantityComparison]) -> QuantityComparison | None:
    """Return what will be told first of what is neither claimed nor known to be too small to matter."""
    undecided = [
        each
        for each in deciding
        if each.spread.df >= GUIDE_DF
        and math.isfinite(each.strokes_needed)
        and not each.pooled.interval.within(each.quantity.worthwhile)
    ]
    return min(undecided, key=lambda each: each.strokes_needed, default=None)


def _why(decides: ComparedQuantity | None, *, earlier: bool) -> str:
    if decides is None:
        return "From fewer nothing can be claimed."
    what = quantity(decides.name)
    return (
        f"By this student's own scatter{', in earlier lessons too' if earlier else ''}, a difference of "
        f"{size(what, decides.worthwhile)} in {called(what)} would then probably show."
    )


def _to_claim(levels: Levels, lengths: int) -> int:
    return strokes_for_permutation(levels.quantities, lengths, levels.fewest_strokes)
