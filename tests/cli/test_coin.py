from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from pennyfall.cli.app import app
from pennyfall.cli.files.frictions import KeptFriction, load_frictions, save_frictions
from pennyfall.cli.files.measurement import load_measurement, save_measurement
from pennyfall.cli.files.putt_length import length_in_m
from pennyfall.cli.report.tables.coin import places, times_from_top
from pennyfall.cli.report.tables.stroke import measurement_table
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.putt.roll import FOOT_M
from pennyfall.kinematics.values import Estimate, StrokeMeasures
from tests.cli.synthetic import measurement
from tests.kinematics.coin_strokes import EARLY, LATE


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(each) for each in arguments])


def saved(folder: Path, name: str, *strokes: StrokeMeasures) -> Path:
    path = folder / f"{name}.json"
    save_measurement(measurement(*strokes), path)
    return path


@pytest.fixture
def early(tmp_path: Path) -> Path:
    return saved(tmp_path, "early", EARLY.measured(ball_mps=2.2))


def test_the_early_stroke_throws_the_coin_by_the_top_and_the_late_one_closer_to_the_ball(
    tmp_path: Path, early: Path
) -> None:
    """At friction 0.18 to 0.22, 5 mm from the edge."""
    late = saved(tmp_path, "late", LATE.measured())
    bands = []
    for source in (early, late):
        out = tmp_path / f"{source.stem}-coin.json"
        result = run("coin", source, "--friction", 0.18, 0.22, "--edge", 5, "--json", out)
        assert result.exit_code == 0, result.output
        bands.append(load_measurement(out).strokes[0].loose_object)
    first, second = bands
    assert first is not None
    assert second is not None
    assert first.leave_s is not None
    assert second.leave_s is not None
    assert first.leave_s[1] <= EARLY.top_s
    assert second.leave_s[0] > LATE.top_s
    assert first.landing_x_m is not None
    assert second.landing_x_m is not None
    assert first.landing_x_m[1] < second.landing_x_m[0] < 0


@pytest.mark.parametrize(
    ("friction", "outcome", "in_coin", "in_table"),
    [
        ((0.18, 0.22), "leaves", "would leave\n", "would leave"),
        ((0.3, 0.9), "either", "would leave at low friction, stay on at high", "may leave or stay"),
        ((0.8, 0.9), "stays on", "would stay on the head", "would stay on"),
    ],
)
def test_the_coin_and_the_measurement_name_the_same_of_three_outcomes(
    tmp_path: Path, early: Path, friction: tuple[float, float], outcome: str, in_coin: str, in_table: str
) -> None:
    """The early stroke demands 0.67 of the normal force at most: friction beyond that holds the coin."""
    out = tmp_path / "coin.json"
    result = run("coin", early, "--friction", *friction, "--json", out)
    assert in_coin in result.output
    written = load_measurement(out)
    assert written.strokes[0].loose_object is not None
    assert written.strokes[0].loose_object.outcome == outcome
    (row,) = [line for line in measurement_table(written).splitlines() if line.startswith("  predicted")]
    assert row.removeprefix("  predicted").strip() == in_table


def test_a_typed_landing_spot_gives_the_friction_which_is_kept_and_used_again(
    tmp_path: Path, early: Path
) -> None:
    kept = tmp_path / "frictions.toml"
    first = run("coin", early, "--coin-landed", -31, "--frictions", kept)
    assert first.exit_code == 0, first.output
    assert "friction that explains it" in first.output
    again = run("coin", early, "--frictions", kept)
    assert "kept from 1 observed coin" in again.output
    run("coin", early, "--coin-landed", -30, "--frictions", kept)
    (entry,) = load_frictions(kept).values()
    assert entry.observations == 2
    forgotten = run("coin", early, "--frictions", kept, "--forget")
    assert "from 2 observed coins" in forgotten.output
    assert "kept from" not in forgotten.output
    assert load_frictions(kept) == {}
    twice = run("coin", early, "--frictions", kept, "--forget")
    assert twice.exit_code == 2
    assert "frictions.toml holds no any-putter-us-quarter" in twice.stderr


