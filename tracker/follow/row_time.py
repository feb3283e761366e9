"""A rolling shutter: each row of the picture has a time of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np

from pennyfall.kinematics.values import (
    FloatArray,
    RollingShutter,
    StrokeMeasures,
)
from pennyfall.tracker.follow.clip_pass import Followed

UNIFORM = 1 / np.sqrt(3)
"""Root mean square of what lies anywhere between nothing and 1, about nothing."""

EVENTS = ("takeaway_s", "top_s", "impact_s", "finish_s")


def row_share(places_px: FloatArray, *, rotation_deg: int, rows: int) -> FloatArray:
    """Return where in the read-out places of the upright picture lie: -0.5 first row, 0 middle, 0.5 last row.

    Parameters
    ----------
    places_px : FloatArray
        Shape (n, 2) [px].
    rotation_deg : int
        How far the coded picture was turned counter-clockwise to stand upright.
    rows : int
        Number of rows of the coded picture.

    """
    last = rows - 1
    across, down = places_px[:, 0], places_px[:, 1]
    row = (down, across, last - down, last - across)[rotation_deg // 90 % 4]
    return np.asarray(row / last - 0.5)


def at_row_times(followed: Followed, readout_s: float, *, rotation_deg: int, rows: int) -> Followed:
    """Return what was followed, each place at the time at which its own row was exposed.

    Frame times are those of the middle row.
    """

    def shifted(time_s: FloatArray, places_px: FloatArray) -> FloatArray:
        share = row_share(places_px, rotation_deg=rotation_deg, rows=rows)
        known = np.isfinite(share)
        if not known.any():
            return time_s
        return time_s + readout_s * np.interp(time_s, time_s[known], share[known])

    return replace(
        followed,
        head=replace(followed.head, time_s=shifted(followed.head.time_s, followed.head.centre_px)),
        balls=tuple(replace(ball, time_s=shifted(ball.time_s, ball.centre_px)) for ball in followed.balls),
    )


def rolling_shutter(
    strokes: tuple[StrokeMeasures, ...],
    time_s: FloatArray,
    share: FloatArray,
    *,
    readout_s: float | None,
    interval_s: float,
) -> RollingShutter:
    """Return what the rows' own times do to a clip's strokes.

    Parameters
    ----------
    strokes : tuple of StrokeMeasures
    time_s, share : FloatArray
        Time of each frame [s] and where in the read-out the head lies in it (`row_share`), shape (n,).
    readout_s : float or None
        Read-out from the first row to the last, where it is known [s].
    interval_s : float
        Time between frames, which no read-out can exceed [s].

    """
    at = _share_at(time_s, share)
    during = np.array(
        [at(each.value) for stroke in strokes for name in EVENTS if (each := getattr(stroke, name)).known]
    )
    spanned = float(np.ptp(during))
    impact = at(strokes[0].impact_s.value)
    place = f"At impact the head lies at {100 * (impact + 0.5):.0f} % of the read-out, first row to last"
    if readout_s is not None:
        words = (
            f"{place}, {1e3 * impact * readout_s:+.2f} ms from the middle row (read-out of "
            f"{1e3 * readout_s:.3g} ms, stated); every time is that of its own row."
        )
    else:
        words = (
            f"{place}; the read-out is not known and lasts {1e3 * interval_s:.1f} ms at most. Times are "
            f"taken as those of the middle row: as a whole they may be off by up to "
            f"{1e3 * abs(impact) * interval_s:.2f} ms, and durations by up to "
            f"{1e3 * spanned * interval_s:.2f} ms."
        )
    return RollingShutter(
        readout_s=float("nan") if readout_s is None else readout_s,
        impact_row_share=impact + 0.5,
        impact_row_time_s=float("nan") if readout_s is None else impact * readout_s,
        largest_shift_s=0.0 if readout_s is not None else abs(impact) * interval_s,
        largest_duration_error_s=0.0 if readout_s is not None else spanned * interval_s,
        words=words,
    )


def with_unknown_rows(
    stroke: StrokeMeasures, time_s: FloatArray, share: FloatArray, interval_s: float
) -> StrokeMeasures:
    """Return the stroke with its intervals widened for a read-out that may last anything up to a frame.

    Times move by their row's part of the read-out; durations by the difference of their ends; speeds by the
    time the head's own motion across the rows adds or takes away.
    """
    at = _share_at(time_s, share)
    rows = {name: at(getattr(stroke, name).value) for name in EVENTS}
    reach = UNIFORM * interval_s
    back = abs(rows["top_s"] - rows["takeaway_s"]) * reach
    forward = abs(rows["impact_s"] - rows["top_s"]) * reach
    extra = {name: abs(row) * reach for name, row in rows.items()}
    extra |= {"backswing_s": back, "forward_swing_s": forward}
    ratio = stroke.tempo_ratio.value
    extra["tempo_ratio"] = abs(ratio) * float(
        np.hypot(back / stroke.backswing_s.value, forward / stroke.forward_swing_s.value)
    )
    extra["peak_acceleration_s"] = abs(at(stroke.peak_acceleration_s.value)) * reach
    crossing_hz = (at(stroke.impact_s.value) - at(stroke.impact_s.value - 4 * interval_s)) / (4 * interval_s)
    for name in ("impact_speed_mps", "peak_speed_mps", "ball_speed_mps"):
        extra[name] = abs(getattr(stroke, name).value * crossing_hz) * reach
    widened = {
        each.name: value.widened(extra[each.name])
        for each in fields(stroke)
        if each.name in extra
        and (value := getattr(stroke, each.name)).known
        and np.isfinite(extra[each.name])
    }
    return replace(stroke, **widened)


def _share_at(time_s: FloatArray, share: FloatArray) -> Callable[[float], float]:
    known = np.isfinite(share)
    return lambda when_s: float(np.interp(when_s, time_s[known], share[known]))
