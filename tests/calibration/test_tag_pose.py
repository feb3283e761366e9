"""One level tag tells how far and how steeply a camera looks at it, and how unsure that is."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.calibration.attitude import projection_gradient, tag_axes
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.tag_pose import pose_from_tag
from pennyfall.kinematics.values import FloatArray
from tests.calibration.scenes import camera_over_floor

HEIGHT_M = 0.028
SIZE = (1280, 720)
USUAL_FOCAL_PX = 0.82 * 1280


def _seen(
    camera: Camera, *, turn: float = 0.0, tilt: float = 0.0, roll: float = 0.0
) -> tuple[FloatArray, FloatArray]:
    point = np.array([[0.0, 0.0, HEIGHT_M]])
    axes = tag_axes(np.array([turn]), np.array([tilt]), np.array([roll]))
    return camera.project(point)[0], (projection_gradient(camera, point) @ axes)[0]


@pytest.mark.parametrize("place", [(0.05, -0.7, 0.8), (-0.4, -0.9, 0.5), (0.1, 1.1, 0.9)])
def test_a_level_tag_and_the_true_focal_length_give_the_camera_back(
    place: tuple[float, float, float],
) -> None:
    camera = camera_over_floor(place=place, look=(0.05, 0.0, 0.0), focal_px=USUAL_FOCAL_PX)
    centre, jacobian = _seen(camera, turn=0.1)
    pose = pose_from_tag(centre, jacobian, height_m=HEIGHT_M, picture_size=SIZE, turn_rad=0.1)
    assert pose.camera.centre == pytest.approx(np.array(place), abs=2e-4)
    assert pose.focal_source == "assumed"


def test_a_lens_made_in_a_larger_picture_of_the_same_shape_poses_the_camera_as_well() -> None:
    """1060 px in a picture 1280 px wide are 1590 px in one 1920 px wide."""
    camera = camera_over_floor(look=(0.05, 0.0, 0.0), focal_px=1060.0)
    lens = Lens(
        matrix=np.array([[1590.0, 0, 959.5], [0, 1590.0, 539.5], [0, 0, 1]]),
        distortion=np.zeros(5),
        width_px=1920,
        height_px=1080,
        rms_px=0.1,
        focal_sd_px=2.0,
    )
    pose = pose_from_tag(*_seen(camera), height_m=HEIGHT_M, picture_size=SIZE, lens=lens)
    assert pose.camera.centre == pytest.approx(camera.centre, abs=2e-4)
    assert pose.focal_source == "lens-file"


def test_lengths_across_the_view_hardly_depend_on_the_focal_length() -> None:
    """A camera with a focal length 20 % off stands 20 % too near, and still measures across the view."""
    camera = camera_over_floor(look=(0.0, 0.0, 0.0), focal_px=1.2 * USUAL_FOCAL_PX)
    pose = pose_from_tag(*_seen(camera), height_m=HEIGHT_M, picture_size=SIZE)
    ends = np.array([[-0.1, 0.0, HEIGHT_M], [0.1, 0.0, HEIGHT_M]])
    met = pose.camera.meet_level(camera.project(ends), HEIGHT_M)
    assert np.linalg.norm(met[1] - met[0]) == pytest.approx(0.2, rel=0.02)
    assert np.linalg.norm(pose.camera.centre) < 0.9 * np.linalg.norm(camera.centre)


def test_the_stated_covariance_covers_tags_that_are_not_level_and_lenses_that_are_not_usual(
    generator: np.random.Generator,
) -> None:
    """Draw from the stated priors: height and focal length lie within 95 % intervals 9 times in 10."""
    inside = []
    for _ in range(60):
        camera = camera_over_floor(
            look=(0.0, 0.0, 0.0), focal_px=USUAL_FOCAL_PX * float(np.exp(generator.normal(0, 0.2)))
        )
        tilt, roll = generator.normal(0, 0.045, 2)
        centre, jacobian = _seen(camera, tilt=tilt, roll=roll)
        jacobian = jacobian * (1 + generator.normal(0, 0.012))
        pose = pose_from_tag(centre, jacobian, height_m=HEIGHT_M, picture_size=SIZE)
        heights = [one.centre[2] - pose.camera.centre[2] for one in pose.perturbed()]
        sd = float(np.linalg.norm(heights))
        off_px = pose.focal_px.value - camera.matrix[0, 0]
        inside.append(
            [
                abs(pose.camera.centre[2] - camera.centre[2]) < 1.96 * sd,
                abs(off_px) < 1.96 * pose.focal_px.sd,
            ]
        )
    assert np.mean(inside, axis=0).min() >= 0.85
