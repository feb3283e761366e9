"""Rows of every picture above the ball, kept until the floor behind the shaft is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.values import FloatArray, freeze_arrays
from pennyfall.tracker.clip.frame import Frame

LOWEST_RADII, HIGHEST_RADII = 1.0, 14.0
"""Rows kept, in radii of the ball above its centre; chosen by us: lower is the head, higher the trousers."""

MOST_ROWS = 80
"""Chosen by us: a row every five pixels in a picture of 1080 rows; the shaft's edges in them place it to a
twentieth of a pixel."""

FEWEST_ROWS = 20

MOST_BYTES = 220_000_000
"""Chosen by us: four seconds of 1080p at 240 frames/s; a longer clip keeps every other row."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class KeptRows:
    """The same rows of every picture of a clip."""

    time_s: FloatArray
    """True time of each picture, shape (n,) [s]."""
    first_frame: int
    """Index in the clip of the first picture kept."""
    row_px: FloatArray
    """Which rows, shape (m,) [px]; downward."""
    luma: NDArray[np.uint8]
    """Shape (n, m, width)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


class RowKeeper:
    """Keeps rows of the pictures it is shown.

    Parameters
    ----------
    centres_px : FloatArray
        Centres of the balls that lie about, shape (k, 2) [px].
    radius_px : float
        Radius of the largest of them [px].

    """

    def __init__(self, centres_px: FloatArray, radius_px: float) -> None:
        top = max(round(float(centres_px[:, 1].min() - HIGHEST_RADII * radius_px)), 0)
        bottom = max(round(float(centres_px[:, 1].max() - LOWEST_RADII * radius_px)), top + 1)
        self._rows = slice(top, bottom, max(-(-(bottom - top) // MOST_ROWS), 1))
        self._room = np.empty(0, np.uint8)
        self._luma = self._room.reshape(0, 1, 1)
        self._times_s: list[float] = []
        self._first = -1
        self.full = False
        """Whether the clip was too long to keep enough rows of it."""

    def take(self, frame: Frame) -> None:
        """Keep the rows of the next frame."""
        if self.full:
            return
        rows = frame.luma[self._rows]
        if self._first < 0:
            self._first = frame.index
            # Memory is taken as it is written, so that room for all costs nothing.
            self._room = np.empty(MOST_BYTES, np.uint8)
            self._luma = _as_rows(self._room, *rows.shape)
        self._luma[len(self._times_s)] = rows
        self._times_s.append(frame.time_s)
        if len(self._times_s) == len(self._luma):
            self._thin()

    def kept(self) -> KeptRows:
        """Return the rows of all pictures so far; they are handed over, not kept any longer."""
        count = len(self._times_s)
        height, width = self._luma.shape[1:]
        luma, self._room = self._room, np.empty(0, np.uint8)
        self._luma = self._room.reshape(0, 1, 1)
        luma.resize((count, height, width), refcheck=False)
        luma.setflags(write=False)
        return KeptRows(
            time_s=np.array(self._times_s),
            first_frame=max(self._first, 0),
            row_px=np.arange(self._rows.start, self._rows.stop, self._rows.step)[:height].astype(np.float64),
            luma=luma,
        )

    def _thin(self) -> None:
        """Drop every other row of all pictures, in place, as long as enough are left."""
        height, width = self._luma.shape[1:]
        if height < 2 * FEWEST_ROWS:
            self.full = True
            return
        self._rows = slice(self._rows.start, self._rows.stop, 2 * self._rows.step)
        thinned = _as_rows(self._room, (height + 1) // 2, width)
        for k, rows in enumerate(self._luma):
            thinned[k] = rows[::2]
        self._luma = thinned


def _as_rows(room: NDArray[np.uint8], height: int, width: int) -> NDArray[np.uint8]:
    """Return room for rows of as many pictures as it holds, shape (n, height, width)."""
    count = len(room) // (height * width)
    return room[: count * height * width].reshape(count, height, width)
