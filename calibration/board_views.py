"""Finding the lens board in pictures, and choosing the views that say most about the lens."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.values import FloatArray, freeze_arrays

Luma = NDArray[np.uint8]

FEWEST_CORNERS = 12
"""Chosen by us: a view's pose takes 6 numbers, 24 coordinates leave enough to judge the lens by."""
SHARP_ENOUGH = 0.5
"""Chosen by us: views with edges less than half as steep as the median view's are smeared by motion."""
SAME_LOOK = 0.02
"""Chosen by us: views that differ by less than 2 % of the picture, or a degree, repeat each other."""
REFINE_SHARE = 0.2
"""Chosen by us: the refinement window reaches a fifth of a square, so that no neighbouring edge enters."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class BoardView:
    """The board's corners in one picture."""

    points_m: FloatArray
    """Corners on the board, shape (n, 3), z = 0 [m]; the scale does not matter to the lens."""
    pixels: FloatArray
    """The same corners in the picture, shape (n, 2) [px]."""
    sharpness: float
    """Steepness of the edges at the corners over their contrast [1/px]; comparable within one clip."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


SEARCH_PX = 800
"""Chosen by us: a chessboard is looked for in a picture of this length, then refined in the whole one. A
picture without a board took 0.7 s (carpet) to 16 s (noise) at 1920 px, 0.01 to 0.14 s at 800 px."""

FindBoard = Callable[[Luma], BoardView | None]


def charuco_finder(board: cv2.aruco.CharucoBoard) -> FindBoard:
    """Return the function that finds a ChArUco board, whole or in part, in a picture."""
    detector = cv2.aruco.CharucoDetector(board)
    corners_m = np.asarray(board.getChessboardCorners(), dtype=np.float64)
    columns = board.getChessboardSize()[0]

    def find(picture: Luma) -> BoardView | None:
        pixels, ids, _, _ = detector.detectBoard(picture)
        if ids is None or len(ids) < FEWEST_CORNERS:
            return None
        flat_ids = np.asarray(ids).ravel()
        seen_rows, seen_columns = np.divmod(flat_ids, columns - 1)
        if len(set(seen_rows.tolist())) < 2 or len(set(seen_columns.tolist())) < 2:
            return None  # corners on one line do not fix a plane
        return _view(picture, corners_m[flat_ids], np.asarray(pixels, dtype=np.float64).reshape(-1, 2))

    return find


def chessboard_finder(columns: int, rows: int) -> FindBoard:
    """Return the function that finds a whole chessboard with `columns` x `rows` inner corners."""
    grid = np.array([[column, row, 0.0] for row in range(rows) for column in range(columns)])
    flags = cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_FAST_CHECK

    def find(picture: Luma) -> BoardView | None:
        shrink = min(1.0, SEARCH_PX / max(picture.shape))
        small = cv2.resize(picture, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
        found, rough = cv2.findChessboardCorners(small, (columns, rows), flags=flags)
        if not found:
            return None
        enlarge = np.array(picture.shape[::-1]) / small.shape[::-1]
        corners = ((rough + 0.5) * enlarge - 0.5).astype(np.float32)
        spacing = float(np.linalg.norm(np.diff(corners.reshape(rows, columns, 2), axis=1), axis=2).min())
        reach = max(2, round(REFINE_SHARE * spacing))
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 50, 0.001)
        refined = cv2.cornerSubPix(picture, corners, (reach, reach), (-1, -1), stop)
        return _view(picture, grid, np.asarray(refined, dtype=np.float64).reshape(-1, 2))

    return find


def views_in(pictures: Iterable[Luma], find: FindBoard) -> list[BoardView]:
    """Return the views of the board in those pictures that show it."""
    return [view for picture in pictures if (view := find(np.ascontiguousarray(picture))) is not None]


def well_spread(views: list[BoardView], count: int) -> list[BoardView]:
    """Return at most `count` sharp views that differ in place, size or slant, those that differ most.

    Each next view is the one farthest from those already chosen (farthest-point clustering: Gonzalez 1985,
    Theor. Comput. Sci. 38:293-306). A board held still is one view, however many frames show it.
    """
    if not views:
        return []
    usual = float(np.median([view.sharpness for view in views]))
    sharp = [view for view in views if view.sharpness >= SHARP_ENOUGH * usual]
    picture_px = max(float(view.pixels.max()) for view in sharp)
    looks = np.array([_look(view, picture_px) for view in sharp])
    chosen = [int(np.argmax(np.linalg.norm(looks - np.median(looks, axis=0), axis=1)))]
    distance = np.linalg.norm(looks - looks[chosen[0]], axis=1)
    while len(chosen) < count and distance.max() > SAME_LOOK:
        chosen.append(int(np.argmax(distance)))
        distance = np.minimum(distance, np.linalg.norm(looks - looks[chosen[-1]], axis=1))
    return [sharp[index] for index in sorted(chosen)]


def _view(picture: Luma, points_m: FloatArray, pixels: FloatArray) -> BoardView:
    return BoardView(points_m=points_m, pixels=pixels, sharpness=_sharpness(picture, pixels))


def _sharpness(picture: Luma, pixels: FloatArray) -> float:
    """Return the steepest grey-level step near a corner as a share of the contrast there (median corner)."""
    shares = []
    for u, v in np.rint(pixels).astype(int):
        patch = picture[max(0, v - 5) : v + 6, max(0, u - 5) : u + 6].astype(np.float64)
        contrast = float(np.ptp(patch)) if min(patch.shape) > 1 else 0.0
        if contrast > 0:
            steepest = [np.abs(np.diff(patch, axis=axis)).max() for axis in (0, 1)]
            shares.append(min(steepest) / contrast)  # the softer direction tells of motion
    return float(np.median(shares)) if shares else 0.0


def _look(view: BoardView, picture_px: float) -> FloatArray:
    """Return what tells views apart, in numbers of order one, shape (6,).

    Place in the picture, log size, slant (the homography's perspective row) and turn in the picture's plane.
    """
    board = view.points_m[:, :2] - view.points_m[:, :2].mean(axis=0)
    image = view.pixels - view.pixels.mean(axis=0)
    span = float(np.ptp(view.pixels, axis=0).max())
    homography, _ = cv2.findHomography(board / np.ptp(board, axis=0).max(), image / span)
    if homography is None:
        return np.zeros(6)
    turn = math.atan2(homography[1, 0], homography[0, 0])
    place = view.pixels.mean(axis=0) / picture_px
    return np.array([*place, math.log(span), *homography[2, :2], turn])
