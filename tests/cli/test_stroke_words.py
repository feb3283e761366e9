"""A stroke in words: the sentence, the eight figures, and no word that the intervals do not bear."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.cli.report.stroke_words import (
    NOT_TOLD,
    eight_figures,
    ending,
    figure_text,
    place_of_peak,
    stroke_sentence,
)
from pennyfall.cli.report.tables.brief import WIDTH, brief_table
from pennyfall.demo_clips.clips import shipped_clips
from pennyfall.kinematics.values import Caution, Estimate
from tests.cli.synthetic import measurement, plateau_stroke


@pytest.mark.parametrize(
    ("pull", "half_width", "words"),
    [
        (0.1, 0.4, "coasts into the ball"),
        (-0.2, 0.9, "coasts into the ball"),
        (2.5, 0.4, "still pushes into the ball"),
        (0.7, 0.3, "still pushes a little into the ball"),
        (-1.5, 0.5, "brakes before the ball"),
        (0.8, 2.0, "coasts or pushes into the ball: not told"),
        (-0.8, 2.0, "coasts or brakes: not told"),
    ],
)
def test_the_last_twenty_milliseconds_are_called_what_their_interval_bears(
    pull: float, half_width: float, words: str
) -> None:
    assert ending(Estimate(pull, half_width / 1.96)) == words


@pytest.mark.parametrize("pull", [-1.5, -0.8, 0.1, 0.7, 0.8, 2.5])
@pytest.mark.parametrize("half_width", [0.4, 2.0])
def test_of_a_practice_stroke_nothing_is_said_of_a_ball_that_is_met(pull: float, half_width: float) -> None:
    stroke = replace(
        plateau_stroke(),
        practice=True,
        acceleration_before_impact_mps2=Estimate(pull, half_width / 1.96),
        peak_acceleration_share=Estimate(0.97, 0.01),
    )
    said = [stroke_sentence(stroke), *(each.reading for each in eight_figures(stroke))]
    assert "the ball's place" in said[0]
    for each in said:
        assert "impact" not in each
        assert "the ball" not in each.replace("the ball's place", "")


@pytest.mark.parametrize(
    ("share", "half_width", "words"),
    [
        (0.0, 0.05, "at the top"),
        (0.97, 0.05, "just before impact"),
        (0.0, 0.62, "anywhere in the first two thirds"),
        (0.5, 0.16, "in the middle third"),
        (0.2, 0.12, "in the first third"),
        (0.58, 0.05, "in the middle third"),
        (0.34, 0.01, "in the first half"),
        (0.67, 0.01, "in the last half"),
        (0.5, 0.9, "somewhere on the way: the pull is too even to say where"),
    ],
)
def test_an_uncertain_place_is_told_in_words_and_never_as_zero_plus_or_minus_sixty(
    share: float, half_width: float, words: str
) -> None:
    assert place_of_peak(Estimate(share, half_width / 1.96)) == words


@pytest.mark.parametrize("percent", range(0, 101, 4))
def test_a_sharp_place_is_always_told(percent: int) -> None:
    assert place_of_peak(Estimate(percent / 100, 0.03)) != NOT_TOLD


@pytest.mark.parametrize(
    ("name", "value", "sd", "text"),
    [
        ("forward_swing_s", 0.33020, 0.00017, "330 ± 1 ms"),
        ("acceleration_before_impact_mps2", -0.0004, 0.2, "0.0 ± 0.4 m/s²"),
        ("tempo_ratio", 2.006, 0.013, "2.01 ± 0.03 : 1"),
        ("ball_speed_mps", float("nan"), float("nan"), "–"),
    ],
)
def test_a_figure_has_no_more_digits_than_a_coach_can_use_and_no_negative_zero(
    name: str, value: float, sd: float, text: str
) -> None:
    assert figure_text(name, Estimate(value, sd)) == text


def test_the_sentence_leaves_out_what_is_not_told() -> None:
    stroke = replace(
        plateau_stroke(),
        acceleration_before_impact_mps2=Estimate(0.1, 0.1),
        tempo_ratio=Estimate(2.04, 0.02),
        peak_acceleration_share=Estimate(0.02, 0.02),
    )
    assert stroke_sentence(stroke) == "Coasts into the ball; tempo 2.0 : 1; pulled hardest at the top."
    softer = replace(stroke, tempo_ratio=Estimate(2.04, 0.2), peak_acceleration_share=Estimate.missing())
    assert stroke_sentence(softer) == "Coasts into the ball; tempo about 2.0 : 1."


def test_a_ball_that_was_not_seen_is_said_not_to_be_measured() -> None:
    stroke = replace(plateau_stroke(), ball_speed_mps=Estimate.missing())
    last = eight_figures(stroke)[-1]
    assert (last.value, last.reading) == ("–", "not measured")
    assert len(eight_figures(stroke)) == 8


def test_the_short_table_keeps_to_eighty_columns_and_says_what_the_scale_rests_on() -> None:
    warned = (Caution("no-ball", "No ball was seen to leave: impact is told from the head alone."),)
    for strokes in (1, 2, 3):
        made = measurement(
            *(replace(plateau_stroke(), number=k + 1) for k in range(strokes)), warnings=warned
        )
        said = brief_table(made)
        assert max(len(line) for line in said.splitlines()) <= WIDTH
        assert "the scale rests on the sheet" in " ".join(said.split())
        assert "Mind: No ball was seen" in said
        assert said.count("Stroke ") == (strokes if strokes > 1 else 0)


@pytest.mark.clip
def test_measure_answers_with_the_sentence_first_and_every_figure_only_when_asked(tmp_path: Path) -> None:
    clip = str(next(each.path for each in shipped_clips() if each.name == "larch-60"))
    out = tmp_path / "stroke.json"
    short = CliRunner().invoke(app, ["measure", clip, "--json", str(out)])
    assert short.exit_code == 0
    lines = short.stdout.splitlines()
    assert lines[0] == "larch-60.mp4"
    answer = " ".join(lines[1 : lines.index("")])
    assert "tempo" in answer
    assert answer.endswith(" The coin is seen to stay on the head to the finish.")
    assert len(lines) < 25
    assert lines[-1] == f"Written: {out}"
    everything = CliRunner().invoke(app, ["measure", clip, "--all"]).stdout
    assert "spectral arc length" in everything
    assert "spectral arc length" not in short.stdout
