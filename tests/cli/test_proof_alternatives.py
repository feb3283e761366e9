"""The usual methods, each held to what is known of it: a rival set up badly would prove nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter

from pennyfall.cli.proof.alternatives import (
    METHODS,
    butterworth,
    cross_validated_window,
    residual_cutoff,
    savitzky_golay,
    smoothing_spline,
)
from pennyfall.cli.proof.plain_kalman import START_SDS, TYPICAL_SD_M, best_cutoff, smooth_at
from pennyfall.cli.proof.published import published_results
from pennyfall.kinematics.values import FloatArray

TIME = np.arange(600) / 240.0


def swing(time: FloatArray) -> FloatArray:
    """Return a swing of 0.1 m at 0.8 Hz, whose acceleration is -(2 pi 0.8)^2 times its place."""
    return 0.1 * np.sin(2 * np.pi * 0.8 * time)


@pytest.mark.parametrize("method", METHODS, ids=lambda each: each.name)
def test_each_method_follows_a_slow_swing_by_its_own_rule(
    method: object, generator: np.random.Generator
) -> None:
    """Its acceleration peaks at 2.53 m/s^2; away from the ends every method errs by less than a fifth."""
    found = next(each for each in METHODS if each is method)
    x = swing(TIME) + 5e-5 * generator.standard_normal(len(TIME))
    curve = found.smooth(TIME, x, found.choose(TIME, x))
    inner = slice(100, -100)
    error = curve.a_mps2[inner] + (2 * np.pi * 0.8) ** 2 * swing(TIME)[inner]
    assert np.sqrt(np.mean(error**2)) < 0.5


def test_two_passes_halve_the_power_at_the_cutoff() -> None:
    """Winter 2009: the correction 0.802 makes the two passes together 3 dB down there: gain 0.7071."""
    wave = np.sin(2 * np.pi * 8.0 * TIME)
    gain = np.sqrt(np.mean(butterworth(TIME, wave, 8.0).x_m[150:-150] ** 2) * 2)
    assert gain == pytest.approx(np.sqrt(0.5), abs=0.01)


def test_local_cubics_are_exact_on_a_cubic() -> None:
    curve = savitzky_golay(TIME, TIME**3, 0.1)
    np.testing.assert_allclose(curve.a_mps2[50:-50], 6 * TIME[50:-50], atol=1e-6)


def test_a_spline_of_a_cutoff_halves_a_wave_there() -> None:
    """H = 1 / (1 + (w / w0)^4) for a cubic smoothing spline (Woltring 1986)."""
    wave = np.sin(2 * np.pi * 6.0 * TIME)
    curve = smoothing_spline(TIME, wave, 6.0)
    assert np.max(curve.x_m[200:-200]) == pytest.approx(0.5, abs=0.01)


def test_the_kalman_smoother_of_a_cutoff_halves_a_wave_there() -> None:
    """H = 1 / (1 + (w / w0)^6): a random walk of acceleration is a quintic spline (Woltring 1986)."""
    wave = np.sin(2 * np.pi * 6.0 * TIME)
    assert np.max(smooth_at(TIME, wave, 6.0)[0, 200:-200]) == pytest.approx(0.5, abs=0.01)


def test_the_kalman_smoother_is_filterpys(generator: np.random.Generator) -> None:
    x = swing(TIME[:120]) + 1e-4 * generator.standard_normal(120)
    dt = 1 / 240.0
    q = (2 * np.pi * 8.0) ** 6 * TYPICAL_SD_M**2 * dt
    kalman = KalmanFilter(dim_x=3, dim_z=1)
    kalman.x, kalman.P = np.array([x[0], 0.0, 0.0]), np.diag(START_SDS**2)
    kalman.F = np.array([[1, dt, dt**2 / 2], [0, 1, dt], [0, 0, 1]])
    kalman.H, kalman.R = np.array([[1.0, 0.0, 0.0]]), np.array([[TYPICAL_SD_M**2]])
    kalman.Q = q * np.array(
        [[dt**5 / 20, dt**4 / 8, dt**3 / 6], [dt**4 / 8, dt**3 / 3, dt**2 / 2], [dt**3 / 6, dt**2 / 2, dt]]
    )
    means, covariances, _, _ = kalman.batch_filter(x[1:])
    kalman.x, kalman.P = np.array([x[0], 0.0, 0.0]), np.diag(START_SDS**2)
    kalman.update(x[0])
    first = kalman.x.copy(), kalman.P.copy()
    kalman.x, kalman.P = first
    means, covariances, _, _ = kalman.batch_filter(x[1:])
    smoothed, _, _, _ = kalman.rts_smoother(
        np.concatenate([first[0][None], means]), np.concatenate([first[1][None], covariances])
    )
    np.testing.assert_allclose(smooth_at(TIME[:120], x, 8.0).T, smoothed, rtol=1e-5, atol=1e-6)


def test_likelihood_asks_for_a_lower_cutoff_where_there_is_more_noise(generator: np.random.Generator) -> None:
    quiet, loud = (swing(TIME) + sd * generator.standard_normal(len(TIME)) for sd in (1e-5, 1e-3))
    assert best_cutoff(TIME, loud) < best_cutoff(TIME, quiet)
    assert cross_validated_window(TIME, loud) > cross_validated_window(TIME, quiet)


def test_residual_analysis_finds_the_published_cutoff(refdata: Path) -> None:
    """5.59 Hz on Pezzack's raw angle (BMClab's test of residual analysis); 5.63 by our fit of the line."""
    table = np.genfromtxt(refdata / "pezzack1977" / "pezzack1977.csv", delimiter=",", names=True)
    time = np.asarray(table["time_s"], dtype=np.float64)
    angle = np.asarray(table["angle_raw_rad"], dtype=np.float64)
    assert residual_cutoff(np.linspace(time[0], time[-1], len(time)), angle) == pytest.approx(5.59, abs=0.1)


@pytest.mark.slow
def test_recordings_are_followed_better_than_by_the_usual_ways_but_a_long_contact_not_as_by_hand(
    refdata: Path,
) -> None:
    """Published for Dowling's: quintic spline 23.6, Butterworth 25.5, segmented filter 16.4 rad/s^2.

    Davis & Challis 2020, J Biomech 101:109619, table 1. Ours errs by 20.1, everything by likelihood: it beats
    the spline and not the filter cut by hand where the contact of 25 ms begins and ends.
    """
    results = published_results(refdata)
    for result in results:
        ours = result.rms["pennyfall"]
        assert ours < min(error for name, error in result.rms.items() if name != "pennyfall")
    (contact,) = (result.rms["pennyfall"] for result in results if result.recording.contact)
    assert 16.4 < contact < 20.5
