"""One ball from its rest to where it was last seen: what the watch over a ball gives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.values import STRADDLING_SD_SHARE, BoolArray, FloatArray, freeze_arrays
from pennyfall.tracker.ball.locating import Sighting
from pennyfall.tracker.ball.rest import KEEP_BEFORE_S, BallAtRest

TURNING_SD_M = 1.6e-4
"""What the turning mark and the shading of the rim add to a moving ball's position. Measured on rendered
clips with known truth: 0.07 to 0.22 mm rms about a straight line through the first 0.13 s, 0.16 in the mean
square of the shipped ones, in the rhythm of the ball's turns; at rest it is constant and drops out."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FollowedBall:
    """One ball from its rest to where it was last seen, in the picture."""

    time_s: FloatArray
    """Mid-exposure time of each frame in which it was located, shape (m,) [s]."""
    at_rest: BoolArray
    """Whether it still lay at its rest position in that frame, shape (m,)."""
    sd_x_m: FloatArray
    """Standard deviation of its place along the line in each, its turning included, shape (m,) [m]."""
    frame: NDArray[np.intp]
    """Index of each in the clip, shape (m,)."""
    centre_px: FloatArray
    """Image of the ball's centre in each of them, shape (m, 2) [px]."""
    radius_px: FloatArray
    """Mean radius of its outline in each of them, shape (m,) [px]."""
    rest_m: FloatArray
    """Centre at rest in the camera's world, shape (3,) [m]."""
    confidence: float
    """How sure it is that this is a ball, 0..1."""
    departed: bool
    """Whether it was seen to leave."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def followed_ball(
    rest: BallAtRest, still: Sequence[Sighting], moving: Sequence[Sighting], exposure_s: float
) -> FollowedBall:
    """Put a ball's sightings together, relative to its mean place at rest.

    Parameters
    ----------
    rest : BallAtRest
        The ball as it lay.
    still, moving : Sequence[Sighting]
        Where it was seen at rest and on its way, in order of time.
    exposure_s : float
        Exposure time of a frame [s]; 0 where it is not known.

    """
    lately = [each for each in still if each.time_s >= still[-1].time_s - KEEP_BEFORE_S]
    weight = np.array([1.0 / float(each.sd_m @ each.sd_m) for each in lately])
    places = np.array([each.centre_m for each in lately])
    # A frame exposed across the impact lies between: the median keeps it out of the rest position.
    rest_m = np.median(places, axis=0) if len(lately) > 2 else weight @ places / weight.sum()
    everything = [*still, *moving]
    centre_m = np.array([each.centre_m for each in everything])
    sd_x_m = np.array([each.sd_m[0] for each in everything])
    time_s = np.array([each.time_s for each in everything])
    x_m = centre_m[:, 0] - rest_m[0]
    at_rest = np.arange(len(everything)) < len(still)
    if moving:
        speed = abs(moving[1].centre_m[0] - moving[0].centre_m[0]) / (moving[1].time_s - moving[0].time_s)
        way = np.sign(moving[-1].centre_m[0] - rest_m[0])
        sd_x_m[~at_rest] = np.hypot(sd_x_m[~at_rest], TURNING_SD_M)
        # Exposed partly before the impact, the smear's middle is not the place at mid-exposure: the mean of a
        # ramp that begins inside the exposure is off by up to an eighth of the smear.
        straddling = (
            (way * x_m > 0)
            & (way * x_m < 0.5 * speed * exposure_s)
            & (time_s > still[-1].time_s - KEEP_BEFORE_S)
        )
        first = int(np.argmax(~at_rest))
        straddling &= np.abs(np.arange(len(everything)) - first) <= 1
        sd_x_m[straddling] = np.hypot(sd_x_m[straddling], STRADDLING_SD_SHARE * speed * exposure_s)
    return FollowedBall(
        time_s=time_s,
        at_rest=at_rest,
        sd_x_m=sd_x_m,
        frame=np.array([each.frame for each in everything], dtype=np.intp),
        centre_px=np.array([each.fit.centre_px for each in everything]),
        radius_px=np.array([each.fit.outline.radius_px for each in everything]),
        rest_m=rest_m,
        confidence=rest.found.confidence,
        departed=bool(moving),
    )
