"""From comparisons to a recommendation: by the stated rules, and nothing beyond the data."""

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
from pennyfall.kinematics.lesson.rules import Rules, rules_from, standard_rules
from pennyfall.kinematics.lesson.stroke_table import stroke_table
from pennyfall.kinematics.lesson.verdict import compare_conditions
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


def test_the_condition_closer_to_the_rules_targets_is_prescribed(strong: Lesson) -> None:
    found = compare_conditions(strong).recommendation
    assert found.condition == "coin let go"
    assert found.putt_lengths_m == (1.83, 3.66)
    assert {each.rule.name for each in found.reasons if each.rule.decides} == {
        "no push at impact",
        "peak at the top",
    }
    assert {each.over for each in found.grounds} == {"coin kept on"}


def test_a_coach_who_changes_the_targets_changes_the_prescription(strong: Lesson) -> None:
    table = _table("rules.toml")
    for rule in table["rule"]:
        rule["target"] = {"no push at impact": 3.5, "peak at the top": 0.95}.get(rule["name"], rule["target"])
    assert compare_conditions(strong, rules=rules_from(table)).recommendation.condition == "coin kept on"


def test_rules_that_disagree_prescribe_nothing(strong: Lesson) -> None:
    table = _table("rules.toml")
    table["rule"][0]["target"] = 3.5
    found = compare_conditions(strong, rules=rules_from(table)).recommendation
    assert found.condition is None
    favoured = {each.rule.name: each.favours for each in found.reasons if each.rule.decides}
    assert favoured == {"no push at impact": "coin kept on", "peak at the top": "coin let go"}


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


def test_four_strokes_at_one_length_can_claim(generator: np.random.Generator) -> None:
    habits = {"coin let go": Habit(), "coin kept on": KEPT_ON}
    lesson = compare_conditions(drawn_lesson(generator, habits, strokes=4, lengths_m=(3.66,)))
    assert lesson.pairs[0].smallest_p == pytest.approx(2 / 70)
    assert lesson.recommendation.condition == "coin let go"


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


def test_a_band_without_a_source_is_off_and_named_nowhere(strong: Lesson) -> None:
    bands = standard_reference_bands()
    assert not any(each.on for each in bands if "no source" in each.source)
    lesson = compare_conditions(strong)
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


def test_rules_that_still_say_how_a_quantity_is_shown_are_read() -> None:
    """A lesson folder's copy of the rules may be older than the program."""
    table = _table("rules.toml")
    for each in table["quantity"]:
        each |= {
            "label": "push",
            "unit": "g",
            "factor": 0.1,
            "decimals": 3,
            "says": "place",
            "ratio_scale": True,
        }
    assert rules_from(table) == standard_rules()


def test_the_packaged_rules_look_at_all_they_judge() -> None:
    rules: Rules = standard_rules()
    assert all(rules.quantity(each.quantity).worthwhile > 0 for each in rules.rules)
    assert rules.levels.quantities + rules.levels.profile == pytest.approx(0.05)
