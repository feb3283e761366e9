"""A pull that may level off before impact: its matrices, how probable it is, and what that mends."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import factorial

import numpy as np
import pytest
from scipy.linalg import expm

from pennyfall.kinematics.stroke.beliefs import EASING
from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.tracker.measure.motion import smooth_strokes
from pennyfall.tracker.smoother import models
from pennyfall.tracker.smoother.chain import discretise
from pennyfall.tracker.smoother.models import easing_probability
from tests.tracker.known_strokes import known_stroke
from tests.tracker.simulated_strokes import TrueStroke, ball_track, head_track, stroke

COUNT = 16
CARRIED_ON = replace(EASING, answers=((1 - 1e-12, 0.0), (1e-12, 10.0)))
"""The belief that no pull levels off."""


def strokes(shape: str) -> Iterator[tuple[TrueStroke, np.random.Generator]]:
    """Yield strokes of a shape, and a generator for their noise."""
    draw = np.random.default_rng(7)
    for _ in range(COUNT):
        yield stroke(shape, back_m=float(draw.uniform(0.2, 0.28))), draw


def mean_error_at_impact(shape: str) -> float:
    """Return by how much the acceleration at impact is off on average [m/s^2]."""
    errors = []
    for true, draw in strokes(shape):
        head = head_track(true, draw, noise_m=6e-5)
        result = smooth_strokes(
            head,
            [ball_track(true, head, draw)],
            scale=ScaleErrors.uniform(0.0),
            direction="with the arrow",
        )
        errors.append(result.strokes[0].acceleration_at_impact_mps2.value - true.before(true.impact_s, 2))
    return float(np.mean(errors))


def mean_probability(shape: str) -> float:
    return float(
        np.mean(
            [
                easing_probability(*known_stroke(true, head_track(true, draw, noise_m=6e-5)))
                for true, draw in strokes(shape)
            ]
        )
    )


def test_only_a_pull_that_falls_may_level_off() -> None:
    """In noise of 0.06 mm; of the falling ones half may beforehand, and the frames make it 0.73."""
    assert mean_probability("late") < 0.01
    assert mean_probability("ease") > 0.6


def test_a_pass_in_practice_has_no_end_to_level_off_to(generator: np.random.Generator) -> None:
    true = stroke("ease")
    frames, model = known_stroke(true, head_track(true, generator))
    assert easing_probability(frames, model) > 0.0
    assert easing_probability(frames, replace(model, struck=False)) == 0.0


@pytest.mark.slow
def test_a_pull_that_eases_off_is_not_carried_on_below_zero(monkeypatch: pytest.MonkeyPatch) -> None:
    """The acceleration falls in an S to zero at impact: carried on it ends 0.52 m/s^2 below, now 0.40."""
    weighed = mean_error_at_impact("ease")
    monkeypatch.setattr(models, "EASING", CARRIED_ON)
    carried_on = mean_error_at_impact("ease")
    assert carried_on < -0.4
    assert abs(weighed) < 0.85 * abs(carried_on)


@pytest.mark.slow
def test_a_pull_that_rises_is_left_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    """No stroke of them levels off, so that not a digit changes."""
    weighed = mean_error_at_impact("late")
    monkeypatch.setattr(models, "EASING", CARRIED_ON)
    assert weighed == pytest.approx(mean_error_at_impact("late"), abs=1e-9)


def test_a_decaying_jerk_is_carried_as_its_integrals_say() -> None:
    """Against the matrix exponential and a Gauss-Legendre quadrature of its covariance integral."""
    dt, decay = np.array([0.0, 0.002, 0.0333]), np.array([10.0, 10.0, 10.0])
    drift = np.diag(np.ones(3), 1)
    drift[3, 3] = -10.0
    places, shares = np.polynomial.legendre.leggauss(12)
    for step, F, Q in zip(dt, *discretise(dt, decay), strict=True):
        np.testing.assert_allclose(F, expm(drift * step), rtol=1e-12, atol=1e-15)
        jerks = [expm(drift * step * (1 + place) / 2)[:, 3] for place in places]
        walked = sum(
            step / 2 * share * np.outer(each, each) for share, each in zip(shares, jerks, strict=True)
        )
        np.testing.assert_allclose(Q, walked, rtol=1e-9, atol=1e-25)


def test_a_jerk_that_does_not_decay_walks_at_random() -> None:
    """The exact integrals of a random walk (Bar-Shalom, Li & Kirubarajan 2001, section 6.2, from memory)."""
    dt = np.array([0.0, 0.004, 0.0333])
    for step, F, Q in zip(dt, *discretise(dt, np.zeros(3)), strict=True):
        for row in range(4):
            for column in range(4):
                carried = step ** (column - row) / factorial(column - row) if column >= row else 0.0
                assert F[row, column] == pytest.approx(carried, rel=1e-12)
                power = 7 - row - column
                walked = step**power / (factorial(3 - row) * factorial(3 - column) * power)
                assert Q[row, column] == pytest.approx(walked, rel=1e-12, abs=0.0)
