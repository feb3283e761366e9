"""The Bayesian Cramer-Rao bound of a stroke in the smoother's own state model.

That model is what the measurement assumes: jerk as a random walk, kicks at the events, red noise. This is the
one place of the study that knows it, and judges nothing but what it costs not to know events and noise.
"""

from __future__ import annotations

import numpy as np

from pennyfall.cli.proof.trials import QUANTITIES, Trial
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.place.placing import PlacedTracks
from pennyfall.tracker.smoother.frames import MeasurementNoise  # noqa: TID251
from pennyfall.tracker.smoother.known_events import KnownEvents, measure_with_known_events  # noqa: TID251

MOVING_MPS = 0.05
"""Chosen by us: a head this fast is shown anew in every frame."""
GIVEN = (
    "takeaway_s",
    "impact_s",
    "finish_s",
    "backswing_s",
    "tempo_ratio",
    "ball_speed_mps",
    "ball_to_head_ratio",
)
"""What the state model is given, or what hangs on it."""


def state_bound(trial: Trial, placed: PlacedTracks) -> dict[str, float]:
    """Return the least standard deviation of each quantity in the smoother's own state model.

    Events and noise are known; NaN for what is given.
    """
    event = trial.performance.strokes[0]
    known = measure_with_known_events(
        placed.head,
        KnownEvents(
            takeaway_s=event.takeaway_s,
            top_s=event.top_s,
            impact_s=event.impact_s,
            finish_s=event.finish_s,
        ),
        MeasurementNoise(scale=_true_over_stated(trial, placed), lag_one=trial.conditions.lag_one),
        scale=placed.scale,
        generator=np.random.default_rng(trial.seed),
    )
    return {name: float("nan") if name in GIVEN else float(getattr(known, name).sd) for name in QUANTITIES}


def _true_over_stated(trial: Trial, placed: PlacedTracks) -> float:
    """Return the ratio of the true error of the head's place, from frame to frame, to the one stated."""
    head, motion, lag_one = placed.head, trial.filmed.motion, trial.conditions.lag_one
    use = head.seen & (np.abs(motion.velocity(head.time_s)) > MOVING_MPS)
    error: FloatArray = (head.x_m - motion.position(head.time_s))[use]
    # neighbours share what the calibration errs by
    return float(np.std(np.diff(error)) / np.sqrt(2 * (1 - lag_one)) / np.median(head.sd_x_m[use]))
