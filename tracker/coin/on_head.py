"""The coin on the head: whether one lies there at address, rides along, and is still there at the finish."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from pennyfall.kinematics.values import BoolArray, CoinSeen, Estimate, FloatArray, IntArray
from pennyfall.tracker.coin.head_views import STEP_M, HeadTop
from pennyfall.tracker.coin.pieces import RESTING_INTERVAL_S

RADII_M = np.array([9.0, 10.5, 12.0, 13.5]) / 1e3
COIN_RADIUS_M = (0.0085, 0.0142)
"""Coins are 18 to 27 mm wide; a screw of the head is smaller, a ball larger."""
ANGLES = 24
SEARCH_STEP = 2
FIT_M = np.arange(0.005, 0.018, 0.00025)
"""From a disc's middle outward, where its rim is looked for."""
ON_RIM_M, LEAST_ON_RIM = 0.001, 0.7
"""Chosen by us: so near to one circle lies so much of the rim of a round disc, beside the tag's paper too."""
RIM_M = 0.002
"""Chosen by us: a coin's rim is told by what lies this far inside and outside it."""
LEAST_STEP = 8.0
"""Chosen by us: grey levels from the head to the coin; the mean of some frames scatters by less than 2."""
SURE_SHARE, NO_SHARE = 0.8, 0.6
"""Chosen by us, of a disc's rim: a rendered coin shows 1.0 of it, beside the tag's paper 0.87, carpet and
head at most 0.56 in the same place of the head at address and under way."""
GONE_SHARE = 0.5
"""Chosen by us: where less of the rim is seen, there is no coin."""
FAINT_SHARE, BARE_SHARE = 0.3, 0.5
"""Chosen by us: of the coin's own contrast, what is left where it lay once it is gone, in the mean of some
frames and in one."""
STRAY_M = 0.003
"""Chosen by us: the tag's own error, and how far a coin that slides backward strays to the side."""
STRAY = round(STRAY_M / STEP_M)
CARRIED_M = (0.03, 0.10)
"""Chosen by us: so far on its way back the head has left what lay on the floor and still has its coin."""
ADDRESS_S, FINISH_S, LAST_S = 0.4, 0.3, 0.25
"""Chosen by us: before the takeaway, after the finish, and how much of the end of that is looked at."""
AFTER_IMPACT_S = 0.12
LEAST_VIEWS, MOST_VIEWS = 3, 12
PLACE_SD_M = 0.0015
"""Chosen by us: of the coin's middle; its floor may lie 10 mm below the tag and is seen from the side. Uneven
light moves the middle as seen: by 0.4 to 0.6 mm on rendered coins twice as bright behind as before, by 0.2 mm
where evenly lit. The way to the edge is short by as much, and the coin seen to leave 1 to 4 ms early."""
SEEN_GAP_S = 0.05
"""Chosen by us: a coin not seen for longer than this has not been watched to leave."""
FASTEST_MPS = 2.0
"""Chosen by us: no coin slides faster on its head, or falls back faster behind it while it is seen."""
ON_HEAD_X_M = -0.07
ON_HEAD_Y_M = 0.042


@dataclass(frozen=True, kw_only=True, slots=True)
class StrokeTimes:
    """The events of a stroke, clip time [s]."""

    takeaway_s: float
    top_s: float
    impact_s: float
    finish_s: float
    """NaN where the clip ends before."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CoinOnHead:
    """What the picture tells of a coin on the head in one stroke."""

    seen: CoinSeen
    place_m: Estimate
    """Its middle from the tag's centre at address, positive toward the face [m]."""
    leave_s: Estimate
    """When its middle passed the rear edge, clip time [s]."""
    diameter_m: float = math.nan
    """Its diameter as seen [m]."""


NOT_TOLD = CoinOnHead(seen="not told", place_m=Estimate.missing(), leave_s=Estimate.missing())


@dataclass(frozen=True, kw_only=True, slots=True)
class _Disc:
    """A disc on the head."""

    row: float
    """Of its middle in the view."""
    column: float
    radius_m: float
    step: float
    """Grey levels from its surroundings to it, signed."""


