"""One stroke from its frames: noise, impact, process noise, takeaway, then the final smoothing."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pennyfall.kinematics.launch import Launch
from pennyfall.kinematics.smoothed import ACCELERATION, POSITION, VELOCITY, SmoothedStroke
from pennyfall.kinematics.strokes import FoundStroke, coarse_velocity
from pennyfall.kinematics.takeaway import repeated, takeaway_instant
from pennyfall.kinematics.tracks import HeadTrack
from pennyfall.kinematics.values import BoolArray, Estimate, FloatArray
from pennyfall.tracker.impact_time import (
    FINE_STEP_FRAMES,
    IMPACT_KICK,
    SCAN_STEP_FRAMES,
    START_SD,
    impact_profile,
    unknown_start,
)
from pennyfall.tracker.measurement_noise import (
    LAG_ONE_PRIOR,
    FrameErrors,
    MeasurementNoise,
    estimate_noise,
    frame_errors,
)
from pennyfall.tracker.motion_model import MOTION_STATES, OBSERVED, MotionChain, chain_matrices
from pennyfall.tracker.process_noise import log_diffusion_prior, log_likelihoods
from pennyfall.tracker.smoothing import SmoothedChain, sample_paths, smooth

TAKEAWAY_KICK = np.array([0.0, 1e-3**2, 1.0**2, 50.0**2])
"""Variances of what the takeaway may change [SI^2], chosen by us: acceleration up to 2 m/s^2, jerk up to 100
m/s^3."""
TOP_JERK_SD = 60.0
"""Sd of the change of jerk at the top [m/s^3], chosen by us: twice the jerk of a brisk stroke."""
TOP_ACCELERATION_SDS = (0.05, 1.5)
"""Sds of the step of acceleration at the top that compete by likelihood [m/s^2]: a hand that pulls steadily,
and one that grabs."""
STEP_EVIDENCE = 8.0
"""Log likelihood ratio beyond which a velocity step counts as an impact, chosen by us: odds of 3000 to 1."""
AT_REST_SD = np.array([np.nan, 2e-4, 1e-3, 1e-2])
"""Sds of velocity, acceleration and jerk of a resting head [SI]; zero would make its covariance singular."""
DIFFUSION_GRID = 10.0 ** np.arange(2.0, 6.01, 0.5)
NODE_SPACING_S = 0.005
"""Chosen by us: between nodes 5 ms apart an acceleration peak is read off to 0.1 %."""
BEFORE_IMPACT_S = 0.020
"""The acceleration before impact is the mean over this time, by definition."""
REST_WINDOW_S = 0.3
AFTER_FINISH_S = 0.35
SAMPLES = 300
"""Joint samples: the standard deviation they give is itself known to 4 %."""
EARLY_MOTION_M = 0.015
"""Frames up to this far from rest tell when the head left it."""
STILL_AFTER_S = 0.15
"""Chosen by us: a head still for this long after the finish has stopped, not turned."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class StrokeSmoothing:
    """A smoothed stroke with how it came about."""

    stroke: SmoothedStroke
    noise: MeasurementNoise
    noise_sd_m: float
    innovation_ratio: float
    impact_by_ball: Estimate | None
    impact_by_head: Estimate | None
    practice: bool
    finish: Estimate
    """Instant of the finish when the head comes to rest there; missing when it turns (a zero crossing) or is
    cut off."""
    frames: slice
    """The frames of the clip that the nodes cover."""
    frame_nodes: FloatArray
    """Node of each of those frames."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Frames:
    time: FloatArray
    x: FloatArray
    errors: FrameErrors
    """Of the seen frames only."""
    seen: BoolArray

    def visible(self) -> tuple[FloatArray, FloatArray]:
        return self.time[self.seen], self.x[self.seen]


@dataclass(frozen=True, kw_only=True, slots=True)
class _Model:
    """Event instants and noises of one stroke."""

    takeaway: float
    top: float
    impact: float
    struck: bool
    rested: bool
    diffusion: tuple[float, float, float]
    top_acceleration_sd: float


def smooth_stroke(
    head: HeadTrack, found: FoundStroke, launch: Launch | None, generator: np.random.Generator
) -> StrokeSmoothing:
    """Return the smoothed stroke.

    Parameters
    ----------
    head : HeadTrack
        The head over the whole clip.
    found : FoundStroke
        Where the stroke lies.
    launch : Launch or None
        Departure of the ball it struck.
    generator : numpy.random.Generator
        Source of the joint samples.

    """
    window = slice(
        int(np.searchsorted(head.time_s, max(found.rest_s, found.takeaway_s - REST_WINDOW_S))),
        int(np.searchsorted(head.time_s, found.finish_s + AFTER_FINISH_S, side="right")),
    )
    frames, noise = _with_noise(head, window, found, launch)
    by_head, struck = _impact_by_head(frames, found, launch)
    impact, by_head = _combine_impact(by_head, launch, found)
    takeaway = _takeaway(frames, found, noise)
    model = _Model(
        takeaway=takeaway.value,
        top=_coarse_top(frames, found),
        impact=impact.value,
        struck=struck,
        rested=found.rested,
        diffusion=(1e4, 1e4, 1e4),
        top_acceleration_sd=TOP_ACCELERATION_SDS[0],
    )
    model = _choose_noise(frames, model)
    model = _refine_events(frames, model, found)
    chain, nodes = _chain(frames, model, fill=True)
    smoothed = smooth(chain)
    samples = sample_paths(smoothed, SAMPLES, generator)
    if not found.rested:
        takeaway = Estimate(model.takeaway, _crossing_sd(smoothed, nodes.takeaway))
    if not struck:
        v = smoothed.mean[nodes.impact, VELOCITY]
        impact = Estimate(
            model.impact, float(np.sqrt(smoothed.covariance[nodes.impact, 0, 0]) / max(v, 0.05))
        )
    stroke = SmoothedStroke(
        time_s=chain.time_s,
        state=smoothed.mean[:, :MOTION_STATES],
        state_sd=np.sqrt(np.einsum("nii->ni", smoothed.covariance))[:, :MOTION_STATES],
        samples=samples,
        takeaway=takeaway,
        impact=impact,
        impact_samples_s=impact.value + impact.sd * generator.standard_normal(SAMPLES),
        takeaway_samples_s=takeaway.value + takeaway.sd * generator.standard_normal(SAMPLES),
        takeaway_node=nodes.takeaway,
        top_node=nodes.top,
        impact_node=nodes.impact,
        finish_node=_finish_node(chain, smoothed, nodes.impact) if found.finished else None,
    )
    return StrokeSmoothing(
        stroke=stroke,
        noise=noise,
        noise_sd_m=float(np.median(frames.errors.sd_m)),
        innovation_ratio=_innovation_ratio(chain, smoothed, nodes),
        impact_by_ball=None if launch is None else launch.impact_s,
        impact_by_head=by_head,
        practice=not struck,
        finish=_finish(frames, found, noise),
        frames=window,
        frame_nodes=nodes.frames.astype(np.float64),
    )


def _with_noise(
    head: HeadTrack, window: slice, found: FoundStroke, launch: Launch | None
) -> tuple[_Frames, MeasurementNoise]:
    time, x, stated = head.time_s[window], head.x_m[window], head.sd_x_m[window]
    seen = head.seen[window] & np.isfinite(x)
    frozen = np.zeros(len(time), dtype=bool)
    frozen[seen] = repeated(x[seen], stated[seen])
    moving = seen & ~frozen & (time >= found.takeaway_s) & (time <= found.finish_s)
    assumed = MeasurementNoise(scale=1.0, lag_one=LAG_ONE_PRIOR[0])
    errors = frame_errors(time[seen], x[seen], stated[seen], assumed)
    impact = launch.impact_s.value if launch is not None else _scan_impact(time[seen], x[seen], errors, found)
    breaks = ((found.top_s, 2),) if impact is None else ((found.top_s, 2), (impact, 1))
    noise = estimate_noise(time[moving], x[moving], stated[moving], breaks)
    errors = frame_errors(time[seen], x[seen], stated[seen], noise)
    return _Frames(time=time, x=x, errors=errors, seen=seen), noise


def _scan_impact(time: FloatArray, x: FloatArray, errors: FrameErrors, found: FoundStroke) -> float | None:
    """Return the likeliest instant of a velocity step in the forward swing, None where nothing speaks for one."""
    first = max(found.top_s + 0.08, found.pass_s - 0.12)
    last = min(found.finish_s - 0.05, found.pass_s + 0.12)
    profile = impact_profile(time, x, errors, first, last, SCAN_STEP_FRAMES * float(np.median(np.diff(time))))
    best = int(np.argmax(profile.log_likelihood))
    if profile.log_likelihood[best] - profile.log_likelihood_without < STEP_EVIDENCE:
        return None
    return float(profile.time_s[best])


def _impact_by_head(
    frames: _Frames, found: FoundStroke, launch: Launch | None
) -> tuple[Estimate | None, bool]:
    """Return the impact instant by the head's velocity step, and whether a ball was struck."""
    time, x = frames.visible()
    if launch is not None:
        centre: float | None = launch.impact_s.value
    else:
        centre = _scan_impact(time, x, frames.errors, found)
    if centre is None:
        return None, False
    frame = float(np.median(np.diff(time)))
    reach = max(2.5 * frame, 0.012)
    profile = impact_profile(time, x, frames.errors, centre - reach, centre + reach, FINE_STEP_FRAMES * frame)
    return profile.estimate(), True


