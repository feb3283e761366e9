"""Straight lines in what differs from the floor: sought coarsely, then fitted to the rows' middles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays
from pennyfall.tracker.follow.rows import KeptRows

SHAFT_WIDTH_RADII = 0.5
"""Width of a shaft over the radius of the ball it stands beside: 9 to 15 mm over 21 mm (common practice, no
source)."""

STEEPEST = 0.7
"""Chosen by us: largest slope of the shaft in the picture, columns per row: a swing of 25 degrees in a camera
held 5 degrees askew."""

SLOPE_STEP = 0.04
ROWS_APART, COLUMNS_APART = 3, 2
"""Chosen by us: a coarse look at every third row and second column; a line over 150 rows is found to three
pixels so."""

AT_ONCE = 24
"""Pictures looked at side by side: as many fit into a processor's cache."""

CANDIDATES = 4
"""Chosen by us: lines of one picture among which the motion decides."""

WINDOW_RADII = 0.7
"""Chosen by us: half the width about the line in which a row's middle is taken."""

NARROWEST, WIDEST = 0.15, 1.0
"""Chosen by us: what a row shows of the shaft, over the ball's radius; less is noise, more the head or a
leg."""

FEWEST_ROWS = 8

DOUBTFUL_SDS = 2.0
"""Chosen by us: rows farther off than this count less, without a limit beyond which none do."""