def test_the_picture_is_drawn_the_same_each_time(tmp_path: Path, early: Path) -> None:
    contents = []
    for number in range(2):
        picture = tmp_path / f"{number}.svg"
        assert run("coin", early, "--picture", picture, "--coin-landed", -30).exit_code == 0
        contents.append(picture.read_bytes())
    assert contents[0] == contents[1]
    assert b"<svg" in contents[0]


def test_coin_and_plan_say_that_a_fallen_coin_is_picked_up(early: Path) -> None:
    for command in (("coin", early), ("plan", early, "--length", "10ft")):
        said = " ".join(run(*command).output.split())
        assert "underfoot and in the next stroke's way: pick it up" in said, command


def test_what_is_assumed_at_impact_is_said(early: Path) -> None:
    assert "keep its own speed" in run("coin", early).output


def test_without_tilt_and_hub_the_command_refuses_to_be_precise(tmp_path: Path) -> None:
    stroke = dataclasses.replace(
        EARLY.measured(profile=EARLY.profile(with_tilt=False)), hub_radius_m=Estimate.missing()
    )
    printed = run("coin", saved(tmp_path, "blind", stroke)).output
    assert max(len(each) for each in printed.splitlines()) <= 80
    output = " ".join(printed.split())
    assert "no precise figures" in output


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--friction", -0.2, 0.3], "negative"),
        (["--edge", -3], "-3 mm from the rear edge"),
        (["--lip", -0.7], "-0.7 mm; it cannot be negative"),
        (["--friction", 0.2, 0.3, "--kinetic-share", 1.2], "above static"),
        (["--friction", 0.4, 0.2], "backwards"),
        (["--edge", 0], "rear edge"),
        (["--coin-landed", -120], "No friction explains"),
        (["--coin-landed", -22000], "beyond the reach"),
        (["--stroke", 4], "no stroke 4"),
        (["--coin", "doubloon"], "not in the table"),
        (["--surface", "velvet"], "not in the table"),
        (["--picture", "coin.gif"], "cannot be written as"),
        (["--coin-landed", 31], "Did the coin lie 31 cm past the ball, as 31 says, or 31 cm behind the ball"),
        (["--forget"], "no file of frictions is named"),
    ],
)
def test_bad_input_gives_a_sentence_and_code_2(early: Path, options: list[object], words: str) -> None:
    result = run("coin", early, *options)
    assert result.exit_code == 2
    assert words in result.stderr
    assert "Traceback" not in result.stderr


def test_a_stroke_without_forward_swing_gives_a_sentence_and_code_2(tmp_path: Path) -> None:
    halted = dataclasses.replace(EARLY.measured(), impact_s=Estimate.missing())
    result = run("coin", saved(tmp_path, "halted", halted))
    assert result.exit_code == 2
    assert "no forward swing" in result.stderr


def test_a_measurement_without_strokes_gives_a_sentence_and_code_2(tmp_path: Path) -> None:
    result = run("coin", saved(tmp_path, "empty"))
    assert result.exit_code == 2
    assert "no stroke" in result.stderr


def test_a_damaged_file_of_frictions_is_refused(tmp_path: Path, early: Path) -> None:
    kept = tmp_path / "frictions.toml"
    kept.write_text("[x]\nstatic = -1\n")
    result = run("coin", early, "--frictions", kept)
    assert result.exit_code == 2
    assert "cannot be read as a file of frictions" in result.stderr


def test_frictions_come_back_as_they_were_kept_and_join_by_their_certainty(tmp_path: Path) -> None:
    """0.20 +- 0.02 and 0.30 +- 0.04 join, with weights 4 to 1, to 0.22 +- 0.02 / sqrt(1.25)."""
    path = tmp_path / "frictions.toml"
    one = KeptFriction(static=Estimate(0.2, 0.02), kinetic_share=0.85, observations=1)
    save_frictions(path, {"club-coin": one})
    back = load_frictions(path)["club-coin"]
    assert back == one
    joined = back.joined(Estimate(0.3, 0.04), 0.85)
    assert joined.static.value == pytest.approx(0.22)
    assert joined.static.sd == pytest.approx(0.02 / math.sqrt(1.25))