def _combine_impact(
    by_head: Estimate | None, launch: Launch | None, found: FoundStroke
) -> tuple[Estimate, Estimate | None]:
    if launch is None or by_head is None:
        return by_head or Estimate(found.pass_s, 0.005), by_head
    ball, head = launch.impact_s, by_head
    precision = ball.sd**-2 + head.sd**-2
    value = (ball.value * ball.sd**-2 + head.value * head.sd**-2) / precision
    disagreement = (ball.value - head.value) ** 2 / (ball.sd**2 + head.sd**2)
    return Estimate(value, float(np.sqrt(max(disagreement, 1.0) / precision))), by_head


def _takeaway(frames: _Frames, found: FoundStroke, noise: MeasurementNoise) -> Estimate:
    if not found.rested:
        return Estimate(found.takeaway_s, 0.02)
    time, x = frames.visible()
    rest = np.median(x[time <= max(found.takeaway_s - 0.05, time[2])])
    early = (np.abs(x - rest) < EARLY_MOTION_M) & (time < found.top_s)
    last = int(np.argmin(early)) if not early.all() else len(early)
    sd = frames.errors.sd_m
    visible = _visible_motion(time[:last], x[:last], rest, float(np.median(sd)))
    movement = (float(x[time < found.top_s + 0.02].min() - rest), found.top_s - found.takeaway_s + 0.05)
    return takeaway_instant(time[:last], x[:last], sd[:last], noise.lag_one, visible, movement)


