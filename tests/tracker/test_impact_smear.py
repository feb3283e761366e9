"""A frame exposed across the impact shows a mean place; the head is put back where it was at mid-exposure."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.measure.motion import smooth_strokes
from pennyfall.tracker.smoother.frames import (
    MeasurementNoise,
    StrokeFrames,
    frame_errors,
    undo_impact_smear,
)
from tests.tracker.simulated_strokes import ball_track, head_track, stroke

BEFORE, AFTER, IMPACT = 1.5, 1.2, 0.5


def place(time: FloatArray) -> FloatArray:
    """Return the place of a head that is braked from 1.5 to 1.2 m/s at 0.5 s."""
    since = time - IMPACT
    return np.where(since < 0, BEFORE * since, AFTER * since)


def shown(time: FloatArray, exposure_s: float) -> FloatArray:
    """Return the mean place over the exposure of each frame, by a fine sum."""
    within = exposure_s * (np.arange(2000) + 0.5) / 2000 - exposure_s / 2
    return np.asarray(place(time[:, None] + within).mean(axis=1))


def frames_of(time: FloatArray, x: FloatArray) -> StrokeFrames:
    seen = np.ones(len(time), dtype=bool)
    errors = frame_errors(time, x, np.full(len(time), 5e-5), MeasurementNoise(scale=1.0, lag_one=0.0))
    return StrokeFrames(time=time, x=x, seen=seen, errors=errors)


@pytest.mark.parametrize("phase", [-0.4, -0.1, 0.0, 0.2, 0.45])
def test_the_mean_place_is_taken_back_exactly(phase: float) -> None:
    """The frame's middle lies a share of the exposure from the impact; frames that do not see it stay."""
    exposure = 0.002
    time = IMPACT + phase * exposure + np.arange(-5, 6) / 240
    frames = frames_of(time, shown(time, exposure))
    corrected = undo_impact_smear(frames, IMPACT, 1e-4, BEFORE - AFTER, exposure)
    np.testing.assert_allclose(corrected.x, place(time), atol=1e-9)
    assert np.count_nonzero(corrected.x != frames.x) == 1


def test_a_corrected_frame_is_believed_less_and_least_with_an_unknown_exposure() -> None:
    time = IMPACT + np.arange(-5, 6) / 240
    frames = frames_of(time, shown(time, 0.001))
    told = undo_impact_smear(frames, IMPACT, 1e-4, 0.3, 0.001).errors.independent_m2
    untold = undo_impact_smear(frames, IMPACT, 1e-4, 0.3, float("nan")).errors.independent_m2
    assert frames.errors.independent_m2[5] < told[5] < untold[5]
    assert told[4] == frames.errors.independent_m2[4]


def test_no_loss_of_speed_leaves_the_frames_alone() -> None:
    time = IMPACT + np.arange(-5, 6) / 240
    frames = frames_of(time, place(time))
    assert undo_impact_smear(frames, IMPACT, 1e-4, -0.1, 0.001) is frames


@pytest.mark.slow
def test_a_long_exposure_across_the_impact_no_longer_reads_as_braking(
    generator: np.random.Generator,
) -> None:
    """Exposure 1/300 s, impact in the middle of a frame's: uncorrected, that frame lies 0.12 mm behind.

    Braking is a mean error; each stroke scatters about it by the noise of its own frames: over 72
    strokes by 0.08 and 0.13 m/s^2 about means of -0.02 and -0.10, mean squares 0.26 of one another.
    """
    exposure = 1 / 300
    errors: dict[bool, list[float]] = {True: [], False: []}
    for _ in range(72):
        true = stroke("late", back_m=float(generator.uniform(0.2, 0.28)))
        head = head_track(true, generator, noise_m=4e-5)
        head = dataclasses.replace(head, time_s=head.time_s + true.impact_s - head.time_s[300])
        within = exposure * ((np.arange(41) - 20) / 41)
        noise = 4e-5 * generator.standard_normal(len(head.time_s))
        x = np.mean([true.position(head.time_s + each) for each in within], axis=0) + noise
        rest = np.abs(true.position(head.time_s, 1)) < 1e-12
        x[rest & (head.time_s < 1.0)] = x[0]
        ball = ball_track(true, head, generator)
        smeared = np.mean([true.ball(ball.time_s + each) for each in within], axis=0)
        ball = dataclasses.replace(ball, x_m=ball.x_m - true.ball(ball.time_s) + smeared)
        for told in (True, False):
            seen = dataclasses.replace(head, x_m=x, exposure_s=exposure if told else 0.0)
            found = smooth_strokes(
                seen, [ball], scale=ScaleErrors.uniform(0.0), direction="with the arrow"
            ).strokes[0]
            errors[told].append(found.acceleration_at_impact_mps2.value - true.before(true.impact_s, 2))
    assert abs(np.mean(errors[True])) < 0.3 * abs(np.mean(errors[False]))
    assert np.mean(np.square(errors[True])) < 0.5 * np.mean(np.square(errors[False]))
