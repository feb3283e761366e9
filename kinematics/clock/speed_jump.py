"""Apparent motion that no club makes: the sign that a part of a clip plays at another speed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pennyfall.kinematics.clock.speed_ramp import RateSteps
from pennyfall.kinematics.values import BoolArray, FloatArray

SIDE_FRAMES = 3
"""Chosen by us: steps between frames looked at on either side of a jump."""

MISSING_FRAMES, JUMP_ACROSS = (1, 2), 5.0
"""Chosen by us: so many frames at the jump itself may be missing, at the price of a larger jump: a forward
swing filmed at 60 frames/s gains threefold across such a gap (no false alarm in 2,520 strokes, thinned and
noisy by up to twice what is looked at here)."""

LEAST_STEP_M = 0.001
"""Chosen by us: ten times the scatter of a tag's place, so that a slow head tells nothing."""

EVEN = 1.5
"""Chosen by us: within either side, the head's speed varies by less than this."""

JUMP = 3.0
"""Chosen by us: a head loses a fifth of its speed to the ball; slow motion is four or eight times slower."""

HARDEST_MPS2 = 16.0
"""Chosen by us: the hardest pull of a long putt is 15 m/s^2. Where the file's times over 4 or 8 are taken as
true, a head at normal speed seems to be pulled 16 or 64 times as hard as it was: at the start and the turn of
most strokes harder than this."""
HARD_SDS = 4.0
"""Chosen by us: and by this many standard deviations more, for the scatter of the places."""
REACH = 2
"""Chosen by us: frames to either side over which a pull is taken. As many in a row must be too hard, one way:
a single wrong place makes one such between two of the other sign."""
IMPACT_FRAMES, IMPACT_LEAVES = 5, 0.55
"""Chosen by us: a ball takes a fifth of a head's speed within so many frames, from a light head a third."""


@dataclass(frozen=True, slots=True)
class SpeedJump:
    """An instant at which the apparent speed jumps."""

    time_s: float
    """When, clip time [s]."""
    ratio: float
    """Speed after over speed before."""


def speed_jump(
    time_s: FloatArray, x_m: FloatArray, seen: BoolArray, steps: RateSteps | None = None
) -> SpeedJump | None:
    """Return the first jump of a head's apparent speed, or None.

    Both sides of it move evenly and the speeds differ by more than any impact makes: then the two sides play
    at different speeds. Where the frame interval steps, each step is looked at too, across its passage.

    Parameters
    ----------
    time_s, x_m : FloatArray
        Apparent time and place along the line of each frame, shape (n,) [s], [m].
    seen : BoolArray
        Whether the head was seen, shape (n,).
    steps : RateSteps, optional
        The runs of the clip, where its frame interval steps.

    """
    middle = np.arange(len(time_s))
    joints = [(middle, middle, JUMP)]
    joints += [(middle - 1, middle + gap, JUMP_ACROSS) for gap in MISSING_FRAMES]
    if steps is not None:
        last, first = steps.last[:-1] + 1, steps.first[1:]
        joints += [(last, first, JUMP)]
        joints += [(last - 1, first + gap, JUMP) for gap in MISSING_FRAMES]
    end, start = (np.concatenate([joint[side] for joint in joints]) for side in (0, 1))
    least = np.concatenate([np.full(len(joint[0]), joint[2]) for joint in joints])
    inside = (end >= SIDE_FRAMES) & (start + SIDE_FRAMES < len(time_s))
    if not inside.any():
        return None
    end, start, least = end[inside], start[inside], least[inside]
    even_mps = _even_speeds(time_s, x_m, seen)
    before, after = even_mps[end - SIDE_FRAMES], even_mps[start]
    sides_s = time_s[end] - time_s[end - SIDE_FRAMES], time_s[start + SIDE_FRAMES] - time_s[start]
    # A step makes one side longer by itself.
    side_s = np.minimum(*sides_s) if steps is None else np.maximum(*sides_s)
    ratio = np.divide(after, before, out=np.ones(len(end)), where=before * after > 0)
    jumps = np.flatnonzero(
        (time_s[start] - time_s[end] <= 1.01 * side_s) & ((ratio <= 1 / least) | (ratio >= least))
    )
    if len(jumps) == 0:
        return None
    earliest = jumps[np.lexsort([start[jumps], (end + start)[jumps]])[0]]
    return SpeedJump(float(time_s[end[earliest]]), float(ratio[earliest]))


def _even_speeds(time_s: FloatArray, x_m: FloatArray, seen: BoolArray) -> FloatArray:
    """Return the velocity over a few frames from each on [m/s]; 0 where uneven, too slow, or not seen.

    Shape (n - SIDE_FRAMES,).
    """
    x_m = np.where(seen, x_m, np.nan)
    steps = np.lib.stride_tricks.sliding_window_view(np.diff(x_m), SIDE_FRAMES)
    velocity = steps / np.lib.stride_tricks.sliding_window_view(np.diff(time_s), SIDE_FRAMES)
    size = np.abs(velocity)
    one_way = velocity.max(axis=1) * velocity.min(axis=1) > 0
    even = one_way & (size.max(axis=1) < EVEN * size.min(axis=1))  # NaN compares false
    moving = np.abs(steps).min(axis=1) > LEAST_STEP_M
    return np.where(even & moving, velocity.mean(axis=1), 0.0)


def pulled_too_hard(time_s: FloatArray, x_m: FloatArray, sd_x_m: FloatArray, seen: BoolArray) -> FloatArray:
    """Return the times at which a head seems to be pulled harder than any club is, shape (m,) [s].

    An impact is none: it takes a part of the head's speed and turns nothing.

    Parameters
    ----------
    time_s, x_m, sd_x_m : FloatArray
        Apparent time, place along the line and standard deviation of the place in each frame, shape (n,)
        [s], [m].
    seen : BoolArray
        Whether the head was seen, shape (n,).

    """
    time_s, x_m, sd_x_m = time_s[seen], x_m[seen], sd_x_m[seen]
    if len(time_s) <= 2 * REACH:
        return np.empty(0)
    velocity = (x_m[REACH:] - x_m[:-REACH]) / (time_s[REACH:] - time_s[:-REACH])
    apart_s = (time_s[2 * REACH :] - time_s[: -2 * REACH]) / 2
    pull = (velocity[REACH:] - velocity[:-REACH]) / apart_s
    scatter = np.sqrt(6) * sd_x_m[REACH:-REACH] / apart_s**2
    way = np.sign(pull) * (np.abs(pull) > HARDEST_MPS2 + HARD_SDS * scatter)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(way)) + 1, [len(way)]])
    hard = np.zeros(len(way), dtype=bool)
    for first, end in pairwise(edges.tolist()):
        before, after = velocity[max(first - 1, 0)], velocity[min(end + REACH, len(velocity) - 1)]
        struck = end - first <= IMPACT_FRAMES and IMPACT_LEAVES < after / (before or np.inf) < 1
        hard[first:end] = way[first] != 0 and end - first >= REACH and not struck
    return time_s[REACH:-REACH][hard]
