"""The lens from a board: against OpenCV's published calibration, simulated views and rendered pictures."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from pennyfall.calibration.board import charuco_board
from pennyfall.calibration.board_views import (
    BoardView,
    Luma,
    charuco_finder,
    chessboard_finder,
    views_in,
    well_spread,
)
from pennyfall.calibration.layout import tag_dictionary
from pennyfall.calibration.lens_fit import fit_lens
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray
from tests.calibration.lens_scenes import (
    CORNERS_M,
    DISTORTION,
    MATRIX,
    SIZE,
    board_picture,
    corner_pixels,
    noisy_views,
    poses,
)


def photograph(path: Path) -> Luma:
    picture = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    return np.asarray(picture, dtype=np.uint8)


@pytest.fixture(scope="module")
def chessboard_views(refdata: Path) -> list[BoardView]:
    """OpenCV's thirteen photographs of a board with 9 x 6 inner corners."""
    names = sorted((refdata / "opencv_chessboard").glob("left*.jpg"))
    assert len(names) == 13
    return views_in((photograph(name) for name in names), chessboard_finder(9, 6))


@pytest.mark.footage
def test_the_published_chessboard_calibration_is_reproduced(chessboard_views: list[BoardView]) -> None:
    """opencv/modules/python/test/test_calibration.py: rms to .01, L1 distance of the matrix below 10."""
    assert len(chessboard_views) == 13
    lens = fit_lens(chessboard_views, (640, 480))
    published = np.array([[532.80990646, 0, 342.49522219], [0, 532.93344713, 233.88792491], [0, 0, 1]])
    assert lens.rms_px == pytest.approx(0.196334638034, abs=0.01)
    assert np.abs(lens.matrix - published).sum() < 1.0  # ten times closer than the source asks


@pytest.mark.footage
def test_the_published_distortion_is_reproduced_where_the_board_was(
    chessboard_views: list[BoardView],
) -> None:
    """Coefficients from the same source; k2 and k3 trade off, so the pixels they move are compared."""
    lens = fit_lens(chessboard_views, (640, 480))
    published = np.array([-2.81325576e-01, 2.91130406e-02, 1.21234330e-03, -1.40825372e-04, 1.54865844e-01])
    corners = np.vstack([view.pixels for view in chessboard_views])
    rays = np.column_stack(
        [cv2.undistortPoints(corners, lens.matrix, lens.distortion).reshape(-1, 2), np.ones(len(corners))]
    )
    moved = [
        np.asarray(cv2.projectPoints(rays, np.zeros(3), np.zeros(3), lens.matrix, coefficients)[0]).reshape(
            -1, 2
        )
        for coefficients in (lens.distortion, published)
    ]
    assert np.sqrt(np.mean(np.sum((moved[0] - moved[1]) ** 2, axis=1))) < lens.rms_px


@pytest.mark.footage
def test_undistorted_photographs_of_a_plane_obey_a_homography(chessboard_views: list[BoardView]) -> None:
    """Without the lens 0.022-0.042 of a square is left, with it 0.004-0.006 (computed on this set)."""
    lens = fit_lens(chessboard_views, (640, 480))

    def residual(view: BoardView, pixels: FloatArray) -> float:
        homography, _ = cv2.findHomography(pixels, view.points_m[:, :2])
        back = cv2.perspectiveTransform(pixels.reshape(-1, 1, 2), homography).reshape(-1, 2)
        return float(np.sqrt(np.mean(np.sum((back - view.points_m[:, :2]) ** 2, axis=1))))

    for view in chessboard_views:
        straight = cv2.undistortPoints(view.pixels, lens.matrix, lens.distortion, P=lens.matrix).reshape(
            -1, 2
        )
        assert residual(view, np.asarray(straight, dtype=np.float64)) < 0.0075
        assert residual(view, view.pixels) > 0.015


@pytest.mark.footage
def test_the_sharpest_views_that_differ_give_the_same_lens(chessboard_views: list[BoardView]) -> None:
    few = fit_lens(well_spread(chessboard_views, 8), (640, 480))
    every = fit_lens(chessboard_views, (640, 480))
    assert few.focal_px == pytest.approx(every.focal_px, abs=3 * np.hypot(few.focal_sd_px, every.focal_sd_px))


