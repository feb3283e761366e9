"""From numbers to sentences and a recommendation: nothing without its number, nothing beyond the data."""

from __future__ import annotations

import copy
import dataclasses
import math
import re
import tomllib
from importlib import resources
from typing import Any

import numpy as np
import pytest

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.lesson.reference_bands import reference_bands_from, standard_reference_bands
from pennyfall.kinematics.lesson.rules import Quantity, Rules, rules_from, standard_rules
from pennyfall.kinematics.lesson.stroke_table import stroke_table
from pennyfall.kinematics.lesson.verdict import LessonComparison, compare_conditions
from pennyfall.kinematics.lesson.wording import place, putt, shown, shown_difference
from pennyfall.kinematics.values import Estimate
from tests.kinematics.lesson_strokes import Habit, Lesson, drawn_lesson, drawn_stroke

KEPT_ON = Habit(peak_acceleration_share=0.92, acceleration_at_impact_mps2=3.1)
"""A push just before impact."""


@pytest.fixture
def strong(generator: np.random.Generator) -> Lesson:
    """Three strokes a condition at two lengths: peak from 10 % to 92 %, 2.6 m/s^2 more at impact."""
    return drawn_lesson(generator, {"coin let go": Habit(), "coin kept on": KEPT_ON}, strokes=3)


def _table(name: str) -> dict[str, Any]:
    return tomllib.loads(
        resources.files("pennyfall.kinematics.lesson").joinpath(name).read_text(encoding="utf-8")
    )


def _texts(lesson: LessonComparison, kind: str) -> list[str]:
    return [each.text for each in lesson.sentences if each.kind == kind]


def test_a_strong_lesson_says_what_moved_and_by_how_much(strong: Lesson) -> None:
    claims = _texts(compare_conditions(strong), "claim")
    moved = next(each for each in claims if "moved" in each)
    assert re.match(
        r"With coin kept on, peak acceleration moved from the top \(\d+ % of the forward swing\) to "
        r"just before impact \(\d+ %\), by \d+ percentage points \(95 %: \d+ to \d+\)",
        moved,
    )
    rose = next(each for each in claims if "acceleration at impact rose" in each)
    found = re.search(
        r"rose from (\S+) m/s\^2 to (\S+) m/s\^2, by (\S+) m/s\^2 \(95 %: (\S+) to (\S+)\)", rose
    )
    assert found is not None
    before, after, change, low, high = map(float, found.groups())
    assert after - before == pytest.approx(change, abs=0.11)  # each is rounded to 0.1
    assert low < 2.6 < high


def test_every_sentence_rests_on_numbers_that_it_shows(strong: Lesson) -> None:
    lesson = compare_conditions(strong)
    assert lesson.sentences
    for sentence in lesson.sentences:
        assert sentence.numbers
        assert all(math.isfinite(number.value) for number in sentence.numbers)
    for sentence in lesson.sentences:
        if sentence.claim and "stretch" not in sentence.text:
            name = sentence.numbers[0].name.removeprefix("difference in ")
            quantity = lesson.rules.quantity(name)
            assert shown(quantity, abs(sentence.numbers[0].value), unit=False) in sentence.text
            assert sentence.numbers[0].p <= lesson.rules.levels.quantities
            assert sentence.numbers[0].strokes == 12


def test_the_condition_closer_to_the_rules_targets_is_prescribed(strong: Lesson) -> None:
    found = compare_conditions(strong).recommendation
    assert found.condition == "coin let go"
    assert found.putt_lengths_m == (1.83, 3.66)
    assert {each.rule.name for each in found.reasons if each.rule.decides} == {
        "no push at impact",
        "peak at the top",
    }
    assert any("coin kept on comes as close to 0.0 m/s^2" in each for each in found.would_change)
    assert any("common practice, no source" in each for each in found.would_change)


def test_a_coach_who_changes_the_targets_changes_the_prescription(strong: Lesson) -> None:
    table = _table("rules.toml")
    for rule in table["rule"]:
        rule["target"] = {"no push at impact": 3.5, "peak at the top": 0.95}.get(rule["name"], rule["target"])
    assert compare_conditions(strong, rules=rules_from(table)).recommendation.condition == "coin kept on"


