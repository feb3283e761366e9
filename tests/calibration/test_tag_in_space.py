"""Where the head tag stands and how it is turned, from its place and stretch in the picture."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.calibration.attitude import follow_attitude, projection_gradient, relative_stretch, tag_axes
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.layout import STANDARD_SHEET
from pennyfall.calibration.tag_height import place_tag
from pennyfall.calibration.tag_size import TagSizes, nearest_printed_side
from pennyfall.kinematics.values import Estimate, FloatArray
from tests.calibration.scenes import camera_over_floor

CAMERA = camera_over_floor()


def _seen(point: FloatArray, turn: float, tilt: float, roll: float, camera: Camera = CAMERA) -> FloatArray:
    axes = tag_axes(np.array([turn]), np.array([tilt]), np.array([roll]))
    seen: FloatArray = projection_gradient(camera, point[None, :])[0] @ axes[0]
    return seen


def test_the_projection_gradient_is_that_of_the_pinhole() -> None:
    """For a camera looking straight down from height H, a metre on the floor is f / H pixels."""
    down = camera_over_floor(place=(0.0, -1e-6, 1.25), look=(0.0, 0.0, 0.0), focal_px=1000.0)
    gradient = projection_gradient(down, np.array([[0.1, 0.05, 0.0]]))[0]
    assert np.abs(gradient[:, :2]) == pytest.approx(np.diag([800.0, 800.0]), abs=0.01)


def test_equal_pictures_have_no_stretch() -> None:
    jacobian = _seen(np.array([0.0, 0.2, 0.03]), 0.1, 0.05, 0.0)
    assert relative_stretch(jacobian[None], jacobian[None]) == pytest.approx(np.zeros((1, 4)), abs=1e-12)


def test_a_known_attitude_is_recovered_over_a_stroke() -> None:
    x = np.linspace(-0.25, 0.25, 21)
    tilt = x / 1.3
    points = np.column_stack([x, np.full(21, 0.2), 0.03 + x**2 / 2.6])
    seen = np.array([_seen(p, 0.05, t, 0.02) for p, t in zip(points, tilt, strict=True)])
    turn, found, nearness, covariance = follow_attitude(
        CAMERA,
        points,
        seen,
        np.tile(1e-4 * np.eye(4), (21, 1, 1)),
        turn_rad=0.05,
        tilt_rad=0.0,
        roll_rad=0.02,
        nearness_sd=0.03,
    )
    assert found == pytest.approx(tilt, abs=1e-4)
    assert turn == pytest.approx(np.full(21, 0.05), abs=1e-4)
    assert nearness == pytest.approx(np.zeros(21), abs=1e-4)
    assert np.all(np.linalg.eigvalsh(covariance) > 0)


def test_a_stated_height_is_taken_as_it_is() -> None:
    point = np.array([-0.06, 0.2, 0.031])
    tag = place_tag(
        CAMERA,
        CAMERA.project(point[None, :])[0],
        _seen(point, 0.02, 0.01, 0.0),
        stated=Estimate(0.031, 0.001),
        ball_y_m=None,
    )
    assert tag.height_m == Estimate(0.031, 0.001)
    assert tag.point_m == pytest.approx(point, abs=1e-6)
    assert tag.turn_rad == pytest.approx(0.02, abs=2e-3)


def test_an_estimated_height_lies_within_its_interval(generator: np.random.Generator) -> None:
    """Heights, tags and places drawn from what the estimate assumes: its interval must hold 95 % of them."""
    inside = 0
    for _ in range(60):
        height = generator.normal(0.027, 0.004)
        point = np.array([-0.06, 0.2 + generator.normal(0, 0.008), height])
        seen = _seen(point, generator.normal(0, 0.05), generator.normal(0, 0.045), generator.normal(0, 0.045))
        seen = (np.eye(2) + generator.normal(0, 0.006, (2, 2))) @ seen
        tag = place_tag(CAMERA, CAMERA.project(point[None, :])[0], seen, stated=None, ball_y_m=0.2)
        low, high = tag.height_m.interval()
        inside += low <= height <= high
    # 60 draws of a 95 % interval hold the truth at least 51 times in 99.9 % of cases (binomial).
    assert inside >= 51


def test_a_dot_without_size_leaves_height_to_the_prior_and_the_ball() -> None:
    point = np.array([-0.06, 0.2, 0.027])
    pixel = CAMERA.project(point[None, :])[0]
    alone = place_tag(CAMERA, pixel, None, stated=None, ball_y_m=None)
    with_ball = place_tag(CAMERA, pixel, None, stated=None, ball_y_m=0.2)
    assert alone.height_m.sd == pytest.approx(0.004, rel=1e-3)
    assert with_ball.height_m.sd < alone.height_m.sd


@pytest.mark.parametrize("printed_at", [1.0, 0.94])
@pytest.mark.parametrize("which", range(4))
def test_the_printed_size_is_told_from_the_picture(which: int, printed_at: float) -> None:
    layout = STANDARD_SHEET.scaled(printed_at)
    sizes = TagSizes(assumed_m=layout.head_tag_side_m, printed_m=layout.printed_sides_m)
    side_m = (0.016, 0.020, 0.024, 0.032)[which] * printed_at
    point = np.array([-0.06, 0.2, 0.032])
    seen = _seen(point, 0.0, 0.02, -0.03) * side_m / sizes.assumed_m
    found = nearest_printed_side(CAMERA, CAMERA.project(point[None, :])[0], seen, sizes, height_m=0.027)
    assert found == pytest.approx(side_m)


@pytest.mark.parametrize("lean", [-0.3, 0.15, 0.3])
def test_a_tag_swung_about_a_leaning_axis_looks_as_near_as_it_is(lean: float) -> None:
    """The head turns and tilts about one axis, and rolls with it by the half product of the two.

    With the roll left out, a lean of 0.3 rad makes the tag of the outermost place look 0.5 % larger or
    smaller: as much as a path a third more curved would.
    """
    angle = np.linspace(-0.25, 0.25, 21)
    points = np.column_stack([1.25 * angle, np.full(21, 0.2), np.full(21, 0.03)])
    axis = np.array([0.0, -np.cos(lean), np.sin(lean)])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    turns = [np.eye(3) + np.sin(each) * cross + (1 - np.cos(each)) * cross @ cross for each in angle]
    seen = projection_gradient(CAMERA, points) @ np.array(turns)[:, :, :2]
    _, _, nearness, _ = follow_attitude(
        CAMERA,
        points,
        seen,
        np.tile(1e-5 * np.eye(4), (21, 1, 1)),
        turn_rad=0.0,
        tilt_rad=0.0,
        roll_rad=0.0,
        nearness_sd=0.03,
    )
    assert nearness == pytest.approx(np.zeros(21), abs=3e-4)
