"""The shaft in every picture: the strongest line that moves as a club does, then registered in each."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from pennyfall.kinematics.values import BALL_RADIUS_M, FloatArray, freeze_arrays
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.follow.rows import KeptRows
from pennyfall.tracker.follow.shaft.lines import (
    AT_ONCE,
    ROWS_APART,
    SHAFT_WIDTH_RADII,
    Floor,
    candidate_lines,
    fit_line,
    floor_behind,
)
from pennyfall.tracker.follow.shaft.look import Registered, ShaftLook, learn_look
from pennyfall.tracker.follow.shaft.rise import rise_along_shaft

LOOK_EVERY_S = 1 / 60
"""Chosen by us: between two looks a head that slows by 10 m/s^2 strays from a smooth curve by 0.3 mm."""

FASTEST_MPS = 4.0
JUMP_COST, TURN_COST = 0.5, 0.5
"""Chosen by us: cost of a step as fast as the fastest head, and of a turn by one column a row; a clear line
has a strength of 0.3 to 0.5."""

WEAKEST = 0.12
"""Chosen by us: a path whose lines are weaker than this in the mean is none."""

BEHIND_RADII = (-1.5, 8.0)
"""Chosen by us: how far behind the ball the shaft's line may meet its row as the ball is struck: the deepest
mallets have 10 cm behind their face."""

NAMED_RADII = 4.0
"""Chosen by us: the shaft meets the head within this of a place that a person named on it."""

LEARNT_FROM = 60
"""Chosen by us: pictures from which look and slope are learnt, spread over time and way."""

LEARNING_ROUNDS = 3

LEAST_WAY_RADII = 2.0
"""Chosen by us: way of the shaft in the picture, in radii of the ball, below which there is no stroke: 4
cm."""

LAW_POWERS = 3
"""The slope as a cubic of the column: of a club that swings about a hub at rest it is all but a straight
line. In proportion to the speed besides: rows are exposed one after the other, so that a moving shaft stands
askew. Without that, its extension lay 0.9 px off in a clip with 3.6 ms from the first row to the last."""

SPEED_OVER_S = 0.02
"""Chosen by us: span over which the shaft's speed in the picture is taken."""

SLOW_PX = 0.06
"""Chosen by us: by how much a shaft's place errs alike over some frames, as its light and the floor behind it
change. Taken as independent from frame to frame, tops were up to 1.1 ms off at 2.8 standard deviations."""

SLOW_SHARE = 1.5
"""Chosen by us: in a dim clip a codec's noise is alike over many frames; a resting shaft then wandered by 0.3
px, and its takeaway came out 9 deviations early."""

WORST_MISFIT = 3.0
"""Chosen by us: a picture that the look fits this many times worse than most shows something else there."""


def follow_shaft(
    rows: KeptRows,
    *,
    ball_px: FloatArray,
    radius_px: float,
    struck_s: float | None,
    toward: float,
    head_px: FloatArray | None = None,
) -> PixelTrack | None:
    """Return the shaft's line in every picture of which rows were kept; None where none moves as a club does.

    Parameters
    ----------
    rows : KeptRows
        The rows.
    ball_px : FloatArray
        Centre of the ball at rest, shape (2,) [px].
    radius_px : float
        Its radius [px].
    struck_s : float or None
        When it was struck [s]; None where it was not.
    toward : float
        +1 where it goes to the right in the picture, -1 to the left.
    head_px : FloatArray, optional
        A place on the head in the first picture, where a person named it, shape (2,) [px].

    """
    if len(rows.time_s) < 2 or len(rows.row_px) < 2 * ROWS_APART:
        return None
    floor = floor_behind(rows)
    middle = float(np.mean(rows.row_px))
    path = _coarse_path(rows, floor, middle, ball_px, radius_px, struck_s, toward, head_px)
    if path is None:
        return None
    column, slope = path
    known = _first_lines(rows, floor, middle, column, slope, radius_px)
    for _ in range(LEARNING_ROUNDS):
        if not known.tell_a_law(radius_px):
            return None
        law = slope_law(known)
        look = _look_of(rows, floor, middle, known, law, radius_px)
        found = look.register(
            rows.luma[known.frames], floor, middle, known.column_px, law.of(known), slope_known=False
        )
        good = np.isfinite(found.column_px)
        known = KnownLines(
            known.frames[good], found.column_px[good], found.slope[good], known.speed_px_s[good]
        )
    if not known.tell_a_law(radius_px):
        return None
    law = slope_law(known)
    look = _look_of(rows, floor, middle, known, law, radius_px)
    slope = law.at(column, _speed(rows.time_s, column))
    found = look.register(rows.luma, floor, middle, column, slope, slope_known=True)
    line = _track(rows.time_s, middle, found, law, float(ball_px[1]))
    return replace(line, rise_px=rise_along_shaft(rows, line, radius_px, struck_s))


