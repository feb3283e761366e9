"""Smoothness against its authors' own code, calculus, and the sign that one public library has reversed.

No stroke or reach with published values and a published trajectory could be read in full: papers on putting
give means over players without one curve, Flash & Hogan (1985) only their abstract. So what is held against
others' numbers is the minimum-jerk reach, whose curve is a formula.
"""

from __future__ import annotations

import numpy as np
import pytest
from monalysa.quality.smoothness import log_dimensionless_jerk as authors_jerk
from monalysa.quality.smoothness import sparc as authors_arc_length

from pennyfall.kinematics.stroke.smoothness import log_dimensionless_jerk, spectral_arc_length


def test_values_published_with_the_measures() -> None:
    """exp(-5 t^2), t = -1 .. 1 at 100 Hz: SPARC -1.41403, LDLJ -5.81636.

    Docstrings of scripts/smoothness.py, github siva82kb/SPARC, the code of Balasubramanian et al. 2012 and
    2015.
    """
    speed = np.exp(-5 * np.arange(-1, 1, 0.01) ** 2)
    assert spectral_arc_length(speed, 100.0) == pytest.approx(-1.41403, abs=5e-6)
    assert log_dimensionless_jerk(speed, 100.0) == pytest.approx(-5.81636, abs=5e-6)


@pytest.mark.parametrize("rate_hz", [60.0, 120.0, 240.0])
@pytest.mark.parametrize("apart_s", [0.0, 0.2, 0.45])
def test_reaches_of_one_and_two_parts_are_as_smooth_as_their_authors_code_says(
    rate_hz: float, apart_s: float
) -> None:
    """Minimum-jerk reaches of 0.6 s, the second begun after the first; monalysa is the authors' library."""
    t = np.arange(0, 1.2, 1 / rate_hz)
    share = np.clip(np.array([t / 0.6, (t - apart_s) / 0.6]), 0, 1)
    speed = np.sum(30 * share**2 * (1 - share) ** 2, axis=0)
    assert spectral_arc_length(speed, rate_hz) == pytest.approx(authors_arc_length(speed, rate_hz)[0])
    assert log_dimensionless_jerk(speed, rate_hz) == pytest.approx(authors_jerk(speed, rate_hz))


def test_minimum_jerk_has_its_analytic_value() -> None:
    """V = 30 t^2 (1 - t)^2 has peak 1.875 and integral of v''^2 of 720: LDLJ = -ln(720 / 1.875^2) = -5.3220.

    Sampled at f the outermost second differences are missing, which costs 5 / f: 0.001 at 5 kHz.
    """
    for rate, tolerance in ((5000.0, 2e-3), (50000.0, 2e-4)):
        t = np.arange(0, 1 + 0.5 / rate, 1 / rate)
        assert log_dimensionless_jerk(30 * t**2 * (1 - t) ** 2, rate) == pytest.approx(
            -np.log(204.8), abs=tolerance
        )


def test_a_second_peak_makes_the_arc_length_more_negative() -> None:
    t = np.arange(-1, 1, 0.01)
    single = np.exp(-5 * t**2)
    double = single + 0.6 * np.exp(-60 * (t - 0.6) ** 2)
    assert spectral_arc_length(double, 100.0) < spectral_arc_length(single, 100.0)
    assert log_dimensionless_jerk(double, 100.0) < log_dimensionless_jerk(single, 100.0)


def test_neither_depends_on_the_unit_of_speed() -> None:
    speed = np.exp(-5 * np.arange(-1, 1, 0.01) ** 2)
    assert spectral_arc_length(100 * speed, 100.0) == pytest.approx(spectral_arc_length(speed, 100.0))
    assert log_dimensionless_jerk(100 * speed, 100.0) == pytest.approx(log_dimensionless_jerk(speed, 100.0))
