"""The lens from views of a flat board: Zhang's method.

References
----------
Z. Zhang, A flexible new technique for camera calibration, IEEE Trans. Pattern Anal. Mach. Intell. 22 (2000)
1330-1334, doi:10.1109/34.888718, as implemented by OpenCV's ``calibrateCameraExtended``.

"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from pennyfall.calibration.board_views import BoardView
from pennyfall.calibration.lens import Lens
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray, freeze_arrays

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
    while True:
        _refuse_too_few(views)
        solution = _solve(views, size_px)
        bound = OUTLIER * np.median(solution.view_errors_px)
        kept = [view for view, error in zip(views, solution.view_errors_px, strict=True) if error <= bound]
        if len(kept) == len(views):
            return _judged(solution, size_px)
        views = kept


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Solution:
    matrix: FloatArray
    distortion: FloatArray
    rms_px: float
    focal_sd_px: float
    view_errors_px: FloatArray

    def __post_init__(self) -> None:
        freeze_arrays(self)


def _solve(views: list[BoardView], size_px: tuple[int, int]) -> _Solution:
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
    return _Solution(
        matrix=np.asarray(matrix, dtype=np.float64),
        distortion=np.asarray(distortion, dtype=np.float64).ravel()[:5],
        rms_px=float(rms),
        focal_sd_px=math.hypot(*np.ravel(sd)[:2]) / math.sqrt(2),  # of fx and fy, root mean square
        view_errors_px=np.asarray(errors, dtype=np.float64).ravel(),
    )


def _judged(solution: _Solution, size_px: tuple[int, int]) -> Lens:
    if solution.rms_px > WORST_RMS * max(size_px):
        raise CannotMeasure(
            f"The board's corners miss the best lens by {solution.rms_px:.2f} px.",
            fix="Fix the board flat on stiff card, film it sharp, and name its pattern right.",
            setting="pattern",
        )
    focal_rel_sd = solution.focal_sd_px / float(solution.matrix[0, 0])
    if not focal_rel_sd <= WORST_FOCAL_SD:
        raise CannotMeasure(
            f"The views leave the focal length open to {100 * focal_rel_sd:.1f} %.", fix=_TILT
        )
    return Lens(
        matrix=solution.matrix,
        distortion=solution.distortion,
        width_px=size_px[0],
        height_px=size_px[1],
        rms_px=solution.rms_px,
        focal_sd_px=solution.focal_sd_px,
    )


def _refuse_too_few(views: list[BoardView]) -> None:
    if len(views) < FEWEST_VIEWS:
        raise CannotMeasure(
            f"The board was found, sharp, in {len(views)} different places; the fewest are {FEWEST_VIEWS}.",
            fix="Film the whole board in good light, moving slowly, and name its pattern right.",
            setting="pattern",
        )