@dataclass(frozen=True, slots=True, eq=False)
class KnownLines:
    """The shaft's line in some pictures: column at the reference row, slope, and speed, shapes (k,)."""

    frames: NDArray[np.intp]
    column_px: FloatArray
    slope: FloatArray
    speed_px_s: FloatArray

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def tell_a_law(self, radius_px: float) -> bool:
        """Return whether the lines are many enough, and far enough apart, to tell how the slope changes."""
        way_px = float(np.ptp(self.column_px)) if len(self.frames) else 0.0
        return len(self.frames) >= 2 * LAW_POWERS and way_px > LEAST_WAY_RADII * radius_px


def _first_lines(
    rows: KeptRows, floor: Floor, middle: float, column: FloatArray, slope: FloatArray, radius_px: float
) -> KnownLines:
    """Return the lines fitted to what differs from the floor in pictures spread over the clip."""
    some = _spread(column)
    lines = [
        fit_line(rows.luma[k], floor, rows.row_px, (middle, column[k], slope[k]), radius_px) for k in some
    ]
    found = [(k, line) for k, line in zip(some, lines, strict=True) if line is not None]
    return KnownLines(
        np.array([k for k, _ in found], dtype=np.intp),
        np.array([line.column_px + line.slope * (middle - line.row_px) for _, line in found]),
        np.array([line.slope for _, line in found]),
        _speed(rows.time_s, column)[[k for k, _ in found]],
    )


