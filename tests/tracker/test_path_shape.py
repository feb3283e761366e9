"""Turn and curvature of the head's path, told from how near the tag looks along it."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.values import Estimate, FloatArray
from pennyfall.tracker.place.path_shape import (
    CURVATURE_FLOOR_PER_M,
    CURVATURE_SD_PER_M,
    FEWEST_FRAMES,
    TURN_FLOOR_RAD,
    fit_path,
    straight_path,
)

CAMERA_CENTRE = np.array([0.05, -0.9, 0.8])
ADDRESS = np.array([-0.05, 0.0, 0.03])
VAGUE = Estimate(0.0, 0.2)


def _seen(turn: float, curvature: float, count: int = 200) -> tuple[FloatArray, FloatArray]:
    """Return where rays to a turned, curved path meet the straight one, and how much nearer the tag looks.

    The true place is on the ray, so its distance over that of the meeting point is the ratio of the sizes.
    """
    along = np.linspace(-0.25, 0.22, count)
    across = turn * along + 0.5 * curvature * along**2
    true = ADDRESS + np.column_stack([along, across, np.zeros(count)])
    rays = true - CAMERA_CENTRE
    stretch = (ADDRESS[1] - CAMERA_CENTRE[1]) / rays[:, 1]
    return CAMERA_CENTRE + rays * stretch[:, None], np.log(stretch)


@pytest.mark.parametrize(("turn", "curvature"), [(0.0, 0.0), (0.03, 0.0), (0.0, -0.3), (-0.05, 0.4)])
def test_a_clean_track_gives_turn_and_curvature_back(turn: float, curvature: float) -> None:
    points, nearness = _seen(turn, curvature)
    path = fit_path(CAMERA_CENTRE, ADDRESS, points, nearness, np.full(len(points), 1e-3), turn_rad=VAGUE)
    # What is known beforehand pulls by the square of floor over prior sd.
    pull = (CURVATURE_FLOOR_PER_M / CURVATURE_SD_PER_M) ** 2
    assert path.turn_rad.value == pytest.approx(turn, abs=0.003)
    assert path.curvature_per_m.value == pytest.approx(curvature, abs=0.02 + pull * abs(curvature))


def test_the_floors_are_honoured_however_clean_the_track() -> None:
    points, nearness = _seen(0.02, 0.1, count=2000)
    path = fit_path(CAMERA_CENTRE, ADDRESS, points, nearness, np.full(2000, 1e-5), turn_rad=VAGUE)
    weigh = [(TURN_FLOOR_RAD, VAGUE.sd), (CURVATURE_FLOOR_PER_M, CURVATURE_SD_PER_M)]
    turn_sd, curvature_sd = (1 / np.hypot(1 / floor, 1 / prior) for floor, prior in weigh)
    assert path.turn_rad.sd == pytest.approx(turn_sd, rel=0.02)
    assert path.curvature_per_m.sd == pytest.approx(curvature_sd, rel=0.02)


def test_what_was_known_beforehand_rules_where_the_tag_says_little() -> None:
    points, nearness = _seen(0.05, 0.3)
    known = Estimate(0.01, 0.002)
    path = fit_path(CAMERA_CENTRE, ADDRESS, points, nearness, np.full(len(points), 1.0), turn_rad=known)
    assert path.turn_rad.value == pytest.approx(0.01, abs=5e-4)
    assert path.turn_rad.sd == pytest.approx(0.002, rel=0.01)
    assert path.curvature_per_m.sd == pytest.approx(CURVATURE_SD_PER_M, rel=0.01)


def test_a_constant_error_of_the_tags_size_turns_no_path() -> None:
    points, nearness = _seen(0.0, 0.0)
    path = fit_path(
        CAMERA_CENTRE, ADDRESS, points, nearness + 0.01, np.full(len(points), 1e-3), turn_rad=VAGUE
    )
    assert abs(path.turn_rad.value) < TURN_FLOOR_RAD
    assert abs(path.curvature_per_m.value) < CURVATURE_FLOOR_PER_M


@pytest.mark.parametrize("alike", [1, 4])
def test_noise_within_its_stated_size_stays_within_the_stated_deviation(
    generator: np.random.Generator, alike: int
) -> None:
    """One per cent of size a frame, the same over some; 400 tracks drawn from what is known beforehand."""
    scores = []
    for _ in range(400):
        turn, curvature = generator.normal(0, 0.035), generator.normal(0, CURVATURE_SD_PER_M)
        points, nearness = _seen(turn, curvature, count=120)
        noisy = nearness + np.repeat(generator.normal(0, 0.01, 120 // alike), alike)
        path = fit_path(
            CAMERA_CENTRE, ADDRESS, points, noisy, np.full(120, 0.01), turn_rad=Estimate(0.0, 0.035)
        )
        scores.append(
            [
                (path.turn_rad.value - turn) / path.turn_rad.sd,
                (path.curvature_per_m.value - curvature) / path.curvature_per_m.sd,
            ]
        )
    assert np.all(np.sqrt(np.mean(np.square(scores), axis=0)) < 1.1)


@pytest.mark.parametrize("missing", ["few", "gaps"])
def test_too_few_frames_leave_the_path_straight(missing: str) -> None:
    points, nearness = _seen(0.05, 0.3, count=FEWEST_FRAMES - 1 if missing == "few" else 40)
    if missing == "gaps":
        nearness[FEWEST_FRAMES - 1 :] = np.nan
    path = fit_path(CAMERA_CENTRE, ADDRESS, points, nearness, np.full(len(points), 1e-3), turn_rad=VAGUE)
    assert path == straight_path(VAGUE)
    assert path.curvature_per_m == Estimate(0.0, CURVATURE_SD_PER_M)