def test_rules_that_disagree_prescribe_nothing_and_say_so(strong: Lesson) -> None:
    table = _table("rules.toml")
    table["rule"][0]["target"] = 3.5
    found = compare_conditions(strong, rules=rules_from(table)).recommendation
    assert found.condition is None
    assert "'no push at impact' speaks for coin kept on" in found.text
    assert "'peak at the top' speaks for coin let go" in found.text


def test_two_conditions_on_either_side_of_the_target_are_not_ranked(generator: np.random.Generator) -> None:
    """Means over the last 20 ms of -2 and +2 (0.2 above those at impact): as far from zero as each other."""
    habits = {
        "braked": Habit(acceleration_at_impact_mps2=-2.2),
        "pushed": Habit(acceleration_at_impact_mps2=1.8),
    }
    lesson = compare_conditions(drawn_lesson(generator, habits, strokes=4))
    assert lesson.pairs[0].quantity("acceleration_before_impact_mps2").claimed
    assert not any(each.rule.name == "no push at impact" for each in lesson.recommendation.reasons)


def test_an_effect_of_opposite_sign_at_one_length_is_not_prescribed_there(
    generator: np.random.Generator,
) -> None:
    lesson = drawn_lesson(generator, {"coin let go": Habit(), "coin kept on": KEPT_ON}, strokes=5)
    earlier = Habit(peak_acceleration_share=-0.3, acceleration_at_impact_mps2=0.3)
    lesson["coin kept on"][1.83] = [drawn_stroke(generator, earlier) for _ in range(5)]
    compared = compare_conditions(lesson)
    (short, long) = compared.pairs[0].quantity("peak_acceleration_share").by_length
    assert short.value < 0 < long.value
    assert compared.recommendation.condition == "coin let go"
    assert compared.recommendation.putt_lengths_m == (3.66,)


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
    assert lesson.recommendation.text == "No prescription: there are too few strokes to claim anything."
    assert "4 strokes of coin let go" in lesson.recommendation.would_change[0]


def test_four_strokes_at_one_length_can_claim(generator: np.random.Generator) -> None:
    habits = {"coin let go": Habit(), "coin kept on": KEPT_ON}
    lesson = compare_conditions(drawn_lesson(generator, habits, strokes=4, lengths_m=(3.66,)))
    assert lesson.pairs[0].smallest_p == pytest.approx(2 / 70)
    assert lesson.recommendation.condition == "coin let go"


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
    assert any(f"about {found[2]} strokes" in each for each in lesson.recommendation.would_change)


def test_conditions_filmed_at_different_lengths_are_not_compared(generator: np.random.Generator) -> None:
    both = drawn_lesson(generator, {"a": Habit(), "b": KEPT_ON}, strokes=5)
    lesson = compare_conditions({"a": {1.83: both["a"][1.83]}, "b": {3.66: both["b"][3.66]}})
    assert _texts(lesson, "claim") == []
    assert "not filmed at the same putt length" in _texts(lesson, "too few")[0]


def test_a_length_with_too_few_strokes_is_left_out_and_named(strong: Lesson) -> None:
    strong["coin kept on"][5.0] = strong["coin kept on"][3.66][:1]
    lesson = compare_conditions(strong)
    assert lesson.pairs[0].putt_lengths_m == (1.83, 3.66)
    assert any("0 against 1 at 5.00 m (16 ft)" in each for each in _texts(lesson, "too few"))


def test_a_quantity_missing_everywhere_claims_nothing_and_breaks_nothing(strong: Lesson) -> None:
    gone: Lesson = {
        condition: {
            length: [dataclasses.replace(each, tempo_ratio=Estimate.missing()) for each in strokes]
            for length, strokes in lengths.items()
        }
        for condition, lengths in strong.items()
    }
    lesson = compare_conditions(gone)
    tempo = lesson.pairs[0].quantity("tempo_ratio")
    assert not tempo.claimed
    assert math.isnan(tempo.pooled.value)
    assert math.isnan(tempo.p_adjusted)
    assert lesson.recommendation.condition == "coin let go"


def test_practice_strokes_are_left_out_where_others_have_a_ball(strong: Lesson) -> None:
    one = strong["coin let go"][3.66][0]
    strong["coin let go"][3.66].append(dataclasses.replace(one, practice=True))
    lesson = compare_conditions(strong)
    assert lesson.practice_left_out == 1
    assert lesson.pairs[0].strokes == ((3, 3), (3, 3))


