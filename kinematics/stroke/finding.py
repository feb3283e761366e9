"""Finding the strokes in a clip: rest or slow, back, top, forward, through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.stroke.tracks import HeadTrack
from pennyfall.kinematics.values import BoolArray, FloatArray, Noticed

VELOCITY_WINDOW_S = 0.03
"""Half width of the local line whose slope is the coarse velocity, chosen by us: short against a backswing,
long against the noise."""
LONGEST_GAP_S = 0.15
"""Chosen by us: a head out of sight longer than this may have turned unseen."""
MOVING_MPS = 0.04
"""Chosen by us: slower than 4 cm/s is address, a pause at the top, or a slow adjustment."""
REST_SWAY_M = 0.0005
"""Chosen by us: a head at rest behind the ball sways by a few tenths of a millimetre; a forward press moves
it by two and more, if slower than `MOVING_MPS`."""
CREEPING_MPS = 0.005
"""Chosen by us: a head that leaves rest slower than this has hardly begun; the slope of 60 ms of frames is
known to half of it in 0.1 mm of noise at 60 frames/s."""
SHORTEST_REST_S = 0.06
SHORTEST_REST_AFTER_MOVE_S = 0.12
"""Chosen by us: the backswing is plain about 0.04 s after it began, so that what is left of this is rest."""
SMALLEST_MOVE_M = 0.01
"""Chosen by us: runs of motion shorter than 1 cm are tremor."""
SMALLEST_BACKSWING_M = 0.03
"""Chosen by us: a putt of one metre needs 6 to 8 cm; a waggle rarely exceeds 3 cm."""
SMALLEST_PASS_M = 0.03
"""Chosen by us: a head set down behind the ball stops within a centimetre or two of its address position."""
SLOWEST_PASS_MPS = 0.2
"""Chosen by us: a head that passes the ball's place slower than this would send it 0.3 m/s, less than half a
metre."""
LONGEST_PAUSE_S = 0.7
"""Chosen by us: a head that waits longer at the top has broken off."""
LONGEST_SWING_S = 2.5
"""Chosen by us: a slower way back is carrying the club, not swinging it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class FoundStroke:
    """Where one stroke lies in the clip, to a few frames."""

    rest_s: float
    """Start of the rest at address, or of the frames that may serve as such [s]."""
    takeaway_s: float
    """First plain motion backward [s]."""
    top_s: float
    """Top of the backswing [s]."""
    pass_s: float
    """The head passes its address position [s]."""
    finish_s: float
    """End of the forward motion [s]; the clip's end when it ends first."""
    struck_s: float | None
    """Departure of a ball during the forward swing [s]; None where no ball left."""
    rested: bool
    """Whether the head was at rest before the backswing."""
    finished: bool
    """Whether the forward motion ends within the clip."""


@dataclass(frozen=True, slots=True)
class _Run:
    first: int
    last: int
    travel_m: float


def find_strokes(
    head: HeadTrack, departures_s: Sequence[float]
) -> tuple[tuple[FoundStroke, ...], tuple[Noticed, ...]]:
    """Return the strokes of a clip, and cautions about strokes broken off or cut off.

    Parameters
    ----------
    head : HeadTrack
        The head over the whole clip.
    departures_s : sequence of float [s]
        Instants at which balls left rest.

    Raises
    ------
    CannotMeasure
        When the clip holds no whole stroke.

    """
    seen = head.seen & np.isfinite(head.x_m)
    if np.count_nonzero(seen) < 10:
        raise CannotMeasure(
            f"The club head was seen in {np.count_nonzero(seen)} frames only.",
            fix="Keep the head, its shaft or tag uncovered, lit and in the picture for the whole stroke.",
        )
    time, x = head.time_s[seen], head.x_m[seen]
    velocity = coarse_velocity(time, x)
    runs = _moving_runs(time, x, velocity)
    strokes: list[FoundStroke] = []
    cautions: list[Noticed] = []
    for index, forward in enumerate(runs):
        if forward.travel_m <= 0:
            continue
        backward = runs[index - 1] if index and runs[index - 1].travel_m < 0 else None
        struck = _struck(time, forward, departures_s)
        if backward is None:
            if struck is not None or (not index and _starts_mid_swing(forward, velocity)):
                cautions.append(Noticed("cut-off-start", {}))
            continue
        # Right after a stroke the head goes back to be set down behind the next ball: that is no backswing.
        doubts: list[Noticed] = []
        found = _as_stroke(time, x, velocity, backward, forward, struck, doubts)
        returning = bool(strokes) and time[runs[index - 2].last] == strokes[-1].finish_s
        cautions += [each for each in doubts if not (returning and each.code == "aborted-stroke")]
        if found is not None:
            strokes.append(found)
    if (
        runs
        and runs[-1].travel_m < -SMALLEST_BACKSWING_M
        and runs[-1].last >= len(time) - 2
        and strokes == []
    ):
        cautions.append(Noticed("cut-off-end", {}))
    if not strokes:
        _refuse(x, cautions, float(time[0] - head.time_s[0]))
    return tuple(strokes), tuple(cautions)


