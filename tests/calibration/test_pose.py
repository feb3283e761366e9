"""The camera's pose and focal length from the sheet, with a covariance that covers its errors."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pennyfall.calibration.lens import Lens
from pennyfall.calibration.pose import solve_pose
from pennyfall.kinematics.errors import CannotMeasure
from tests.calibration.scenes import camera_over_floor, sheet_points

SIZE = (1280, 720)


def test_pose_and_focal_length_come_back_exactly_from_exact_points() -> None:
    truth = camera_over_floor()
    points = sheet_points()
    pose = solve_pose(points, truth.project(points), np.full(len(points), 0.05), picture_size=SIZE)
    assert pose.focal_source == "sheet"
    assert pose.camera.matrix[0, 0] == pytest.approx(1060.0, rel=2e-3)
    assert pose.camera.centre == pytest.approx(truth.centre, abs=2e-3)
    assert pose.reprojection_rms_px < 0.01


def test_a_camera_moved_to_another_origin_and_axis_sees_the_same_places_where_it_saw_them() -> None:
    camera, origin, turn = camera_over_floor(k1=-0.1), np.array([0.1, -0.05, 0.0]), 0.3
    x_axis = np.array([np.cos(turn), np.sin(turn), 0.0])
    across, up = np.array([-np.sin(turn), np.cos(turn), 0.0]), np.array([0.0, 0.0, 1.0])
    places = np.array([[0.2, 0.1, 0.0], [-0.1, 0.15, 0.05], [0.0, -0.1, 0.1]])
    before = origin + places @ np.array([x_axis, across, up])
    moved = camera.moved_to(origin, x_axis)
    np.testing.assert_allclose(moved.project(places), camera.project(before), atol=1e-9)


def test_the_pose_agrees_with_opencvs_own_solver_on_an_independent_layout(
    generator: np.random.Generator,
) -> None:
    """OpenCV's SOLVEPNP_ITERATIVE (5.0) with the true lens, on forty points that are no sheet's tags."""
    truth = camera_over_floor(place=(-0.2, -0.9, 0.6))
    points = np.column_stack([generator.uniform(-0.3, 0.3, (40, 2)), np.zeros(40)])
    pixels = truth.project(points) + generator.normal(0, 0.1, (40, 2))
    lens = Lens(
        matrix=truth.matrix,
        distortion=truth.distortion,
        width_px=1280,
        height_px=720,
        rms_px=0.1,
        focal_sd_px=0.1,
    )
    pose = solve_pose(points, pixels, np.full(40, 0.1), picture_size=SIZE, lens=lens)
    found, rotation, translation = cv2.solvePnP(points, pixels, truth.matrix, truth.distortion)
    assert found
    matrix, _ = cv2.Rodrigues(rotation)
    theirs = (-matrix.T @ translation).ravel()
    # The two differ by the sliver of k1 and focal length that ours leaves free.
    assert pose.camera.centre == pytest.approx(theirs, abs=1e-3)
    assert pose.focal_source == "lens-file"


@pytest.mark.parametrize("place", [(0.05, -0.7, 0.8), (-0.4, -0.9, 0.5), (0.1, 1.6, 1.2)])
def test_the_stated_focal_interval_covers_the_truth(
    place: tuple[float, float, float], generator: np.random.Generator
) -> None:
    truth = camera_over_floor(place=place)
    points = sheet_points()
    inside = 0
    for _ in range(40):
        pixels = truth.project(points) + generator.normal(0, 0.06, (len(points), 2))
        pose = solve_pose(points, pixels, np.full(len(points), 0.06), picture_size=SIZE)
        low, high = pose.focal_px.interval()
        inside += low <= 1060.0 <= high
    # 40 draws of a 95 % interval hold the truth at least 34 times in 99.9 % of cases (binomial).
    assert inside >= 34


def test_a_sheet_seen_squarely_from_above_tells_no_focal_length() -> None:
    truth = camera_over_floor(place=(0.0, -0.001, 1.2), look=(0.0, 0.0, 0.0))
    points = sheet_points()
    pose = solve_pose(points, truth.project(points), np.full(len(points), 0.06), picture_size=SIZE)
    assert pose.focal_source == "assumed"
    assert pose.focal_px.sd > 0.05 * pose.focal_px.value


def test_turning_the_sheet_half_way_round_turns_the_pose() -> None:
    truth = camera_over_floor()
    points = sheet_points()
    pixels = truth.project(points)
    turned = points * [-1.0, -1.0, 1.0]
    one = solve_pose(points, pixels, np.full(len(points), 0.05), picture_size=SIZE)
    other = solve_pose(turned, pixels, np.full(len(points), 0.05), picture_size=SIZE)
    assert other.camera.centre == pytest.approx(one.camera.centre * [-1, -1, 1], abs=1e-4)


def test_points_are_not_changed() -> None:
    points = sheet_points()
    pixels = camera_over_floor().project(points)
    before = points.copy(), pixels.copy()
    solve_pose(points, pixels, np.full(len(points), 0.05), picture_size=SIZE)
    assert np.array_equal(points, before[0])
    assert np.array_equal(pixels, before[1])


def lens_made_at(width_px: int, height_px: int, focal_px: float) -> Lens:
    """Return a lens without distortion, its centre in the middle of the picture."""
    return Lens(
        matrix=np.array([[focal_px, 0, (width_px - 1) / 2], [0, focal_px, (height_px - 1) / 2], [0, 0, 1]]),
        distortion=np.zeros(5),
        width_px=width_px,
        height_px=height_px,
        rms_px=0.1,
        focal_sd_px=2.0,
    )


def test_a_lens_made_in_a_larger_picture_of_the_same_shape_poses_the_camera_as_well() -> None:
    """1060 px in a picture 1280 px wide are 1590 px in one 1920 px wide."""
    truth = camera_over_floor()
    points = sheet_points()
    pose = solve_pose(
        points,
        truth.project(points),
        np.full(len(points), 0.05),
        picture_size=SIZE,
        lens=lens_made_at(1920, 1080, 1590.0),
    )
    assert pose.camera.centre == pytest.approx(truth.centre, abs=1e-3)
    assert pose.focal_px.value == pytest.approx(1060.0, abs=1.0)
    assert pose.focal_px.sd < 2.0


def test_a_lens_made_in_a_picture_of_another_shape_is_refused() -> None:
    truth = camera_over_floor()
    points = sheet_points()
    with pytest.raises(CannotMeasure, match="1280 x 720 px, have another shape") as caught:
        solve_pose(
            points,
            truth.project(points),
            np.full(len(points), 0.05),
            picture_size=SIZE,
            lens=lens_made_at(1440, 1080, 1590.0),
        )
    assert "in the mode" in caught.value.fix