def look_on_head(
    top: HeadTop,
    time_s: FloatArray,
    x_m: FloatArray,
    times: StrokeTimes,
    *,
    tag_side_m: float,
    front_m: float,
    rear_edge_m: float | None = None,
) -> CoinOnHead:
    """Tell from pictures of the head whether a coin lay on it and whether it stayed.

    A disc of a coin's size counts that is seen at address and in the same place of the head once the head has
    moved away from there: what lies on the floor is not. It left where nothing of its rim is left at the
    finish, and stayed where all of it is. Anything between is not told.

    Parameters
    ----------
    top : HeadTop
        The head's top in its own axes.
    time_s, x_m : FloatArray
        Time and place along the line of each of its frames, shape (n,) [s], [m].
    times : StrokeTimes
        The stroke.
    tag_side_m : float
        Side of the tag's black square; no coin lies on it [m].
    front_m : float
        How far toward the face a coin's middle can lie, from the tag's centre [m].
    rear_edge_m : float, optional
        Where the floor of the coin ends, from the tag's centre, negative behind it [m].

    """
    windows = _windows(time_s, x_m, times)
    if min(len(each) for each in windows) < LEAST_VIEWS:
        return NOT_TOLD
    start, under_way, finish = (top.mean_view(_spread(each)) for each in windows)
    rows, columns = np.mgrid[: start.shape[0] : SEARCH_STEP, : start.shape[1] : SEARCH_STEP]
    shares, steps = _rims(start, rows, columns)
    nearby = np.ones((3, 3), dtype=np.uint8)
    carried_along = np.array([cv2.dilate(each, nearby) for each in _rims(under_way, rows, columns)[0]])
    share = np.minimum(shares, carried_along)
    share[~_allowed(top.along_m[columns], top.across_m[rows], tag_side_m, front_m)] = 0.0
    if share.max() <= NO_SHARE:
        return CoinOnHead(seen="no coin", place_m=Estimate.missing(), leave_s=Estimate.missing())
    disc = _disc(start, share, steps)
    if disc is None:
        return NOT_TOLD
    place_m = Estimate(float(top.along_m[0] + STEP_M * disc.column), PLACE_SD_M)
    at_finish, contrast = _along_its_way(finish, disc)
    if at_finish.max() >= SURE_SHARE:
        return CoinOnHead(seen="stayed", place_m=place_m, leave_s=Estimate.missing())
    lay = slice(round(disc.column) - STRAY, round(disc.column) + STRAY + 1)
    faint = np.abs(contrast[lay]).max() < FAINT_SHARE * abs(disc.step)
    if at_finish.max() > GONE_SHARE or not faint:
        return NOT_TOLD
    edge_m = None if rear_edge_m is None else place_m.value - rear_edge_m
    leave_s = _leaves(top, disc, time_s, times, edge_m)
    if leave_s is None:
        return NOT_TOLD
    return CoinOnHead(seen="left", place_m=place_m, leave_s=leave_s, diameter_m=2 * disc.radius_m)


def _windows(time_s: FloatArray, x_m: FloatArray, times: StrokeTimes) -> tuple[IntArray, IntArray, IntArray]:
    """Return the frames at address, those under way with the coin still on, and those at the finish."""
    address = (time_s >= times.takeaway_s - ADDRESS_S) & (time_s < times.takeaway_s)
    back_m = float(np.median(x_m[address])) - x_m if address.any() else np.full(len(x_m), np.nan)
    carried = (time_s > times.takeaway_s) & (time_s < times.top_s)
    carried &= (back_m > CARRIED_M[0]) & (back_m < CARRIED_M[1])
    end_s = times.finish_s + FINISH_S if np.isfinite(times.finish_s) else np.inf
    after = (time_s > times.impact_s + AFTER_IMPACT_S) & (time_s < end_s)
    if after.any():
        after &= time_s > time_s[after][-1] - LAST_S
    return np.flatnonzero(address), np.flatnonzero(carried), np.flatnonzero(after)


def _spread(numbers: IntArray) -> IntArray:
    """Return some of the frames, evenly spread: their mean is sharp enough, and soon made."""
    return numbers[np.unique(np.linspace(0, len(numbers) - 1, MOST_VIEWS).round().astype(np.intp))]