def coarse_velocity(time_s: FloatArray, x_m: FloatArray) -> FloatArray:
    """Return the slope of a straight line through the frames around each frame, shape (n,) [m/s]."""
    half = np.maximum(VELOCITY_WINDOW_S, 1.01 * np.median(np.diff(time_s)))
    first = np.searchsorted(time_s, time_s - half)
    last = np.searchsorted(time_s, time_s + half, side="right")
    # A gap may leave a frame alone: then its neighbours on either side are all there is.
    first = np.minimum(first, np.maximum(np.arange(len(time_s)) - 1, 0))
    last = np.maximum(last, np.minimum(np.arange(len(time_s)) + 2, len(time_s)))
    t = time_s - time_s.mean()
    sums = [np.concatenate([[0.0], np.cumsum(each)]) for each in (np.ones_like(t), t, x_m, t * t, t * x_m)]
    n, st, sx, stt, stx = (each[last] - each[first] for each in sums)
    slope: FloatArray = (n * stx - st * sx) / (n * stt - st * st)
    return slope


def _moving_runs(time: FloatArray, x: FloatArray, velocity: FloatArray) -> list[_Run]:
    sign = np.where(velocity > MOVING_MPS, 1, np.where(velocity < -MOVING_MPS, -1, 0))
    edges = np.flatnonzero(np.diff(sign)) + 1
    runs: list[_Run] = []
    for first, last in zip(
        np.concatenate([[0], edges]), np.concatenate([edges, [len(sign)]]) - 1, strict=True
    ):
        travel = float(x[last] - x[first])
        if sign[first] == 0 or abs(travel) < SMALLEST_MOVE_M:
            continue
        if (
            runs
            and runs[-1].travel_m * travel > 0
            and time[first] - time[runs[-1].last] < 2 * VELOCITY_WINDOW_S
        ):
            runs[-1] = _Run(runs[-1].first, int(last), float(x[last] - x[runs[-1].first]))
        else:
            runs.append(_Run(int(first), int(last), travel))
    return runs


def _as_stroke(
    time: FloatArray,
    x: FloatArray,
    velocity: FloatArray,
    backward: _Run,
    forward: _Run,
    struck: float | None,
    cautions: list[Noticed],
) -> FoundStroke | None:
    back_m = -backward.travel_m
    if back_m < SMALLEST_BACKSWING_M or time[forward.first] - time[backward.last] > LONGEST_PAUSE_S:
        if back_m >= SMALLEST_BACKSWING_M and struck is None:
            cautions.append(_aborted(time[backward.last], back_m))
        return None
    if time[backward.last] - time[backward.first] > LONGEST_SWING_S:
        return None
    start = _onset_index(velocity, backward.first, 0.5 * MOVING_MPS)
    start_m = x[start]
    passing = forward.first + int(np.argmax(x[forward.first : forward.last + 1] >= start_m))
    passed = x[forward.last] - start_m
    ends_with_clip = forward.last >= len(time) - 2
    whole = passed >= SMALLEST_PASS_M and velocity[passing] >= SLOWEST_PASS_MPS
    if struck is None and not whole:
        if ends_with_clip and velocity[forward.last] > SLOWEST_PASS_MPS:
            cautions.append(Noticed("cut-off-end", {}))
        elif back_m > 2 * SMALLEST_BACKSWING_M and x[forward.last] < start_m + SMALLEST_PASS_M:
            cautions.append(_aborted(time[backward.last], back_m))
        return None
    if start <= 1 and velocity[0] < -MOVING_MPS:
        cautions.append(Noticed("cut-off-start", {}))
        return None
    if np.max(np.diff(time[start : forward.last + 1]), initial=0.0) > LONGEST_GAP_S:
        cautions.append(Noticed("head-hidden", {"time_s": float(time[forward.first])}))
        return None
    between = slice(backward.last, forward.first + 1)
    top = time[between][int(np.argmin(x[between]))]
    rest_first, rested = _rest_before(time, x, velocity, start)
    if not rested:
        creeps = _onset_index(velocity, start, CREEPING_MPS)
        rest_first, rested = _rest_before(time, x, velocity, creeps)
        start = creeps if rested else start
    return FoundStroke(
        rest_s=float(time[rest_first]),
        takeaway_s=float(time[start]),
        top_s=float(top),
        pass_s=float(struck if not whole and struck is not None else time[passing]),
        finish_s=float(time[forward.last]),
        struck_s=struck,
        rested=rested,
        finished=not ends_with_clip,
    )


