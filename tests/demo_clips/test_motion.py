"""The motions obey calculus and the textbook."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pennyfall.demo_clips.motion import accelerated, join, quintic, rest
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.strokes import PLATEAU, RISING, Move, Rest, Stroke, perform, random_stroke

STEP_S = 1e-4


def test_constant_acceleration_ends_at_twice_the_mean_speed() -> None:
    """The final speed is 2 D / T: 24 cm in 0.32 s give 1.5 m/s and 4.7 m/s^2 (arithmetic)."""
    (piece,) = accelerated(-0.24, 0.24, 0.32, ((0.0, 1.0), (1.0, 1.0)))
    assert piece.end(1) == pytest.approx(1.5, rel=1e-12)
    assert piece.end(2) == pytest.approx(4.6875, rel=1e-12)
    assert piece.end() == pytest.approx(0.0, abs=1e-15)


def test_a_linear_rise_from_nothing_ends_at_three_times_the_mean_speed() -> None:
    """Acceleration c t gives x = c t^3 / 6, v = c t^2 / 2 = 3 x / t."""
    (piece,) = accelerated(0.0, 0.3, 0.5, ((0.0, 0.0), (1.0, 1.0)), ramp="linear")
    assert piece.end(1) == pytest.approx(1.8, rel=1e-12)


def test_minimum_jerk_peaks_at_one_and_seven_eighths_of_the_mean_speed() -> None:
    """Speed 30 t^2 (1 - t)^2 peaks at 1.875 (calculus)."""
    piece = quintic(0.4, (0.0, 0.0, 0.0), (0.2, 0.0, 0.0))
    assert piece.at(0.2, 1) == pytest.approx(1.875 * 0.2 / 0.4, rel=1e-12)


@pytest.mark.parametrize("levels", [PLATEAU, RISING, ((0.0, 0.5), (0.3, 1.0), (0.8, 0.2), (1.0, -0.4))])
def test_velocity_and_acceleration_are_the_derivatives_of_position(
    levels: tuple[tuple[float, float], ...],
) -> None:
    """Central differences err by h^2 / 6 times the third derivative, here below 1e-8 x 1e4 / 6."""
    motion = perform((Rest(0.2), Stroke(levels=levels), Rest(0.1)), Putter()).motion
    t = np.linspace(0.0, motion.end_s, 4001)[1:-1]
    joints = np.concatenate([motion.starts_s, [motion.end_s]])
    t = t[np.abs(t[:, None] - joints).min(axis=1) > 2 * STEP_S]
    slope = (motion.position(t + STEP_S) - motion.position(t - STEP_S)) / (2 * STEP_S)
    np.testing.assert_allclose(motion.velocity(t), slope, atol=2e-5)
    curve = (motion.velocity(t + STEP_S) - motion.velocity(t - STEP_S)) / (2 * STEP_S)
    np.testing.assert_allclose(motion.acceleration(t), curve, atol=2e-4)


def test_only_the_impact_breaks_the_velocity() -> None:
    performance = perform((Rest(0.2), Move(-0.02, 0.3), Move(0.0, 0.3), Stroke(), Rest(0.1)), Putter())
    motion = performance.motion
    joints = motion.starts_s[1:]
    np.testing.assert_allclose(
        motion.position(joints), motion.position(joints - 1e-9), atol=1e-8
    )  # 1 ns at 2 m/s is 2 nm
    step = motion.velocity(joints) - motion.velocity(joints, before=True)
    at_impact = np.isclose(joints, performance.strokes[0].impact_s)
    assert at_impact.sum() == 1
    np.testing.assert_allclose(step[~at_impact], 0.0, atol=1e-12)
    assert step[at_impact][0] < -0.2


def test_the_early_stroke_peaks_at_the_top_and_coasts_into_the_ball() -> None:
    performance = perform((Rest(0.2), Stroke()), Putter())
    stroke, motion = performance.strokes[0], performance.motion
    forward = np.linspace(stroke.top_s, stroke.impact_s, 1001)
    acceleration = motion.acceleration(forward, before=True)
    plateau = acceleration[: int(0.55 * 1000)]
    np.testing.assert_allclose(plateau, acceleration.max(), rtol=1e-9)
    assert np.all(np.diff(acceleration) <= 1e-9)
    assert acceleration[-1] == pytest.approx(0.0, abs=1e-9)


def test_the_late_stroke_is_fastest_and_most_accelerated_at_impact() -> None:
    performance = perform((Rest(0.2), Stroke(levels=RISING, forward_s=0.45)), Putter())
    stroke, motion = performance.strokes[0], performance.motion
    forward = np.linspace(stroke.top_s, stroke.impact_s, 1001)
    assert np.all(np.diff(motion.acceleration(forward, before=True)) >= -1e-9)
    assert np.all(np.diff(motion.velocity(forward, before=True)) > 0)


def test_the_backswing_leaves_rest_without_a_step_of_acceleration() -> None:
    performance = perform((Rest(0.2), Stroke()), Putter())
    assert float(performance.motion.acceleration(np.array(0.2))) == pytest.approx(0.0, abs=1e-12)


def test_acceleration_runs_through_the_top_or_jumps_as_asked() -> None:
    for share in (1.0, 0.6):
        performance = perform((Rest(0.2), Stroke(braking_share=share)), Putter())
        top = np.array(performance.strokes[0].top_s)
        before = float(performance.motion.acceleration(top, before=True))
        after = float(performance.motion.acceleration(top))
        assert before == pytest.approx(share * after, rel=1e-9)


def test_a_practice_stroke_keeps_its_speed() -> None:
    performance = perform((Rest(0.2), Stroke(hits=False)), Putter())
    stroke = performance.strokes[0]
    assert stroke.speed_after_mps == stroke.speed_before_mps
    assert np.isnan(stroke.ball_speed_mps)


def test_a_stroke_that_would_turn_back_is_refused() -> None:
    with pytest.raises(ValueError, match="backswing would turn back"):
        perform((Stroke(backswing_m=0.02, backswing_s=1.5, forward_s=0.1),), Putter())


def test_shares_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="increase from 0 to 1"):
        accelerated(0.0, 0.1, 0.3, ((0.0, 1.0), (0.9, 1.0)))


def test_a_motion_holds_its_ends() -> None:
    motion = join((rest(0.1, 0.2), quintic(0.3, (0.1, 0, 0), (0.4, 0, 0))), start_s=1.0)
    np.testing.assert_allclose(motion.position(np.array([0.0, 5.0])), [0.1, 0.4])
    np.testing.assert_allclose(motion.velocity(np.array([0.0, 5.0])), 0.0)


@given(seed=st.integers(0, 2**32 - 1))
def test_random_strokes_are_plausible_and_repeatable(seed: int) -> None:
    """Wide bands about a tempo of 2:1; common practice, no source."""
    stroke = random_stroke(np.random.default_rng(seed))
    assert stroke == random_stroke(np.random.default_rng(seed))
    events = perform((Rest(0.3), stroke), Putter()).strokes[0]
    assert 0.3 < events.speed_before_mps < 4.0
    assert 1.5 < (events.top_s - events.takeaway_s) / (events.impact_s - events.top_s) < 2.5
