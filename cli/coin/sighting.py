"""The coin looked for in a measured clip: one more pass over its frames."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice

import numpy as np

from pennyfall.kinematics.coin.inference import ObservedCoin
from pennyfall.kinematics.coin.prediction import CoinSetup
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.stroke.tracks import HeadTrack
from pennyfall.kinematics.values import Estimate, FloatArray, StrokeMeasures
from pennyfall.tracker.clip.decoding import Decoding
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.coin.fallen import find_resting_coin
from pennyfall.tracker.coin.on_head import ShelfView, ShelfWatch, leave_instant
from pennyfall.tracker.measure.measured import Measured

FLOOR_FRAMES = 9
"""Chosen by us: the head covers any one place in fewer than half of so many frames of a backswing."""
ADDRESS_FRAMES = 5
ADDRESS_S = 0.15
"""Chosen by us: the coin's look at address is learnt over this time before the takeaway."""
STILL_AFTER_IMPACT_S = 0.15
"""Chosen by us: a coin that left before impact has come to rest by then."""
AFTER_S = 1.0
"""Chosen by us: what comes later belongs to the next stroke."""
SIDE_M = 0.12
"""Chosen by us: how far beyond the head's own path the coin is looked for."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Frames:
    """Which frames show what."""

    address: tuple[int, ...]
    before: tuple[int, ...]
    riding: tuple[int, ...]
    after: tuple[int, ...]

    @property
    def last(self) -> int:
        """The last of them."""
        return max((*self.address, *self.before, *self.riding, *self.after), default=-1)


def find_coin_in_clip(measured: Measured, stroke: StrokeMeasures, setup: CoinSetup) -> ObservedCoin:
    """Find when the coin left the head and where it came to rest.

    Raises
    ------
    CannotMeasure
        When neither is seen in the clip.

    """
    tracks, reading = measured.placed.tracks, measured.placed.timed.seen.reading
    head = tracks.head
    which = _choose(head.time_s, head.x_m, stroke)
    shelf = setup.shelf
    tag_height_m = tracks.tag.height_m.value
    watch = ShelfWatch(
        tracks.camera,
        ShelfView(
            tag_m=np.column_stack([head.x_m, head.y_m, head.z_m]),
            tilt_rad=_tilt(head, stroke),
            coin_from_tag_m=shelf.coin_from_tag_m,
            top_from_tag_m=shelf.floor_height_m + setup.coin.thickness_m - tag_height_m,
        ),
        diameter_m=setup.coin.diameter_m,
        edge_distance_m=shelf.edge_distance_m,
    )
    before: list[LumaFrame] = []
    after: list[LumaFrame] = []
    shift_m = np.full(len(head.time_s), np.nan)
    # Decoded again: the coin needs every pixel of frames that only the measured stroke tells.
    for frame in islice(Decoding(reading).frames(), 1 + which.last):
        if frame.index in which.address:
            watch.learn(frame.index, frame.luma)
        if frame.index in which.riding:
            shift_m[frame.index] = watch.displacement(frame.index, frame.luma)
        if frame.index in which.before:
            before.append(frame.luma.copy())
        if frame.index in which.after:
            after.append(frame.luma.copy())
    leave_s = leave_instant(head.time_s, shift_m, shelf.edge_distance_m)
    resting = None
    if before and after:
        resting = find_resting_coin(
            before,
            after,
            tracks.camera,
            diameter_m=setup.coin.diameter_m,
            x_range_m=_where(head.x_m, which),
            scale_rel_sd=tracks.scale_rel_sd,
        )
    landing_x_m = Estimate.missing() if resting is None else resting.x_m
    if not (leave_s.known or landing_x_m.known):
        raise CannotMeasure(
            f"The coin is not seen to leave the head or to lie on the floor in {reading.name}.",
            fix="Let it fall on a plain floor in full view, away from the ball; or type where it lay with "
            "--coin-landed.",
        )
    return ObservedCoin(leave_s=leave_s, landing_x_m=landing_x_m)


def _choose(time_s: FloatArray, x_m: FloatArray, stroke: StrokeMeasures) -> _Frames:
    takeaway_s = stroke.takeaway_s.value if stroke.takeaway_s.known else float(stroke.profile.t_s[0])
    top_s, impact_s = stroke.top_s.value, stroke.impact_s.value
    back = np.flatnonzero((time_s > takeaway_s) & (time_s < top_s) & np.isfinite(x_m))
    address = np.flatnonzero((time_s > takeaway_s - ADDRESS_S) & (time_s < takeaway_s - 0.01))
    still = (time_s > impact_s + STILL_AFTER_IMPACT_S) & (time_s < impact_s + AFTER_S)
    return _Frames(
        address=_spread(address, ADDRESS_FRAMES),
        before=_evenly_placed(back, x_m),
        riding=tuple(np.flatnonzero((time_s >= takeaway_s) & (time_s <= impact_s)).tolist()),
        after=_spread(np.flatnonzero(still), FLOOR_FRAMES),
    )


def _spread(indices: Iterable[int], count: int) -> tuple[int, ...]:
    """Return up to `count` of the indices, evenly spread."""
    found = np.asarray(list(indices), dtype=int)
    if not len(found):
        return ()
    return tuple(np.unique(found[np.linspace(0, len(found) - 1, count).round().astype(int)]).tolist())


def _evenly_placed(indices: Iterable[int], x_m: FloatArray) -> tuple[int, ...]:
    """Return frames in which the head stands at evenly spaced places, so that it covers each place seldom."""
    found = np.asarray(list(indices), dtype=int)
    if not len(found):
        return ()
    places = np.linspace(x_m[found].min(), x_m[found].max(), FLOOR_FRAMES)
    nearest = np.abs(x_m[found][:, None] - places[None, :]).argmin(axis=0)
    return tuple(np.unique(found[nearest]).tolist())


def _tilt(head: HeadTrack, stroke: StrokeMeasures) -> FloatArray:
    """Return the smoothed stroke's tilt at each frame, zero where it is unknown."""
    tilt = np.interp(head.time_s, stroke.profile.t_s, stroke.profile.tilt_rad)
    return np.nan_to_num(tilt)


def _where(x_m: FloatArray, which: _Frames) -> tuple[float, float]:
    riding = x_m[list(which.riding)]
    return float(np.nanmin(riding)) - SIDE_M, float(np.nanmax(riding)) + SIDE_M