def _onset_index(velocity: FloatArray, first: int, slowest_mps: float) -> int:
    """Return from where on the backward motion is never slower; noise takes it over a threshold and back."""
    while first > 0 and velocity[first - 1] < -slowest_mps:
        first -= 1
    return first


def _rest_before(time: FloatArray, x: FloatArray, velocity: FloatArray, first: int) -> tuple[int, bool]:
    """Return where the slow time before a backswing begins, and whether it is long enough to be a rest.

    In it the head is slow, and in one place but for sway and noise.
    """
    still: BoolArray = np.abs(velocity[:first]) < MOVING_MPS
    moving = np.flatnonzero(~still)
    slow = int(moving[-1]) + 1 if len(moving) else 0
    last = x[slow : first + 1][time[slow : first + 1] >= time[first] - 3 * VELOCITY_WINDOW_S]
    noise = float(np.std(np.diff(x[slow : first + 1], n=2))) / 6**0.5 if first - slow > 3 else 0.0
    away = np.flatnonzero(np.abs(x[slow:first] - np.median(last)) > REST_SWAY_M + 4 * noise)
    # The backswing's own first motion leaves the place as well: what counts is what lies before it.
    away = away[time[slow + away] < time[first] - SHORTEST_REST_S]
    begins = slow + int(away[-1]) + 1 if len(away) else slow
    shortest = SHORTEST_REST_AFTER_MOVE_S if begins > 0 else SHORTEST_REST_S
    return begins, bool(time[first] - time[begins] >= shortest)


def _struck(time: FloatArray, forward: _Run, departures_s: Sequence[float]) -> float | None:
    inside = [t for t in departures_s if time[forward.first] - 0.05 <= t <= time[forward.last] + 0.05]
    return inside[0] if inside else None


def _starts_mid_swing(forward: _Run, velocity: FloatArray) -> bool:
    return forward.first <= 1 and bool(velocity[0] > SLOWEST_PASS_MPS)


def _aborted(time_s: float, back_m: float) -> Noticed:
    return Noticed("aborted-stroke", {"back_cm": 100 * back_m, "time_s": float(time_s)})


def _refuse(x: FloatArray, cautions: list[Noticed], unseen_s: float) -> None:
    travel_cm = 100 * float(np.ptp(x))
    codes = {each.code for each in cautions}
    if "cut-off-start" in codes and unseen_s > SHORTEST_REST_S:
        raise CannotMeasure(
            f"The head is made out only {unseen_s:.2f} s into the clip, when the backswing has begun.",
            fix="Film from nearer, so that head, shaft and tag are larger, and keep them uncovered and lit "
            "from address on.",
        )
    if "cut-off-start" in codes:
        raise CannotMeasure(
            f"The clip starts after the backswing began (the head moves {travel_cm:.1f} cm in it).",
            fix="Start filming a second before the stroke, with the head at rest behind the ball.",
        )
    if "cut-off-end" in codes:
        raise CannotMeasure(
            f"The clip ends before the stroke reached the ball (the head moves {travel_cm:.1f} cm in it).",
            fix="Film on for a second after the stroke.",
        )
    if "aborted-stroke" in codes:
        raise CannotMeasure(
            f"The head went back {travel_cm:.1f} cm but no forward swing through the ball followed.",
            fix="Film a whole stroke, from the rest at address to the finish.",
        )
    raise CannotMeasure(
        f"No stroke was found: the head moved {travel_cm:.1f} cm along the target line in the clip.",
        fix="Film a whole stroke from address to finish, from the front; where a printed sheet lies by the "
        "ball, its long axis has to lie along the target line.",
    )
