"""Noise of the track: its scale, its correlation, and what repeated pictures are worth."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.tracker.smoother.frames import MeasurementNoise, estimate_noise, frame_errors
from tests.tracker.simulated_strokes import correlated_noise, stroke


@pytest.mark.parametrize(("scale", "lag_one"), [(1.0, 0.0), (1.0, 0.4), (2.0, 0.2), (0.5, 0.0)])
def test_scale_and_correlation_of_the_noise_are_recovered(
    scale: float, lag_one: float, generator: np.random.Generator
) -> None:
    """Over 8 strokes of 390 frames a correlation is known to about 0.02, a scale to 2 %."""
    true = stroke("plateau")
    found = []
    for _ in range(8):
        time = np.arange(true.takeaway_s, true.finish_s, 1 / 240)
        x = true.position(time) + scale * 1.5e-4 * correlated_noise(len(time), lag_one, generator)
        breaks = ((true.top_s, 2), (true.impact_s, 1))
        found.append(estimate_noise(time, x, np.full(len(time), 1.5e-4), breaks))
    assert np.mean([each.scale for each in found]) == pytest.approx(scale, rel=0.06)
    assert np.mean([each.lag_one for each in found]) == pytest.approx(lag_one, abs=0.07)


def test_jitter_of_the_frame_times_is_not_taken_for_noise(generator: np.random.Generator) -> None:
    true = stroke("plateau")
    time = np.arange(true.takeaway_s, true.finish_s, 1 / 120)
    time = time + generator.uniform(-0.001, 0.001, len(time))
    x = true.position(time) + 1e-4 * generator.standard_normal(len(time))
    noise = estimate_noise(time, x, np.full(len(time), 1e-4), ((true.top_s, 2), (true.impact_s, 1)))
    assert noise.scale == pytest.approx(1.0, abs=0.15)


def test_with_too_few_frames_the_stated_noise_is_kept() -> None:
    time = np.arange(8) / 60
    noise = estimate_noise(time, 0.1 * time, np.full(8, 1e-4), ())
    assert noise.scale == 1.0


def test_identical_frames_share_one_error() -> None:
    time = np.arange(6) / 240
    x = np.array([0.1, 0.1, 0.1, 0.1003, 0.1012, 0.1012])
    errors = frame_errors(time, x, np.full(6, 1e-4), MeasurementNoise(scale=2.0, lag_one=0.3))
    np.testing.assert_allclose(errors.carry[1:], [1.0, 1.0, 0.3, 0.3, 1.0])
    np.testing.assert_allclose(errors.sd_m, 2e-4)


def test_correlation_fades_over_a_gap() -> None:
    time = np.array([0.0, 1.0, 2.0, 5.0]) / 240
    x = np.array([0.0, 0.001, 0.002, 0.005])
    errors = frame_errors(time, x, np.full(4, 1e-4), MeasurementNoise(scale=1.0, lag_one=0.5))
    assert errors.carry[3] == pytest.approx(0.5**3)


def test_a_held_cameras_error_is_carried_over_20_ms_beside_the_tags_own() -> None:
    """Two errors of sd s and t, one carried over tau, correlate by t^2 exp(-dt / tau) / (s^2 + t^2)."""
    time = np.arange(8) / 240
    errors = frame_errors(
        time, time, np.full(8, 3e-5), MeasurementNoise(scale=1.0, lag_one=0.1), shaken_sd_m=4.5e-5
    )
    whole = errors.sd_m**2 + errors.independent_m2
    after_three = errors.sd_m[4] ** 2 * np.prod(errors.carry[2:5]) / whole[4]
    assert np.sqrt(whole) == pytest.approx(5.4e-5, rel=0.01)
    assert after_three == pytest.approx(0.37, abs=0.01)
