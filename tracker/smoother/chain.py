"""The chain of one stroke: jerk as a random walk with kicks at the events, seen with red noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm

from pennyfall.kinematics.stroke.beliefs import BEFORE, IMPACT, STEADY_TOP, TAKEAWAY, Kick
from pennyfall.kinematics.stroke.smoothed import BEFORE_IMPACT_S
from pennyfall.kinematics.values import FloatArray, IntArray, freeze_arrays
from pennyfall.tracker.smoother.frames import StrokeFrames

MOTION_STATES = 4
"""Position, velocity, acceleration, jerk."""
STATES = 5
"""The motion, and the error of the current frame."""
ERROR = 4
"""Index of the error: carried as a state, because it is correlated from frame to frame (Bryson & Johansen
1965, from memory)."""
OBSERVED_STATES = (0, ERROR)
"""What a frame shows: the position plus the error."""
BACK, FORWARD, THROUGH = range(3)
"""The phases of a stroke: what lies before the top, between top and impact, and after it."""
PLACE_SD_M = 1.0
"""The position before the first frame is as good as unknown."""
AT_REST = Kick(velocity=2e-4, acceleration=1e-3, jerk=1e-2)
"""Sds of a resting head's motion: with none at all its covariance would be singular."""
EASING_S = 3 * BEFORE_IMPACT_S
"""A pull that levels off does so in the last hundredths of a second before impact; chosen by us."""
NODE_SPACING_S = 0.005
"""Chosen by us: between nodes 5 ms apart an acceleration peak is read off to 0.1 %."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MotionChain:
    """A linear Gaussian chain of nodes along one axis.

    A node is a frame, an event, or a point put in between so that the curve is finely known. An event is
    two nodes at the same instant: its left and its right limit, with a kick between them.
    """

    time_s: FloatArray
    """Time of each node, shape (n,) [s]; not decreasing."""
    position_m: FloatArray
    """Measured position, shape (n,) [m]; NaN where the node is no measurement."""
    variance_m2: FloatArray
    """Variance of what is independent in each measurement, shape (n,) [m^2]."""
    error_carry: FloatArray
    """Correlation of the error at a node with that at the node before, shape (n,); 1 where it stays the
    same."""
    error_sd_m: FloatArray
    """Standard deviation of the error, shape (n,) [m]."""
    diffusion: FloatArray
    """Spectral density of the white noise on jerk over the step into each node, shape (n,) [m^2/s^7]."""
    jerk_decay_per_s: FloatArray
    """Rate at which jerk decays over the step into each node, shape (n,) [1/s]; 0 where it does not."""
    kick: FloatArray
    """Variance added to each motion state on arriving at a node, shape (n, 4) [SI^2]."""
    start_mean: FloatArray
    """State before the first node, shape (5,)."""
    start_covariance: FloatArray
    """Its covariance, shape (5, 5)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


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
    top_kick: Kick = STEADY_TOP
    """What the top may change at once."""
    easing_per_s: float = 0.0
    """Rate at which the jerk decays before impact [1/s]; zero where the pull does not level off."""
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
    phase: IntArray
    """Phase of the step into each node: `BACK`, `FORWARD` or `THROUGH`."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def build_chain(frames: StrokeFrames, model: StrokeModel, *, fill: bool) -> tuple[MotionChain, StrokeNodes]:
    """Return the chain of frames and events; `fill` puts points in between for a finely known curve."""
    events = np.array([model.takeaway, model.top, model.top, model.impact, model.impact])
    added = np.concatenate([events, _between(frames.time, model)]) if fill else events
    time, place, position, errors = interleave(frames, added)
    takeaway, top, top_after, impact, impact_after = place[len(frames.time) :][: len(events)].tolist()
    middle = time - 0.5 * np.diff(time, prepend=time[:1])
    phase = np.where(middle < model.top, BACK, np.where(middle < model.impact, FORWARD, THROUGH))
    diffusion = np.array(model.diffusion)[phase]
    kick = np.zeros((len(time), MOTION_STATES))
    if model.rested:
        diffusion = np.where(middle < model.takeaway, 0.0, diffusion)
        kick[takeaway] = TAKEAWAY.certain().variances()
    kick[top_after] = model.top_kick.variances()
    for change in model.pull_changes:
        kick[np.searchsorted(time, change.instant_s)] += Kick(jerk=change.jerk_sd_mps3).variances()
    if model.struck:
        kick[impact_after] = IMPACT.certain().variances()
    eases = (middle > model.impact - EASING_S) & (middle < model.impact)
    x, error_sd = float(frames.x[frames.seen][0]), float(frames.errors.sd_m[0])
    start, covariance = unknown_start(x, error_sd, AT_REST if model.rested else BEFORE)
    chain = MotionChain(
        time_s=time,
        position_m=position,
        variance_m2=errors[0],
        error_carry=errors[1],
        error_sd_m=errors[2],
        diffusion=diffusion,
        jerk_decay_per_s=np.where(eases, model.easing_per_s, 0.0),
        kick=kick,
        start_mean=start,
        start_covariance=covariance,
    )
    nodes = StrokeNodes(
        takeaway=takeaway, top=top, impact=impact, frames=place[: len(frames.time)], phase=phase
    )
    return chain, nodes


def interleave(
    frames: StrokeFrames, added_s: FloatArray
) -> tuple[FloatArray, IntArray, FloatArray, FloatArray]:
    """Return the nodes of frames and added instants in the order of time.

    Returned are their times, the node of each frame and then of each added instant, the positions, and the
    independent variance, the carry and the sd of the error, shape (3, n). An added instant measures nothing.
    """
    count = len(frames.time)
    time = np.concatenate([frames.time, added_s])
    order = np.argsort(time, kind="stable")
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    position = np.full(len(time), np.nan)
    position[:count][frames.seen] = frames.x[frames.seen]
    errors = np.vstack([np.ones(len(time)), np.ones(len(time)), np.zeros(len(time))])
    seen = np.flatnonzero(frames.seen)
    errors[:, seen] = frames.errors.independent_m2, frames.errors.carry, frames.errors.sd_m
    return time[order], place, position[order], errors[:, order]


def _between(time: FloatArray, model: StrokeModel) -> FloatArray:
    """Return instants between the frames from the takeaway on, and the one from which impact is averaged."""
    count = np.floor(np.diff(time) / NODE_SPACING_S).astype(int)
    instants = [
        np.linspace(t0, t1, pieces + 2)[1:-1]
        for t0, t1, pieces in zip(time[:-1], time[1:], count, strict=True)
        if pieces and t1 > model.takeaway
    ]
    return np.concatenate([[model.impact - BEFORE_IMPACT_S], *instants])


def unknown_start(x_m: float, error_sd_m: float, motion: Kick = BEFORE) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the state before the first node, known to `motion` around rest."""
    variances = motion.variances() + np.array([PLACE_SD_M**2, 0.0, 0.0, 0.0])
    return np.array([x_m, 0.0, 0.0, 0.0, 0.0]), np.diag(np.append(variances, error_sd_m**2))


