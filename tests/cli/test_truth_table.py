"""Measured beside true: the right stroke, the right clock, an honest verdict."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from pennyfall.cli.report.tables.truth import TRUE_NAMES, coin_beside_truth, compare, truth_table
from pennyfall.kinematics.values import Estimate, StrokeMeasures
from tests.cli.synthetic import measurement, plateau_stroke


def _truth(*strokes: StrokeMeasures, first_frame_s: float = 0.0) -> dict[str, Any]:
    """Return the truth document under which every figure of `strokes` is exactly right."""
    clocked = {"takeaway_s", "top_s", "impact_s", "finish_s"}
    return {
        "frames": {"container_pts_s": [first_frame_s]},
        "strokes_container_clock": [
            {
                true_name: getattr(stroke, name).value + (first_frame_s if name in clocked else 0.0)
                for name, true_name in TRUE_NAMES.items()
            }
            for stroke in strokes
        ],
    }


def test_a_perfect_measurement_holds_every_truth() -> None:
    stroke = plateau_stroke()
    (rows,) = compare(measurement(stroke), _truth(stroke)).values()
    assert len(rows) == len(TRUE_NAMES)
    assert all(each.inside for each in rows)


def test_clip_times_count_from_the_first_frame_whatever_its_timestamp() -> None:
    stroke = plateau_stroke()
    (rows,) = compare(measurement(stroke), _truth(stroke, first_frame_s=3.7)).values()
    assert next(each for each in rows if each.name == "top_s").true[0] == pytest.approx(stroke.top_s.value)
    assert all(each.inside for each in rows)


@pytest.mark.parametrize(("sds", "inside"), [(1.9, True), (2.0, False), (-1.9, True), (-2.0, False)])
def test_the_truth_is_inside_up_to_1_96_standard_deviations(sds: float, inside: bool) -> None:
    stroke = plateau_stroke()
    speed = stroke.impact_speed_mps
    off = dataclasses.replace(stroke, impact_speed_mps=Estimate(speed.value + sds * speed.sd, speed.sd))
    (rows,) = compare(measurement(off), _truth(stroke)).values()
    assert next(each for each in rows if each.name == "impact_speed_mps").inside is inside


def test_strokes_are_paired_by_their_impact_and_a_missed_one_holds_nothing() -> None:
    first, second = plateau_stroke(takeaway_s=1.0), plateau_stroke(takeaway_s=4.0, impact_speed_mps=1.2)
    compared = compare(measurement(second), _truth(first, second))
    assert not any(each.inside for each in compared[1])
    assert all(each.inside for each in compared[2])
    table = truth_table("larch", compared)
    assert f"  0 of {len(TRUE_NAMES)} intervals hold the truth" in table
    assert "larch, stroke 1" in table


def test_on_a_plateau_any_instant_of_it_is_the_peak() -> None:
    stroke = plateau_stroke(takeaway_s=1.2)  # top at 1.85 s, forward swing 0.32 s
    truth = _truth(stroke)
    truth["strokes_container_clock"][0]["peak_forward_accel_plateau_s"] = [1.85 + 0.16, 1.85 + 0.24]
    (rows,) = compare(measurement(stroke), truth).values()
    place = next(each for each in rows if each.name == "peak_acceleration_share")
    assert place.true == pytest.approx((0.5, 0.75))
    assert not place.inside  # measured at 30 ± 12 %


def test_what_the_truth_does_not_know_is_left_out() -> None:
    stroke = plateau_stroke()
    truth = _truth(stroke)
    truth["strokes_container_clock"][0]["ball_launch_speed_m_s"] = None
    (rows,) = compare(measurement(stroke), truth).values()
    assert "ball_speed_mps" not in {each.name for each in rows}


@pytest.mark.parametrize(
    ("left_s", "true"),
    [
        (None, "True: it stays on the head."),
        (1.96, "True: it leaves the head 110 ms after the top and comes to lie 25 cm behind the ball."),
    ],
)
def test_what_is_seen_of_the_coin_stands_beside_what_it_did(left_s: float | None, true: str) -> None:
    stroke = plateau_stroke(takeaway_s=1.2)  # top at 1.85 s
    assert stroke.loose_object is not None
    seen = dataclasses.replace(stroke.loose_object, seen="left", observed_leave_s=Estimate(1.95, 0.005))
    truth = _truth(stroke)
    assert coin_beside_truth(measurement(stroke), truth) == ""
    truth["coin"] = {"leave_container_clock_s": left_s, "resting_x_m": None if left_s is None else -0.25}
    told = coin_beside_truth(measurement(dataclasses.replace(stroke, loose_object=seen)), truth)
    assert "stroke 1: The coin is seen to leave the head, 100 ms after the top (± 10 ms)." in told
    assert true in told
