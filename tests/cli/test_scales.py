"""What a lesson's scales rest on is said where a claim rests on it, and no false claim is made past it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pennyfall.calibration.club import Club
from pennyfall.cli.files.lesson_file import Condition
from pennyfall.cli.files.lesson_result import LessonResult, gather
from pennyfall.cli.files.measured_files import RefusedClip
from pennyfall.cli.history.trend import trends
from pennyfall.cli.history.trend_table import trend_table
from pennyfall.cli.lesson.run import verdict
from pennyfall.cli.report.page.lesson import lesson_page
from pennyfall.cli.report.page.reading import read_lesson_result
from pennyfall.cli.report.tables.truth import TRUE_NAMES
from pennyfall.cli.report.words.numbers import typeset
from pennyfall.cli.report.words.scales import lesson_scales
from pennyfall.demo_clips.larch import PLAIN_60
from pennyfall.demo_clips.record import performance_of, render_clip
from pennyfall.demo_clips.scene import Scene
from pennyfall.demo_clips.strokes import Rest, Stroke
from pennyfall.demo_clips.truth import stroke_truth
from pennyfall.kinematics.values import CalibrationFacts, Estimate, Measurement
from pennyfall.tracker.measure.clip import measure_clip
from pennyfall.tracker.measure.settings import Settings
from tests.cli.lesson_strokes import lesson_folder
from tests.cli.synthetic import by_sheet
from tests.cli.test_report_page import made_lesson

BY_TAG = replace(by_sheet(), source="head-tag", focal_source="assumed", scale_rel_sd=0.19)
ELSEWHERE = replace(by_sheet(), camera_position_m=(0.6, -1.0, 0.8))
SAID = (
    'The scale of "coin kept on" rests on the head tag alone, known to ± 37 %; lengths, speeds and '
    "accelerations of the two versions, filmed in two set-ups, are compared no better than that; times and "
    "their ratio do not depend on it."
)


def filmed(result: LessonResult, facts: Mapping[str, CalibrationFacts], *, takes: int = 99) -> LessonResult:
    """Return a lesson whose conditions, the first takes of each at each length, were filmed as told."""
    conditions = [
        replace(
            each,
            strokes=tuple(
                replace(stroke, calibration=facts[each.condition.name])
                if take < takes and each.condition.name in facts
                else stroke
                for take, stroke in enumerate(each.strokes)
            ),
        )
        for each in result.conditions
    ]
    return replace(result, conditions=tuple(conditions))


def said_of(result: LessonResult) -> str:
    return lesson_scales(result, read_lesson_result(result).comparison)


def test_one_condition_by_the_head_tag_is_said_on_page_and_terminal(tmp_path: Path) -> None:
    """1.96 x 19 % = 37 %."""
    result = filmed(made_lesson(tmp_path), {"coin kept on": BY_TAG})
    reading = read_lesson_result(result)
    assert lesson_scales(result, reading.comparison) == SAID
    words = " ".join(verdict(result, reading).split())
    assert words.count(" ".join(typeset(SAID).split())) == 1
    assert typeset(SAID) in lesson_page(result, reading, {}).replace("&#34;", '"')


def test_nothing_is_said_where_all_strokes_rest_on_one_sheet(tmp_path: Path) -> None:
    result = made_lesson(tmp_path)
    assert said_of(result) == ""
    assert "scale" not in verdict(result, read_lesson_result(result))


def test_some_strokes_of_a_condition_by_the_head_tag_are_counted(tmp_path: Path) -> None:
    said = said_of(filmed(made_lesson(tmp_path), {"coin kept on": BY_TAG}, takes=1))
    assert said.startswith('The scale of "coin kept on" (2 of 6 strokes) rests on the head tag alone')


def test_one_set_up_by_the_head_tag_errs_alike_for_both_versions(tmp_path: Path) -> None:
    both = {"coin kept on": BY_TAG, "coin let go": BY_TAG}
    said = said_of(filmed(made_lesson(tmp_path), both))
    assert "may be off by as much, of each version alike" in said
    assert "set-ups" not in said


def test_two_set_ups_by_the_sheet_are_said_only_where_they_widen_an_interval(tmp_path: Path) -> None:
    vaguer = replace(ELSEWHERE, scale_rel_sd=0.02)
    wide = said_of(filmed(made_lesson(tmp_path / "a"), {"coin kept on": vaguer}))
    assert wide.startswith(
        "The two versions were filmed in two set-ups, whose scales are known to ± 4 %: that widens"
    )
    sharp = replace(ELSEWHERE, scale_rel_sd=0.0005)
    facts = {"coin kept on": sharp, "coin let go": replace(by_sheet(), scale_rel_sd=0.0005)}
    assert said_of(filmed(made_lesson(tmp_path / "b"), facts)) == ""


def test_a_lesson_of_one_version_says_what_its_scale_rests_on(tmp_path: Path) -> None:
    result = filmed(made_lesson(tmp_path, names=("kept on",)), {"coin kept on": BY_TAG})
    reading = read_lesson_result(result)
    assert reading.comparison is None
    assert "rests on the head tag alone, known to ± 37" in " ".join(verdict(result, reading).split())


@pytest.mark.parametrize(("quantity", "said"), [("impact_speed_mps", True), ("tempo_ratio", False)])
def test_the_history_says_which_lesson_rests_on_the_head_tag(quantity: str, said: bool) -> None:
    rows = pd.DataFrame(
        {
            "condition": "x",
            "putt_ft": 12.0,
            "quantity": quantity,
            "folder": ["a"] * 2 + ["b"] * 2,
            "date": ["2026-03-01"] * 2 + ["2026-04-01"] * 2,
            "value": [1.0, 1.1, 1.3, 1.2],
            "sd": 0.3,
            "scale_rel_sd": [0.003, 0.003, 0.19, 0.19],
            "scale_source": ["sheet", "sheet", "head-tag", "head-tag"],
        }
    )
    words = " ".join(trend_table("S-01", trends(rows, [quantity])).split())
    expected = "On 1 April 2026 the scale rests on the head tag alone, known to ± 37 %: lengths, speeds and"
    assert (expected in words) == said
    assert "On 1 March" not in words


def rendered_lesson(folder: Path, *, strokes: int = 5) -> tuple[LessonResult, dict[str, list[Scene]]]:
    """Return a lesson of rendered clips at one length: the second version slower, and without its sheet."""
    generator = np.random.default_rng(60)
    putter = PLAIN_60.putter
    club = Club(tag_height_m=Estimate(putter.tag_height_m, 0.001), tag_side_m=putter.tag_side_m)
    versions = {"coin let go": (0.200, 0.32, PLAIN_60.sheet), "coin kept on": (0.253, 0.41, None)}
    scenes: dict[str, list[Scene]] = {name: [] for name in versions}
    results: dict[str, Measurement | RefusedClip] = {}
    for name, (backswing_m, forward_s, sheet) in versions.items():
        for take in range(strokes):
            length, back, forward = 1 + generator.normal(0, (0.02, 0.02, 0.015))
            stroke = Stroke(
                backswing_m=backswing_m * length,
                backswing_s=0.62 * back,
                forward_s=forward_s * forward,
                levels=((0.0, 1.0), (0.4, 0.95), (1.0, 0.2)),
            )
            clip = f"{name.replace(' ', '-')}-{take + 1}.mp4"
            script = (Rest(0.60), stroke, Rest(0.25))
            scene = replace(PLAIN_60, name=clip, script=script, sheet=sheet, seed=600 + len(results))
            render_clip(scene, folder / clip)
            scenes[name].append(scene)
            results[clip] = measure_clip(folder / clip, Settings(club=club)).measurement
    conditions = tuple(
        Condition(name=name, putt_ft=12.0, clips=tuple(one.name for one in made))
        for name, made in scenes.items()
    )
    lesson = replace(lesson_folder(folder / "facts", strokes=1), conditions=conditions)
    return gather(lesson, results), scenes


@pytest.mark.clip
@pytest.mark.slow
def test_a_version_filmed_without_its_sheet_leads_to_no_false_claim(tmp_path: Path) -> None:
    """Both versions reach nearly one speed, and their tempos differ by a quarter.

    Every true difference lies in its interval, no speed or acceleration is claimed to have moved the other
    way, and the differences that need no scale are still claimed.
    """
    result, scenes = rendered_lesson(tmp_path)
    comparison = read_lesson_result(result).comparison
    assert comparison is not None
    (pair,) = comparison.pairs
    truths = {
        name: [stroke_truth(moved, moved.strokes[0]) for moved in map(performance_of, made)]
        for name, made in scenes.items()
    }
    for each in pair.quantities:
        true_name = TRUE_NAMES[each.quantity.name]
        first, second = (np.mean([one[true_name] for one in truths[name]]) for name in scenes)
        low, high = each.pooled.interval
        assert low < second - first < high, each.quantity.name
    assert not pair.quantity("impact_speed_mps").claimed
    assert {name for name in ("forward_swing_s", "tempo_ratio") if pair.quantity(name).claimed}
    assert lesson_scales(result, comparison).startswith(
        'The scale of "coin kept on" rests on the head tag alone, known to ± '
    )