def test_times_and_places_read_as_words() -> None:
    assert times_from_top((0.98, 1.02), 1.0) == "20 ms before to 20 ms after the top"
    assert times_from_top((0.95, 0.98), 1.0) == "50 to 20 ms before the top"
    assert places((-0.30, -0.22)) == "22 to 30 cm behind the ball"
    assert places((-0.04, 0.03)) == "4 cm behind to 3 cm past the ball"


# the plan


@pytest.mark.parametrize(
    ("friction", "said"),
    [
        ((0.05, 0.06), "The drill tells something at 3 to 30 ft"),
        (
            (0.05, 3.0),
            "The coin is sure to leave at no length from 3 to 30 ft (0.9 to 9.1 m), so the drill may",
        ),
        (
            (3.0, 4.0),
            "The coin stays on at every length from 3 to 30 ft (0.9 to 9.1 m), so the drill tells",
        ),
    ],
)
def test_the_lengths_of_the_drill_are_computed_for_the_student(
    early: Path, friction: tuple[float, float], said: str
) -> None:
    result = run("plan", early, "--friction", *friction)
    assert result.exit_code == 0, result.output
    assert said in result.output


def test_the_plan_is_told_and_drawn(tmp_path: Path, early: Path) -> None:
    picture = tmp_path / "plan.svg"
    result = run("plan", early, "--hole", "10ft", "--stimp", 10, "--picture", picture)
    assert result.exit_code == 0, result.output
    assert "The drill tells something at" in result.output
    assert "the drill suits" not in result.output
    assert "only one putt length was measured" in result.output
    assert "To stop at the hole" in result.output
    assert b"<svg" in picture.read_bytes()


@pytest.mark.parametrize(
    ("lengths", "said"),
    [
        (["6ft", "15ft"], "2 strokes, of 6 to 15 ft (1.8 to 4.6 m), are too few"),
        (["10ft", "12ft"], "the putt lengths measured, 10 to 12 ft (3.0 to 3.7 m), lie close together"),
        (["10ft", "10ft"], "only one putt length was measured, 10 ft (3.0 m)"),
    ],
)
def test_the_plan_says_what_two_strokes_lack_to_fit_the_students_own_scaling(
    tmp_path: Path, early: Path, lengths: list[str], said: str
) -> None:
    second = saved(tmp_path, "second", EARLY.measured())
    result = run("plan", early, second, *(word for each in lengths for word in ("--length", each)))
    assert result.exit_code == 0, result.output
    assert said in result.output
    assert ("only one putt length" in result.output) == (len(set(lengths)) == 1)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--stimp", 3000], "not that of a green"),
        (["--grade", -20], "no ball stops"),
        (["--hole", "far"], "not a length"),
        (["--hole", "900m"], "outside"),
        (["--length", "3m", "--length", "4m"], "2 lengths are stated for 1"),
        (["--friction", -0.2, 0.3], "negative"),
        (["--picture", "plan.gif"], "cannot be written as"),
    ],
)
def test_bad_input_to_the_plan_gives_a_sentence_and_code_2(
    early: Path, options: list[object], words: str
) -> None:
    result = run("plan", early, *options)
    assert result.exit_code == 2
    assert words in result.stderr


def test_a_ball_without_speed_needs_a_stated_length(tmp_path: Path) -> None:
    unknown = saved(tmp_path, "unknown", EARLY.measured())
    result = run("plan", unknown)
    assert result.exit_code == 2
    assert "--length" in result.stderr


def test_lengths_are_read_in_feet_and_metres() -> None:
    assert length_in_m("10ft") == pytest.approx(10 * FOOT_M)
    assert length_in_m("3,5 m") == pytest.approx(3.5)
    assert length_in_m("250cm") == pytest.approx(2.5)
    with pytest.raises(CannotMeasure) as refusal:
        length_in_m("10")
    assert "unit" in refusal.value.fix


