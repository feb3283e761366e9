"""What the shaft looks like across its width, learnt from its clip, and registered over the known floor.

Its middle by silhouette alone strays by half a pixel where one edge is as bright as the floor. With its own
look before the known floor, and its slope a smooth function of where it is, the line of a clip rendered by
path tracing (60 frames/s, a bright shaft before turf and shoes) lies within 0.10 px rms of the truth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays
from pennyfall.tracker.follow.shaft.lines import AT_ONCE, FEWEST_ROWS, NARROWEST, WIDEST, Floor, middle_of

FINE = 8
"""Steps to a pixel in which the look is kept."""

REACH_RADII = 0.75
"""Chosen by us: half the width of what is compared, in radii of the ball; a shaft is a quarter of it."""

ALONG_ROWS = 5
"""Chosen by us: rows over which the look is evened out; a shaft changes little along it."""

CLEAR_OF_HEAD_RADII = 1.7
"""Chosen by us: rows nearer above the head show its hosel, which moves up and down."""

ROUNDS, SETTLED_PX, LONGEST_STEP_PX = 8, 0.005, 3.0

DOUBTFUL_SDS = 3.0
"""Chosen by us: pixels farther off than this many deviations of noise count less."""

GAIN_SD, BRIGHTER_SD = 0.3, 10.0
"""Chosen by us: how much its light changes along the stroke, as a factor and in luma."""

CORRELATED_PIXELS = 12.0
"""Chosen by us: a codec's and the floor's errors are alike over a few pixels of few rows, so that a dozen
count as one."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Registered:
    """The shaft registered in some pictures; NaN where too few rows show it."""

    column_px: FloatArray
    """At the reference row, shape (k,) [px]."""
    slope: FloatArray
    sd_column_px: FloatArray
    misfit: FloatArray
    """Root mean square of what is left, over the floor's noise, shape (k,)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ShaftLook:
    """The shaft's look about its own line."""

    row_px: FloatArray
    """Rows it was learnt in, shape (m,) [px]."""
    radius_px: float
    covers: NDArray[np.float32]
    """How much of each fine step the shaft covers, shape (m, g)."""
    luma: NDArray[np.float32]
    """The luma it adds there: covers times its luma, shape (m, g)."""
    covers_slope: NDArray[np.float32]
    luma_slope: NDArray[np.float32]
    """Their slopes across [1/px]."""
    usable: BoolArray
    """Rows in which it is as wide as a shaft, shape (m,)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def register(
        self,
        pictures: NDArray[np.uint8],
        floor: Floor,
        reference_px: float,
        column_px: FloatArray,
        slope: FloatArray,
        *,
        slope_known: bool,
    ) -> Registered:
        """Return where the look fits pictures' rows best, by Gauss-Newton steps from a first guess.

        Parameters
        ----------
        pictures : ndarray
            Their rows, shape (k, m, width).
        floor : Floor
            What the rows show without a club.
        reference_px : float
            The reference row [px].
        column_px, slope : FloatArray
            Column there [px] and slope of the guess, shape (k,).
        slope_known : bool
            Whether the slope is right already; else it is solved for, beside column, gain and brightness.

        """
        parts = [
            self._registered(
                pictures[k : k + AT_ONCE],
                floor,
                reference_px,
                column_px[k : k + AT_ONCE],
                slope[k : k + AT_ONCE],
                slope_known=slope_known,
            )
            for k in range(0, len(pictures), AT_ONCE)
        ]
        column, found_slope, sd, misfit = np.concatenate(parts, axis=1)
        return Registered(column_px=column, slope=found_slope, sd_column_px=sd, misfit=misfit)

    def _registered(
        self,
        pictures: NDArray[np.uint8],
        floor: Floor,
        reference_px: float,
        column_px: FloatArray,
        slope: FloatArray,
        *,
        slope_known: bool,
    ) -> FloatArray:
        """Return column, slope, sd of the column and misfit, shape (4, k); see `register`."""
        offsets = (self.row_px - reference_px).astype(np.float32)
        # Column, slope, gain and brightness.
        state = np.column_stack([column_px, slope, np.ones(len(pictures)), np.zeros(len(pictures))])
        expected = state.copy()
        prior = np.diag([1e-9, 1e12 if slope_known else 0.0, GAIN_SD**-2, BRIGHTER_SD**-2])
        found = np.full((4, len(pictures)), np.nan)
        # Those that have settled are let be: it halves the work.
        unsettled = np.arange(len(pictures))
        used = np.zeros((len(pictures), len(offsets)), dtype=np.bool_)
        for turn in range(ROUNDS):
            now = state[unsettled]
            seen, behind, inside, at = self._windows(pictures, unsettled, floor, now, offsets)
            if turn == 0:
                used = self.usable & self._above_head(floor, seen, behind)
            left, design = self._compared(seen, behind, at, now, offsets)
            good = used & inside
            weight = good[..., None] / (1 + (left / np.float32(DOUBTFUL_SDS * (floor.noise + 1.0))) ** 2)
            weighted = design * weight.reshape(len(now), 1, -1)
            normal = (weighted @ design.transpose(0, 2, 1)).astype(np.float64) / floor.noise**2 + prior
            pull = (weighted @ left.reshape(len(now), -1, 1))[..., 0] / floor.noise**2
            step = np.linalg.solve(normal, (pull + (expected[unsettled] - now) @ prior)[..., None])[..., 0]
            step[:, 0] = np.clip(step[:, 0], -LONGEST_STEP_PX, LONGEST_STEP_PX)
            now = state[unsettled] = now + step
            settled = (np.abs(step[:, 0]) < SETTLED_PX) | (turn == ROUNDS - 1)
            total = np.maximum(weight[settled].sum(axis=(1, 2)), 1e-6)
            misfit2 = (weight[settled] * left[settled] ** 2).sum(axis=(1, 2)) / total / floor.noise**2
            variance = np.linalg.inv(normal[settled])[:, 0, 0] * np.maximum(misfit2, 1.0) * CORRELATED_PIXELS
            told = [*now[settled, :2].T, np.sqrt(np.maximum(variance, 0)), np.sqrt(misfit2)]
            found[:, unsettled[settled]] = np.where(good[settled].sum(axis=1) >= FEWEST_ROWS, told, np.nan)
            unsettled, used = unsettled[~settled], used[~settled]
            if not len(unsettled):
                break
        return found

    def _windows(
        self,
        pictures: NDArray[np.uint8],
        some: NDArray[np.intp],
        floor: Floor,
        state: FloatArray,
        offsets: NDArray[np.float32],
    ) -> tuple[NDArray[np.float32], NDArray[np.float32], BoolArray, NDArray[np.intp]]:
        """Return what some pictures and the floor show about a line, which rows are inside, and its steps.

        Shapes (k, m, w), (k, m, w), (k, m) and (k, m, w), the last into the look's own arrays.
        """
        (rows, steps), width = self.covers.shape, pictures.shape[2]
        half = int(REACH_RADII * self.radius_px)
        reach = np.arange(-half, half + 1)
        of_row = np.arange(rows)[:, None]
        middle = state[:, :1] + state[:, 1:2] * offsets
        first = np.rint(middle).astype(np.intp)
        columns = np.clip(first[..., None] + reach, 0, width - 1) + of_row * width
        behind = floor.luma.take(columns)
        columns += (some * rows * width)[:, None, None]
        away = (first - middle).astype(np.float32)[..., None] + reach.astype(np.float32)
        at = np.rint(away * np.float32(FINE)).astype(np.intp) + steps // 2
        return (
            pictures.take(columns).astype(np.float32),
            behind,
            (first >= half) & (first < width - half),
            np.clip(at, 0, steps - 1) + of_row * steps,
        )

    def _compared(
        self,
        seen: NDArray[np.float32],
        behind: NDArray[np.float32],
        at: NDArray[np.intp],
        state: FloatArray,
        offsets: NDArray[np.float32],
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return what the look leaves unexplained, (k, m, w), and its slopes by the state, (k, 4, m w)."""
        covers, luma = self.covers.take(at), self.luma.take(at)
        gain, brighter = (state[:, n].astype(np.float32)[:, None, None] for n in (2, 3))
        left = seen - (gain * luma + brighter * covers + behind * (1 - covers))
        across = -(gain * self.luma_slope.take(at) + (brighter - behind) * self.covers_slope.take(at))
        design = np.stack([across, across * offsets[:, None], luma, covers], axis=1)
        return left, design.reshape(len(state), 4, -1)

    def _above_head(self, floor: Floor, seen: NDArray[np.float32], behind: NDArray[np.float32]) -> BoolArray:
        """Return the rows well above the head, which fills more of its rows than a shaft, shape (k, m)."""
        wide = floor.covered(seen, behind).sum(axis=-1) > WIDEST * self.radius_px
        low = wide & (self.row_px > self.row_px.mean())
        top = np.where(low, self.row_px, np.inf).min(axis=1, keepdims=True)
        return np.asarray(self.row_px < top - CLEAR_OF_HEAD_RADII * self.radius_px)


