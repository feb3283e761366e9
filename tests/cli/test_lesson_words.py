"""A lesson in sentences: nothing without its number, nothing beyond the data."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from pennyfall.cli.files.putt_length import length_in_ft, length_words
from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.words.evidence import lesson_sentences
from pennyfall.cli.report.words.numbers import held, number, place, putt, shown, shown_difference, size
from pennyfall.cli.report.words.recommendation import because, practice_left_out, verdict, would_change
from pennyfall.cli.report.words.still_to_film import before_filming, still_to_film
from pennyfall.kinematics.lesson.reference_bands import standard_reference_bands
from pennyfall.kinematics.lesson.rules import standard_rules
from pennyfall.kinematics.lesson.scatter import Spread
from pennyfall.kinematics.lesson.verdict import LessonComparison, compare_conditions
from tests.kinematics.lesson_strokes import Habit, Lesson, drawn_lesson

KEPT_ON = Habit(peak_acceleration_share=0.92, acceleration_at_impact_mps2=3.1)
"""A push just before impact."""
AT_IMPACT = quantity("acceleration_at_impact_mps2")


@pytest.fixture
def strong(generator: np.random.Generator) -> Lesson:
    """Three strokes a condition at two lengths: peak from 10 % to 92 %, 2.6 m/s² more at impact."""
    return drawn_lesson(generator, {"coin let go": Habit(), "coin kept on": KEPT_ON}, strokes=3)


def _texts(lesson: LessonComparison, kind: str) -> list[str]:
    return [each.text for each in lesson_sentences(lesson) if each.kind == kind]


def test_a_strong_lesson_says_what_moved_and_by_how_much(strong: Lesson) -> None:
    claims = _texts(compare_conditions(strong), "claim")
    moved = next(each for each in claims if "moved" in each)
    assert re.match(
        r"With coin kept on, peak acceleration moved from the top \(\d+ % of the forward swing\) to "
        r"just before impact \(\d+ %\), by \d+ percentage points \(95 %: \d+ to \d+\)",
        moved,
    )
    rose = next(each for each in claims if "acceleration at impact rose" in each)
    found = re.search(r"rose from (\S+) m/s² to (\S+) m/s², by (\S+) m/s² \(95 %: (\S+) to (\S+)\)", rose)
    assert found is not None
    before, after, change, low, high = map(float, found.groups())
    assert after - before == pytest.approx(change, abs=0.11)  # each is rounded to 0.1
    assert low < 2.6 < high


def test_every_claim_is_one_sentence_with_the_size_of_its_difference(strong: Lesson) -> None:
    lesson = compare_conditions(strong)
    (pair,) = lesson.pairs
    claimed = [each for each in pair.quantities if each.claimed]
    assert claimed
    assert pair.profile is not None
    stretches = [each for each in pair.profile.stretches if each.claimed]
    claims = _texts(lesson, "claim")
    assert len(claims) == len(claimed) + len(stretches)
    for text, each in zip(claims, claimed, strict=False):
        assert each.p_adjusted <= lesson.rules.levels.quantities
        assert number(quantity(each.quantity.name), abs(each.pooled.value)) in text
    assert all("head was accelerated" in text for text in claims[len(claimed) :])
    assert lesson_sentences(lesson)[0].claim


def test_the_verdict_gives_its_reasons_and_what_would_overturn_it(strong: Lesson) -> None:
    lesson = compare_conditions(strong)
    assert verdict(lesson.recommendation) == "Prescribe coin let go for putts of 1.83 m and 3.66 m"
    assert re.match(
        r"acceleration over the last 20 ms before impact is \S+ m/s² against \S+ m/s² with coin kept on, "
        r"apart by .* and the place of peak acceleration is \d+ % against \d+ % with coin kept on",
        because(lesson),
    )
    changes = would_change(lesson.recommendation)
    assert any("coin kept on comes as close to 0.0 m/s²" in each for each in changes)
    assert any("common practice, no source" in each for each in changes)


def test_a_believable_change_of_a_share_is_given_in_percentage_points(strong: Lesson) -> None:
    said = next(
        each for each in would_change(compare_conditions(strong).recommendation) if "place of" in each
    )
    assert re.search(r"a change of \d+ percentage points could be believed", said)


def test_a_size_too_small_for_its_digits_is_no_zero() -> None:
    assert size(quantity("forward_swing_s"), 0.0003) == "under 1 ms"
    assert size(quantity("tempo_ratio"), -0.004) == "under 0.01"
    assert size(quantity("peak_acceleration_share"), 0.12) == "12 percentage points"


def test_the_interval_of_a_place_does_not_pass_impact() -> None:
    assert held(quantity("peak_acceleration_share"), (0.8, 1.12)) == (0.8, 1.0)
    assert held(quantity("tempo_ratio"), (-0.2, 3.0)) == (0.0, 3.0)


def test_rules_that_disagree_are_said_to(strong: Lesson) -> None:
    rules = standard_rules()
    no_push, *others = rules.rules
    contrary = (dataclasses.replace(no_push, target=3.5), *others)
    lesson = compare_conditions(strong, rules=dataclasses.replace(rules, rules=contrary))
    assert verdict(lesson.recommendation) == "No prescription"
    assert "'no push at impact' speaks for coin kept on" in because(lesson)
    assert "'peak at the top' speaks for coin let go" in because(lesson)


def test_practice_strokes_left_out_are_counted(strong: Lesson) -> None:
    assert practice_left_out(compare_conditions(strong)) == ""
    one = strong["coin let go"][3.66][0]
    strong["coin let go"][3.66].append(dataclasses.replace(one, practice=True))
    said = practice_left_out(compare_conditions(strong))
    assert said.startswith("1 practice stroke is left out of the comparison")
    strong["coin kept on"][1.83].append(dataclasses.replace(one, practice=True))
    assert practice_left_out(compare_conditions(strong)).startswith("2 practice strokes are")


def test_a_condition_is_said_to_stand_against_its_band_only_where_one_is_on(strong: Lesson) -> None:
    bands = [dataclasses.replace(each, on=True) for each in standard_reference_bands()]
    said = _texts(compare_conditions(strong, bands=bands), "condition")
    assert any("above the reference band, -25 to 25 (common practice, no source" in each for each in said)
    texts = [each.text for each in lesson_sentences(compare_conditions(strong))]
    assert not any("band" in each or "good putter" in each for each in texts)


def test_a_lesson_without_a_difference_claims_and_prescribes_nothing(generator: np.random.Generator) -> None:
    lesson = compare_conditions(drawn_lesson(generator, {"a": Habit(), "b": Habit()}, strokes=3))
    assert _texts(lesson, "claim") == []
    assert any("nothing changed by more than chance explains" in each for each in _texts(lesson, "no claim"))
    assert lesson.recommendation.condition is None


@pytest.mark.parametrize(("strokes", "more"), [(2, "2 more strokes"), (3, "1 more stroke")])
def test_too_few_strokes_claim_nothing_however_large_the_effect(
    generator: np.random.Generator, strokes: int, more: str
) -> None:
    habits = {"coin let go": Habit(), "coin kept on": KEPT_ON}
    lesson = compare_conditions(drawn_lesson(generator, habits, strokes=strokes, lengths_m=(3.66,)))
    assert _texts(lesson, "claim") == []
    (text,) = _texts(lesson, "too few")
    assert f"film at least {more} of each" in text
    assert verdict(lesson.recommendation) == "No prescription"
    assert because(lesson) == "there are too few strokes to claim anything"
    assert would_change(lesson.recommendation) == (), "what is still to film says it already"


def test_a_noisy_lesson_says_how_many_more_strokes_to_film(generator: np.random.Generator) -> None:
    habits = {"a": Habit(), "b": Habit()}
    lesson = compare_conditions(drawn_lesson(generator, habits, strokes=3, scatter=4.0))
    before = next(
        each for each in _texts(lesson, "no claim") if each.startswith("Acceleration over the last")
    )
    found = re.search(
        r"film about (\d+) more strokes of each at each putt length \(3 now, (\d+) needed\)", before
    )
    assert found is not None
    assert int(found[2]) - 3 == int(found[1]) > 5
    told = [each.comparison for each in lesson.recommendation.open_questions]
    later = sorted(int(each.strokes_needed) for each in told)[1:]
    changes = would_change(lesson.recommendation)
    assert len(told) >= 2
    assert [f"about {each} strokes" in said for each, said in zip(later, changes, strict=True)] == [
        True
    ] * len(later)


def _still(lesson: LessonComparison) -> str:
    return still_to_film(lesson.summaries, lesson)


def test_before_filming_four_of_each_version_are_asked_for_or_three_at_two_lengths() -> None:
    """4 v 4 have 70 arrangements and p down to 2/70 = 0.029, below 0.04; 3 v 3 at two lengths 2/400."""
    said = before_filming()
    assert "at least 4 strokes of each version at one putt length, or 3 at each of two, in turns" in said


def test_a_lesson_that_fills_is_counted_down_by_version_and_length(generator: np.random.Generator) -> None:
    lengths_m = (1.83,)
    drawn = drawn_lesson(
        generator, {"let go": Habit(), "kept on": Habit()}, strokes=4, lengths_m=lengths_m, scatter=0.1
    )
    counts = [(2, 2), (3, 2), (3, 3), (4, 3), (4, 4)]
    said = []
    for first, second in counts:
        few = {
            "let go": {1.83: drawn["let go"][1.83][:first]},
            "kept on": {1.83: drawn["kept on"][1.83][:second]},
        }
        said.append(_still(compare_conditions(few)))
    assert said[0] == (
        "Still to film, in turns: 2 more of each at 1.83 m. From fewer nothing can be claimed."
    )
    assert said[1].startswith(
        'Still to film, in turns: 1 more of "let go" at 1.83 m and 2 more of "kept on" at 1.83 m.'
    )
    assert said[2].startswith("Still to film, in turns: 1 more of each at 1.83 m.")
    assert "let go" not in said[3]
    assert said[4] == "", "steady strokes that do not differ: nothing is left to film"


def test_a_lesson_that_has_its_answer_asks_for_no_more(strong: Lesson) -> None:
    assert _still(compare_conditions(strong)) == ""


def test_a_student_who_scatters_is_asked_for_as_many_as_that_scatter_needs(
    generator: np.random.Generator,
) -> None:
    lesson = compare_conditions(drawn_lesson(generator, {"a": Habit(), "b": Habit()}, strokes=3, scatter=2.0))
    (pair,) = lesson.pairs
    deciding = {rule.quantity for rule in lesson.rules.rules if rule.decides}
    needed = min(each.strokes_needed for each in pair.quantities if each.quantity.name in deciding)
    said = _still(lesson)
    assert pair.enough
    assert needed > pair.strokes_to_claim
    assert said.startswith(f"Still to film, in turns: {needed - 3:.0f} more of each at 1.83 m and ")
    assert "By this student's own scatter, a difference of " in said


def _varied(lesson: LessonComparison, times: float) -> dict[str, Spread]:
    """Return an earlier scatter so many times a lesson's own, from sixty strokes."""
    return {
        each.quantity.name: Spread(variance=(times * each.pooled.within_sd) ** 2, df=60)
        for each in lesson.pairs[0].quantities
    }


