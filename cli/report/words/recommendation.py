"""What a lesson prescribes, why, and what would change that, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.words.numbers import called, listed, putt, shown, shown_difference, size
from pennyfall.kinematics.lesson.recommendation import OpenQuestion, Reason, Recommendation
from pennyfall.kinematics.lesson.verdict import LessonComparison


def verdict(found: Recommendation) -> str:
    """Return what to prescribe, or that nothing is."""
    if found.condition is None:
        return "No prescription"
    return f"Prescribe {found.condition} for putts of {listed([putt(each) for each in found.putt_lengths_m])}"


def because(lesson: LessonComparison) -> str:
    """Return why, to be read on after the verdict."""
    found = lesson.recommendation
    if found.condition is not None:
        return listed([_said(each) for each in found.grounds])
    if not any(pair.enough for pair in lesson.pairs):
        return "there are too few strokes to claim anything"
    deciding = [each for each in found.reasons if each.rule.decides]
    if not deciding:
        return "no difference that the rules go by can be claimed"
    said = listed([f"{each.rule.name!r} speaks for {each.favours} over {each.over}" for each in deciding])
    return f"the rules do not single out one condition ({said})"


def would_change(found: Recommendation) -> tuple[str, ...]:
    """Return what would change the verdict, a sentence each.

    Of what more strokes could settle, the soonest stands in what is still to film (`still_to_film`).
    """
    if found.condition is None:
        by_pair: dict[tuple[str, str], list[OpenQuestion]] = {}
        for each in sorted(found.open_questions, key=lambda one: one.comparison.strokes_needed):
            by_pair.setdefault((each.pair.first, each.pair.second), []).append(each)
        return tuple(_would_decide(each) for later in by_pair.values() for each in later[1:])
    return tuple(_would_overturn(found.condition, found))


def practice_left_out(lesson: LessonComparison) -> str:
    """Say how many strokes without a ball were left out; nothing where none was."""
    count = lesson.practice_left_out
    if not count:
        return ""
    strokes = "1 practice stroke is" if count == 1 else f"{count} practice strokes are"
    return f"{strokes} left out of the comparison: other strokes of the lesson were made with a ball."


def _said(reason: Reason) -> str:
    what, pooled = quantity(reason.rule.quantity), reason.comparison.pooled
    return (
        f"{called(what)} is {shown(what, reason.favoured_mean)} against {shown(what, reason.other_mean)} "
        f"with {reason.over}, apart by {shown_difference(what, pooled.value, pooled.interval)}"
    )


def _would_overturn(condition: str, found: Recommendation) -> Iterator[str]:
    for each in found.grounds:
        what = quantity(each.rule.quantity)
        yield (
            f"A later lesson in which {each.over} comes as close to {shown(what, each.rule.target)} in "
            f"{called(what)} as {condition}, or closer; with as many strokes, a change of "
            f"{size(what, each.comparison.mean_mdc)} could be believed."
        )
        yield f"Thinking otherwise of the rule {each.rule.name!r}: {each.rule.because}."
    for each in found.reasons:
        if not each.rule.decides and each.over == condition:
            rule = f"the rule {each.rule.name!r} decide"
            yield f"Letting {rule}: it speaks for {each.favours}, as {_said(each)}."
    if found.unequal_counts:
        yield (
            "As many strokes of each condition: with unequal counts a condition that only scatters more can "
            "look like one that differs."
        )
    yield (
        "The conditions filmed in turns: filmed one after the other, warming up or tiring looks like a "
        "difference."
    )


def _would_decide(question: OpenQuestion) -> str:
    pair, each = question.pair, question.comparison
    what = quantity(each.quantity.name)
    return (
        f"A difference in {called(what)} between {pair.first} and {pair.second}: about "
        f"{int(each.strokes_needed)} strokes of each at each putt length would show one of "
        f"{size(what, each.quantity.worthwhile)}."
    )
