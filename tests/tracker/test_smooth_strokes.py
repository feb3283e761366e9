"""Clip to strokes: measures, cautions, invariances."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.kinematics.stroke.tracks import BallTrack, HeadTrack
from pennyfall.kinematics.values import FloatArray, StrokeMeasures
from pennyfall.tracker.measure.motion import Motion, smooth_strokes
from tests.tracker.simulated_strokes import (
    ball_track,
    correlated_noise,
    delayed_ball,
    head_track,
    hold,
    motion_track,
    move,
    part_of,
    stroke,
    swing,
)


def measured(head: HeadTrack, *balls: BallTrack, scale_rel_sd: float = 0.0) -> Motion:
    scale = ScaleErrors.uniform(scale_rel_sd)
    return smooth_strokes(head, balls, scale=scale, direction="with the arrow")


def changed(head: HeadTrack, **arrays: FloatArray) -> HeadTrack:
    return HeadTrack(
        **{**{each.name: getattr(head, each.name) for each in dataclasses.fields(head)}, **arrays}
    )


def codes(result: Motion) -> list[str]:
    return [each.code for each in result.cautions]


@pytest.mark.parametrize("kind", ["early", "plateau", "late", "middle"])
def test_every_measure_lies_near_its_truth(kind: str, generator: np.random.Generator) -> None:
    true = stroke(kind)
    head = head_track(true, generator, lag_one=0.2, gaps=2)
    result = measured(head, ball_track(true, head, generator))
    truths = true.truths()
    assert result.strokes[0].impact_source == "ball"
    assert result.innovation_ratio == pytest.approx(1.0, abs=0.1)
    assert codes(result) == []
    for name in (
        "top_s",
        "impact_s",
        "takeaway_s",
        "backswing_length_m",
        "through_length_m",
        "impact_speed_mps",
        "peak_speed_mps",
        "acceleration_at_top_mps2",
        "acceleration_at_impact_mps2",
        "acceleration_before_impact_mps2",
        "peak_acceleration_mps2",
        "speed_lost_share",
        "ball_speed_mps",
        "hub_radius_m",
    ):
        estimate = getattr(result.strokes[0], name)
        assert abs(estimate.value - truths[name]) < 4 * estimate.sd, name


def test_scale_error_widens_lengths_and_speeds_but_no_times(generator: np.random.Generator) -> None:
    true = stroke("plateau")
    head = head_track(true, generator)
    ball = ball_track(true, head, generator)
    sure, unsure = measured(head, ball).strokes[0], measured(head, ball, scale_rel_sd=0.02).strokes[0]
    for name in (
        "impact_speed_mps",
        "backswing_length_m",
        "peak_acceleration_mps2",
        "ball_speed_mps",
        "hub_radius_m",
    ):
        narrow, wide = getattr(sure, name), getattr(unsure, name)
        assert wide.sd == pytest.approx(np.hypot(narrow.sd, 0.02 * narrow.value), rel=1e-9)
    for name in ("top_s", "impact_s", "tempo_ratio", "speed_lost_share", "ball_to_head_ratio"):
        assert getattr(unsure, name) == getattr(sure, name)


def test_a_shift_in_time_shifts_the_instants_only(generator: np.random.Generator) -> None:
    true = stroke("plateau")
    head = head_track(true, generator)
    ball = ball_track(true, head, generator)
    late = dataclasses.replace(ball, time_s=ball.time_s + 37.0)
    plain = measured(head, ball).strokes[0]
    moved = measured(changed(head, time_s=head.time_s + 37.0), late).strokes[0]
    assert moved.top_s.value == pytest.approx(plain.top_s.value + 37.0, abs=1e-6)
    assert moved.impact_s.value == pytest.approx(plain.impact_s.value + 37.0, abs=2e-6)
    assert moved.peak_acceleration_mps2.value == pytest.approx(plain.peak_acceleration_mps2.value, rel=1e-4)


def test_measuring_twice_gives_the_same_and_leaves_the_track_alone(generator: np.random.Generator) -> None:
    true = stroke("late")
    head = head_track(true, generator)
    before = head.x_m.copy()
    ball = ball_track(true, head, generator)
    first, second = measured(head, ball), measured(head, ball)
    assert first.strokes[0].peak_acceleration_mps2 == second.strokes[0].peak_acceleration_mps2
    np.testing.assert_array_equal(head.x_m, before)


def test_curves_are_nan_outside_the_strokes_and_follow_the_truth_inside(
    generator: np.random.Generator,
) -> None:
    true = stroke("plateau", rest_s=1.5)
    head = head_track(true, generator, gaps=3)
    result = measured(head, ball_track(true, head, generator))
    assert np.isnan(result.vx_mps[head.time_s < 1.0]).all()
    inside = (head.time_s > true.takeaway_s) & (head.time_s < true.finish_s)
    for curve, sd, order in ((result.vx_mps, result.sd_vx_mps, 1), (result.ax_mps2, result.sd_ax_mps2, 2)):
        error = (curve[inside] - true.position(head.time_s[inside], order)) / sd[inside]
        assert np.isfinite(error).all()
        assert np.mean(np.abs(error) < 1.96) > 0.8
        assert np.max(np.abs(error)) < 6


def test_profile_has_strictly_increasing_times_and_both_sides_of_impact(
    generator: np.random.Generator,
) -> None:
    true = stroke("late")
    head = head_track(true, generator)
    profile = measured(head, ball_track(true, head, generator)).strokes[0].profile
    assert (np.diff(profile.t_s) > 0).all()
    at = int(np.argmin(np.diff(profile.v_mps)))
    assert profile.t_s[at + 1] - profile.t_s[at] < 2e-6
    assert profile.v_mps[at] - profile.v_mps[at + 1] == pytest.approx(
        0.2065 * true.before(true.impact_s, 1), rel=0.15
    )
    assert profile.x_m[at] == pytest.approx(profile.x_m[at + 1], abs=1e-9)


def test_a_head_alone_gives_its_impact(generator: np.random.Generator) -> None:
    true = stroke("plateau")
    result = measured(head_track(true, generator))
    found = result.strokes[0]
    assert found.impact_source == "head"
    assert not found.practice
    assert found.impact_s.value == pytest.approx(true.impact_s, abs=0.0025)
    assert not found.ball_speed_mps.known
    assert codes(result) == ["ball-not-seen"]


def test_a_practice_stroke_says_what_its_impact_is(generator: np.random.Generator) -> None:
    true = stroke("plateau", lost=1e-9)
    result = measured(head_track(true, generator))
    found = result.strokes[0]
    assert found.practice
    time = np.arange(true.top_s, true.impact_s, 1e-4)
    passing = time[np.argmax(true.position(time) >= true.address_m)]
    assert found.impact_s.value == pytest.approx(passing, abs=0.001)
    assert not found.speed_lost_share.known
    assert codes(result) == ["practice-stroke"]


def test_ball_and_head_that_disagree_are_told(generator: np.random.Generator) -> None:
    true = stroke("plateau")
    head = head_track(true, generator)
    ball = ball_track(true, head, generator)
    late = dataclasses.replace(ball, time_s=ball.time_s + 0.009)
    result = measured(head, late)
    assert "impact-unsure" in codes(result)
    assert result.strokes[0].impact_s.sd > 0.0004


def test_a_clip_that_ends_after_impact_has_no_finish_and_says_so(generator: np.random.Generator) -> None:
    true = stroke("plateau")
    head = head_track(true, generator)
    ball = ball_track(true, head, generator)
    result = measured(part_of(head, 0.0, true.impact_s + 0.1), ball)
    found = result.strokes[0]
    assert not found.finish_s.known
    assert not found.through_length_m.known
    assert codes(result) == ["cut-off-finish"]
    assert found.impact_speed_mps.value == pytest.approx(true.before(true.impact_s, 1), rel=0.02)


def test_a_backswing_straight_out_of_a_forward_press_is_dated_at_its_turn(
    generator: np.random.Generator,
) -> None:
    motions = [
        hold(-0.06, 0.8),
        move(-0.06, -0.03, 0.3),
        move(-0.03, -0.3, 0.8),
        move(-0.3, 0.24, 0.7),
        hold(0.24, 0.5),
    ]
    found = measured(motion_track(motions, generator)).strokes[0]
    low, high = found.takeaway_s.interval()
    assert low - 0.01 < 1.1 < high + 0.01
    assert found.top_s.value == pytest.approx(1.9, abs=0.012)


def test_several_strokes_keep_their_own_balls(generator: np.random.Generator) -> None:
    strong, soft = stroke("plateau", rest_s=0.0), stroke("early", back_m=0.12, rest_s=0.0)
    first, second = swing(strong), swing(soft)
    end, second_end = (float(each[1](np.array([each[0]]))[0]) for each in (first, second))
    between = [hold(end, 0.3), move(end, -0.06, 1.0), hold(-0.06, 0.8)]
    offset = 0.8 + first[0] + 2.1
    head = motion_track([hold(-0.06, 0.8), first, *between, second, hold(second_end, 0.5)], generator)
    balls = [delayed_ball(strong, 0.8, head, generator), delayed_ball(soft, offset, head, generator)]
    result = measured(head, *balls)
    assert [each.number for each in result.strokes] == [1, 2]
    for found, true in zip(result.strokes, (strong, soft), strict=True):
        assert found.ball_speed_mps.value == pytest.approx(true.ball_speed_mps, rel=0.03)
        assert found.impact_speed_mps.value == pytest.approx(true.before(true.impact_s, 1), rel=0.02)


def rendered_tracks(
    truth: Path, generator: np.random.Generator
) -> tuple[dict[str, float], HeadTrack, BallTrack]:
    """Return events and tracks of a rendered stroke, with 0.2 mm of noise in motion (lag one 0.3)."""
    document = json.loads(truth.read_text(encoding="utf-8"))
    frames = document["frames"]
    time = np.array(frames["frame_time_s"])
    head, ball = np.array(frames["head_centre_xyz_m"]), np.array(frames["ball_centre_xyz_m"])
    count = len(time)
    noise = 2e-4 * correlated_noise(count, 0.3, generator)
    speed = np.array(frames["head_vx_m_s"])
    for index in range(1, count):
        if speed[index] == 0 and speed[index - 1] == 0:
            noise[index] = noise[index - 1]
    kept = np.array(frames["ball_in_view"]) & (ball[:, 0] < 0.45)
    moving = ball[:, 0] > 0
    x = ball[:, 0] + np.where(moving, 3e-4 * generator.standard_normal(count), 2e-4)
    return (
        document["events_model_clock"],
        HeadTrack(
            time_s=time,
            seen=np.ones(count, dtype=bool),
            x_m=head[:, 0] + noise,
            y_m=head[:, 1],
            z_m=head[:, 2] + 2e-4 * generator.standard_normal(count),
            sd_x_m=np.full(count, 2e-4),
            sd_z_m=np.full(count, 2e-4),
            tilt_rad=np.array(frames["swing_angle_rad"]) + 0.01 * generator.standard_normal(count),
            sd_tilt_rad=np.full(count, 0.01),
        ),
        BallTrack(
            time_s=time[kept],
            x_m=x[kept],
            y_m=ball[kept, 1],
            sd_x_m=np.full(int(kept.sum()), 3e-4),
            at_rest=~moving[kept],
        ),
    )


@pytest.mark.footage
@pytest.mark.parametrize(("name", "share"), [("late120_hevc", 0.05), ("late120_dec60", 0.13)])
def test_a_rendered_stroke_that_still_accelerates_at_impact(
    name: str, share: float, footage: Path, generator: np.random.Generator
) -> None:
    """A motion made elsewhere, slow in transition and still accelerating with 4.97 m/s^2 at impact."""
    events, head, ball = rendered_tracks(footage / "rendered-late" / f"{name}.truth.json", generator)
    found: StrokeMeasures = measured(head, ball).strokes[0]
    assert found.top_s.value == pytest.approx(events["top_s"], abs=0.0025)
    assert found.impact_s.value == pytest.approx(events["impact_s"], abs=0.001)
    low, high = found.takeaway_s.interval()
    assert low < events["start_leaves_rest_s"] < high
    assert found.backswing_length_m.value == pytest.approx(events["amplitude_m_x"], abs=0.001)
    assert found.impact_speed_mps.value == pytest.approx(events["impact_speed_just_before_m_s"], rel=0.015)
    assert found.peak_acceleration_mps2.value == pytest.approx(events["peak_forward_accel_m_s2"], rel=share)
    assert found.acceleration_before_impact_mps2.value == pytest.approx(
        events["accel_mean_20ms_before_impact_m_s2"], abs=0.6
    )
    assert found.ball_speed_mps.value == pytest.approx(events["ball_launch_speed_m_s"], rel=0.02)
    assert found.hub_radius_m.value == pytest.approx(1.25, rel=0.02)
    low, high = found.hub_radius_m.interval()
    assert low < 1.25 < high
