"""What is drawn over the picture of a stroke: the head's path, its instants, where the coin would leave."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.cli.report.film.strip import pixels_of
from pennyfall.kinematics.values import Estimate, FloatArray, StrokeMeasures, freeze_arrays

if TYPE_CHECKING:
    import pandas as pd

BACK_COLOUR = (255, 255, 255)
FORWARD_COLOUR = (255, 170, 60)
COIN_COLOUR = (120, 220, 255)
EDGE_COLOUR = (16, 24, 29)
"""Amber and sky blue differ for every kind of colour vision; the dark edge shows both on any floor."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class HeadPath:
    """Where the head is in the picture."""

    time_s: FloatArray
    """True time of each frame, shape (n,) [s]."""
    u_px: FloatArray
    """Columns of the picture as displayed, shape (n,) [px]; NaN where not seen."""
    v_px: FloatArray
    """Rows, shape (n,) [px]; NaN where not seen."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @classmethod
    def of_track(cls, track: pd.DataFrame) -> HeadPath:
        """Return the path that the columns t_s, u_px and v_px of a track give."""
        return cls(
            **{
                name: track[column].to_numpy(np.float64)
                for name, column in (("time_s", "t_s"), ("u_px", "u_px"), ("v_px", "v_px"))
            }
        )

    def scaled(self, across: float, down: float) -> HeadPath:
        """Return the path in a picture of another size; pixel centres are whole numbers."""
        return HeadPath(
            time_s=self.time_s,
            u_px=(self.u_px + 0.5) * across - 0.5,
            v_px=(self.v_px + 0.5) * down - 0.5,
        )

    def at(self, time_s: float) -> tuple[float, float] | None:
        """Return where the head is in the frame nearest to a time, or None where it was not seen there."""
        nearest = int(np.argmin(np.abs(self.time_s - time_s)))
        u, v = float(self.u_px[nearest]), float(self.v_px[nearest])
        return (u, v) if np.isfinite(u) and np.isfinite(v) else None

    def between(self, from_s: float, to_s: float) -> list[NDArray[np.int32]]:
        """Return the path over a span as unbroken runs of points, in sixteenths of a pixel."""
        inside = (self.time_s >= from_s) & (self.time_s <= to_s)
        points = np.column_stack([self.u_px, self.v_px])
        good = inside & np.isfinite(points).all(axis=1)
        runs = np.split(np.nonzero(good)[0], np.nonzero(np.diff(np.nonzero(good)[0]) > 1)[0] + 1)
        return [np.round(16 * points[run]).astype(np.int32) for run in runs if len(run) > 1]


class PathOverlay:
    """Draws onto the frames of one stroke.

    Parameters
    ----------
    stroke : StrokeMeasures
        The stroke shown.
    path : HeadPath
        The head in the pixels of the frames drawn on.
    height_px : int
        Rows of those frames; lines and letters are sized by it.

    """

    def __init__(self, stroke: StrokeMeasures, path: HeadPath, height_px: int) -> None:
        self._stroke = stroke
        self._path = path
        self._line = max(2, round(height_px / 220))
        self._letters = max(11, round(height_px / 26))
        self._marks = [
            (estimate.value, word, at)
            for estimate, word in (
                (stroke.takeaway_s, "takeaway"),
                (stroke.top_s, "top"),
                (stroke.impact_s, "pass" if stroke.practice else "impact"),
            )
            if estimate.known and (at := path.at(estimate.value)) is not None
        ]

    def draw(self, frame: NDArray[np.uint8], time_s: float) -> None:
        """Draw everything that has happened until `time_s` onto an RGB frame, in place."""
        stroke = self._stroke
        takeaway_s, top_s = (_or(stroke.takeaway_s, -np.inf), _or(stroke.top_s, np.inf))
        self._lines(frame, takeaway_s, min(time_s, top_s), BACK_COLOUR, self._line)
        self._lines(frame, top_s, time_s, FORWARD_COLOUR, self._line)
        self._coin(frame, time_s)
        for when_s, word, at in self._marks:
            if time_s >= when_s:
                self._ring(frame, at, BACK_COLOUR, 1.6)
                if word != "takeaway" or time_s < top_s:  # impact is at the same place and needs the room
                    above = (at[0], at[1] - 1.1 * self._letters)
                    write(frame, word, above, self._letters, BACK_COLOUR)
        here = self._path.at(time_s)
        if here is not None:
            self._ring(frame, here, FORWARD_COLOUR, 3.0)

    def _coin(self, frame: NDArray[np.uint8], time_s: float) -> None:
        coin = self._stroke.loose_object
        if coin is None or coin.leaving_s is None or time_s < coin.leaving_s[0]:
            return
        early_s, late_s = coin.leaving_s
        self._lines(frame, early_s, min(late_s, time_s), COIN_COLOUR, 3 * self._line)
        at = self._path.at(early_s)
        if at is not None:
            below = (at[0], at[1] + 1.9 * self._letters)
            words = "coin leaves" if coin.observed_leave_s.known else "coin would leave"
            write(frame, words, below, self._letters, COIN_COLOUR)

    def _lines(
        self, frame: NDArray[np.uint8], from_s: float, to_s: float, colour: tuple[int, int, int], width: int
    ) -> None:
        runs = self._path.between(from_s, to_s)
        cv2.polylines(frame, runs, False, EDGE_COLOUR, width + 2, cv2.LINE_AA, 4)
        cv2.polylines(frame, runs, False, colour, width, cv2.LINE_AA, 4)

    def _ring(
        self, frame: NDArray[np.uint8], at: tuple[float, float], colour: tuple[int, int, int], size: float
    ) -> None:
        centre = (round(16 * at[0]), round(16 * at[1]))
        radius = round(16 * size * self._line)
        cv2.circle(frame, centre, radius, EDGE_COLOUR, self._line + 2, cv2.LINE_AA, 4)
        cv2.circle(frame, centre, radius, colour, self._line, cv2.LINE_AA, 4)


def write(
    frame: NDArray[np.uint8],
    words: str,
    middle: tuple[float, float],
    size_px: int,
    colour: tuple[int, int, int],
) -> None:
    """Write a word onto an RGB frame, centred, kept inside the frame, with a dark edge."""
    ink, edge = _letters(words, size_px)
    rows, columns, _ = ink.shape
    if rows > frame.shape[0] or columns > frame.shape[1]:
        return
    left = int(np.clip(round(middle[0] - columns / 2), 0, frame.shape[1] - columns))
    top = int(np.clip(round(middle[1] - rows / 2), 0, frame.shape[0] - rows))
    place = frame[top : top + rows, left : left + columns]
    dark = place * (1 - edge) + np.array(EDGE_COLOUR) * edge
    place[:] = np.round(dark * (1 - ink) + np.array(colour) * ink).astype(np.uint8)


@cache
def _letters(words: str, size_px: int) -> tuple[FloatArray, FloatArray]:
    """Return how much each pixel is covered by the letters and by their edge, 0 to 1, shape (h, w, 1)."""
    from matplotlib.figure import Figure

    dpi = 100
    figure = Figure(figsize=((len(words) + 2) * size_px / dpi, 2 * size_px / dpi), dpi=dpi)
    figure.text(0.5, 0.5, words, size=size_px * 72 / dpi, weight="bold", ha="center", va="center")
    ink = 1 - pixels_of(figure)[..., 0] / 255
    grown = cv2.dilate(ink, np.ones((5, 5), np.uint8))
    edge = np.asarray(cv2.GaussianBlur(grown, (3, 3), 0), dtype=np.float64)
    used = np.nonzero(edge.max(axis=0) > 0)[0]
    columns = slice(used[0], used[-1] + 1)
    return ink[:, columns, None], edge[:, columns, None]


def _or(estimate: Estimate, otherwise: float) -> float:
    return estimate.value if estimate.known else otherwise
