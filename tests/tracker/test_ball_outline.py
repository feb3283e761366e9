"""The projected outline against the geometry of tangent rays."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import BALL_RADIUS_M
from pennyfall.tracker.ball.outline import ball_outline, floor_ball, on_floor, rough_outlines
from tests.tracker.ball_scene import camera_at


@pytest.mark.parametrize("down_deg", [20.0, 45.0, 70.0, 89.0])
@pytest.mark.parametrize("distance_m", [0.6, 2.5])
def test_every_ray_through_the_outline_touches_the_ball(down_deg: float, distance_m: float) -> None:
    """Tangent rays pass the ball's centre at its radius, exactly."""
    camera = camera_at(distance_m, down_deg, around_deg=12.0, roll_deg=3.0)
    centre = floor_ball(0.11, -0.04)
    rays = camera.rays(ball_outline(camera, centre).points_px)
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    to_ball = centre - camera.centre
    gaps = np.linalg.norm(to_ball - (rays @ to_ball)[:, None] * rays, axis=1)
    np.testing.assert_allclose(gaps, BALL_RADIUS_M, rtol=1e-6)


def test_rays_touch_the_ball_through_a_distorting_lens_too() -> None:
    straight = camera_at(0.9, 40.0)
    camera = Camera(
        matrix=straight.matrix,
        distortion=np.array([0.1, -0.08, 0.001, -0.001, 0.0]),
        rotation=straight.rotation,
        translation=straight.translation,
    )
    centre = floor_ball(0.2, 0.1)
    rays = camera.rays(ball_outline(camera, centre).points_px)
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    to_ball = centre - camera.centre
    gaps = np.linalg.norm(to_ball - (rays @ to_ball)[:, None] * rays, axis=1)
    np.testing.assert_allclose(gaps, BALL_RADIUS_M, rtol=2e-4)  # OpenCV undoes distortion by iteration


def test_a_ball_that_looks_larger_has_its_outline_grown_about_its_centre() -> None:
    camera = camera_at(1.2, 35.0)
    plain, larger = (ball_outline(camera, floor_ball(0.0, 0.0), scale) for scale in (1.0, 1.05))
    spokes = plain.points_px - plain.centre_px
    np.testing.assert_allclose(larger.points_px, plain.centre_px + 1.05 * spokes)
    assert larger.radius_px == pytest.approx(1.05 * plain.radius_px)


def test_slopes_of_the_projection_agree_with_small_steps_of_the_point() -> None:
    """Central differences over 0.1 mm at 1 m err by a few parts in 10^8; 1e-5 leaves room for rounding."""
    straight = camera_at(0.9, 40.0, around_deg=10.0, roll_deg=3.0)
    camera = Camera(
        matrix=straight.matrix,
        distortion=np.array([0.1, -0.08, 0.001, -0.001, 0.02]),
        rotation=straight.rotation,
        translation=straight.translation,
    )
    points = np.array([[0.1, 0.05, 0.02], [-0.2, 0.1, 0.0]])
    pixels, slopes = camera.project_nearby(points)
    np.testing.assert_allclose(pixels, camera.project(points))
    for axis, step in enumerate(1e-4 * np.eye(3)):
        change = (camera.project(points + step) - camera.project(points - step)) / 2e-4
        np.testing.assert_allclose(slopes[:, :, axis], change, rtol=1e-5, atol=1e-3)


def test_normals_point_outward_and_across_the_outline() -> None:
    outline = ball_outline(camera_at(1.2, 35.0), floor_ball(0.0, 0.0))
    spokes = outline.points_px - outline.centre_px
    assert np.all(np.sum(outline.normals * spokes, axis=1) > 0.9 * np.linalg.norm(spokes, axis=1))
    np.testing.assert_allclose(np.linalg.norm(outline.normals, axis=1), 1.0)


def test_the_quick_outlines_agree_with_the_exact_one_to_a_third_of_a_pixel() -> None:
    camera = camera_at(0.7, 30.0, around_deg=-20.0)
    centre = floor_ball(0.15, 0.05)
    points, _ = rough_outlines(camera, centre[None, :], 24)
    exact = ball_outline(camera, centre).points_px
    gaps = np.linalg.norm(points[0][:, None, :] - exact[None, :, :], axis=-1).min(axis=1)
    half_a_chord = 0.5 * np.linalg.norm(np.diff(exact, axis=0), axis=1).max()
    assert gaps.max() < np.hypot(half_a_chord, 0.3)


def test_a_pixel_on_the_floor_gives_back_its_ball() -> None:
    camera = camera_at(1.4, 50.0)
    centre = floor_ball(0.21, -0.03)
    np.testing.assert_allclose(on_floor(camera, camera.project(centre[None, :]))[0], centre, atol=1e-7)