def test_the_scatter_of_earlier_lessons_counts_in_what_is_still_to_film(
    generator: np.random.Generator,
) -> None:
    """Two strokes of each are no guide of their own; sixty earlier ones that scattered more are."""
    drawn = drawn_lesson(generator, {"a": Habit(), "b": Habit()}, strokes=2, lengths_m=(1.83,))
    alone = compare_conditions(drawn)
    earlier = _varied(alone, 3.0)
    lesson = compare_conditions(drawn, earlier=earlier)
    said = still_to_film(lesson.summaries, lesson, earlier)
    deciding = {rule.quantity for rule in lesson.rules.rules if rule.decides}
    needed = min(
        each.strokes_needed
        for each in lesson.pairs[0].quantities
        if each.quantity.name in deciding and not each.pooled.interval.within(each.quantity.worthwhile)
    )
    assert _still(alone).startswith("Still to film, in turns: 2 more of each at 1.83 m. From fewer")
    assert needed > 4
    assert said.startswith(
        f"Still to film, in turns: {needed - 2:.0f} more of each at 1.83 m. By this student's own"
    )
    assert "in earlier lessons too, a difference of" in said
    only = [each for each in alone.summaries if each.condition == "a"]
    assert f'{needed - 2:.0f} more of "a" at 1.83 m' in still_to_film(only, None, earlier)
    assert [each.claimed for each in lesson.pairs[0].quantities] == [
        each.claimed for each in alone.pairs[0].quantities
    ]


