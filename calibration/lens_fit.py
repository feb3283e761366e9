"""The lens from views of a flat board: Zhang's method.

References
----------
Z. Zhang, A flexible new technique for camera calibration, IEEE Trans. Pattern Anal. Mach. Intell. 22 (2000)
1330-1334, doi:10.1109/34.888718, as implemented by OpenCV's ``calibrateCameraExtended``.

"""

from __future__ import annotations

import math

import cv2
import numpy as np

from pennyfall.calibration.board_views import BoardView
from pennyfall.calibration.lens import Lens
from pennyfall.kinematics.errors import CannotMeasure

FEWEST_VIEWS = 4
"""Chosen by us: two views fix a lens without skew (Zhang, section 3.1); fewer than four leave no check."""
WORST_FOCAL_SD = 0.01
"""Chosen by us: the floor sheet alone gives the focal length to about 1.3 %; a lens file must do better."""
WORST_RMS = 1.0 / 1000
"""Chosen by us, as a share of the picture's long side: sharp pictures of a flat board reach a third of it."""
OUTLIER = 3.0
"""Chosen by us: a view whose error is three times the median view's is smeared or misread."""

_TILT = "Film the board again, filling half the picture, slowly tilted 20 to 45 degrees to every side."


def fit_lens(views: list[BoardView], size_px: tuple[int, int]) -> Lens:
    """Return the lens that explains the views best.

    Parameters
    ----------
    views : list of BoardView
        The board from different sides; see `well_spread`.
    size_px : tuple of int
        Width and height of the pictures.

    Raises
    ------
    CannotMeasure
        When there are too few views, or they do not fix the focal length, or no lens explains them.

    """
    _refuse_too_few(views)
    lens, errors = _solve(views, size_px)
    kept = [view for view, error in zip(views, errors, strict=True) if error <= OUTLIER * np.median(errors)]
    if len(kept) < len(views):
        _refuse_too_few(kept)
        lens, _ = _solve(kept, size_px)
    return lens


def _solve(views: list[BoardView], size_px: tuple[int, int]) -> tuple[Lens, list[float]]:
    """Return the lens and the error of each view [px]."""
    try:
        rms, matrix, distortion, _, _, sd, _, errors = cv2.calibrateCameraExtended(
            [view.points_m.astype(np.float32) for view in views],
            [view.pixels.astype(np.float32) for view in views],
            size_px,
            np.eye(3),  # no guess: both are found
            np.zeros(5),
        )
    except cv2.error as error:
        raise CannotMeasure("No lens explains the views of the board.", fix=_TILT) from error
    focal_sd_px = math.hypot(*sd.ravel()[:2]) / math.sqrt(2)  # sd of fx and fy, root mean square
    focal_px = float(matrix[0, 0] + matrix[1, 1]) / 2
    if rms > WORST_RMS * max(size_px):
        raise CannotMeasure(
            f"The board's corners miss the best lens by {rms:.2f} px.",
            fix="Fix the board flat on stiff card, film it sharp, and name its pattern right (--pattern).",
        )
    if not focal_sd_px <= WORST_FOCAL_SD * focal_px:
        raise CannotMeasure(
            f"The views leave the focal length open to {100 * focal_sd_px / focal_px:.1f} %.", fix=_TILT
        )
    lens = Lens(
        matrix=np.asarray(matrix, dtype=np.float64),
        distortion=np.asarray(distortion, dtype=np.float64).ravel()[:5],
        width_px=size_px[0],
        height_px=size_px[1],
        rms_px=float(rms),
        focal_sd_px=focal_sd_px,
    )
    return lens, np.asarray(errors, dtype=np.float64).ravel().tolist()


def _refuse_too_few(views: list[BoardView]) -> None:
    if len(views) < FEWEST_VIEWS:
        raise CannotMeasure(
            f"The board was found, sharp, in {len(views)} different places; the fewest are {FEWEST_VIEWS}.",
            fix="Film the whole board in good light, moving slowly, and name its pattern right (--pattern).",
        )
