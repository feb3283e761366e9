from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from pennyfall.demo_clips.ball import PlayedBall
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.putt.roll import (
    CAPTURE_CENTRE_MPS,
    FOOT_M,
    SLIDING_FRICTION,
    SLIDING_REL_SD,
    STIMPMETER_RELEASE_MPS,
    Green,
    launch_to_stop_at,
    past_the_hole,
    roll_distance,
    roll_out,
    speed_after,
)
from pennyfall.kinematics.values import BALL_RADIUS_M, STANDARD_GRAVITY_MPS2, Estimate

TEN_FEET = Green(stimp_m=10 * FOOT_M)


@pytest.mark.parametrize(("feet", "deceleration_mps2"), [(8, 0.686), (10, 0.549), (12, 0.457), (13, 0.422)])
def test_a_stimpmeter_reading_is_the_roll_from_its_release_speed(feet: int, deceleration_mps2: float) -> None:
    # Release at 6.00 ft/s; a = v0^2 / (2 S), worked by hand to three digits.
    green = Green(stimp_m=feet * FOOT_M)
    assert green.rolling_deceleration_mps2 == pytest.approx(deceleration_mps2, abs=0.0006)
    rolled_m = STIMPMETER_RELEASE_MPS**2 / (2 * green.rolling_deceleration_mps2)
    assert rolled_m == pytest.approx(feet * FOOT_M)


def test_rolling_starts_at_five_sevenths_of_the_launch_speed_after_the_textbook_slide() -> None:
    launch = 2.1
    roll = roll_out(launch, TEN_FEET)
    grip = SLIDING_FRICTION * STANDARD_GRAVITY_MPS2
    assert roll.rolling_mps == pytest.approx(5 / 7 * launch)
    assert roll.slide_s == pytest.approx(2 * launch / (7 * grip))
    assert roll.slide_m == pytest.approx(12 * launch**2 / (49 * grip))


@pytest.mark.parametrize("friction", [0.22, 0.25, 0.34, 0.40])
def test_a_ball_on_cloth_of_another_friction_stops_where_the_roll_is_stated_to_end(friction: float) -> None:
    """The balls of the drawn scenes slide on 0.34 and 0.40, one that slides a fifth of its way on 0.22."""
    ball = PlayedBall(
        placed_s=0.0,
        struck_s=0.0,
        launch_mps=2.0,
        friction=friction,
        rolling_mps2=TEN_FEET.rolling_deceleration_mps2,
    )
    stated = roll_distance(Estimate(2.0, 0.0), TEN_FEET)
    assert abs(float(ball.position(np.array(60.0))) - stated.value) < 1.96 * stated.sd
    assert stated.sd < 0.04 * stated.value


def test_the_friction_is_that_of_a_slide_over_the_quoted_share_of_the_way() -> None:
    """0.96 (1 - s) / s times the rolling deceleration over g, by the closed form, on a green of 10 ft."""
    rolling = TEN_FEET.rolling_deceleration_mps2 / STANDARD_GRAVITY_MPS2
    low, high = (24 / 25 * (1 - share) / share * rolling for share in (0.20, 0.15))
    assert low < SLIDING_FRICTION < high
    assert (high - low) / 2 / 1.96 / SLIDING_FRICTION == pytest.approx(SLIDING_REL_SD, abs=0.01)


@pytest.mark.parametrize("grade", [-0.02, 0.0, 0.03])
def test_the_closed_form_agrees_with_a_ball_integrated_step_by_step(grade: float) -> None:
    """Newton and Euler for a solid sphere, sliding friction at the contact until it rolls."""
    green = Green(stimp_m=10 * FOOT_M, grade=grade)
    angle, g = math.atan(grade), STANDARD_GRAVITY_MPS2
    grip = SLIDING_FRICTION * g * math.cos(angle)

    def sliding(_t: float, y: np.ndarray) -> list[float]:
        return [y[1], -grip - g * math.sin(angle), 2.5 * grip / BALL_RADIUS_M]

    def rolls(_t: float, y: np.ndarray) -> float:
        return float(y[1] - BALL_RADIUS_M * y[2])

    rolls.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(sliding, (0, 5), [0.0, 1.8, 0.0], events=rolls, rtol=1e-10, atol=1e-12)
    roll = roll_out(1.8, green)
    assert roll.slide_s == pytest.approx(run.t[-1], rel=1e-6)
    assert roll.slide_m == pytest.approx(run.y[0, -1], rel=1e-6)
    assert roll.rolling_mps == pytest.approx(run.y[1, -1], rel=1e-6)