def _rims(view: FloatArray, rows: FloatArray, columns: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how much of a disc's rim is seen about each place and its step, shape (radii, rows, columns)."""
    found = [_rim(view, rows, columns, radius_m) for radius_m in RADII_M]
    return np.array([share for share, _ in found]), np.array([step for _, step in found])


def _rim(
    view: FloatArray, rows: FloatArray, columns: FloatArray, radius_m: float, least: float = LEAST_STEP
) -> tuple[FloatArray, FloatArray]:
    """Return the share of a disc's rim that is seen about each of these places, and the step over it."""
    angle = 2 * np.pi * np.arange(ANGLES)[:, None, None] / ANGLES
    source = np.nan_to_num(view).astype(np.float32)

    def around(radius_px: float) -> FloatArray:
        at = [(columns + radius_px * np.cos(angle)), (rows + radius_px * np.sin(angle))]
        shape = at[0].shape
        x, y = (each.reshape(shape[0] * shape[1], shape[2]).astype(np.float32) for each in at)
        ring = cv2.remap(source, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(ring, dtype=np.float64).reshape(shape)

    step = around((radius_m - RIM_M) / STEP_M) - around((radius_m + RIM_M) / STEP_M)
    usual = np.median(step, axis=0)
    return np.mean(np.sign(usual) * step >= least, axis=0), usual


def _allowed(along_m: FloatArray, across_m: FloatArray, tag_side_m: float, front_m: float) -> BoolArray:
    """Return where a coin's middle can lie, shape (radii, rows, columns): on the head and not on the tag."""
    half_m = tag_side_m / 2
    beside = np.hypot(np.maximum(np.abs(along_m) - half_m, 0), np.maximum(np.abs(across_m) - half_m, 0))
    on_head = (along_m < front_m) & (along_m > ON_HEAD_X_M) & (np.abs(across_m) < ON_HEAD_Y_M)
    return np.array([on_head & (beside > radius_m - STEP_M) for radius_m in RADII_M])


def _disc(view: FloatArray, share: FloatArray, steps: FloatArray) -> _Disc | None:
    """Return the surest disc of a coin's size; None where it is not sure, not round, or of another size."""
    strength = np.where(share >= SURE_SHARE, np.abs(steps), 0.0)
    radius, row, column = np.unravel_index(int(np.argmax(strength)), strength.shape)
    if not strength[radius, row, column]:
        return None
    step = float(steps[radius, row, column])
    middle = SEARCH_STEP * np.array([column, row], dtype=np.float64)
    for _ in range(2):
        circle = _circle(_rim_points(view, middle, step))
        if circle is None:
            return None
        middle, radius_m = circle[:2], circle[2] * STEP_M
    if not COIN_RADIUS_M[0] <= radius_m <= COIN_RADIUS_M[1]:
        return None
    return _Disc(row=float(middle[1]), column=float(middle[0]), radius_m=float(radius_m), step=step)


def _rim_points(view: FloatArray, middle: FloatArray, step: float) -> FloatArray:
    """Return where the view changes most from a disc to its surroundings, a point for each angle [px]."""
    angle = np.linspace(0, 2 * np.pi, 3 * ANGLES, endpoint=False)
    outward = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    at = (middle + outward[:, None] * FIT_M[None, :, None] / STEP_M).astype(np.float32)
    profile = cv2.remap(np.nan_to_num(view).astype(np.float32), at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    fall = np.sign(step) * -np.gradient(cv2.GaussianBlur(profile, (0, 0), 3.0, sigmaY=0.01), axis=1)
    return np.asarray(at[np.arange(len(angle)), np.argmax(fall, axis=1)], dtype=np.float64)


def _circle(points: FloatArray) -> FloatArray | None:
    """Return the circle (column, row, radius) that most of the points lie on [px]; None where there is none.

    Each three points a third of the way round apart propose one; the nearest points of the best decide.
    """
    third = len(points) // 3
    best = np.zeros(len(points), dtype=bool)
    for first in range(third):
        on_it = _off_circle(points, _through(points[first::third])) < ON_RIM_M / STEP_M
        best = on_it if np.count_nonzero(on_it) > np.count_nonzero(best) else best
    if np.count_nonzero(best) < LEAST_ON_RIM * len(points):
        return None
    return _through(points[best])


def _through(points: FloatArray) -> FloatArray:
    """Return the circle nearest to some points by least squares (I. Kasa, 1976)."""
    x, y = points.T
    solved = np.linalg.lstsq(np.column_stack([x, y, np.ones_like(x)]), x**2 + y**2, rcond=None)[0]
    middle = solved[:2] / 2
    return np.array([*middle, np.sqrt(max(solved[2] + middle @ middle, 0.0))])


def _off_circle(points: FloatArray, circle: FloatArray) -> FloatArray:
    return np.asarray(np.abs(np.hypot(*(points - circle[:2]).T) - circle[2]))


def _along_its_way(view: FloatArray, disc: _Disc) -> tuple[FloatArray, FloatArray]:
    """Return the best share of the coin's rim in each column, and the step there, signed as the coin's."""
    row, end = round(disc.row), min(round(disc.column) + 2 * STRAY, view.shape[1])
    rows, columns = np.mgrid[row - STRAY : row + STRAY + 1, 0:end]
    share, step = _rim(view, rows, columns, disc.radius_m, max(LEAST_STEP, FAINT_SHARE * abs(disc.step)))
    share = np.where(step * disc.step > 0, share, 0.0)
    best = np.argmax(share, axis=0)
    return share.max(axis=0), step[best, np.arange(end)]


def _leaves(
    top: HeadTop, disc: _Disc, time_s: FloatArray, times: StrokeTimes, edge_m: float | None
) -> Estimate | None:
    """Return when the coin passed the rear edge; None where it was not watched to go.

    With the edge known, by the parabola of its slide; else some time from the start of the slide until it
    was out of sight.
    """
    frames = np.flatnonzero((time_s > times.takeaway_s) & (time_s < times.impact_s + AFTER_IMPACT_S))
    shift_m = np.full(len(time_s), np.nan)
    bare = np.zeros(len(time_s), dtype=bool)
    lay = slice(round(disc.column) - STRAY, round(disc.column) + STRAY + 1)
    last, last_s = float(round(disc.column)), times.takeaway_s
    for frame in frames:
        share, step = _along_its_way(top.view(int(frame)), disc)
        # A coin goes on from where it was: carpet that happens to look like one lies anywhere.
        slid = STRAY + FASTEST_MPS * (time_s[frame] - last_s) / STEP_M
        column = np.arange(len(share))
        near = (column > last - slid) & (column < last + 2 * STRAY)
        weight = np.where(near, np.clip(share - NO_SHARE, 0, None) * np.abs(step), 0.0)
        if weight.any() and time_s[frame] - last_s < SEEN_GAP_S + RESTING_INTERVAL_S:
            last, last_s = float(weight @ column / weight.sum()), float(time_s[frame])
            shift_m[frame] = STEP_M * (last - disc.column)
        bare[frame] = np.abs(step[lay]).max() < BARE_SHARE * abs(disc.step)  # not merely smeared
    seen = frames[np.isfinite(shift_m[frames])]
    gone = frames[(frames > seen[-1]) & bare[frames]] if len(seen) else seen
    if not len(seen) or not len(gone) or time_s[gone[0]] - time_s[seen[-1]] > SEEN_GAP_S:
        return None
    if edge_m is not None and edge_m > 0:
        told = leave_instant(time_s, shift_m, edge_m)
        if told.known:
            return told
    resting = seen[np.abs(shift_m[seen]) < STRAY_M]
    if not len(resting):
        return None
    first_s, last_s = float(time_s[resting[-1]]), float(time_s[gone[0]])
    return Estimate((first_s + last_s) / 2, (last_s - first_s) / np.sqrt(12))


def leave_instant(time_s: FloatArray, displacement_m: FloatArray, edge_distance_m: float) -> Estimate:
    """Return when the coin's middle passed the rear edge, from its displacement on the head.

    A parabola through the slide's last seen stretch, carried to the edge.

    Parameters
    ----------
    time_s, displacement_m : FloatArray
        Of each frame, shape (n,) [s], [m]; NaN where the coin was not seen.
    edge_distance_m : float
        Distance from the coin's middle at address to the rear edge [m].

    """
    sliding = _slide_frames(displacement_m, edge_distance_m)
    if np.count_nonzero(sliding) < 4 or displacement_m[sliding].min() > -0.5 * edge_distance_m:
        return Estimate.missing()
    t_s, place_m = time_s[sliding], displacement_m[sliding]
    origin_s = t_s[-1]
    curve, covariance = np.polyfit(t_s - origin_s, place_m, 2, cov=True)
    roots = np.roots(curve + np.array([0.0, 0.0, edge_distance_m]))
    real = roots[np.isreal(roots)].real
    if not len(real):
        return Estimate.missing()
    crossing = float(real[np.argmin(np.abs(real))])
    powers = np.array([crossing**2, crossing, 1.0])
    speed = abs(float(np.polyval(np.polyder(curve), crossing)))
    place_sd_m = float(np.hypot(np.sqrt(max(powers @ covariance @ powers, 0.0)), PLACE_SD_M))
    return Estimate(float(origin_s) + crossing, place_sd_m / speed)


def _slide_frames(displacement_m: FloatArray, edge_distance_m: float) -> BoolArray:
    """Return the frames of the slide: from its start to the first sight past the edge, or the last."""
    reached = np.flatnonzero(displacement_m < -0.5 * edge_distance_m)
    chosen = np.zeros(len(displacement_m), dtype=bool)
    if not len(reached):
        return chosen
    resting = np.flatnonzero(displacement_m[: reached[0]] > -STRAY_M)
    start = int(resting[-1]) + 1 if len(resting) else 0
    past = np.flatnonzero(displacement_m[reached[0] :] < -edge_distance_m)
    end = reached[0] + int(past[0]) + 1 if len(past) else int(reached[-1]) + 1
    chosen[start:end] = np.isfinite(displacement_m[start:end])
    return chosen