def _speed(time_s: FloatArray, column_px: FloatArray) -> FloatArray:
    """Return the speed of the shaft in every picture, shape (n,) [px/s]; gaps are bridged."""
    seen = np.isfinite(column_px)
    column = np.interp(time_s, time_s[seen], column_px[seen])
    half = max(round(0.5 * SPEED_OVER_S / float(np.median(np.diff(time_s)))), 1)
    ahead = np.minimum(np.arange(len(time_s)) + half, len(time_s) - 1)
    behind = np.maximum(np.arange(len(time_s)) - half, 0)
    return np.asarray((column[ahead] - column[behind]) / (time_s[ahead] - time_s[behind]))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SlopeLaw:
    """The shaft's slope as a function of its column and speed."""

    centre_px: float
    reach_px: float
    """Columns are taken from the centre, over the reach."""
    powers: FloatArray
    """Constant term first, shape (LAW_POWERS + 1,)."""
    per_speed_s: float
    """Slope for each pixel a second: the time from row to row [s]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def at(self, column_px: FloatArray, speed_px_s: FloatArray) -> FloatArray:
        """Return the slope at columns passed at some speeds, shape as given."""
        away = (column_px - self.centre_px) / self.reach_px
        return np.asarray(np.polynomial.polynomial.polyval(away, self.powers) + self.per_speed_s * speed_px_s)

    def of(self, known: KnownLines) -> FloatArray:
        """Return the slopes of some lines by the law."""
        return self.at(known.column_px, known.speed_px_s)


def slope_law(known: KnownLines) -> SlopeLaw:
    """Return the law through the lines of some pictures, strays weighted down (Cauchy, squared)."""
    centre, reach = float(known.column_px.mean()), max(float(np.ptp(known.column_px)), 1.0) / 2
    fastest = max(float(np.abs(known.speed_px_s).max()), 1.0)
    away = (known.column_px - centre) / reach
    design = np.column_stack([np.vander(away, LAW_POWERS + 1, increasing=True), known.speed_px_s / fastest])
    weight = np.ones(len(away))
    law = np.zeros(LAW_POWERS + 2)
    for _ in range(6):
        root = np.sqrt(weight)
        law = np.linalg.lstsq(design * root[:, None], known.slope * root, rcond=None)[0]
        strays = known.slope - design @ law
        scatter = 1.4826 * float(np.median(np.abs(strays))) + 1e-6
        weight = 1 / (1 + (strays / (2.0 * scatter)) ** 2) ** 2
    return SlopeLaw(centre_px=centre, reach_px=reach, powers=law[:-1], per_speed_s=float(law[-1]) / fastest)


def _look_of(
    rows: KeptRows, floor: Floor, middle: float, known: KnownLines, law: SlopeLaw, radius_px: float
) -> ShaftLook:
    offsets = rows.row_px - middle
    middles = known.column_px[:, None] + law.of(known)[:, None] * offsets
    # Every other picture: the median of thirty is known as well as is of use, in half the time.
    return learn_look(rows.luma[known.frames[::2]], floor, rows.row_px, middles[::2], radius_px)


def _spread(column: FloatArray) -> list[int]:
    """Return pictures spread over time and over the way, so that rest counts no more than the stroke."""
    way = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(column)))])
    spread = way / max(way[-1], 1.0) + 0.3 * np.linspace(0, 1, len(way))
    wanted = np.linspace(spread[0], spread[-1], LEARNT_FROM)
    return sorted({int(k) for k in np.clip(np.searchsorted(spread, wanted), 0, len(column) - 1)})


def _coarse_path(
    rows: KeptRows,
    floor: Floor,
    middle: float,
    ball_px: FloatArray,
    radius_px: float,
    struck_s: float | None,
    toward: float,
    head_px: FloatArray | None,
) -> tuple[FloatArray, FloatArray] | None:
    """Return column at the middle row and slope at every picture, along the best path through some."""
    step = max(round(LOOK_EVERY_S / float(np.median(np.diff(rows.time_s)))), 1)
    looks = np.unique(np.append(np.arange(0, len(rows.time_s), step), len(rows.time_s) - 1))
    offsets = rows.row_px[::ROWS_APART] - middle
    few = floor.luma[::ROWS_APART]
    parts = [
        candidate_lines(
            floor.covered(rows.luma[some, ::ROWS_APART], few), offsets, SHAFT_WIDTH_RADII * radius_px
        )
        for some in np.split(looks, range(AT_ONCE, len(looks), AT_ONCE))
    ]
    column, slope, strength = (np.concatenate(each) for each in zip(*parts, strict=True))
    time_s = rows.time_s[looks]
    reward = strength.copy()
    if struck_s is not None:
        near = int(np.argmin(np.abs(time_s - struck_s)))
        behind = toward * (ball_px[0] - column[near] - slope[near] * (ball_px[1] - middle)) / radius_px
        reward[near][(behind < BEHIND_RADII[0]) | (behind > BEHIND_RADII[1])] -= len(looks)
    if head_px is not None:
        beside = np.abs(column[0] + slope[0] * (head_px[1] - middle) - head_px[0])
        reward[0][beside > NAMED_RADII * radius_px] -= len(looks)
    fastest_px = FASTEST_MPS * radius_px / BALL_RADIUS_M
    best = _best_path(time_s, column, slope, reward, fastest_px)
    each = np.arange(len(looks))
    if float(np.mean(strength[each, best])) < WEAKEST or reward[each, best].min() < -1:
        return None
    curve = CubicSpline(time_s, np.column_stack([column[each, best], slope[each, best]]))(rows.time_s)
    return curve[:, 0], curve[:, 1]


def _best_path(
    time_s: FloatArray, column: FloatArray, slope: FloatArray, reward: FloatArray, fastest_px: float
) -> FloatArray:
    """Return which candidate of each look lies on the path of most reward (Viterbi 1967)."""
    total = reward[0].copy()
    came_from = []
    for k in range(1, len(time_s)):
        limit = fastest_px * (time_s[k] - time_s[k - 1])
        jump = np.abs(column[k][:, None] - column[k - 1]) / limit
        turn = np.abs(slope[k][:, None] - slope[k - 1])
        step = total - JUMP_COST * np.where(jump < 1, jump**2, 2 * jump + 10) - TURN_COST * turn
        came_from.append(np.argmax(step, axis=1))
        total = np.max(step, axis=1) + reward[k]
    best = [int(np.argmax(total))]
    for each in reversed(came_from):
        best.append(int(each[best[-1]]))
    return np.array(best[::-1])


def _track(
    time_s: FloatArray, middle: float, found: Registered, law: SlopeLaw, ball_row_px: float
) -> PixelTrack:
    """Return the line's place at the row of the ball, to which it is extended, in every picture."""
    seen = np.isfinite(found.column_px)
    if seen.any():
        seen &= ~(found.misfit > WORST_MISFIT * np.median(found.misfit[seen]))
    column = np.where(seen, found.column_px, np.nan)
    count = len(column)
    slope = law.at(column, _speed(time_s, column)) if seen.any() else column
    covariance = np.full((count, 2, 2), np.nan)
    covariance[seen] = 0.0
    covariance[seen, 0, 0] = found.sd_column_px[seen] ** 2
    return PixelTrack(
        time_s=time_s,
        seen=seen,
        centre_px=np.column_stack(
            [column + slope * (ball_row_px - middle), np.where(seen, ball_row_px, np.nan)]
        ),
        covariance_px2=covariance,
        jacobian=np.full((count, 2, 2), np.nan),
        stretch_covariance=np.full((count, 4, 4), np.nan),
        exposure_s=float("nan"),
        slope=slope,
        slow_sd_px=max(SLOW_PX, SLOW_SHARE * _usual(found.sd_column_px)),
    )


def _usual(values: FloatArray) -> float:
    """Return the middle of the values known, zero without any."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else 0.0