def test_one_version_alone_is_asked_for_a_second(generator: np.random.Generator) -> None:
    both = compare_conditions(
        drawn_lesson(generator, {"a": Habit(), "b": Habit()}, strokes=2, lengths_m=(1.83,))
    )
    only = [each for each in both.summaries if each.condition == "a"]
    assert still_to_film(only, None).startswith(
        'Still to film, in turns: 2 more of "a" at 1.83 m and 4 more of a second version at 1.83 m.'
    )


def test_versions_filmed_at_different_lengths_are_asked_for_at_one_of_them(
    generator: np.random.Generator,
) -> None:
    both = drawn_lesson(generator, {"a": Habit(), "b": KEPT_ON}, strokes=5)
    lesson = compare_conditions({"a": {1.83: both["a"][1.83]}, "b": {3.66: both["b"][3.66][:3]}})
    assert _still(lesson).startswith('Still to film, in turns: 4 more of "b" at 1.83 m.')


def test_conditions_filmed_at_different_lengths_are_not_compared(generator: np.random.Generator) -> None:
    both = drawn_lesson(generator, {"a": Habit(), "b": KEPT_ON}, strokes=5)
    lesson = compare_conditions({"a": {1.83: both["a"][1.83]}, "b": {3.66: both["b"][3.66]}})
    assert _texts(lesson, "claim") == []
    assert "not filmed at the same putt length" in _texts(lesson, "too few")[0]


