"""The definitions of the measures, on curves known exactly."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.stroke.arc import fit_arc
from pennyfall.kinematics.stroke.measures import StrokeContext, measure
from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.kinematics.stroke.smoothed import VELOCITY, SmoothedStroke
from pennyfall.kinematics.values import Estimate, FloatArray, StrokeMeasures
from tests.tracker.simulated_strokes import TrueStroke, stroke


def exactly(
    true: TrueStroke,
    *,
    finished: bool = True,
    late_s: FloatArray | None = None,
    node_early_s: float = 0.0,
    pull_change_step_s: float = 0.0,
    slower_when_later_mps2: float = 0.0,
    faster_when_later_mps2: float = 0.0,
) -> StrokeMeasures:
    """Measure the true curve itself: a node every millisecond, both limits at top and impact.

    No spread but in the instant of impact, by `late_s`, with which the ball is faster and the head slower.
    The node of the impact may come early, as a frame does.
    """
    grid = np.arange(true.takeaway_s - 0.2, true.finish_s + 0.1, 1e-3)
    left = np.array([true.top_s, true.impact_s - node_early_s]) - 1e-9
    events = np.array([true.takeaway_s, true.top_s, true.impact_s, true.impact_s - 0.02])
    time = np.sort(np.concatenate([grid, left, events]))
    state = np.stack([true.position(time, order) for order in range(4)], axis=1)

    def node(instant: float) -> int:
        return int(np.searchsorted(time, instant - 1e-10))

    late_s = np.zeros(20) if late_s is None else late_s
    samples = np.repeat(state[None], len(late_s), axis=0)
    samples[:, :, VELOCITY] -= slower_when_later_mps2 * late_s[:, None]
    smoothed = SmoothedStroke(
        time_s=time,
        state=state,
        state_sd=np.zeros_like(state),
        samples=samples,
        takeaway=Estimate(true.takeaway_s, 0.0),
        impact=Estimate(true.impact_s - 1e-9, 0.0),
        impact_samples_s=true.impact_s - 1e-9 + late_s,
        takeaway_samples_s=np.full(len(late_s), true.takeaway_s),
        takeaway_node=node(true.takeaway_s),
        top_node=node(left[0]),
        impact_node=node(left[1]),
        pull_change_step_s=pull_change_step_s,
        finish_node=node(true.finish_s) if finished else None,
    )
    unknown = np.full(len(grid), np.nan)
    return measure(
        smoothed,
        np.searchsorted(time, grid),
        fit_arc(unknown, unknown, unknown, unknown, unknown, true.address_m),
        StrokeContext(
            number=1,
            direction="with the arrow",
            impact_source="ball",
            practice=False,
            ball_speed_mps=Estimate(true.ball_speed_mps, 0.01),
            ball_faster_when_later_mps2=faster_when_later_mps2,
            finish_s=Estimate.missing(),
            scale=ScaleErrors.uniform(0.0),
        ),
    )


@pytest.mark.parametrize("kind", ["early", "plateau", "late", "middle"])
def test_each_measure_is_what_its_definition_says(kind: str) -> None:
    true = stroke(kind)
    found, truths = exactly(true), true.truths()
    for name in (
        "top_s",
        "backswing_s",
        "forward_swing_s",
        "tempo_ratio",
        "backswing_length_m",
        "through_length_m",
        "acceleration_at_top_mps2",
        "peak_acceleration_mps2",
        "acceleration_at_impact_mps2",
        "acceleration_before_impact_mps2",
        "peak_speed_mps",
        "peak_speed_after_impact_s",
        "impact_speed_mps",
        "speed_lost_share",
        "ball_to_head_ratio",
    ):
        assert getattr(found, name).value == pytest.approx(truths[name], rel=1e-4, abs=1e-6), name


def test_a_late_stroke_peaks_at_impact_and_an_early_one_at_the_top() -> None:
    assert exactly(stroke("late")).peak_acceleration_share.value == pytest.approx(1.0, abs=1e-3)
    assert exactly(stroke("early")).peak_acceleration_share.value == pytest.approx(0.0, abs=0.01)


def test_acceleration_at_impact_is_the_left_limit() -> None:
    """Half of the acceleration is left after impact; the velocity step is no acceleration."""
    true = stroke("late")
    found = exactly(true)
    assert found.acceleration_at_impact_mps2.value == pytest.approx(true.before(true.impact_s, 2), rel=1e-4)
    assert found.profile.a_mps2.min() > -20


@pytest.mark.parametrize("kind", ["early", "late"])
def test_from_its_node_to_the_impact_the_head_goes_on_as_it_did(kind: str) -> None:
    true = stroke(kind)
    found = exactly(true, node_early_s=7e-4)
    for order, name in enumerate(("impact_speed_mps", "acceleration_at_impact_mps2"), start=1):
        expected = float(true.before(true.impact_s, order))
        assert getattr(found, name).value == pytest.approx(expected, abs=2e-4), name


def test_a_peak_sought_in_steps_lies_anywhere_within_one() -> None:
    """A rectangular distribution of that width (JCGM 100:2008, 4.3.7)."""
    plain, stepped = (exactly(stroke("early"), pull_change_step_s=each) for each in (0.0, 0.012))
    forward_s = plain.forward_swing_s.value
    for name, unit in (("peak_acceleration_s", 1.0), ("peak_acceleration_share", 1 / forward_s)):
        before, after = (getattr(each, name).sd for each in (plain, stepped))
        assert after == pytest.approx(np.hypot(before, unit * 0.012 / np.sqrt(12))), name


def test_without_a_finish_there_is_no_through_length() -> None:
    found = exactly(stroke("plateau"), finished=False)
    assert not found.finish_s.known
    assert not found.through_length_m.known
    assert found.impact_speed_mps.known


def test_the_ratio_to_the_ball_carries_the_error_of_both() -> None:
    true = stroke("plateau")
    ratio = exactly(true).ball_to_head_ratio
    assert ratio.sd == pytest.approx(ratio.value * 0.01 / true.ball_speed_mps, rel=1e-6)


def test_the_ratio_to_the_ball_knows_that_a_late_impact_errs_in_both(generator: np.random.Generator) -> None:
    """A ball faster by 40 m/s^2 times the delay, a head slower by 20: against ratios drawn together."""
    true = stroke("plateau")
    late_s = 2e-4 * generator.standard_normal(4000)
    found = exactly(true, late_s=late_s, slower_when_later_mps2=20.0, faster_when_later_mps2=40.0)
    ball_mps = found.ball_speed_mps.value + 40.0 * late_s
    own_sd = np.sqrt(0.01**2 - (40.0 * 2e-4) ** 2)
    ball_mps += own_sd * generator.standard_normal(len(late_s))
    slowing = 20.0 - found.acceleration_at_impact_mps2.value
    drawn = ball_mps / (found.impact_speed_mps.value - slowing * late_s)
    assert found.ball_to_head_ratio.sd == pytest.approx(float(np.std(drawn)), rel=0.04)
