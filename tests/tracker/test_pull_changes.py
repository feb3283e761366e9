"""A pull that changes at once shortly before impact."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pennyfall.kinematics.stroke.beliefs import PULL_CHANGE, Kick
from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.measure.motion import smooth_strokes
from pennyfall.tracker.smoother import models
from tests.tracker.known_strokes import known_stroke
from tests.tracker.simulated_strokes import ball_track, head_track, stroke

STROKES = 20
NOISE_M = 1.3e-4
"""In less noise the process noise alone, chosen by likelihood, is loose enough for such a corner."""
EVEN = replace(PULL_CHANGE, answers=((1.0, Kick()), (1e-40, Kick(jerk=1.0)), (1e-40, Kick(jerk=1.0))))
"""The belief that no pull changes at once."""


def errors_before_impact(kind: str, generator: np.random.Generator) -> FloatArray:
    """Return error and standard deviation of the mean acceleration over the last 20 ms, shape (n, 2)."""
    rows = []
    for _ in range(STROKES):
        true = stroke(kind, back_m=float(generator.uniform(0.2, 0.28)))
        head = head_track(true, generator, noise_m=NOISE_M)
        found = smooth_strokes(
            head,
            [ball_track(true, head, generator)],
            scale=ScaleErrors.uniform(0.0),
            direction="with the arrow",
        ).strokes[0]
        told = found.acceleration_before_impact_mps2
        rows.append((told.value - true.truths()["acceleration_before_impact_mps2"], told.sd))
    return np.array(rows)


@pytest.mark.slow
def test_a_hand_that_lets_go_just_before_impact_is_seen_to(
    generator: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The pull gives way 51 ms before impact: an even process noise errs by 0.9 m/s^2 and states 0.27."""
    error, sd = errors_before_impact("let go", generator).T
    assert np.sqrt(np.mean((error / sd) ** 2)) < 1.8
    monkeypatch.setattr(models, "PULL_CHANGE", EVEN)
    blind, blind_sd = errors_before_impact("let go", generator).T
    assert np.sqrt(np.mean((blind / blind_sd) ** 2)) > 2.5
    assert np.sqrt(np.mean(error**2)) < 0.85 * np.sqrt(np.mean(blind**2))


@pytest.mark.slow
def test_a_corner_that_is_not_there_costs_little(
    generator: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    error, sd = errors_before_impact("middle", generator).T
    monkeypatch.setattr(models, "PULL_CHANGE", EVEN)
    blind, blind_sd = errors_before_impact("middle", generator).T
    assert np.median(sd) < 1.5 * np.median(blind_sd)
    assert np.sqrt(np.mean(error**2)) < 1.5 * np.sqrt(np.mean(blind**2)) + 0.05


def test_a_change_just_before_the_ball_that_is_certain_has_its_whole_variance_there(
    generator: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    certain = ((1e-40, Kick()), (1e-40, Kick(jerk=100.0)), (1.0, Kick(jerk=200.0)))
    monkeypatch.setattr(models, "PULL_CHANGE", replace(PULL_CHANGE, answers=certain))
    true = stroke("let go")
    on_the_way, late, is_late = models.find_pull_changes(*known_stroke(true, head_track(true, generator)))
    assert is_late == pytest.approx(1.0)
    assert on_the_way == ()
    assert sum(each.jerk_sd_mps3**2 for each in late) == pytest.approx(200.0**2, rel=0.02)