def test_a_length_with_too_few_strokes_is_left_out_and_named(strong: Lesson) -> None:
    strong["coin kept on"][5.0] = strong["coin kept on"][3.66][:1]
    lesson = compare_conditions(strong)
    assert lesson.pairs[0].putt_lengths_m == (1.83, 3.66)
    assert any("0 against 1 at 5 m" in each for each in _texts(lesson, "too few"))


def test_unequal_counts_are_owned_up_to(strong: Lesson) -> None:
    equal = would_change(compare_conditions(strong).recommendation)
    strong["coin let go"][3.66].append(strong["coin let go"][3.66][0])
    unequal = would_change(compare_conditions(strong).recommendation)
    assert not any("unequal counts" in each for each in equal)
    assert any("unequal counts" in each for each in unequal)


def test_a_fall_is_shown_as_a_positive_size_with_its_interval_turned() -> None:
    assert shown_difference(AT_IMPACT, -2.6, (-3.2, -2.0)) == "2.6 m/s² (95 %: 2.0 to 3.2)"


def test_the_interval_of_a_difference_does_not_pass_what_two_values_can_differ_by() -> None:
    place_of_peak, lost = quantity("peak_acceleration_share"), quantity("speed_lost_share")
    assert shown_difference(place_of_peak, 0.89, (0.68, 1.10)).endswith("(95 %: 68 to 100)")
    assert shown_difference(place_of_peak, -0.89, (-1.10, 0.05)).endswith("(95 %: -5 to 100)")
    assert shown_difference(lost, 0.2, (-1.4, 1.8)).endswith("(95 %: -100 to 100)")
    assert shown_difference(place_of_peak, 1.17, (0.9, 1.4)).endswith("(95 %: 90 to 117)"), (
        "from before the top"
    )
    assert shown_difference(AT_IMPACT, 2.6, (-30.0, 32.0)).endswith("(95 %: -30.0 to 32.0)")


def test_no_minus_stands_before_zero() -> None:
    assert shown(AT_IMPACT, -0.04) == "0.0 m/s²"


def test_places_and_putts_are_named_as_coaches_do() -> None:
    assert [place(x) for x in (-0.3, 0.04, 0.25, 0.5, 0.7, 0.92)] == [
        "before the top",
        "the top",
        "the first third of the forward swing",
        "the middle of the forward swing",
        "the last third of the forward swing",
        "just before impact",
    ]
    assert putt(12 * 0.3048) == "12 ft"


@pytest.mark.parametrize(
    "typed",
    [
        "6 ft", "2.5 ft", "12 ft", "3 m", "2.5 m", "1.5 m", "10.3 ft", "3.66 m",
        "8.2 ft", "16.4 ft", "12.34 ft", "1.83 m", "3.05 m", "6.1 m", "2.1 m",
    ],
)  # fmt: skip
def test_a_putt_keeps_the_unit_it_was_typed_in(typed: str) -> None:
    kept_ft = length_in_ft(typed)
    assert length_words(kept_ft) == typed
    assert putt(kept_ft * 0.3048) == typed


def test_three_metres_of_an_older_lesson_are_still_three_metres() -> None:
    assert length_words(9.84) == "3 m"