def test_three_conditions_share_the_level_among_their_pairs(generator: np.random.Generator) -> None:
    habits = {"coin let go": Habit(), "coin kept on": KEPT_ON, "eyes closed": KEPT_ON}
    lesson = compare_conditions(drawn_lesson(generator, habits, strokes=4))
    assert [(each.first, each.second) for each in lesson.pairs] == [
        ("coin let go", "coin kept on"),
        ("coin let go", "eyes closed"),
        ("coin kept on", "eyes closed"),
    ]
    assert lesson.pairs[0].smallest_p == pytest.approx(3 * 2 / 70**2)
    assert lesson.recommendation.condition == "coin let go"


def test_swapping_the_conditions_turns_every_difference_round(strong: Lesson) -> None:
    forward = compare_conditions(strong).pairs[0]
    backward = compare_conditions(dict(reversed(strong.items()))).pairs[0]
    for there, back in zip(forward.quantities, backward.quantities, strict=True):
        assert back.pooled.value == pytest.approx(-there.pooled.value)
        assert back.p_adjusted == pytest.approx(there.p_adjusted)
        assert back.claimed == there.claimed


def test_the_lesson_put_in_is_not_changed(strong: Lesson) -> None:
    before = copy.deepcopy(
        {c: {x: [s.tempo_ratio for s in m] for x, m in n.items()} for c, n in strong.items()}
    )
    compare_conditions(strong)
    assert {c: {x: [s.tempo_ratio for s in m] for x, m in n.items()} for c, n in strong.items()} == before


def test_one_condition_is_refused(strong: Lesson) -> None:
    with pytest.raises(CannotMeasure, match="at least two conditions; there is 1") as caught:
        compare_conditions({"coin let go": strong["coin let go"]})
    assert "second version" in caught.value.fix


def test_a_condition_without_strokes_is_refused(strong: Lesson) -> None:
    with pytest.raises(CannotMeasure, match="'eyes closed' has no measured stroke") as caught:
        compare_conditions({**strong, "eyes closed": {3.66: []}})
    assert "take the condition out" in caught.value.fix


def test_unequal_counts_are_owned_up_to(strong: Lesson) -> None:
    equal = compare_conditions(strong).recommendation.would_change
    strong["coin let go"][3.66].append(strong["coin let go"][3.66][0])
    unequal = compare_conditions(strong).recommendation.would_change
    assert not any("unequal counts" in each for each in equal)
    assert any("unequal counts" in each for each in unequal)


def test_a_lesson_without_strokes_has_an_empty_table() -> None:
    table = stroke_table({"coin let go": {3.66: []}}, standard_rules().quantities)
    assert table.values.shape == (0, 10)
    assert table.acceleration_mps2.shape == (0, 201)
    assert table.lengths_m("coin let go") == ()


def test_each_condition_is_set_against_the_bands_that_are_on(strong: Lesson) -> None:
    bands = [dataclasses.replace(each, on=True) for each in standard_reference_bands()]
    lesson = compare_conditions(strong, bands=bands)
    kept_on = next(each for each in lesson.summaries if each.condition == "coin kept on")
    assert kept_on.quantity("peak_acceleration_share").standing == "above"
    said = _texts(lesson, "condition")
    assert any("above the reference band, -25 to 25 (common practice, no source" in each for each in said)


def test_a_band_without_a_source_is_off_and_named_nowhere(strong: Lesson) -> None:
    bands = standard_reference_bands()
    assert not any(each.on for each in bands if "no source" in each.source)
    lesson = compare_conditions(strong)
    assert not any("band" in sentence.text or "good putter" in sentence.text for sentence in lesson.sentences)
    assert {each.band for summary in lesson.summaries for each in summary.quantities} == {None}


def test_every_packaged_band_has_a_source_and_can_be_compared() -> None:
    bands = standard_reference_bands()
    assert len(bands) >= 6
    assert all("no source" in each.source or "Biomech" in each.source for each in bands)


