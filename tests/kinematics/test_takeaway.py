"""The onset of the backswing: the truth lies inside an honest interval, however the head starts."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.stroke.takeaway import Movement, repeated, takeaway_instant
from pennyfall.kinematics.values import Estimate, FloatArray
from pennyfall.tracker.smoother.events import EARLY_MOTION_M, EARLY_MOTION_SDS
from tests.tracker.simulated_strokes import correlated_noise


def onset(
    position: FloatArray, time: FloatArray, sd_m: float, lag_one: float, generator: np.random.Generator
) -> Estimate:
    """Estimate the onset of a movement of -0.2 m in 0.7 s from its start; rest is identical frames."""
    noise = sd_m * correlated_noise(len(time), lag_one, generator)
    resting = position == 0.0
    noise[resting] = noise[0]
    early = np.abs(position) < np.clip(EARLY_MOTION_SDS * sd_m, *EARLY_MOTION_M)
    x = (position + noise)[early]
    visible = float(time[early][np.flatnonzero(np.abs(x - x[0]) < 4 * sd_m)[-1]])
    movement = Movement(length_m=-0.2, end_s=1.2, rests=True)
    return takeaway_instant(time[early], x, np.full(len(x), sd_m), lag_one, visible, movement)


def start(power: int, time: FloatArray) -> FloatArray:
    """Return the lowest polynomial that leaves rest like t^power at 0.5 s and stops at -0.2 m."""
    tau = np.clip((time - 0.5) / 0.7, 0.0, 1.0)
    shapes = {
        2: 6 * tau**2 - 8 * tau**3 + 3 * tau**4,
        3: 10 * tau**3 - 15 * tau**4 + 6 * tau**5,
        4: 15 * tau**4 - 24 * tau**5 + 10 * tau**6,
    }
    return np.asarray(-0.2 * shapes[power])


@pytest.mark.parametrize("power", [2, 3, 4])
@pytest.mark.parametrize("rate_hz", [240.0, 60.0])
def test_the_onset_lies_in_its_interval_whatever_the_start(
    power: int, rate_hz: float, generator: np.random.Generator
) -> None:
    """Sixty starts: 95 % intervals that held the truth in fewer than 52 would be too narrow (p < 0.01)."""
    inside = 0
    for _ in range(60):
        time = np.arange(0.2 + generator.uniform(0, 1 / rate_hz), 0.95, 1 / rate_hz)
        found = onset(start(power, time), time, 1e-4, 0.2, generator)
        low, high = found.interval()
        inside += low <= 0.5 <= high
    assert inside >= 52


@pytest.mark.parametrize(("rate_hz", "width_s"), [(240.0, 0.040), (60.0, 0.060)])
def test_the_interval_of_a_minimum_jerk_start_is_narrow(
    rate_hz: float, width_s: float, generator: np.random.Generator
) -> None:
    widths = []
    for _ in range(30):
        time = np.arange(0.2 + generator.uniform(0, 1 / rate_hz), 0.95, 1 / rate_hz)
        found = onset(start(3, time), time, 1e-4, 0.0, generator)
        low, high = found.interval()
        widths.append(high - low)
    assert np.median(widths) < width_s


@pytest.mark.parametrize(("rate_hz", "width_s"), [(240.0, 0.040), (60.0, 0.060)])
def test_a_start_that_creeps_away_is_dated_well_even_in_much_noise(
    rate_hz: float, width_s: float, generator: np.random.Generator
) -> None:
    """Forty starts like t^4 in 0.18 mm of noise: 95 % intervals hold fewer than 33 once in 300.

    The asked widths: 40 ms at 240 and 60 ms at 60 frames/s.
    """
    widths, inside = [], 0
    for _ in range(40):
        time = np.arange(0.2 + generator.uniform(0, 1 / rate_hz), 0.95, 1 / rate_hz)
        low, high = onset(start(4, time), time, 1.8e-4, 0.2, generator).interval()
        widths.append(high - low)
        inside += low <= 0.5 <= high
    assert np.median(widths) < width_s
    assert inside >= 33


def test_less_noise_gives_a_narrower_interval(generator: np.random.Generator) -> None:
    time = np.arange(0.2, 0.95, 1 / 240)
    fine = np.mean([onset(start(3, time), time, 3e-5, 0.0, generator).sd for _ in range(10)])
    coarse = np.mean([onset(start(3, time), time, 3e-4, 0.0, generator).sd for _ in range(10)])
    assert fine < 0.7 * coarse


def test_a_repeated_picture_is_told_from_a_moving_head(generator: np.random.Generator) -> None:
    x = np.concatenate([np.full(50, 0.1), 0.1 + 1e-4 * generator.standard_normal(500)])
    same = repeated(x, np.full(550, 1e-4))
    assert same[1:50].all()
    assert not same[0]
    assert same[50:].mean() < 0.05