def test_the_written_measurement_is_a_whole_measurement_file(tmp_path: Path, early: Path) -> None:
    out = tmp_path / "out.json"
    assert run("coin", early, "--coin-landed", -31, "--json", out).exit_code == 0
    coin = json.loads(out.read_text())["strokes"][0]["loose_object"]
    assert coin["observed_landing_x_m"] == {"value": -0.31, "sd": 0.01}
    assert np.all(np.diff(coin["landing_x_m"]) >= 0)


def with_sight(stroke: StrokeMeasures, **sight: Any) -> StrokeMeasures:  # noqa: ANN401 - any field of it
    band = stroke.loose_object
    assert band is not None
    return dataclasses.replace(stroke, loose_object=dataclasses.replace(band, **sight))


@pytest.fixture
def predicted(tmp_path: Path, early: Path) -> StrokeMeasures:
    """Return the early stroke with its coin predicted."""
    out = tmp_path / "predicted.json"
    assert run("coin", early, "--json", out).exit_code == 0
    return load_measurement(out).strokes[0]


def test_a_coin_seen_to_leave_gives_its_friction_and_is_called_seen(
    tmp_path: Path, predicted: StrokeMeasures
) -> None:
    sight = {"seen": "left", "observed_landing_x_m": Estimate(-0.31, 0.002)}
    output = run("coin", saved(tmp_path, "left", with_sight(predicted, **sight))).output
    assert "seen to leave the head" in output
    assert "found on the floor        31 cm behind the ball (± 0.4 cm)" in output
    assert "friction that explains it" in output
    assert "would leave" in output


def test_a_seen_coin_that_no_friction_explains_is_told_and_the_prediction_stays(
    tmp_path: Path, predicted: StrokeMeasures
) -> None:
    sight = {"seen": "left", "observed_landing_x_m": Estimate(-1.2, 0.002)}
    result = run("coin", saved(tmp_path, "left", with_sight(predicted, **sight)))
    assert result.exit_code == 0
    assert "none: check the shelf" in result.output


def test_a_coin_seen_to_stay_is_told_beside_a_prediction_that_it_would_leave(
    tmp_path: Path, predicted: StrokeMeasures
) -> None:
    path = saved(tmp_path, "stayed", with_sight(predicted, seen="stayed"))
    output = run("coin", path, "--friction", 0.18, 0.22).output
    assert "seen to stay on the head to the finish" in output
    assert "would leave" in output
    assert "friction that explains" not in output


def test_where_the_coin_is_seen_to_lie_its_way_to_the_edge_is_its_own(
    tmp_path: Path, predicted: StrokeMeasures
) -> None:
    """The shelf ends 45 mm behind the tag: a coin seen 20 mm behind it has 25 mm to go, not the stated 15."""
    place = {"seen": "stayed", "place_on_head_m": Estimate(-0.020, 0.0015)}
    times = []
    for name, edge, stroke in (
        ("said", 15, predicted),
        ("seen", 15, with_sight(predicted, **place)),
        ("as if", 25, predicted),
    ):
        out = tmp_path / f"{name}.json"
        source = saved(tmp_path, f"source {name}", stroke)
        from_tag = -20 if name == "as if" else -30
        run("coin", source, "--edge", edge, "--from-tag", from_tag, "--friction", 0.2, 0.2, "--json", out)
        band = load_measurement(out).strokes[0].loose_object
        assert band is not None
        times.append(band.leave_s)
    assert times[1] == times[2]
    assert times[0] != times[1]


def test_a_file_of_an_earlier_version_has_its_landing_spot_read(tmp_path: Path, early: Path) -> None:
    out = tmp_path / "out.json"
    assert run("coin", early, "--coin-landed", -31, "--json", out).exit_code == 0
    document = json.loads(out.read_text())
    band = document["strokes"][0]["loose_object"]
    for name in ("seen", "place_on_head_m", "observed_leave_s"):
        del band[name]
    for old, value in ((-0.31, -0.31), (None, math.nan)):
        band["observed_landing_x_m"] = old
        out.write_text(json.dumps(document))
        read = load_measurement(out).strokes[0].loose_object
        assert read is not None
        assert read.seen == "not told"
        assert read.observed_landing_x_m.value == pytest.approx(value, nan_ok=True)
        assert not read.place_on_head_m.known