@pytest.mark.parametrize(
    ("interval", "standing"),
    [((1.8, 2.2), "inside"), ((1.0, 1.5), "below"), ((2.4, 2.6), "above"), ((1.5, 2.0), "cannot tell"),
     ((math.nan, math.nan), "cannot tell")],
)  # fmt: skip
def test_an_interval_stands_inside_outside_or_undecided(interval: tuple[float, float], standing: str) -> None:
    tempo = next(each for each in standard_reference_bands() if each.quantity == "tempo_ratio")
    assert tempo.standing(interval) == standing


def test_a_band_applies_only_to_its_putt_lengths() -> None:
    band = {"quantity": "impact_speed_mps", "low": 1.0, "high": 2.0, "source": "the coach"}
    (speed,) = reference_bands_from({"band": [band | {"putt_length_low_m": 3.0}]})
    assert speed.applies_to("impact_speed_mps", 3.66)
    assert not speed.applies_to("impact_speed_mps", 1.83)
    assert not dataclasses.replace(speed, on=False).applies_to("impact_speed_mps", 3.66)


@pytest.mark.parametrize(
    ("change", "message", "fix"),
    [
        ({"low": 3.0}, "runs from 3 to 2.3", "lower end first"),
        ({"source": " "}, "has no source", "common practice, no source"),
        ({"quantity": "swagger"}, "'swagger', which no measurement has", "tempo_ratio"),
        ({"high": "2"}, "not of the right kind", "numbers"),
        ({"colour": "green"}, "does not know 'colour'", "source"),
    ],
)
def test_a_bad_band_is_refused_with_its_remedy(change: dict[str, Any], message: str, fix: str) -> None:
    band = {"quantity": "tempo_ratio", "low": 1.7, "high": 2.3, "source": "a book"}
    with pytest.raises(CannotMeasure, match=re.escape(message)) as caught:
        reference_bands_from({"band": [band | change]})
    assert fix in caught.value.fix


def _broken(change: str) -> dict[str, Any]:
    table = _table("rules.toml")
    if change == "percent":
        table["levels"]["family"] = 5
    elif change == "one stroke":
        table["levels"]["fewest_strokes"] = 1
    elif change == "unlisted":
        table["rule"][0]["quantity"] = "ball_speed_mps"
    elif change == "unknown":
        table["quantity"][0]["name"] = "swagger"
    elif change == "missing":
        del table["rule"][0]["because"]
    elif change == "not a list":
        table["rule"] = {"name": "x"}
    return table


@pytest.mark.parametrize(
    ("change", "message", "fix"),
    [
        ("percent", "shares between 0 and 1", "5 % as 0.05"),
        ("one stroke", "fewest_strokes is 1", "2 or more"),
        ("unlisted", "'ball_speed_mps', which is not among the quantities", "[[quantity]]"),
        ("unknown", "'swagger', which no measurement has", "tempo_ratio"),
        ("missing", "[rule] no push at impact lacks 'because'", "because"),
        ("not a list", "'rule' is not a list of tables", "[[rule]]"),
    ],
)
def test_a_bad_rules_file_is_refused_with_its_remedy(change: str, message: str, fix: str) -> None:
    with pytest.raises(CannotMeasure, match=re.escape(message)) as caught:
        rules_from(_broken(change))
    assert fix in caught.value.fix


def test_the_packaged_rules_look_at_all_they_judge() -> None:
    rules: Rules = standard_rules()
    assert all(rules.quantity(each.quantity).worthwhile > 0 for each in rules.rules)
    assert rules.levels.quantities + rules.levels.profile == pytest.approx(0.05)


PUSH = Quantity(name="x", label="push", unit="m/s^2", factor=1.0, decimals=1, worthwhile=1.0)


def test_a_fall_is_shown_as_a_positive_size_with_its_interval_turned() -> None:
    assert shown_difference(PUSH, -2.6, (-3.2, -2.0)) == "2.6 m/s^2 (95 %: 2.0 to 3.2)"


def test_no_minus_stands_before_zero() -> None:
    assert shown(PUSH, -0.04) == "0.0 m/s^2"


def test_places_and_putts_are_named_as_coaches_do() -> None:
    assert [place(x) for x in (-0.3, 0.04, 0.5, 0.92)] == [
        "before the top",
        "the top",
        "the middle of the forward swing",
        "just before impact",
    ]
    assert putt(3.66) == "3.66 m (12 ft)"
