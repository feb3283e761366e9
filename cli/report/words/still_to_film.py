"""How many strokes to film: said before a lesson, and counted down while it fills."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.words.numbers import called, listed, putt, shown
from pennyfall.kinematics.lesson.comparison import PairComparison, QuantityComparison
from pennyfall.kinematics.lesson.condition_summary import ConditionSummary
from pennyfall.kinematics.lesson.power import strokes_for_permutation
from pennyfall.kinematics.lesson.rules import Levels, Rules, standard_rules
from pennyfall.kinematics.lesson.verdict import LessonComparison

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


def still_to_film(summaries: Sequence[ConditionSummary], lesson: LessonComparison | None) -> str:
    """Say how many strokes of which version are missing at which putt length; nothing where none is.

    Below the fewest that can claim anything, those are asked for: the scatter of two or three strokes is no
    guide. From there on as many as this student's own scatter asks for, to see what the deciding rules go by.

    Parameters
    ----------
    summaries : sequence of ConditionSummary
        Each version at each putt length.
    lesson : LessonComparison or None
        Their comparison; None where there is but one version.

    """
    if lesson is None:
        missing = _of_one_version(summaries)
    else:
        missing = {}
        for pair in lesson.pairs:
            for place, more in _of_pair(pair, lesson.rules).items():
                missing[place] = max(more, missing.get(place, 0))
    if not missing:
        return ""
    return f"Still to film, in turns: {listed(_counted(missing))}. {_why(lesson)}"


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


def _of_one_version(summaries: Sequence[ConditionSummary]) -> Missing:
    have = {
        (each.condition, each.putt_length_m): max(one.scatter.strokes for one in each.quantities)
        for each in summaries
    }
    needed = _to_claim(standard_rules().levels, max(len(have), 1))
    missing = {
        (f'"{name}"', length): needed - strokes
        for (name, length), strokes in have.items()
        if strokes < needed
    }
    return missing | {("a second version", length): needed for _, length in have}


def _of_pair(pair: PairComparison, rules: Rules) -> Missing:
    deciding = _deciding(pair, rules)
    if any(each.claimed for each in deciding):
        return {}
    needed = pair.strokes_to_claim
    if pair.enough:
        needed = max((int(each.strokes_needed) for each in _open(deciding)[:1]), default=0)
    counts = dict(zip(pair.putt_lengths_m, pair.strokes, strict=True))
    if not counts:  # never at the same length: go on where there is most
        length, *most = max(pair.left_out, key=lambda each: each[1] + each[2])
        counts = {length: (most[0], most[1])}
    return {
        (f'"{name}"', length): needed - strokes
        for length, both in counts.items()
        for name, strokes in zip((pair.first, pair.second), both, strict=True)
        if strokes < needed
    }


def _deciding(pair: PairComparison, rules: Rules) -> list[QuantityComparison]:
    names = {rule.quantity for rule in rules.rules if rule.decides}
    return [each for each in pair.quantities if each.quantity.name in names]


def _open(deciding: Sequence[QuantityComparison]) -> list[QuantityComparison]:
    """Return what is neither claimed nor known to be too small to matter, the soonest to be told first."""
    undecided = [
        each
        for each in deciding
        if math.isfinite(each.strokes_needed) and not each.pooled.interval.within(each.quantity.worthwhile)
    ]
    return sorted(undecided, key=lambda each: each.strokes_needed)


def _why(lesson: LessonComparison | None) -> str:
    enough = [pair for pair in lesson.pairs if pair.enough] if lesson else []
    soonest = [each for pair in enough for each in _open(_deciding(pair, lesson.rules))[:1]] if lesson else []
    if not soonest:
        return "From fewer nothing can be claimed."
    what = quantity(soonest[0].quantity.name)
    return (
        f"By this student's own scatter, a difference of {shown(what, soonest[0].quantity.worthwhile)} in "
        f"{called(what)} would then probably show."
    )


def _to_claim(levels: Levels, lengths: int) -> int:
    return strokes_for_permutation(levels.quantities, lengths, levels.fewest_strokes)