def discretise(dt_s: FloatArray, decay_per_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return transition and covariance of unit white noise on jerk over steps, shapes (n, 4, 4) [1]_.

    Parameters
    ----------
    dt_s : ndarray, shape (n,) [s]
        Durations of the steps.
    decay_per_s : ndarray, shape (n,) [1/s]
        Rates at which jerk decays.

    References
    ----------
    .. [1] C. F. Van Loan (1978), Computing integrals involving the matrix exponential, IEEE Trans. Autom.
       Control 23:395-404. doi:10.1109/TAC.1978.1101743

    """
    decay, which = np.unique(decay_per_s * dt_s, return_inverse=True)
    # In units of the step, so that the smallest entries keep all their digits.
    block = np.zeros((len(decay), 2 * MOTION_STATES, 2 * MOTION_STATES))
    for row in range(MOTION_STATES - 1):
        block[:, row, row + 1] = -1.0
        block[:, MOTION_STATES + row + 1, MOTION_STATES + row] = 1.0
    block[:, 3, 3], block[:, 7, 7], block[:, 3, 7] = decay, -decay, 1.0
    whole = expm(block)
    F = whole[:, MOTION_STATES:, MOTION_STATES:].swapaxes(1, 2)
    Q = F @ whole[:, :MOTION_STATES, MOTION_STATES:]
    order = np.arange(MOTION_STATES)
    shift = np.maximum(order - order[:, None], 0)
    power = 2 * MOTION_STATES - 1 - order - order[:, None]
    step = np.asarray(dt_s)[:, None, None]
    return F[which] * step**shift, Q[which] * step**power


def chain_matrices(chain: MotionChain) -> tuple[FloatArray, FloatArray]:
    """Return F and Q of the step into each node, both of shape (n, 5, 5); the first step takes no time."""
    F, base, unit = noise_parts(chain)
    return F, base + chain.diffusion[:, None, None] * unit


def noise_parts(chain: MotionChain) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the transitions, the process covariances but for the noise on jerk, and those of unit noise.

    Each of shape (n, 5, 5); the last is zero where the chain has no noise on jerk.
    """
    count = len(chain.time_s)
    F, base, unit = np.zeros((3, count, STATES, STATES))
    motion = slice(MOTION_STATES)
    F[:, motion, motion], covariance = discretise(
        np.diff(chain.time_s, prepend=chain.time_s[:1]), chain.jerk_decay_per_s
    )
    F[:, ERROR, ERROR] = chain.error_carry
    unit[:, motion, motion] = covariance * (chain.diffusion > 0)[:, None, None]
    base[:, range(MOTION_STATES), range(MOTION_STATES)] = chain.kick
    base[:, ERROR, ERROR] = chain.error_sd_m**2 * (1 - chain.error_carry**2)
    return F, base, unit
