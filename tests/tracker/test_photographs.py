"""Photographs of a board of known geometry: scale from tag centres, and what a small tag's sides are worth.

OpenCV's tutorial photographs (opencv_contrib, Apache-2.0): a board of 5 x 7 squares, marker to square 1 : 2.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.layout import TagLayout, square_corners
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.pose import solve_pose
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.follow.sheet import SheetFinder, SheetSight
from pennyfall.tracker.marks.decoding import TagFinder

DICTIONARY = "DICT_6X6_250"
SIDE_M = 0.0200
"""The markers are declared 2.00 cm wide: only ratios are known."""
DISTANCES_CM = {(0, 15): 24.00, (2, 4): 16.00, (0, 16): 25.30}
"""By the board's 1 : 2: six squares, four, and the root of 40."""
ASKED = {tag_id for pair in DISTANCES_CM for tag_id in pair}
BOARDS = ("choriginal.jpg", "chocclusion_original.jpg", "img_00.jpg", "img_02.jpg", "img_03.jpg")

PUBLISHED_CORNERS = {
    40: [(359, 310), (404, 310), (410, 350), (362, 350)],
    98: [(427, 255), (469, 256), (477, 289), (434, 288)],
    62: [(233, 273), (190, 273), (196, 241), (237, 241)],
    23: [(298, 185), (334, 186), (335, 212), (297, 211)],
    124: [(425, 163), (430, 186), (394, 186), (390, 162)],
    203: [(195, 155), (230, 155), (227, 178), (190, 178)],
}
"""Printed in OpenCV's tutorial 'Detection of ArUco Markers' for singlemarkersoriginal.jpg, whole pixels."""

pytestmark = pytest.mark.footage


def _board() -> dict[int, tuple[float, float]]:
    """Return the markers' places on the board: on every other of 5 x 7 squares, row by row [m]."""
    squares = [(row, column) for row in range(7) for column in range(5) if (row + column) % 2]
    return {k: (2 * SIDE_M * column, -2 * SIDE_M * row) for k, (row, column) in enumerate(squares)}


def _layout(ids: set[int]) -> TagLayout:
    places = _board()
    return TagLayout(
        dictionary=DICTIONARY, corners={tag_id: square_corners(places[tag_id], SIDE_M) for tag_id in ids}
    )


def _read(path: Path) -> LumaFrame:
    luma = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    assert luma is not None
    return np.asarray(luma, dtype=np.uint8)


def _lens(folder: Path) -> Lens:
    """Return the photographs' published intrinsics."""
    published = cv2.FileStorage(str(folder / "tutorial_camera_charuco.yml"), cv2.FILE_STORAGE_READ)
    return Lens(
        matrix=np.asarray(published.getNode("camera_matrix").mat(), dtype=np.float64),
        distortion=np.asarray(published.getNode("distortion_coefficients").mat(), dtype=np.float64).ravel(),
        width_px=640,
        height_px=480,
        rms_px=published.getNode("avg_reprojection_error").real(),
        focal_sd_px=1.0,
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Seen:
    """A photographed board: decoded corners, registered tags, the camera posed by tags not asked for."""

    decoded: dict[int, FloatArray]
    registered: SheetSight
    camera: Camera

    def on_board(self, pixels: FloatArray) -> FloatArray:
        """Return where pixels lie on the board, shape (n, 3) [m]."""
        return self.camera.meet_level(np.atleast_2d(pixels), 0.0)

    def side_cm(self, corners_px: FloatArray) -> float:
        """Return a square's mean side [cm]."""
        corners = self.on_board(corners_px)
        return 100 * float(np.mean(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)))


@pytest.fixture(params=BOARDS)
def seen(request: pytest.FixtureRequest, footage: Path) -> Seen:
    folder = footage / "aruco-photos"
    luma = _read(folder / request.param)
    decoded = TagFinder(DICTIONARY).find(luma)
    others = SheetFinder(_layout(set(_board()) - ASKED)).place(luma, decoded)
    pose = solve_pose(
        others.points_m, others.pixels, others.sd_px, picture_size=(640, 480), lens=_lens(folder)
    )
    return Seen(
        decoded=decoded,
        registered=SheetFinder(_layout(set(_board()))).place(luma, decoded),
        camera=pose.camera,
    )


def test_distances_between_tag_centres_are_right_to_half_a_per_cent(seen: Seen) -> None:
    """By a camera posed from other tags of the board; one per cent is asked, 0.25 % is the worst here."""
    centres = {
        tag_id: seen.on_board(homography[:2, 2] / homography[2, 2])[0]
        for tag_id, homography in seen.registered.homographies.items()
    }
    told = [pair for pair in DISTANCES_CM if set(pair) <= set(centres)]
    assert len(told) >= 2
    for a, b in told:
        distance_cm = 100 * np.linalg.norm(centres[a] - centres[b])
        assert distance_cm == pytest.approx(DISTANCES_CM[a, b], rel=0.005)


def test_decoded_corners_make_small_tags_too_small_and_registration_does_not(seen: Seen) -> None:
    """Tags of about 25 px: OpenCV's refined corners were measured to be 2.7 % short (by us, no source)."""
    board = set(_board())
    decoded = np.mean([seen.side_cm(corners) for tag_id, corners in seen.decoded.items() if tag_id in board])
    half = SIDE_M / 2
    square = np.array([[-half, half, 1], [half, half, 1], [half, -half, 1], [-half, -half, 1]])
    corners = [square @ homography.T for homography in seen.registered.homographies.values()]
    registered = [seen.side_cm(one[:, :2] / one[:, 2:]) for one in corners]
    assert 0.965 < decoded / 2.00 < 0.980
    assert np.mean(registered) / 2.00 == pytest.approx(1.0, abs=0.006)
    assert np.std(registered) / 2.00 < 0.015


def test_single_markers_are_found_within_a_pixel_of_the_published_corners(footage: Path) -> None:
    found = TagFinder(DICTIONARY).find(_read(footage / "aruco-photos" / "singlemarkersoriginal.jpg"))
    assert set(found) == set(PUBLISHED_CORNERS)
    for tag_id, corners in PUBLISHED_CORNERS.items():
        assert found[tag_id] == pytest.approx(np.array(corners, dtype=np.float64), abs=1.0)


def test_a_board_of_another_dictionary_gives_no_marker(footage: Path) -> None:
    luma = _read(footage / "aruco-photos" / "gboriginal.png")
    for scale in (1, 2):
        assert TagFinder(DICTIONARY).find(luma, scale=scale) == {}
