"""The lens: focal length, principal point and distortion of one camera mode, with its file."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray, freeze_arrays

SCHEMA = "pennyfall.lens/1"
ASPECT_TOLERANCE = 0.005
"""Chosen by us: a true resize differs by rounding only, 1920 x 1088 against 1920 x 1080 by 0.7 %."""
FOCAL_LIMITS = (0.3, 10.0)
"""Chosen by us, in lengths of the picture's long side: views 118 degrees to 6 degrees wide."""
UNEQUAL_FOCALS = 0.05
"""Chosen by us: phone pixels are square, so fx and fy agree to well under 1 %."""
LARGEST_DISTORTION = 10.0
"""Chosen by us: k1 of a strong wide-angle lens is below 1; k3 of a loose fit reaches a few."""

_FIX = "Make the lens file again with: pennyfall lens CLIP --out lens.json"


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Lens:
    """The intrinsics of a camera in one recording mode.

    Raises
    ------
    CannotMeasure
        When no camera can have these values; a file that says so is damaged or of another camera.

    """

    matrix: FloatArray
    """Intrinsic matrix K, shape (3, 3) [px]; integers at pixel centres."""
    distortion: FloatArray
    """OpenCV distortion coefficients k1, k2, p1, p2, k3, shape (5,)."""
    width_px: int
    """Picture width."""
    height_px: int
    """Picture height."""
    rms_px: float
    """Reprojection error of the calibration, root mean square over corners [px]."""
    focal_sd_px: float
    """Standard deviation of the focal length [px]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)
        _refuse_impossible(self)

    @property
    def focal_px(self) -> float:
        """Mean of fx and fy [px]."""
        return float(self.matrix[0, 0] + self.matrix[1, 1]) / 2

    def resized(self, width_px: int, height_px: int) -> Lens:
        """Return the lens of the same camera mode for a picture resized to `width_px` x `height_px`.

        Raises
        ------
        CannotMeasure
            When the picture has another shape, so that it is a crop or a turned picture.

        """
        if (width_px, height_px) == (self.width_px, self.height_px):
            return self
        across, down = width_px / self.width_px, height_px / self.height_px
        if abs(across / down - 1) > ASPECT_TOLERANCE:
            raise CannotMeasure(
                f"The lens file is for pictures of {self.width_px} x {self.height_px} px; "
                f"the clip's, {width_px} x {height_px} px, have another shape.",
                fix="Film the lens board in the mode, and with the phone held the way, you film strokes.",
            )
        matrix = self.matrix.copy()
        for row, scale in enumerate((across, down)):
            matrix[row, row] *= scale
            matrix[row, 2] = (matrix[row, 2] + 0.5) * scale - 0.5  # the picture's edge lies at -0.5
        return Lens(
            matrix=matrix,
            distortion=self.distortion,
            width_px=width_px,
            height_px=height_px,
            rms_px=self.rms_px * (across + down) / 2,
            focal_sd_px=self.focal_sd_px * (across + down) / 2,
        )


def lens_text(lens: Lens) -> str:
    """Return the lens file's text (JSON)."""
    document = {
        "schema": SCHEMA,
        "width_px": lens.width_px,
        "height_px": lens.height_px,
        "focal_px": [lens.matrix[0, 0], lens.matrix[1, 1]],
        "centre_px": [lens.matrix[0, 2], lens.matrix[1, 2]],
        "distortion_k1_k2_p1_p2_k3": lens.distortion.tolist(),
        "rms_px": lens.rms_px,
        "focal_sd_px": lens.focal_sd_px,
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def load_lens(path: Path) -> Lens:
    """Read a lens file.

    Raises
    ------
    CannotMeasure
        When the file cannot be read, is no lens file, or describes an impossible lens.

    """
    try:
        document = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise CannotMeasure(
            f"The lens file {path} cannot be read ({error.strerror}).", fix="Check its name and folder."
        ) from error
    except ValueError as error:
        raise CannotMeasure(f"{path.name} is not a lens file ({error}).", fix=_FIX) from error
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        raise CannotMeasure(f"{path.name} is not a lens file of version 1.", fix=_FIX)
    focal, centre = _numbers(document, "focal_px", 2), _numbers(document, "centre_px", 2)
    return Lens(
        matrix=np.array([[focal[0], 0, centre[0]], [0, focal[1], centre[1]], [0, 0, 1]]),
        distortion=np.array(_numbers(document, "distortion_k1_k2_p1_p2_k3", 5)),
        width_px=_whole(document, "width_px"),
        height_px=_whole(document, "height_px"),
        rms_px=_number(document.get("rms_px"), "rms_px"),
        focal_sd_px=_number(document.get("focal_sd_px"), "focal_sd_px"),
    )


def _refuse_impossible(lens: Lens) -> None:
    if lens.matrix.shape != (3, 3) or lens.distortion.shape != (5,):
        raise ValueError("matrix must have shape (3, 3) and distortion shape (5,)")
    fx, fy = lens.matrix[0, 0], lens.matrix[1, 1]
    cx, cy = lens.matrix[0, 2], lens.matrix[1, 2]
    longest = max(lens.width_px, lens.height_px)
    figures = [*lens.matrix.ravel(), *lens.distortion, lens.rms_px, lens.focal_sd_px]
    if not np.all(np.isfinite(figures)):
        raise _impossible("one of its figures is not a finite number")
    if lens.width_px < 1 or lens.height_px < 1:
        raise _impossible(f"a picture of {lens.width_px} x {lens.height_px} px does not exist")
    if not all(FOCAL_LIMITS[0] * longest <= focal <= FOCAL_LIMITS[1] * longest for focal in (fx, fy)):
        raise _impossible(f"a focal length of {fx:.0f} x {fy:.0f} px in a picture of {longest} px")
    if abs(fx / fy - 1) > UNEQUAL_FOCALS:
        raise _impossible(f"its focal lengths across and down, {fx:.0f} and {fy:.0f} px, differ")
    if not (0 <= cx <= lens.width_px - 1 and 0 <= cy <= lens.height_px - 1):
        raise _impossible(f"its centre ({cx:.0f}, {cy:.0f}) px lies outside the picture")
    if not np.array_equal(lens.matrix, [[fx, 0, cx], [0, fy, cy], [0, 0, 1]]):
        raise ValueError("matrix must be an intrinsic matrix without skew")
    if np.abs(lens.distortion).max() > LARGEST_DISTORTION:
        raise _impossible(f"a distortion coefficient of {np.abs(lens.distortion).max():.1f}")
    if lens.rms_px < 0 or lens.focal_sd_px < 0:
        raise _impossible("its errors are below zero")


def _impossible(why: str) -> CannotMeasure:
    return CannotMeasure(f"This lens cannot be: {why}.", fix=_FIX)


def _numbers(document: dict[str, Any], name: str, count: int) -> list[float]:
    values = document.get(name)
    if not isinstance(values, list) or len(values) != count:
        raise CannotMeasure(f"The lens file needs {count} numbers for {name}.", fix=_FIX)
    return [_number(value, name) for value in values]


def _number(value: Any, name: str) -> float:  # noqa: ANN401 - whatever the file held
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise CannotMeasure(f"The lens file has {value!r} for {name}, not a number.", fix=_FIX)
    return float(value)


def _whole(document: dict[str, Any], name: str) -> int:
    value = _number(document.get(name), name)
    if not math.isfinite(value) or value != int(value):
        raise CannotMeasure(f"The lens file has {value!r} for {name}, not a whole number.", fix=_FIX)
    return int(value)
