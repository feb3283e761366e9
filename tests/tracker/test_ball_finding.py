"""Finding and measuring a ball in rendered pictures with its centre known."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.ball.edges import fit_outline, smear_length
from pennyfall.tracker.ball.finding import find_resting_ball
from pennyfall.tracker.ball.outline import ball_outline
from tests.tracker.ball_scene import HEAD_HEIGHT_M, RADIUS_M, TAG_TO_FACE_M, Scene, camera_at

BALL_M = np.array([0.006, -0.004, RADIUS_M])


def addressed(gap_m: float, way: int = 1) -> FloatArray:
    """Return the tag's place with the head behind the ball."""
    return np.array([BALL_M[0] - way * (RADIUS_M + gap_m + TAG_TO_FACE_M), 0.0, HEAD_HEIGHT_M])


def centre_error_px(scene: Scene, found_px: FloatArray) -> float:
    return float(np.hypot(*(found_px - scene.camera.project(BALL_M[None, :])[0])))


SCENES = {
    "white on dark carpet": Scene(camera=camera_at(1.2, 45.0), paper=True, shoes=True),
    "far and low": Scene(camera=camera_at(1.9, 25.0, around_deg=15.0), carpet=60.0, ambient=0.6),
    "from straight above": Scene(camera=camera_at(1.5, 89.0, roll_deg=4.0), noise=5.0, ambient=0.6),
    "near": Scene(camera=camera_at(0.6, 60.0), carpet=50.0, ambient=0.7, light=(-0.4, 0.2, 0.9)),
    "grey on dark, compressed": Scene(
        camera=camera_at(1.0, 40.0), ball=130.0, carpet=40.0, ambient=0.7, jpeg_quality=60, carpet_texture=6.0
    ),
    "dark on light": Scene(camera=camera_at(1.1, 50.0), ball=90.0, carpet=190.0, carpet_texture=8.0),
}


@pytest.mark.parametrize("name", SCENES)
def test_a_resting_ball_is_found_where_it_lies(name: str) -> None:
    """Allow 0.75 px: 0.3 px of bias and three times the 0.15 px that carpet and noise leave.

    Across the picture that is 1.2 mm at the farthest; toward the camera it is more, the lower it looks.
    """
    scene = SCENES[name]
    head = addressed(0.01)
    found = find_resting_ball(scene.frame(BALL_M, head), scene.camera, scene.head_px(head))
    assert found is not None
    assert centre_error_px(scene, found.fit.centre_px) < 0.75
    assert abs(found.centre_m[0] - BALL_M[0]) < 0.0012


@pytest.mark.parametrize("gap_m", [0.002, 0.008])
def test_a_ball_hardly_brighter_than_the_floor_is_found_beside_a_dark_head(gap_m: float) -> None:
    """Half of the outline steps by a tenth of what the head's edges do, and they must not have the say."""
    scene = Scene(camera=camera_at(1.2, 42.0), carpet=140.0, carpet_texture=8.0, head=45.0, ambient=0.6)
    head = addressed(gap_m)
    found = find_resting_ball(scene.frame(BALL_M, head), scene.camera, scene.head_px(head))
    assert found is not None
    assert found.faint
    assert centre_error_px(scene, found.fit.centre_px) < 1.6


@pytest.mark.parametrize("name", SCENES)
def test_nothing_is_called_a_ball_where_none_lies(name: str) -> None:
    scene = SCENES[name]
    head = addressed(0.01)
    assert find_resting_ball(scene.frame(None, head), scene.camera, scene.head_px(head)) is None


def test_the_ball_is_found_on_the_other_side_of_the_head() -> None:
    scene = Scene(camera=camera_at(1.2, 45.0), way=-1, ambient=0.6)
    head = addressed(0.012, way=-1)
    found = find_resting_ball(scene.frame(BALL_M, head), scene.camera, scene.head_px(head))
    assert found is not None
    assert centre_error_px(scene, found.fit.centre_px) < 0.75