def _visible_motion(time: FloatArray, x: FloatArray, rest: float, sd: float) -> float:
    """Return the first instant from which on the head stays clearly behind its rest position."""
    clear = np.abs(x - rest) > 4 * sd
    still = np.flatnonzero(~clear)
    return float(time[min(still[-1] + 1, len(time) - 1)]) if len(still) else float(time[0])


def _coarse_top(frames: _Frames, found: FoundStroke) -> float:
    """Return the top from a cubic through the frames around it."""
    time, x = frames.visible()
    frame = float(np.median(np.diff(time)))
    near = np.abs(time - found.top_s) < max(0.05, 3.5 * frame)
    t = time[near] - found.top_s
    cubic = np.polynomial.Polynomial.fit(t, x[near], 3)
    fine = np.linspace(t[0], t[-1], 400)
    return float(found.top_s + fine[int(np.argmin(cubic(fine)))])


@dataclass(frozen=True, kw_only=True, slots=True)
class _Nodes:
    takeaway: int
    top: int
    impact: int
    frames: FloatArray


def _chain(frames: _Frames, model: _Model, *, fill: bool) -> tuple[MotionChain, _Nodes]:
    """Return the chain of frames and events, with points in between where `fill` asks for a finely known
    curve."""
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
    kick = np.zeros((len(time), MOTION_STATES))
    start_sd = START_SD
    if model.rested:
        diffusion = np.where(middle < model.takeaway, 0.0, diffusion)
        kick[event_nodes[0]] = TAKEAWAY_KICK
        start_sd = np.where(np.isnan(AT_REST_SD), START_SD, AT_REST_SD)
    kick[event_nodes[2]] = [0.0, 0.0, model.top_acceleration_sd**2, TOP_JERK_SD**2]
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
        kick=kick,
        start_mean=start,
        start_covariance=covariance,
    )
    return chain, _Nodes(
        takeaway=int(event_nodes[0]),
        top=int(event_nodes[1]),
        impact=int(event_nodes[3]),
        frames=place[: len(frames.time)],
    )