ROW_FLOOR_PX = 0.05


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Floor:
    """What the rows show where no club is."""

    luma: NDArray[np.float32]
    """Shape (m, width)."""
    noise: float
    """Standard deviation of the luma of a row about it."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def covered(self, rows: NDArray[Any], floor: NDArray[Any]) -> NDArray[np.float32]:
        """Return how surely each pixel differs from the floor, 0 to 1: no more for bright than for pale."""
        least = 3.0 * self.noise
        off = np.abs(rows.astype(np.float32) - floor)
        return np.asarray(np.clip((off - least) / (2.0 * least), 0.0, 1.0), dtype=np.float32)


MOVED_LUMA, MOVED_PIXELS = 25, 30
FLOOR_PICTURES = 64
"""Chosen by us: pictures from which the floor is taken, each with something moved since the one before: the
club at rest, which may fill half of a clip, then counts as one of them."""


def floor_behind(rows: KeptRows) -> Floor:
    """Return the floor as most of the pictures in motion show it."""
    small = rows.luma[:, ::3, ::8].astype(np.int16)
    taken = [0]
    for k in range(1, len(small)):
        if np.count_nonzero(np.abs(small[k] - small[taken[-1]]) > MOVED_LUMA) >= MOVED_PIXELS:
            taken.append(k)
    even = np.linspace(0, len(taken) - 1, min(len(taken), FLOOR_PICTURES)).round().astype(int)
    some = rows.luma[np.array(taken)[even]]
    floor = middle_of(some.astype(np.int16))
    scatter = np.abs(some[:: max(len(some) // 8, 1)].astype(np.float32) - floor)
    return Floor(luma=floor, noise=max(1.4826 * float(np.median(scatter)), 2.0))


def middle_of(pictures: NDArray[Any]) -> NDArray[np.float32]:
    """Return the median over pictures, shape as one: numpy's own takes five times as long as sorting."""
    ordered = np.sort(pictures, axis=0)
    count = len(ordered)
    return np.asarray((ordered[(count - 1) // 2] + ordered[count // 2]) / 2, dtype=np.float32)


def candidate_lines(
    covered: NDArray[np.float32], offsets_px: FloatArray, shaft_px: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return column at the middle row, slope and strength of each picture's strongest thin lines, (p, k).

    Parameters
    ----------
    covered : FloatArray
        How surely each pixel of some pictures differs from the floor, shape (p, m, width).
    offsets_px : FloatArray
        Each row's distance below the middle row, shape (m,) [px].
    shaft_px : float
        Width of the shaft [px].

    """
    width = max(round(shaft_px), 3)
    mean = uniform_filter1d(covered, width, axis=2)
    beside = round(1.3 * width)
    thin = mean - 0.5 * (np.roll(mean, beside, 2) + np.roll(mean, -beside, 2))
    thin = np.clip(thin[:, :, ::COLUMNS_APART], -0.3, 1.0).transpose(1, 0, 2).copy()
    pictures, count = thin.shape[1:]
    slopes = np.arange(-STEEPEST, STEEPEST + SLOPE_STEP / 2, SLOPE_STEP)
    votes = np.zeros((len(slopes), pictures, count), np.float32)
    for vote, slope in zip(votes, slopes, strict=True):
        for row, shift in zip(thin, np.round(slope * offsets_px / COLUMNS_APART).astype(int), strict=True):
            if shift >= 0:
                vote[:, : count - shift] += row[:, shift:]
            else:
                vote[:, -shift:] += row[:, :shift]
    # The best slope of each column, since what is taken takes its neighbours of all slopes with it.
    steepness, strength = votes.argmax(axis=0), votes.max(axis=0) / len(thin)
    each, near = np.arange(pictures), width // COLUMNS_APART + 1
    found = []
    for _ in range(CANDIDATES):
        at = strength.argmax(axis=1)
        found.append((at * COLUMNS_APART, slopes[steepness[each, at]], strength[each, at]))
        strength[np.abs(np.arange(count) - at[:, None]) <= near] = -1.0
    column, slope, best = np.array(found).transpose(1, 2, 0)
    return column, slope, best


@dataclass(frozen=True, slots=True)
class Line:
    """A line through the rows' middles: column = column_px + slope * (row - row_px)."""

    row_px: float
    """Row about which column and slope err independently [px]."""
    column_px: float
    slope: float


def fit_line(
    picture: NDArray[np.uint8],
    floor: Floor,
    row_px: FloatArray,
    start: tuple[float, float, float],
    radius_px: float,
) -> Line | None:
    """Return the line through the middles of what the rows show near a first guess.

    Parameters
    ----------
    picture : ndarray
        Rows of one picture, shape (m, width).
    floor : Floor
        What they show without a club.
    row_px : FloatArray
        Which rows, shape (m,) [px].
    start : tuple of float
        Row, column there [px] and slope of the guess.
    radius_px : float
        Radius of the ball.

    """
    row, column, slope = start
    half = int(np.ceil(WINDOW_RADII * radius_px))
    reach = np.arange(-half, half + 1)
    each = np.arange(len(row_px))[:, None]
    line = None
    for _ in range(3):
        middle = column + slope * (row_px - row)
        first = np.round(middle).astype(int)[:, None]
        inside = (first[:, 0] >= half) & (first[:, 0] < picture.shape[1] - half)
        columns = np.clip(first + reach, 0, picture.shape[1] - 1)
        covered = floor.covered(picture[each, columns], floor.luma[each, columns])
        width = covered.sum(axis=1)
        middles = (covered * columns).sum(axis=1) / np.maximum(width, 1e-6)
        good = inside & (width > NARROWEST * radius_px) & (width < WIDEST * radius_px)
        if np.count_nonzero(good) < FEWEST_ROWS:
            return None
        line = _through(row_px, middles, good)
        row, column, slope = line.row_px, line.column_px, line.slope
    return line


def _through(row_px: FloatArray, middles: FloatArray, good: BoolArray) -> Line:
    """Return the line through rows' middles, weighted down where they stray (Cauchy weights, squared)."""
    weight = good.astype(np.float64)
    for _ in range(6):
        total = weight.sum()
        row = float(weight @ row_px / total)
        offsets = row_px - row
        spread = float(weight @ offsets**2)
        column = float(weight @ middles / total)
        slope = float(weight @ (offsets * (middles - column)) / spread)
        strays = middles - column - slope * offsets
        scale = 1.4826 * float(middle_of(np.abs(strays[good]))) + ROW_FLOOR_PX
        weight = good / (1 + (strays / (DOUBTFUL_SDS * scale)) ** 2) ** 2
    return Line(row_px=row, column_px=column, slope=slope)