def test_a_third_hidden_by_the_head_moves_the_centre_by_less_than_its_stated_error() -> None:
    """The camera stands behind the head: its top covers the ball's near side."""
    scene = Scene(camera=camera_at(1.1, 35.0, around_deg=62.0), ambient=0.6)
    head = addressed(0.0)
    luma = scene.frame(BALL_M, head)
    outline = ball_outline(scene.camera, BALL_M + np.array([0.002, 0.002, 0.0]))
    fit = fit_outline(luma, outline, reach_px=0.3 * outline.radius_px)
    assert fit is not None
    assert fit.support < 0.85
    assert centre_error_px(scene, fit.centre_px) < max(0.6, 4.0 * fit.sd_px)


def test_a_piece_of_the_picture_gives_the_same_outline_as_the_whole() -> None:
    """The sampled pixels are the same; `cv2.remap` rounds their places to 1/32 px, either way at a border."""
    scene = Scene(camera=camera_at(1.0, 50.0), ambient=0.6)
    luma = scene.frame(BALL_M, None)
    outline = ball_outline(scene.camera, BALL_M + np.array([0.002, 0.001, 0.0]))
    corner = np.floor(outline.centre_px - 3.0 * outline.radius_px).astype(int)
    far = corner + int(6.0 * outline.radius_px)
    piece = luma[corner[1] : far[1], corner[0] : far[0]].copy()
    whole = fit_outline(luma, outline, reach_px=0.35 * outline.radius_px)
    part = fit_outline(piece, outline, reach_px=0.35 * outline.radius_px, origin_px=corner.astype(np.float64))
    assert whole is not None
    assert part is not None
    np.testing.assert_allclose(part.centre_px, whole.centre_px, atol=0.1)


@pytest.mark.parametrize(("smear_m", "worst_px"), [(0.005, 1.0), (0.012, 1.5), (0.021, 2.5)])
def test_a_smeared_ball_is_located_at_mid_exposure(smear_m: float, worst_px: float) -> None:
    """Stay within four stated standard deviations, and a tenth of the radius (24 px) at half a ball's smear.

    Light from one side shades the ball, and a smear of half a ball then pulls by 1 to 2 px (measured here).
    """
    scene = Scene(camera=camera_at(1.0, 50.0), ambient=0.6, carpet_texture=8.0, mark=180.0)
    step = np.array([smear_m, 0.0, 0.0])
    luma = scene.frame(BALL_M, None, ball_step_m=step, instants=10)
    ends = scene.camera.project(np.vstack([BALL_M - step / 2, BALL_M + step / 2]))
    outline = ball_outline(scene.camera, BALL_M + np.array([0.003, -0.001, 0.0]))
    fit = fit_outline(luma, outline, reach_px=0.35 * outline.radius_px, smear_px=ends[1] - ends[0])
    assert fit is not None
    assert centre_error_px(scene, fit.centre_px) < min(4.0 * fit.sd_px, worst_px)


def test_the_smear_is_told_from_the_edges() -> None:
    """A share of a third is allowed: the smear only sets the width of a filter."""
    scene = Scene(camera=camera_at(1.0, 50.0), ambient=0.8, carpet_texture=4.0, mark=190.0)
    step = np.array([0.010, 0.0, 0.0])
    luma = scene.frame(BALL_M, None, ball_step_m=step, instants=10)
    ends = scene.camera.project(np.vstack([BALL_M - step / 2, BALL_M + step / 2]))
    true_px = float(np.hypot(*(ends[1] - ends[0])))
    found_px = smear_length(luma, ball_outline(scene.camera, BALL_M), (ends[1] - ends[0]) / true_px)
    assert found_px == pytest.approx(true_px, rel=0.34)


def test_a_sharp_ball_shows_next_to_no_smear() -> None:
    scene = Scene(camera=camera_at(1.0, 50.0), ambient=0.8, carpet_texture=4.0, mark=190.0)
    luma = scene.frame(BALL_M, None)
    outline = ball_outline(scene.camera, BALL_M)
    assert smear_length(luma, outline, np.array([1.0, 0.0])) < 0.2 * outline.radius_px


def test_an_outline_far_from_any_ball_is_refused_or_hardly_supported() -> None:
    scene = Scene(camera=camera_at(1.0, 50.0), carpet_texture=3.0, noise=1.0)
    luma = scene.frame(None, None)
    fit = fit_outline(luma, ball_outline(scene.camera, BALL_M), reach_px=8.0)
    assert fit is None or fit.support < 0.5