def learn_look(
    pictures: NDArray[np.uint8],
    floor: Floor,
    row_px: FloatArray,
    middles_px: FloatArray,
    radius_px: float,
) -> ShaftLook:
    """Return the shaft's look, the median over pictures in which its line is known.

    Parameters
    ----------
    pictures : ndarray
        Their rows, shape (k, m, width).
    floor : Floor
        What the rows show without a club.
    row_px : FloatArray
        Which rows, shape (m,) [px].
    middles_px : FloatArray
        The line's column in each row of each picture, shape (k, m) [px].
    radius_px : float
        Radius of the ball [px].

    """
    half = int(np.ceil((REACH_RADII + 0.1) * radius_px))
    fine = np.arange(-half * FINE, half * FINE + 1) / FINE
    each = np.arange(len(row_px))[:, None]
    seen, covered = [], []
    for picture, middle in zip(pictures, middles_px, strict=True):
        at = middle[:, None] + fine
        left = np.clip(np.floor(at).astype(int), 0, picture.shape[1] - 2)
        share = (at - left).astype(np.float32)
        shown = picture[each, left] * (1 - share) + picture[each, left + 1] * share
        bare = floor.luma[each, left] * (1 - share) + floor.luma[each, left + 1] * share
        seen.append(shown)
        covered.append(floor.covered(shown, bare))
    luma = uniform_filter1d(middle_of(np.array(seen)), ALONG_ROWS, axis=0)
    mean = np.mean(covered, axis=0)
    around = np.median(mean[:, np.abs(fine) > 0.6 * radius_px], axis=1, keepdims=True)
    most = np.percentile(mean, 97, axis=1, keepdims=True) - around
    covers = np.clip((mean - around - 0.1 * most) / (0.8 * most + 1e-3), 0.0, 1.0)
    covers = uniform_filter1d(covers, ALONG_ROWS, axis=0).astype(np.float32)
    width = covers.sum(axis=1) / FINE
    lit = (covers * luma).astype(np.float32)
    return ShaftLook(
        row_px=row_px,
        radius_px=radius_px,
        covers=covers,
        luma=lit,
        covers_slope=np.gradient(covers, 1 / FINE, axis=1).astype(np.float32),
        luma_slope=np.gradient(lit, 1 / FINE, axis=1).astype(np.float32),
        usable=(width > NARROWEST * radius_px) & (width < WIDEST * radius_px),
    )