def _choose_noise(frames: _Frames, model: _Model) -> _Model:
    """Return the model with the process noise of backswing, forward swing and follow-through chosen by
    likelihood.

    Each is the mean of its logarithm under likelihood and prior: a maximum would now and then sit at the
    edge, where an interval lies.
    """
    chain, nodes = _chain(frames, model, fill=False)
    F, base = chain_matrices(replace(chain, diffusion=np.zeros(len(chain.time_s))))
    unit = chain_matrices(replace(chain, diffusion=(chain.diffusion > 0).astype(np.float64)))[1] - base
    before = slice(0, nodes.impact + 1)
    after = slice(nodes.impact + 1, len(chain.time_s))
    steps = np.arange(len(chain.time_s))
    back, forward, top_sd = (
        each.ravel()
        for each in np.meshgrid(DIFFUSION_GRID, DIFFUSION_GRID, np.array(TOP_ACCELERATION_SDS), indexing="ij")
    )
    q = np.where(steps[None, before] <= nodes.top, back[:, None], forward[:, None])
    Q = base[before] + q[:, :, None, None] * unit[before]
    Q[:, nodes.top + 1, ACCELERATION, ACCELERATION] = top_sd**2
    log_weight = log_likelihoods(
        chain.position_m[before],
        chain.variance_m2[before],
        F[before],
        Q,
        chain.start_mean,
        chain.start_covariance,
    )
    log_weight = log_weight + log_diffusion_prior(back) + log_diffusion_prior(forward)
    best_top = float(top_sd[int(np.argmax(log_weight))])
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    chosen_back = float(np.exp(weight @ np.log(back)))
    chosen_forward = float(np.exp(weight @ np.log(forward)))
    chosen_through = chosen_forward
    if np.count_nonzero(np.isfinite(chain.position_m[after])) > 5:
        seen_after = np.flatnonzero(np.isfinite(chain.position_m[after]))
        start, covariance = unknown_start(
            float(chain.position_m[after][seen_after[0]]), float(frames.errors.sd_m[-1])
        )
        Q = base[after] + DIFFUSION_GRID[:, None, None, None] * unit[after]
        log_weight = log_likelihoods(
            chain.position_m[after], chain.variance_m2[after], F[after], Q, start, covariance
        ) + log_diffusion_prior(DIFFUSION_GRID)
        weight = np.exp(log_weight - log_weight.max())
        chosen_through = float(np.exp(weight @ np.log(DIFFUSION_GRID) / weight.sum()))
    return replace(
        model, diffusion=(chosen_back, chosen_forward, chosen_through), top_acceleration_sd=best_top
    )


def _refine_events(frames: _Frames, model: _Model, found: FoundStroke) -> _Model:
    """Return the model with the top, and what else is a zero crossing, moved to where the smoothed curve has
    it."""
    chain, nodes = _chain(frames, model, fill=False)
    smoothed = smooth(chain)
    takeaway, impact = model.takeaway, model.impact
    if not model.rested:
        takeaway += _newton(smoothed.mean[nodes.takeaway])
    if not model.struck:
        level = smoothed.mean[nodes.takeaway, POSITION]
        x, v = smoothed.mean[nodes.impact, :2]
        impact += float(np.clip((level - x) / max(v, 0.05), -0.03, 0.03))
    top = model.top + _newton(smoothed.mean[nodes.top])
    return replace(model, takeaway=takeaway, top=top, impact=impact)


def _newton(state: FloatArray) -> float:
    """Return the step in time to the zero of velocity nearest to a node."""
    v, a = state[VELOCITY], state[ACCELERATION]
    return float(np.clip(-v / a, -0.02, 0.02)) if abs(a) > 1e-3 else 0.0


def _crossing_sd(smoothed: SmoothedChain, node: int) -> float:
    a = abs(smoothed.mean[node, ACCELERATION])
    return float(np.sqrt(smoothed.covariance[node, VELOCITY, VELOCITY]) / max(a, 0.1))


def _finish_node(chain: MotionChain, smoothed: SmoothedChain, impact_node: int) -> int | None:
    ended = np.flatnonzero(smoothed.mean[impact_node + 2 :, VELOCITY] <= 0)
    return impact_node + 2 + int(ended[0]) if len(ended) else None


def _finish(frames: _Frames, found: FoundStroke, noise: MeasurementNoise) -> Estimate:
    """Return when the head came to rest: its takeaway, seen in reversed time."""
    time, x = frames.visible()
    velocity = coarse_velocity(time, x)
    after = (time > found.finish_s) & (time < found.finish_s + STILL_AFTER_S)
    if (
        not found.finished
        or time[-1] < found.finish_s + STILL_AFTER_S
        or np.any(np.abs(velocity[after]) > 0.04)
    ):
        return Estimate.missing()
    rest = np.median(x[after][len(x[after]) // 2 :])
    movement = (float(np.interp(found.pass_s, time, x) - rest), found.finish_s - found.pass_s + 0.1)
    near = (np.abs(x - rest) < EARLY_MOTION_M) & (time > found.pass_s)
    sd = frames.errors.sd_m
    time, x, sd = time[near][::-1], x[near][::-1], sd[near][::-1]
    visible = _visible_motion(-time, x, rest, float(np.median(sd)))
    mirrored = takeaway_instant(-time, x, sd, noise.lag_one, visible, movement)
    return Estimate(-mirrored.value, mirrored.sd)


def _innovation_ratio(chain: MotionChain, smoothed: SmoothedChain, nodes: _Nodes) -> float:
    """Return the root mean square of the innovations over their expected size in motion; 1 is consistent."""
    measured = np.flatnonzero(np.isfinite(chain.position_m) & (chain.error_carry < 1))
    measured = measured[measured > nodes.takeaway]
    innovation = chain.position_m[measured] - smoothed.predicted_mean[measured] @ OBSERVED[0]
    expected = OBSERVED @ smoothed.predicted_covariance[measured] @ OBSERVED.T
    return float(np.sqrt(np.mean(innovation**2 / expected[:, 0, 0])))
