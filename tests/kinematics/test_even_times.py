"""A track on even times: closed forms, the samples themselves, and gaps that stay gaps."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.clock.even_times import nearest_samples, on_even_times
from pennyfall.kinematics.values import FloatArray


def uneven(generator: np.random.Generator, count: int, rate_hz: float) -> FloatArray:
    return (np.arange(count) + generator.uniform(-0.2, 0.2, count)) / rate_hz


def test_a_swing_seen_at_uneven_times_is_nearer_than_straight_lines_between_the_frames_can_be_held_to(
    generator: np.random.Generator,
) -> None:
    """The error of a straight line over an interval h is at most h^2 / 8 times the acceleration."""
    time_s, even_s = uneven(generator, 60, 60.0), np.arange(2, 56) / 60
    swing, acceleration = 2 * np.pi / 1.2, 0.25 * (2 * np.pi / 1.2) ** 2
    way = np.column_stack([0.25 * np.sin(swing * time_s), 3.0 * time_s])
    found = on_even_times(time_s, way, even_s, joined=np.ones(59, dtype=bool))
    error = np.abs(found - np.column_stack([0.25 * np.sin(swing * even_s), 3.0 * even_s]))
    assert error[:, 0].max() < np.diff(time_s).max() ** 2 / 8 * acceleration
    assert error[:, 1].max() < 1e-12, "a straight way is a straight way"


def test_at_the_frames_own_times_the_samples_stand_and_the_gap_between_runs_is_empty(
    generator: np.random.Generator,
) -> None:
    frames = np.array([0, 1, 2, 6, 9, 10, 11])
    time_s, values = frames / 240, generator.normal(size=(7, 3))
    before = values.copy()
    found = on_even_times(time_s, values, np.arange(12) / 240 + 3e-6, joined=np.diff(frames) == 1)
    np.testing.assert_allclose(found[[0, 1, 9, 10]], values[[0, 1, 4, 5]], atol=0.01)
    np.testing.assert_allclose(found[[2, 6, 11]], values[[2, 3, 6]], rtol=1e-12)
    assert np.isnan(found[[3, 4, 5, 7, 8]]).all()
    np.testing.assert_array_equal(values, before)


def test_of_a_track_without_a_sample_nothing_is_known() -> None:
    found = on_even_times(np.empty(0), np.empty((0, 3)), np.arange(4.0), joined=np.empty(0, dtype=bool))
    assert np.isnan(found).all()
    assert found.shape == (4, 3)


@pytest.mark.parametrize("time_s", [[0.5], [0.0, 1.0], [0.0, 0.1, 0.9, 2.0]])
def test_the_nearest_sample_is_that_of_a_search_through_all(
    time_s: list[float], generator: np.random.Generator
) -> None:
    even_s = generator.uniform(-0.5, 2.5, 200)
    expected = np.abs(even_s[:, np.newaxis] - np.array(time_s)).argmin(axis=1)
    np.testing.assert_array_equal(nearest_samples(np.array(time_s), even_s), expected)
