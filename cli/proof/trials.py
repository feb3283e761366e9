"""One trial of the study: a stroke is drawn, filmed and measured, and its truth is known."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from pennyfall.cli.proof.conditions import Conditions, draw_conditions
from pennyfall.cli.proof.filming import film
from pennyfall.cli.proof.worlds import PUBLISHED, World
from pennyfall.cli.report.tables.truth import TRUE_NAMES
from pennyfall.demo_clips.strokes import Performance
from pennyfall.demo_clips.truth import stroke_truth
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray, StrokeMeasures
from pennyfall.tracker.measure.motion import smooth_strokes
from pennyfall.tracker.place.placing import PlacedTracks, place_tracks
from pennyfall.tracker.smoother.frames import MeasurementNoise  # noqa: TID251
from pennyfall.tracker.smoother.known_events import KnownEvents, measure_with_known_events  # noqa: TID251

QUANTITIES = (*TRUE_NAMES, "acceleration_at_top_mps2", "ball_to_head_ratio")
"""Every quantity whose truth is known, by its name in the measurement file."""

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


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Trial:
    """One drawn stroke and how it is filmed."""

    conditions: Conditions
    performance: Performance
    """The stroke with its truth."""
    filmed: Performance
    """The stroke as it is seen."""
    seed: tuple[int, ...]


def true_quantities(performance: Performance) -> dict[str, float]:
    """Return the true value of each quantity."""
    stroke = stroke_truth(performance, performance.strokes[0])
    true = {name: float(stroke[true_name]) for name, true_name in TRUE_NAMES.items()}
    true["acceleration_at_top_mps2"] = float(stroke["accel_at_top_m_s2"])
    true["ball_to_head_ratio"] = true["ball_speed_mps"] / true["impact_speed_mps"]
    return true


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MeasuredTrial:
    """What a trial's clip gave."""

    placed: PlacedTracks
    stroke: StrokeMeasures
    innovation_ratio: float


def draw_trial(seed: int, rate_hz: float, number: int, world: World = PUBLISHED) -> Trial:
    """Return the stroke with a number at a frame rate in a world; the same four always give the same."""
    key = (seed, round(rate_hz), number)
    generator = np.random.default_rng(key)
    conditions = draw_conditions(rate_hz, generator)
    shown = world.draw(conditions.putter, generator)
    return Trial(conditions=conditions, performance=shown.truth, filmed=shown.filmed, seed=key)


def measure_trial(trial: Trial, again: Collection[str] = ()) -> MeasuredTrial | None:
    """Return what the whole way from pixels to measures gives; None where the stroke was not found.

    Parameters
    ----------
    trial : Trial
        The stroke and how it is filmed.
    again : collection of str
        Sources of error drawn anew.

    """
    filmed = film(trial.conditions, trial.filmed, trial.seed, again)
    try:
        placed = place_tracks(filmed.followed, stated_height=filmed.stated_height)
        result = smooth_strokes(placed.head, placed.balls, scale=placed.scale, direction=placed.direction)
    except CannotMeasure:
        return None
    if len(result.strokes) != 1:
        return None
    return MeasuredTrial(
        placed=placed,
        stroke=result.strokes[0],
        innovation_ratio=result.innovation_ratio,
    )


def state_bound(trial: Trial, placed: PlacedTracks) -> dict[str, float]:
    """Return the Bayesian Cramer-Rao bound of each quantity in the smoother's own state model.

    Events and noise are known; NaN for what is given. This alone in the study knows the smoother's
    assumptions, and tells no more than what it costs not to know events and noise.
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
