"""What the scales of a lesson's clips rest on, said where lengths, speeds and accelerations rest on it."""

from __future__ import annotations

from collections.abc import Sequence

from pennyfall.cli.files.lesson_result import LessonResult
from pennyfall.cli.report.words.numbers import capital, listed
from pennyfall.kinematics.lesson.comparison import PairComparison
from pennyfall.kinematics.lesson.set_ups import set_ups_of
from pennyfall.kinematics.lesson.verdict import LessonComparison
from pennyfall.kinematics.values import INTERVAL_SDS, CalibrationFacts

WIDENS = 0.4
"""Chosen by us: the scales' share of an interval's half-width from which it is said: a tenth wider by it."""
RESTS_ON = {
    "sheet": "the printed sheet",
    "head-tag": "the head tag alone",
    "ball": "the ball's size",
    "stated": "a stated length",
}
COUNTS = ("no", "one", "two", "three", "four", "five", "six")
UNTOUCHED = "times and their ratio do not depend on it"


def lesson_scales(result: LessonResult, comparison: LessonComparison | None) -> str:
    """Say what the scales rest on where that decides what may be claimed; nothing in one set-up by the sheet.

    Nothing either where the sheet's set-ups err too little to widen an interval.
    """
    by_condition: dict[str, list[CalibrationFacts]] = {}
    for measured in result.conditions:
        if measured.strokes:
            facts = by_condition.setdefault(measured.condition.name, [])
            facts.extend(stroke.calibration for stroke in measured.strokes)
    vague = {
        name: loose
        for name, facts in by_condition.items()
        if (loose := [each for each in facts if each.source != "sheet"])
    }
    apart = [pair for pair in comparison.pairs if _widened(pair)] if comparison else []
    if not vague and not apart:
        return ""
    every = [each for facts in by_condition.values() for each in facts]
    count = len({each.number for each in set_ups_of(every)})
    filmed = f"filmed in {number_word(count)} set-ups"
    if not vague:
        return (
            f"{capital(_versions(apart))} were {filmed}, whose scales are known to {known_to(every)}: that "
            f"widens what can be said of lengths, speeds and accelerations; {UNTOUCHED}."
        )
    loose = [each for facts in vague.values() for each in facts]
    named = listed([_named(name, len(facts), len(by_condition[name])) for name, facts in vague.items()])
    rests = f"rests on {rests_on([each.source for each in loose])}, known to {known_to(loose)}"
    said = f"The scale of {named} {rests}"
    if apart:
        compared = f"{_versions(apart)}, {filmed}, are compared no better than that"
        return f"{said}; lengths, speeds and accelerations of {compared}; {UNTOUCHED}."
    alike = ", of each version alike" if comparison and count == 1 else ""
    return f"{said}; lengths, speeds and accelerations may be off by as much{alike}; {UNTOUCHED}."


def known_to(facts: Sequence[CalibrationFacts]) -> str:
    """Return how well the vaguest of some scales is known, as in '± 37 %'."""
    return reach(max(each.scale_rel_sd for each in facts))


def reach(rel_sd: float) -> str:
    """Return the half-width of the 95 % interval of a scale in per cent."""
    percent = 100 * INTERVAL_SDS * rel_sd
    return f"± {percent:.{0 if percent >= 2 else 1}f} %"


def number_word(count: int) -> str:
    """Return a small number in letters."""
    return COUNTS[count] if count < len(COUNTS) else str(count)


def rests_on(sources: Sequence[str]) -> str:
    """Return what a scale rests on, in words."""
    return listed([RESTS_ON[each] for each in dict.fromkeys(sources)])


def _widened(pair: PairComparison) -> bool:
    return any(
        INTERVAL_SDS * each.pooled.scale_sd > WIDENS * (high - low) / 2
        for each in pair.quantities
        for low, high in [each.pooled.interval]
    )


def _named(name: str, vague: int, strokes: int) -> str:
    return f'"{name}"' if vague == strokes else f'"{name}" ({vague} of {strokes} strokes)'


def _versions(pairs: Sequence[PairComparison]) -> str:
    names = list(dict.fromkeys(name for pair in pairs for name in (pair.first, pair.second)))
    return "the two versions" if len(names) == 2 else listed([f'"{each}"' for each in names])
