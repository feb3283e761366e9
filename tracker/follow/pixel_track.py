"""The head's reference point in the picture, frame by frame, and what follows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays
from pennyfall.tracker.clip.frame import Frame
from pennyfall.tracker.marks.registration import Registration


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PixelTrack:
    """The head's reference point in the picture, one sample a frame."""

    time_s: FloatArray
    """True time of each frame, shape (n,) [s]."""
    seen: BoolArray
    """Whether it was located, shape (n,)."""
    centre_px: FloatArray
    """Place in the picture, shape (n, 2) [px]; NaN where not seen."""
    covariance_px2: FloatArray
    """Covariance of the place, shape (n, 2, 2) [px^2]."""
    jacobian: FloatArray
    """Pixels per metre of the tag's plane, shape (n, 2, 2); NaN for a dot or a patch."""
    stretch_covariance: FloatArray
    """Covariance of the four relative stretches of the tag, shape (n, 4, 4)."""
    exposure_s: float
    """Exposure time told by the smear of the moving tag [s]; NaN when it could not be told."""
    slope: FloatArray | None = None
    """Where the shaft was followed: its columns per row, shape (n,), the place being its line's at the row of
    the ball."""
    slow_sd_px: float = 0.0
    """Standard deviation of an error of the place that stays alike over some frames [px]."""
    rise_px: FloatArray | None = None
    """By how many rows the head stands higher in the picture than at address, shape (n,) [px]; NaN where not
    known, None where no shaft was followed."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @property
    def head_px(self) -> FloatArray:
        """Where the head itself is, shape (n, 2) [px]: on the shaft's line as high as the head has risen."""
        if self.slope is None or self.rise_px is None:
            return self.centre_px
        up = np.nan_to_num(self.rise_px)
        return self.centre_px - up[:, None] * np.column_stack([self.slope, np.ones(len(up))])


class Sight(Protocol):
    """The head located in one picture."""

    @property
    def centre_px(self) -> FloatArray:
        """Its reference point, shape (2,) [px]."""


class Follower(Protocol):
    """Follows the head through a clip's frames, fed in order: by its tag, a dot on it, or a patch of it."""

    def update(self, frame: Frame) -> Sight | None:
        """Locate the head in the next frame; a miss is a gap, never an invented point."""

    def take_camera(self, camera: Camera, blur_px: float) -> None:
        """Take the camera over the floor and a resting picture's blur [px], once the sheet shows them."""

    def track(self) -> PixelTrack:
        """Return where the head was in every frame so far."""


def pixel_track(
    times_s: Sequence[float], found: Sequence[Registration | None], *, exposure_share: float
) -> PixelTrack:
    """Return where a registered pattern was in every frame.

    Parameters
    ----------
    times_s : Sequence[float]
        True time of each frame [s].
    found : Sequence
        What was registered in each, None where nothing was.
    exposure_share : float
        Exposure time as a share of the frame interval; NaN where it could not be told.

    """
    count = len(found)
    centre = np.full((count, 2), np.nan)
    covariance = np.full((count, 2, 2), np.nan)
    jacobian = np.full((count, 2, 2), np.nan)
    stretch = np.full((count, 4, 4), np.nan)
    for k, row in enumerate(found):
        if row is not None:
            centre[k] = row.centre_px
            covariance[k] = row.covariance[:2, :2]
            jacobian[k] = row.jacobian
            stretch[k] = row.covariance[2:, 2:]
    usual = float(np.median(np.diff(times_s))) if count > 1 else float("nan")
    return PixelTrack(
        time_s=np.array(times_s),
        seen=np.array([row is not None for row in found]),
        centre_px=centre,
        covariance_px2=covariance,
        jacobian=jacobian,
        stretch_covariance=stretch,
        exposure_s=exposure_share * usual,
    )
