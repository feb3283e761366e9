"""Tilt and hub radius of a head that swings on a circle."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.stroke.arc import fit_arc
from pennyfall.kinematics.values import FloatArray

TILT_SD_RAD = 0.005
"""Of one frame, as on clips rendered at 60 to 240 frames/s."""


def circle(radius: float, generator: np.random.Generator, noise: float = 1.0) -> tuple[FloatArray, ...]:
    """Return x, height and tilt on a circle, from -25 to +30 cm about its lowest point at x = -0.06.

    z = R - sqrt(R^2 - u^2), tilt = asin(u / R).
    """
    u = np.linspace(-0.25, 0.30, 300)
    z = 0.03 + radius - np.sqrt(radius**2 - u**2) + noise * 2e-4 * generator.standard_normal(300)
    tilt = np.arcsin(u / radius) + noise * TILT_SD_RAD * generator.standard_normal(300)
    return u - 0.06, z, tilt


@pytest.mark.parametrize("radius", [0.9, 1.3, 1.9])
def test_radius_and_tilt_of_a_circle(radius: float, generator: np.random.Generator) -> None:
    x, z, tilt = circle(radius, generator)
    arc = fit_arc(x, z, np.full(300, 2e-4), tilt, np.full(300, TILT_SD_RAD), -0.06)
    assert arc.hub_radius_m.value == pytest.approx(radius, rel=0.01)
    low, high = arc.hub_radius_m.interval(3.0)
    assert low < radius < high
    expected = np.arcsin(0.2 / radius) - np.arcsin(-0.2 / radius)
    assert arc.tilt_range((-0.26, 0.14)).value == pytest.approx(expected, abs=0.01)
    np.testing.assert_allclose(arc.tilt_at(np.array([-0.06, 0.04])), [0, np.arcsin(0.1 / radius)], atol=0.005)


def test_a_tag_that_lies_at_a_pitch_tilts_as_a_flat_one(generator: np.random.Generator) -> None:
    x, z, tilt = circle(1.3, generator)
    sds = np.full(300, 2e-4), np.full(300, TILT_SD_RAD)
    flat, pitched = (fit_arc(x, z, sds[0], tilt + each, sds[1], -0.06) for each in (0.0, 0.1))
    at = np.array([-0.2, -0.06, 0.1])
    np.testing.assert_allclose(pitched.tilt_at(at), flat.tilt_at(at), atol=1e-9)
    assert pitched.tilt_range((-0.2, 0.1)).sd == pytest.approx(flat.tilt_range((-0.2, 0.1)).sd)


def test_without_a_measured_tilt_the_height_gives_it(generator: np.random.Generator) -> None:
    x, z, _ = circle(1.3, generator)
    unknown = np.full(300, np.nan)
    arc = fit_arc(x, z, np.full(300, 2e-4), unknown, unknown, -0.06)
    assert arc.hub_radius_m.value == pytest.approx(1.3, rel=0.02)
    assert arc.tilt_at(np.array([0.14]))[0] == pytest.approx(0.2 / 1.3, rel=0.03)


def test_contradicting_curvatures_widen_the_interval(generator: np.random.Generator) -> None:
    x, z, _ = circle(1.3, generator)
    tilt = circle(1.6, generator)[2]
    arc = fit_arc(x, z, np.full(300, 2e-4), tilt, np.full(300, 0.002), -0.06)
    low, high = arc.hub_radius_m.interval()
    assert low < 1.3 or high > 1.6
    assert arc.hub_radius_m.sd > 0.02


def test_a_straight_path_has_no_radius(generator: np.random.Generator) -> None:
    x, _, _ = circle(1.3, generator)
    z = 0.03 + 2e-4 * generator.standard_normal(300)
    tilt = TILT_SD_RAD * generator.standard_normal(300)
    arc = fit_arc(x, z, np.full(300, 2e-4), tilt, np.full(300, TILT_SD_RAD), -0.06)
    assert not arc.hub_radius_m.known


def test_nothing_measured_gives_nothing(generator: np.random.Generator) -> None:
    unknown = np.full(300, np.nan)
    arc = fit_arc(np.linspace(-0.3, 0.3, 300), unknown, unknown, unknown, unknown, 0.0)
    assert not arc.hub_radius_m.known
    assert not arc.tilt_range((-0.2, 0.2)).known
    assert np.isnan(arc.tilt_at(np.array([0.1]))).all()


def test_heights_that_err_smoothly_hardly_bend_the_radius(generator: np.random.Generator) -> None:
    """As on rendered clips: 1.5 mm too high at both ends, ten standard deviations of a frame."""
    x, z, tilt = circle(1.3, generator)
    u = x - x.mean()
    arc = fit_arc(
        x, z + 1.5e-3 * (u / u.max()) ** 2, np.full(300, 2e-4), tilt, np.full(300, TILT_SD_RAD), -0.06
    )
    assert arc.hub_radius_m.value == pytest.approx(1.3, rel=0.015)
    low, high = arc.hub_radius_m.interval()
    assert low < 1.3 < high


def test_a_short_stroke_knows_its_radius_less(generator: np.random.Generator) -> None:
    x, z, tilt = circle(1.3, generator)
    middle = np.abs(x - x.mean()) < 0.09
    sd_z, sd_tilt = np.full(300, 2e-4), np.full(300, TILT_SD_RAD)
    whole = fit_arc(x, z, sd_z, tilt, sd_tilt, -0.06)
    short = fit_arc(x[middle], z[middle], sd_z[middle], tilt[middle], sd_tilt[middle], -0.06)
    assert short.hub_radius_m.sd > 2.5 * whole.hub_radius_m.sd
    assert short.tilt_range((-0.09, 0.09)).sd > 2.5 * whole.tilt_range((-0.09, 0.09)).sd
