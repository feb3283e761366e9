from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pennyfall.kinematics.coin.demand import head_motion
from pennyfall.kinematics.coin.friction import FrictionRange
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.putt.planner import plan_lengths
from pennyfall.kinematics.putt.roll import FOOT_M, Green, launch_to_stop_at
from pennyfall.kinematics.putt.scaling import (
    PUBLISHED_AMPLITUDE_POWER,
    Putt,
    fit_scaling,
    grown_profile,
    putt,
)
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import STANDARD_GRAVITY_MPS2
from tests.kinematics.coin_strokes import Stroke

GREEN = Green(stimp_m=10 * FOOT_M)
RANGE = FrictionRange(low=0.2, high=0.4)


def grown(base: Stroke, *, amplitude: float, time: float) -> Stroke:
    """Return a stroke of the same shape, so many times as long and as slow."""
    return dataclasses.replace(
        base,
        rest_s=base.rest_s * time,
        backswing_m=base.backswing_m * amplitude,
        backswing_s=base.backswing_s * time,
        forward_s=base.forward_s * time,
        through_s=base.through_s * time,
        impact_speed_mps=base.impact_speed_mps * amplitude / time,
        top_mps2=base.top_mps2 * amplitude / time**2,
    )


def student(length_m: float, *, amplitude_power: float, time_power: float, scatter: float = 1.0) -> Putt:
    """Return a student whose amplitude and time grow by known powers from a 10 ft putt of 20 cm in 0.30 s."""
    ratio = length_m / (10 * FOOT_M)
    amplitude, time = ratio**amplitude_power * scatter, ratio**time_power
    base = Stroke(backswing_m=0.20, forward_s=0.30, impact_speed_mps=1.25, top_mps2=6.0)
    larger = grown(base, amplitude=amplitude, time=time)
    return putt(larger.measured(ball_mps=launch_to_stop_at(length_m, GREEN)), GREEN)


def test_the_length_of_a_putt_is_where_its_ball_stops() -> None:
    assert student(3.5, amplitude_power=0.5, time_power=0.0).length_m == pytest.approx(3.5)


def test_known_powers_are_found_again_from_two_lengths(generator: np.random.Generator) -> None:
    putts = [
        student(length_m, amplitude_power=0.42, time_power=0.08, scatter=generator.normal(1, 0.02))
        for length_m in (1.5, 6.0)
        for _ in range(4)
    ]
    scaling = fit_scaling(putts)
    assert scaling.source == "fitted"
    assert abs(scaling.amplitude_power.value - 0.42) < 3 * scaling.amplitude_power.sd
    assert scaling.amplitude_power.sd < 0.02
    assert scaling.time_power.value == pytest.approx(0.08, abs=1e-6)


def test_one_length_alone_uses_the_published_scaling() -> None:
    scaling = fit_scaling([student(3.0, amplitude_power=0.4, time_power=0.1) for _ in range(5)])
    assert scaling.source == "published"
    assert scaling.lacking == "length"
    assert scaling.amplitude_power == PUBLISHED_AMPLITUDE_POWER


def test_two_strokes_at_two_lengths_lack_strokes_and_not_a_length() -> None:
    scaling = fit_scaling([student(each, amplitude_power=0.4, time_power=0.1) for each in (2.0, 5.0)])
    assert scaling.source == "published"
    assert scaling.lacking == "strokes"


def test_a_grown_profile_is_the_profile_of_the_grown_stroke() -> None:
    base = Stroke(impact_mps2=0.0)
    amplitude, time = 1.3, 1.1
    larger = grown(base, amplitude=amplitude, time=time)
    scaled = grown_profile(base.profile(), amplitude=amplitude, time=time)
    direct = larger.profile()
    one = head_motion(scaled, impact_s=larger.impact_s)
    other = head_motion(direct, impact_s=larger.impact_s)
    before = np.linspace(0.2, larger.impact_s - 0.01, 50)
    difference = np.interp(before, one.t_s, one.demand) - np.interp(before, other.t_s, other.demand)
    # equal but for the arc: x grows as R sin(phi), the path as R phi; 0.3 rad^3 / 6 of either
    assert np.abs(difference).max() < 0.02


def test_longer_putts_demand_more_and_the_bands_follow_each_other() -> None:
    plan = plan_lengths(
        [student(3.0, amplitude_power=0.5, time_power=0.0)],
        Shelf(edge_distance_m=0.008),
        FrictionRange(low=0.32, high=0.45),
    )
    demands = [each.demand_at_top.value for each in plan.lengths]
    assert demands == sorted(demands)
    verdicts = [each.verdict for each in plan.lengths]
    assert verdicts == sorted(verdicts, key=["stays", "doubtful", "leaves"].index)
    assert plan.band("stays") is not None
    assert plan.band("leaves") is not None


def test_the_demand_at_the_top_is_that_of_the_closed_form_at_the_measured_length() -> None:
    """At rest at the top: (a - g sin(phi)) / (g cos(phi)), phi = 0.20 m / 1.6 m."""
    plan = plan_lengths(
        [student(10 * FOOT_M, amplitude_power=0.5, time_power=0.0)], Shelf(), RANGE, lengths_m=[10 * FOOT_M]
    )
    slope = 0.20 / 1.6
    expected = 6.0 / (STANDARD_GRAVITY_MPS2 * np.cos(slope)) - np.tan(slope)
    assert plan.lengths[0].demand_at_top.value == pytest.approx(expected, abs=0.004)


def test_far_from_what_was_measured_the_demand_is_less_certain() -> None:
    plan = plan_lengths(
        [student(10 * FOOT_M, amplitude_power=0.5, time_power=0.0)], Shelf(), RANGE, lengths_m=[3.0, 9.0]
    )
    assert plan.lengths[1].demand_at_top.sd > 2 * plan.lengths[0].demand_at_top.sd


def test_a_stroke_without_ball_speed_needs_a_stated_length() -> None:
    stroke = Stroke().measured()
    with pytest.raises(CannotMeasure, match="no ball speed") as refusal:
        putt(stroke, GREEN)
    assert refusal.value.setting == "length"
    assert putt(stroke, GREEN, stated_length_m=3.0).length_m == 3.0


def test_no_stroke_is_refused_with_a_remedy() -> None:
    with pytest.raises(CannotMeasure, match="no stroke") as refusal:
        plan_lengths([], Shelf(), RANGE)
    assert "measurement file" in refusal.value.fix