def test_a_ball_is_captured_up_to_the_speed_that_lets_it_fall_by_its_radius() -> None:
    # (2 R_h - R) sqrt(g / 2 R) with R_h = 54 mm and R = 21.34 mm: 1.3138 m/s at g = 9.81, below the full rim
    # model's 1.63 m/s (Holmes 1991, Am J Phys 59:129-136, quoted in Penner 2002, Can J Phys 80:83-96).
    assert pytest.approx(1.3138, abs=3e-4) == CAPTURE_CENTRE_MPS
    hole_m = 3.0
    slow = launch_to_stop_at(hole_m + 0.3, TEN_FEET)
    fast = launch_to_stop_at(hole_m + 2.0, TEN_FEET)
    assert speed_after(slow, hole_m, TEN_FEET) <= CAPTURE_CENTRE_MPS
    assert speed_after(fast, hole_m, TEN_FEET) > CAPTURE_CENTRE_MPS  # sqrt(2 * 0.549 * 2.0) = 1.48 m/s
    assert math.isnan(speed_after(launch_to_stop_at(hole_m - 0.1, TEN_FEET), hole_m, TEN_FEET))


@given(launch=st.floats(0.5, 4.0), share=st.floats(0.0, 1.0), grade=st.floats(-0.03, 0.05))
def test_the_speed_falls_along_the_way_and_is_zero_at_its_end(
    launch: float, share: float, grade: float
) -> None:
    green = Green(stimp_m=9 * FOOT_M, grade=grade)
    distance_m = roll_out(launch, green).distance_m
    assert launch_to_stop_at(distance_m, green) == pytest.approx(launch)
    assert speed_after(launch, distance_m, green) == pytest.approx(0.0, abs=1e-6)
    assert speed_after(launch, share * distance_m, green) <= launch * (1 + 1e-12)
    assert math.isnan(speed_after(launch, distance_m * 1.01, green))


@given(launch=st.floats(0.5, 4.0), grade=st.floats(0.001, 0.05))
def test_uphill_is_shorter_and_downhill_is_longer_than_flat(launch: float, grade: float) -> None:
    stimp_m = 9 * FOOT_M
    up, flat = roll_out(launch, Green(stimp_m=stimp_m, grade=grade)), roll_out(launch, Green(stimp_m=stimp_m))
    assert up.distance_m < flat.distance_m
    if grade < 0.03:
        assert roll_out(launch, Green(stimp_m=stimp_m, grade=-grade)).distance_m > flat.distance_m


def test_a_spread_of_speed_becomes_twice_that_spread_of_distance(generator: np.random.Generator) -> None:
    launch = generator.normal(2.0, 0.04, 20000)
    past_m = past_the_hole(launch, 3.0, TEN_FEET)
    expected = roll_distance(Estimate(2.0, 0.04), TEN_FEET)
    assert past_m.mean() + 3.0 == pytest.approx(expected.value, rel=0.005)
    assert past_m.std() == pytest.approx(expected.value * 2 * 0.02, rel=0.03)
    assert expected.sd > past_m.std()  # the release speed's doubt comes on top


def test_rolling_up_and_down_a_slope_brakes_on_average_as_its_normal_force_does() -> None:
    flat = Green(stimp_m=12 * FOOT_M).rolling_deceleration_mps2
    slopes = [Green(stimp_m=12 * FOOT_M, grade=each).rolling_deceleration_mps2 for each in (0.05, -0.05)]
    assert np.mean(slopes) == pytest.approx(flat / math.hypot(1, 0.05), rel=1e-9)
    pull = 5 / 7 * STANDARD_GRAVITY_MPS2 * 0.05 / math.hypot(1, 0.05)
    assert np.ptp(slopes) == pytest.approx(2 * pull, rel=1e-9)


def test_a_reading_that_is_no_green_and_a_slope_without_end_are_refused_with_a_remedy() -> None:
    with pytest.raises(CannotMeasure, match="not that of a green") as refusal:
        Green(stimp_m=10.0)
    assert "feet" in refusal.value.fix
    with pytest.raises(CannotMeasure, match="no ball stops") as refusal:
        Green(stimp_m=12 * FOOT_M, grade=-0.08)
    assert "grade" in refusal.value.fix
