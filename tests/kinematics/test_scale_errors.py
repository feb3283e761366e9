"""The errors of the scale along the line, against curves that are bent outright."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.kinematics.values import FloatArray

ADDRESS_M = -0.05
SHIFTS = np.array([[0.01, 0.0, 0.0], [0.002, -0.03, 0.05]])


def moving(time: FloatArray) -> FloatArray:
    """Return position, velocity, acceleration and jerk of x = 0.25 sin(3 t) about address."""
    phase = 3 * time
    parts = [np.sin(phase), 3 * np.cos(phase), -9 * np.sin(phase), -27 * np.cos(phase)]
    return np.asarray(0.25 * np.stack(parts, axis=-1) + np.array([ADDRESS_M, 0.0, 0.0, 0.0]))


def test_a_bent_path_is_the_shifted_place_and_its_derivatives() -> None:
    """Derivatives of the shifted place by central differences 1 ms apart, which err by 1e-6 of them."""
    h, time = 1e-3, np.linspace(0.0, 0.9, 40)
    bent = ScaleErrors(head=SHIFTS, ball=np.zeros(2)).bent(moving(time), ADDRESS_M)

    def shifted(at: FloatArray) -> FloatArray:
        s = moving(at)[:, 0] - ADDRESS_M
        return np.asarray(s + SHIFTS @ np.stack([s, s**2, s**3]) + ADDRESS_M)

    before, here, after = shifted(time - h), shifted(time), shifted(time + h)
    assert bent[:, :, 0] == pytest.approx(here, abs=1e-12)
    assert bent[:, :, 1] == pytest.approx((after - before) / (2 * h), abs=1e-5)
    assert bent[:, :, 2] == pytest.approx((before - 2 * here + after) / h**2, abs=1e-4)
    far = shifted(time + 2 * h) - shifted(time - 2 * h)
    assert bent[:, :, 3] == pytest.approx((far - 2 * (after - before)) / (2 * h**3), abs=1e-3)


def test_an_even_scale_is_as_sure_of_every_length() -> None:
    scale = ScaleErrors.uniform(0.003).with_uniform(0.004)
    assert scale.relative_sd(-0.3, 0.0) == pytest.approx(0.005)
    assert scale.relative_sd(-0.1, 0.4) == pytest.approx(0.005)
    assert np.linalg.norm(scale.ball) == pytest.approx(0.005)


def test_a_length_of_nothing_is_as_unsure_as_a_short_one_at_its_place() -> None:
    """As of a clip whose copy ends at the top of the swing; 0.01 s^2 is felt as 0.02 s."""
    curved = ScaleErrors(head=np.array([[0.0, 0.01, 0.0]]), ball=np.zeros(1))
    assert curved.relative_sd(-0.3, -0.3) == pytest.approx(0.006)
    assert curved.relative_sd(-0.3, -0.3 + 1e-6) == pytest.approx(0.006, rel=1e-5)


def test_a_doubtful_curve_is_felt_far_from_address_only() -> None:
    curved = ScaleErrors(head=np.array([[0.0, 0.01, 0.0]]), ball=np.zeros(1))
    assert curved.relative_sd(-0.3, 0.0) == pytest.approx(0.003)
    assert curved.relative_sd(-0.01, 0.01) == pytest.approx(0.0, abs=1e-12)