@pytest.mark.footage
def test_four_flat_photographs_are_refused_although_opencv_published_a_lens_from_them(footage: Path) -> None:
    """tutorial_camera_charuco.yml: fx 452.5 from img_00 to img_03, while the camera's other file says 628.2.

    The corners fit to the published 0.182 px, so only the focal length's uncertainty tells that it is no use.
    """
    board = cv2.aruco.CharucoBoard((5, 7), 2.0, 1.0, tag_dictionary("DICT_6X6_250"))
    pictures = [photograph(footage / "aruco-photos" / f"img_0{number}.jpg") for number in range(4)]
    views = views_in(pictures, charuco_finder(board))
    assert [len(view.pixels) for view in views] == [24] * 4
    rms, matrix, *_ = cv2.calibrateCamera(
        [view.points_m.astype(np.float32) for view in views],
        [view.pixels.astype(np.float32) for view in views],
        (640, 480),
        np.eye(3),
        np.zeros(5),
    )
    assert rms == pytest.approx(0.18234905535936044, abs=0.02)
    assert matrix[0, 0] == pytest.approx(452.51072219637672, rel=0.05)
    with pytest.raises(CannotMeasure, match=r"leave the focal length open to \d+\.\d %") as caught:
        fit_lens(views, (640, 480))
    assert "tilted" in caught.value.fix


@pytest.mark.footage
def test_the_photographed_charuco_board_is_found_although_a_hand_covers_part_of_it(footage: Path) -> None:
    board = cv2.aruco.CharucoBoard((5, 7), 2.0, 1.0, tag_dictionary("DICT_6X6_250"))
    view = charuco_finder(board)(photograph(footage / "aruco-photos" / "chocclusion_original.jpg"))
    assert view is not None
    assert 12 <= len(view.pixels) < 24


def test_simulated_views_give_the_camera_back(generator: np.random.Generator) -> None:
    lens = fit_lens(noisy_views(generator, 15, 0.2), SIZE)
    assert lens.focal_px == pytest.approx(1000.0, abs=4 * lens.focal_sd_px)
    assert lens.focal_sd_px < 3.0
    assert lens.rms_px == pytest.approx(0.2 * np.sqrt(2), rel=0.05)
    assert lens.matrix[:2, 2] == pytest.approx(MATRIX[:2, 2], abs=5)
    assert lens.distortion[0] == pytest.approx(DISTORTION[0], abs=0.05)


@pytest.mark.slow
def test_the_focal_lengths_interval_holds_the_truth_as_often_as_it_says(
    generator: np.random.Generator,
) -> None:
    """Of 200 intervals of 95 %, 90.4 to 99.6 % hold the truth (3 binomial sd are 4.6 %)."""
    covered = []
    for _ in range(200):
        lens = fit_lens(noisy_views(generator, 10, 0.2), SIZE)
        covered.append(abs(lens.focal_px - 1000.0) < 1.96 * lens.focal_sd_px)
    assert 0.904 <= np.mean(covered) <= 0.996


def test_the_boards_size_does_not_matter(generator: np.random.Generator) -> None:
    views = noisy_views(generator, 8, 0.1)
    doubled = [BoardView(points_m=2 * v.points_m, pixels=v.pixels, sharpness=v.sharpness) for v in views]
    assert fit_lens(doubled, SIZE).focal_px == pytest.approx(fit_lens(views, SIZE).focal_px, rel=1e-4)


def test_rendered_pictures_of_the_printed_board_give_the_camera_back(generator: np.random.Generator) -> None:
    chosen = poses(generator, 8)
    pictures = [board_picture(*pose) for pose in chosen]
    views = views_in(pictures, charuco_finder(charuco_board()))
    assert len(views) == 8
    for view, pose in zip(views, chosen, strict=True):
        exact = corner_pixels(*pose, distortion=np.zeros(5))
        near = np.array([np.argmin(np.linalg.norm(CORNERS_M - point, axis=1)) for point in view.points_m])
        assert np.abs(view.pixels - exact[near]).max() < 0.3
    lens = fit_lens(views, SIZE)
    assert lens.focal_px == pytest.approx(1000.0, rel=0.003)


