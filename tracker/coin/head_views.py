"""The head's top in its own axes, frame by frame: the same place of it at the same place of the array."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import FloatArray, IntArray, freeze_arrays
from pennyfall.tracker.coin.pieces import ACROSS_M, ALONG_M, Pieces

STEP_M = 0.001
"""Chosen by us: about a pixel of a 720p clip from 1.1 m."""
PROBE_M = 0.001
SMOOTHED_PX = 0.7
YAW_MEMORY = 9
"""Chosen by us: one frame's tag tells the head's turn to 1 degree; their median to a third of that."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class HeadPose:
    """Where the head's top stands in every frame of a clip."""

    centre_px: FloatArray
    """The tag's centre in the picture, shape (n, 2) [px]; NaN where not seen."""
    jacobian: FloatArray
    """Pixels per metre of the tag's plane, shape (n, 2, 2)."""
    tag_m: FloatArray
    """The tag's centre, shape (n, 3) [m]; NaN where not seen."""
    tilt_rad: FloatArray
    """The head's tilt, smoothed, shape (n,) [rad]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


class HeadTop:
    """The head's top as kept from the pictures of a stroke.

    Parameters
    ----------
    pieces : Pieces
        What was kept of the pictures.
    pose : HeadPose
        Where the head's top stands.
    camera : Camera
        The camera in the world of the pose.
    frames : range
        The frames of the stroke; those not kept, or without the head, are left out.
    above_tag_m : float
        Height of what is looked at above the tag's plane [m].

    """

    along_m = np.arange(*ALONG_M, STEP_M)
    """Place of each column of a view from the tag's centre, positive toward the face [m]."""
    across_m = np.arange(*ACROSS_M, STEP_M)
    """Place of each row, positive to the head's left [m]."""

    def __init__(
        self, pieces: Pieces, pose: HeadPose, camera: Camera, frames: range, *, above_tag_m: float = 0.0
    ) -> None:
        self._pieces, self._pose, self._camera = pieces, pose, camera
        self.frames = np.array(
            [each for each in frames if each in pieces.head and np.isfinite(pose.tag_m[each]).all()],
            dtype=np.intp,
        )
        self._yaw = _smoothed(self._yaws())
        self._size = (len(self.along_m), len(self.across_m))
        right, bottom = self._size[0] - 1, self._size[1] - 1
        self._ends = np.array([[0, 0], [right, 0], [0, bottom], [right, bottom]])
        self._corners_m = np.array([[self.along_m[x], self.across_m[y], above_tag_m] for x, y in self._ends])

    def view(self, number: int) -> FloatArray:
        """Return the head's top in one of the frames, shape (rows, columns); NaN where nothing was kept."""
        index = self.frames[number]
        axes = _axes(self._pose.tilt_rad[index], self._yaw[number])
        points_m = np.concatenate([self._corners_m @ axes.T, np.zeros((1, 3))]) + self._pose.tag_m[index]
        pixels = self._camera.project(points_m)
        pixels += self._pose.centre_px[index] - pixels[-1]
        plane = np.asarray(
            cv2.getPerspectiveTransform(self._ends.astype(np.float32), pixels[:-1].astype(np.float32)),
            dtype=np.float64,
        )
        return self._pieces.head[int(index)].on_plane(plane, self._size)

    def mean_view(self, numbers: IntArray) -> FloatArray:
        """Return the mean of some of the frames, smoothed a little; NaN where one of them shows nothing."""
        mean = np.mean([self.view(each) for each in numbers], axis=0)
        smooth = cv2.GaussianBlur(np.nan_to_num(mean), (0, 0), SMOOTHED_PX)
        return np.where(np.isfinite(mean), smooth, np.nan)

    def _yaws(self) -> FloatArray:
        """Return how far the tag is turned about the vertical in each frame, from its first [rad]."""
        turns = np.empty(len(self.frames))
        for number, index in enumerate(self.frames):
            axes = _axes(self._pose.tilt_rad[index], 0.0)
            points_m = self._pose.tag_m[index] + PROBE_M * np.array([np.zeros(3), axes[:, 0], axes[:, 1]])
            pixels = self._camera.project(points_m)
            level = np.column_stack([pixels[1] - pixels[0], pixels[2] - pixels[0]]) / PROBE_M
            turn = np.linalg.solve(level, self._pose.jacobian[index])
            turns[number] = np.arctan2(turn[1, 0] - turn[0, 1], turn[0, 0] + turn[1, 1])
        return np.unwrap(turns) - np.median(turns[:YAW_MEMORY]) if len(turns) else turns


def _axes(tilt_rad: float, yaw_rad: float) -> FloatArray:
    """Return the head's axes as columns, shape (3, 3): to the face, to its left, out of the top."""
    c, s = np.cos(tilt_rad), np.sin(tilt_rad)
    tilt = np.array([[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]])
    c, s = np.cos(yaw_rad), np.sin(yaw_rad)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(turn @ tilt)


def _smoothed(turns: FloatArray) -> FloatArray:
    if len(turns) < YAW_MEMORY:
        return turns
    half = YAW_MEMORY // 2
    padded = np.pad(turns, half, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, YAW_MEMORY), axis=1))
