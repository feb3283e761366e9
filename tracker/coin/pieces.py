"""What is kept of a clip's pictures for the coin: the head where it moves, the floor now and then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import cv2
import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import FloatArray, freeze_arrays
from pennyfall.tracker.clip.frame import Frame, LumaFrame

ALONG_M, ACROSS_M = (-0.085, 0.045), (-0.055, 0.055)
"""Chosen by us: from the tag toward the face and to its left, where a coin may lie or slide."""
RESTING_PX, RESTING_INTERVAL_S = 0.5, 0.05
"""Chosen by us: of a head that rests, one picture in this time is enough."""
FLOOR_INTERVAL_S, FLOOR_STEP_M = 1.0, 0.04
"""Chosen by us: the floor is kept anew after so long, or when the head has moved on by so much: in most
pictures kept of a backswing the head then covers another part of it."""
FLOOR_REACH_M = (0.8, 0.2)
"""Chosen by us: along and across the line from the head, where a coin that fell off it may lie."""
WIDEST_PX = 200
"""Chosen by us: a head seen larger than this is kept at half the size; a coin is then still 35 px wide."""
JPEG_QUALITY = 92


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A rectangle of a picture."""

    luma: LumaFrame
    left: int
    """Of the rectangle in the whole picture [px]."""
    top: int
    step: int = 1
    """How many pixels of the picture one pixel of the piece stands for, along each side."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @property
    def _into(self) -> FloatArray:
        """From pixels of the whole picture to those of the piece, shape (3, 3)."""
        k = 1 / self.step
        return np.array([[k, 0, (0.5 - self.left) * k - 0.5], [0, k, (0.5 - self.top) * k - 0.5], [0, 0, 1]])

    def at(self, pixels: FloatArray) -> FloatArray:
        """Return what lies at places of the whole picture, shape (rows, columns, 2) -> (rows, columns).

        NaN beyond the piece.
        """
        into = self._into
        places = (pixels @ into[:2, :2] + into[:2, 2]).astype(np.float32)
        seen = cv2.remap(
            self.luma.astype(np.float32),
            places[..., 0],
            places[..., 1],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=float("nan"),
        )
        return np.asarray(seen, dtype=np.float64)

    def on_plane(self, homography: FloatArray, size: tuple[int, int]) -> FloatArray:
        """Return what the piece shows on a plane, shape (rows, columns); NaN beyond the piece.

        Parameters
        ----------
        homography : FloatArray
            From the array's columns and rows to pixels of the whole picture, shape (3, 3).
        size : tuple of int
            Columns and rows.

        """
        seen = cv2.warpPerspective(
            self.luma.astype(np.float32),
            self._into @ homography,
            size,
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=float("nan"),
        )
        return np.asarray(seen, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """What was kept, each by its frame's number."""

    head: Mapping[int, Piece]
    floor_jpeg: Mapping[int, tuple[bytes, int, int]]
    """Strips of the floor as JPEG, with their left and top in the picture."""

    def floor(self, index: int) -> Piece:
        """Return the strip of the floor kept from a frame."""
        jpeg, left, top = self.floor_jpeg[index]
        luma = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_GRAYSCALE)
        return Piece(np.asarray(luma, dtype=np.uint8), left, top)


class PieceKeeper:
    """Keeps what the coin may be looked for in, from frames fed in order."""

    def __init__(self) -> None:
        self._head: dict[int, Piece] = {}
        self._floor: dict[int, tuple[bytes, int, int]] = {}
        self._last_px = np.full(2, np.inf)
        self._floor_px = np.full(2, np.inf)
        self._next_head_s = self._next_floor_s = float("-inf")

    def take(self, frame: Frame, centre_px: FloatArray, jacobian: FloatArray, camera: Camera | None) -> None:
        """Take a frame in which the head's tag was located.

        Parameters
        ----------
        frame : Frame
            The picture.
        centre_px : FloatArray
            The tag's centre, shape (2,) [px].
        jacobian : FloatArray
            Pixels per metre of the tag's plane, shape (2, 2).
        camera : Camera or None
            The camera over the floor, where the sheet shows it.

        """
        moved = abs(centre_px - self._last_px).max() > RESTING_PX
        if moved or frame.time_s >= self._next_head_s:
            self._last_px, self._next_head_s = centre_px, frame.time_s + RESTING_INTERVAL_S
            corners = np.array([(x, y) for x in ALONG_M for y in ACROSS_M]) @ jacobian.T + centre_px
            piece = _cut(frame.luma, corners)
            if piece is not None:
                self._head[frame.index] = piece
        moved_on = np.hypot(*(centre_px - self._floor_px)) > FLOOR_STEP_M * np.hypot(*jacobian[:, 0])
        if camera is not None and (moved_on or frame.time_s >= self._next_floor_s):
            self._floor_px, self._next_floor_s = centre_px, frame.time_s + FLOOR_INTERVAL_S
            self._keep_floor(frame, centre_px, camera)

    def pieces(self) -> Pieces:
        """Return what was kept so far."""
        return Pieces(MappingProxyType(self._head), MappingProxyType(self._floor))

    def _keep_floor(self, frame: Frame, centre_px: FloatArray, camera: Camera) -> None:
        below = camera.centre
        ray = camera.rays(centre_px[None])[0]
        if ray[2] >= 0:
            return
        foot = below - ray * below[2] / ray[2]
        corners = np.array([
            [foot[0] + x, foot[1] + y, 0.0]
            for x in (-FLOOR_REACH_M[0], FLOOR_REACH_M[0])
            for y in (-FLOOR_REACH_M[1], FLOOR_REACH_M[1])
        ])  # fmt: skip
        ahead = (corners @ camera.rotation.T + camera.translation)[:, 2] > 0
        if not ahead.all():
            return
        rows, columns = _box(frame.luma, camera.project(corners))
        strip = np.ascontiguousarray(frame.luma[rows, columns])
        if strip.size:
            _, jpeg = cv2.imencode(".jpg", strip, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
            self._floor[frame.index] = (jpeg.tobytes(), columns.start, rows.start)


def _box(luma: LumaFrame, corners_px: FloatArray) -> tuple[slice, slice]:
    height, width = luma.shape
    left, top = np.floor(corners_px.min(axis=0)).astype(int) - 1
    right, bottom = np.ceil(corners_px.max(axis=0)).astype(int) + 2
    return slice(max(top, 0), min(max(bottom, 0), height)), slice(max(left, 0), min(max(right, 0), width))


def _cut(luma: LumaFrame, corners_px: FloatArray) -> Piece | None:
    rows, columns = _box(luma, corners_px)
    part = luma[rows, columns]
    if min(part.shape) < 8:
        return None
    step = 2 if max(part.shape) > WIDEST_PX else 1
    if step == 1:
        return Piece(part, columns.start, rows.start)
    part = part[: part.shape[0] // 2 * 2, : part.shape[1] // 2 * 2]
    half = cv2.resize(part, (part.shape[1] // 2, part.shape[0] // 2), interpolation=cv2.INTER_AREA)
    return Piece(np.asarray(half, dtype=np.uint8), columns.start, rows.start, step)