def test_a_chessboard_in_a_large_picture_is_placed_to_a_fraction_of_a_pixel(
    generator: np.random.Generator,
) -> None:
    """The board's own squares make a chessboard once its tags are painted white."""
    pose = poses(generator, 1)[0]
    view = chessboard_finder(9, 6)(board_picture(*pose, tags=False, enlarge=2))
    assert view is not None
    exact = (corner_pixels(*pose, distortion=np.zeros(5)) + 0.5) * 2 - 0.5
    apart = np.linalg.norm(view.pixels[:, None] - exact[None], axis=2)
    assert apart.min(axis=1).max() < 0.15


def test_one_smeared_view_does_not_spoil_the_lens(generator: np.random.Generator) -> None:
    views = noisy_views(generator, 10, 0.1)
    smeared = BoardView(
        points_m=CORNERS_M,
        pixels=views[0].pixels + generator.normal(0, 4, views[0].pixels.shape),
        sharpness=1.0,
    )
    lens = fit_lens([*views, smeared], SIZE)
    assert lens.focal_px == pytest.approx(1000.0, abs=4 * lens.focal_sd_px)
    assert lens.rms_px < 0.2


def test_a_board_held_still_is_one_view(generator: np.random.Generator) -> None:
    (pose,) = poses(generator, 1)
    exact = corner_pixels(*pose)
    still = [
        BoardView(points_m=CORNERS_M, pixels=exact + generator.normal(0, 0.1, exact.shape), sharpness=1.0)
        for _ in range(30)
    ]
    assert len(well_spread(still, 25)) == 1
    with pytest.raises(CannotMeasure, match="in 1 different places; the fewest are 4") as caught:
        fit_lens(well_spread(still, 25), SIZE)
    assert "moving slowly" in caught.value.fix


def test_views_smeared_by_motion_are_left_out(generator: np.random.Generator) -> None:
    views = noisy_views(generator, 10, 0.1)
    soft = [BoardView(points_m=v.points_m, pixels=v.pixels, sharpness=0.3) for v in views[:3]]
    assert all(view.sharpness == 1.0 for view in well_spread([*soft, *views[3:]], 10))


def test_blurring_a_picture_lowers_its_sharpness(generator: np.random.Generator) -> None:
    picture = board_picture(*poses(generator, 1)[0])
    smeared = np.asarray(cv2.blur(picture, (5, 1)), dtype=np.uint8)
    find = charuco_finder(charuco_board())
    sharp, soft = find(picture), find(smeared)
    assert sharp is not None
    assert soft is not None
    assert soft.sharpness < 0.6 * sharp.sharpness


def test_a_crumpled_board_is_refused(generator: np.random.Generator) -> None:
    with pytest.raises(CannotMeasure, match="miss the best lens by") as caught:
        fit_lens(noisy_views(generator, 10, 3.0), SIZE)
    assert "flat" in caught.value.fix


def test_a_board_always_square_to_the_camera_is_refused(generator: np.random.Generator) -> None:
    """A plane parallel to the picture only shows focal length over distance (Zhang 2000, section 4)."""
    views = []
    for distance in (0.3, 0.35, 0.4, 0.45, 0.5):
        exact = corner_pixels(np.eye(3), np.array([0, 0, distance]) - MIDDLE)
        views.append(
            BoardView(points_m=CORNERS_M, pixels=exact + generator.normal(0, 0.2, exact.shape), sharpness=1.0)
        )
    with pytest.raises(CannotMeasure, match=r"leave the focal length open|cannot be"):
        fit_lens(views, SIZE)


MIDDLE = CORNERS_M.mean(axis=0)


def test_a_picture_without_a_board_shows_none(generator: np.random.Generator) -> None:
    noise = generator.integers(0, 256, (720, 1280), dtype=np.uint8)
    assert charuco_finder(charuco_board())(noise) is None
    assert chessboard_finder(9, 6)(np.full((480, 640), 128, dtype=np.uint8)) is None
    assert well_spread([], 5) == []
