"""The chain of one stroke: its frames, its events with their kicks, and the noise of each phase."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.stroke.smoothed import ACCELERATION, BEFORE_IMPACT_S, JERK
from pennyfall.kinematics.values import BoolArray, FloatArray, IntArray, freeze_arrays
from pennyfall.tracker.smoother.head_impact import IMPACT_KICK, START_SD, unknown_start
from pennyfall.tracker.smoother.measurement_noise import FrameErrors
from pennyfall.tracker.smoother.motion_model import MOTION_STATES, MotionChain

TAKEAWAY_KICK = np.array([0.0, 1e-3**2, 1.0**2, 50.0**2])
"""Variances of what the takeaway may change [SI^2], chosen by us: acceleration up to 2 m/s^2, jerk up to 100
m/s^3."""
AT_REST_SD = np.array([START_SD[0], 2e-4, 1e-3, 1e-2])
"""Sds of a resting head [SI]: its position unknown; zero velocity, acceleration and jerk would make its
covariance singular."""
EASING_S, EASING_PER_S = 0.06, 10.0
"""A pull that levels off does so in the last hundredths of a second before impact, its jerk decaying at this
rate; chosen by us."""
NODE_SPACING_S = 0.005
"""Chosen by us: between nodes 5 ms apart an acceleration peak is read off to 0.1 %."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class StrokeFrames:
    """The frames around one stroke."""

    time: FloatArray
    """Shape (n,) [s]."""
    x: FloatArray
    """Position along the target line, shape (n,) [m]; NaN where not seen."""
    seen: BoolArray
    """Shape (n,)."""
    errors: FrameErrors
    """Error model of the seen frames only."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def visible(self) -> tuple[FloatArray, FloatArray]:
        """Return time and position of the seen frames."""
        return self.time[self.seen], self.x[self.seen]


@dataclass(frozen=True, kw_only=True, slots=True)
class PullChange:
    """An instant at which the pull may change at once."""

    instant_s: float
    """Clip time [s]."""
    jerk_sd_mps3: float
    """Sd of the change of jerk [m/s^3]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class StrokeModel:
    """Event instants [s] and noises of one stroke."""

    takeaway: float
    top: float
    impact: float
    struck: bool
    """Whether the impact may change velocity, acceleration and jerk."""
    rested: bool
    """Whether the head was at rest before the takeaway."""
    diffusion: tuple[float, float, float]
    """Process noise of backswing, forward swing and follow-through [m^2/s^7]."""
    top_kick: tuple[float, float]
    """Sds of the steps of acceleration [m/s^2] and jerk [m/s^3] at the top."""
    eases: bool = False
    """Whether the pull levels off before impact."""
    pull_changes: tuple[PullChange, ...] = ()
    """Where the pull of the forward swing may change at once."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class StrokeNodes:
    """Where the events and frames lie in the chain; an event's right limit is the node after its left one."""

    takeaway: int
    top: int
    impact: int
    frames: IntArray
    """Node of each frame, shape (n,)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def build_chain(frames: StrokeFrames, model: StrokeModel, *, fill: bool) -> tuple[MotionChain, StrokeNodes]:
    """Return the chain of frames and events; `fill` puts points in between for a finely known curve."""
    events = np.array([model.takeaway, model.top, model.top, model.impact, model.impact])
    extra = [events]
    if fill:
        extra.append(np.array([model.impact - BEFORE_IMPACT_S]))
        count = np.floor(np.diff(frames.time) / NODE_SPACING_S).astype(int)
        extra += [
            np.linspace(t0, t1, pieces + 2)[1:-1]
            for t0, t1, pieces in zip(frames.time[:-1], frames.time[1:], count, strict=True)
            if pieces and t1 > model.takeaway
        ]
    added = np.concatenate(extra)
    time = np.concatenate([frames.time, added])
    position = np.concatenate([np.where(frames.seen, frames.x, np.nan), np.full(len(added), np.nan)])
    per_frame = np.vstack([np.ones(len(time)), np.ones(len(time)), np.zeros(len(time))])
    errors = frames.errors
    per_frame[:, np.flatnonzero(frames.seen)] = errors.independent_m2, errors.carry, errors.sd_m
    order = np.argsort(time, kind="stable")
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    time = time[order]
    event_nodes = place[len(frames.time) : len(frames.time) + len(events)]
    middle = time - 0.5 * np.diff(time, prepend=time[:1])
    back, forward, through = model.diffusion
    diffusion = np.where(middle < model.top, back, np.where(middle < model.impact, forward, through))
    near_impact = (middle > model.impact - EASING_S) & (middle < model.impact)
    kick = np.zeros((len(time), MOTION_STATES))
    start_sd = START_SD
    if model.rested:
        diffusion = np.where(middle < model.takeaway, 0.0, diffusion)
        kick[event_nodes[0]] = TAKEAWAY_KICK
        start_sd = AT_REST_SD
    kick[event_nodes[2], ACCELERATION:] = np.square(model.top_kick)
    for change in model.pull_changes:
        kick[np.searchsorted(time, change.instant_s), JERK] += change.jerk_sd_mps3**2
    if model.struck:
        kick[event_nodes[4]] = IMPACT_KICK
    start, covariance = unknown_start(float(frames.x[frames.seen][0]), float(errors.sd_m[0]), start_sd)
    chain = MotionChain(
        time_s=time,
        position_m=position[order],
        variance_m2=per_frame[0, order],
        error_carry=per_frame[1, order],
        error_sd_m=per_frame[2, order],
        diffusion=diffusion,
        jerk_decay_per_s=np.where(near_impact, EASING_PER_S * model.eases, 0.0),
        kick=kick,
        start_mean=start,
        start_covariance=covariance,
    )
    return chain, StrokeNodes(
        takeaway=int(event_nodes[0]),
        top=int(event_nodes[1]),
        impact=int(event_nodes[3]),
        frames=place[: len(frames.time)],
    )
