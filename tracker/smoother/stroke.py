"""One stroke from its frames: noise, events, process noise, then the final smoothing."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pennyfall.kinematics.stroke.beliefs import STEADY_TOP
from pennyfall.kinematics.stroke.finding import FoundStroke
from pennyfall.kinematics.stroke.launch import Launch
from pennyfall.kinematics.stroke.smoothed import ACCELERATION, POSITION, VELOCITY, SmoothedStroke
from pennyfall.kinematics.stroke.takeaway import repeated
from pennyfall.kinematics.stroke.tracks import HeadTrack
from pennyfall.kinematics.values import Estimate, FloatArray, IntArray, freeze_arrays
from pennyfall.tracker.smoother.chain import MOTION_STATES, StrokeModel, build_chain, chain_matrices
from pennyfall.tracker.smoother.events import (
    coarse_top,
    combine_impact,
    find_stop,
    find_takeaway,
    impact_by_head,
    scan_impact,
)
from pennyfall.tracker.smoother.frames import (
    AS_STATED,
    MeasurementNoise,
    StrokeFrames,
    estimate_noise,
    frame_errors,
    undo_impact_smear,
)
from pennyfall.tracker.smoother.kalman import innovations, smooth_chain, step_response
from pennyfall.tracker.smoother.models import choose_models, pull_change_step_s
from pennyfall.tracker.smoother.weighing import WeighedModel, WeighedMotion, smooth_weighed

REST_WINDOW_S = 0.3
AFTER_FINISH_S = 0.35
"""Chosen by us: how much of the rest before takeaway and after the finish goes into the smoothing."""
UNRESTED_LEAD_S = 0.12
"""Chosen by us: without a rest, how much of the motion before the turn goes into it."""
EARLY_START_SDS = 2.0
LARGEST_STEP_S = 0.04
"""Chosen by us: an event found to a few frames moves no further when the curve is smoothed."""
MIDDLING_DIFFUSION = 3e3
"""Process noise until it is chosen [m^2/s^7]: what simulated and rendered strokes ask for is 200 to 2000."""
SAMPLES = 300
"""Joint samples: the standard deviation they give is itself known to 4 %."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class StrokeSmoothing:
    """A smoothed stroke with how it came about."""

    stroke: SmoothedStroke
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
    frame_nodes: IntArray
    """Node of each of those frames."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


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
    start = found.takeaway_s - UNRESTED_LEAD_S
    if found.rested:
        start = max(found.rest_s, found.takeaway_s - REST_WINDOW_S)
    window = slice(
        int(np.searchsorted(head.time_s, start)),
        int(np.searchsorted(head.time_s, found.finish_s + AFTER_FINISH_S, side="right")),
    )
    frames, noise = _with_noise(head, window, found, launch)
    by_head, struck = impact_by_head(frames, found, launch)
    impact = combine_impact(by_head, launch, found)
    takeaway = find_takeaway(frames, found, noise)
    model = StrokeModel(
        takeaway=takeaway.value,
        top=coarse_top(frames, found),
        impact=impact.value,
        struck=struck,
        rested=found.rested,
        diffusion=(MIDDLING_DIFFUSION,) * 3,
    )
    # The top first: at a misplaced top, likelihood would see a step of acceleration that is not there.
    model, step_mps, pull_mps2 = _refine_events(frames, model)
    if struck:
        frames = undo_impact_smear(frames, impact.value, impact.sd, step_mps, head.exposure_s)
    models = _with_top(frames, choose_models(frames, model, pull_mps2))
    model = models[0].model
    smoothed = smooth_weighed(frames, models, SAMPLES, generator)
    chain, nodes, samples = smoothed.chain, smoothed.nodes, smoothed.samples
    if not found.rested:
        noise_m = float(np.median(frames.errors.sd_m))
        takeaway = Estimate(model.takeaway, _turn_sd(smoothed, nodes.takeaway, noise_m))
    if not struck:
        v = smoothed.mean[nodes.impact, VELOCITY]
        impact = Estimate(
            model.impact, float(np.sqrt(smoothed.covariance[nodes.impact, 0, 0]) / max(v, 0.05))
        )
    impact_samples = impact.value + impact.sd * generator.standard_normal(SAMPLES)
    # Just after the rest, whose variances are next to nothing, rounding may leave less than nothing.
    variance = np.maximum(np.einsum("nii->ni", smoothed.covariance)[:, :MOTION_STATES], 0.0)
    if struck:
        sensitivity = _impact_sensitivity(smoothed)
        variance = variance + (sensitivity * impact.sd) ** 2
        samples = samples + sensitivity * (impact_samples - impact.value)[:, None, None]
    stroke = SmoothedStroke(
        time_s=chain.time_s,
        state=smoothed.mean[:, :MOTION_STATES],
        state_sd=_with_early_start(np.sqrt(variance), chain.time_s, takeaway, nodes.takeaway),
        samples=samples,
        takeaway=takeaway,
        impact=impact,
        impact_samples_s=impact_samples,
        takeaway_samples_s=takeaway.value + takeaway.sd * generator.standard_normal(SAMPLES),
        takeaway_node=nodes.takeaway,
        top_node=nodes.top,
        impact_node=nodes.impact,
        pull_change_step_s=pull_change_step_s(frames),
        finish_node=_finish_node(smoothed) if found.finished else None,
    )
    return StrokeSmoothing(
        stroke=stroke,
        noise_sd_m=float(np.median(frames.errors.sd_m)),
        innovation_ratio=_innovation_ratio(frames, model),
        impact_by_ball=None if launch is None else launch.impact_s,
        impact_by_head=by_head,
        practice=not struck,
        finish=find_stop(frames, found, noise),
        frames=window,
        frame_nodes=nodes.frames,
    )


def _with_noise(
    head: HeadTrack, window: slice, found: FoundStroke, launch: Launch | None
) -> tuple[StrokeFrames, MeasurementNoise]:
    time, x, stated = head.time_s[window], head.x_m[window], head.sd_x_m[window]
    seen = head.seen[window] & np.isfinite(x)
    frozen = np.zeros(len(time), dtype=bool)
    frozen[seen] = repeated(x[seen], stated[seen])
    moving = seen & ~frozen & (time >= found.takeaway_s) & (time <= found.finish_s)
    errors = frame_errors(time[seen], x[seen], stated[seen], AS_STATED)
    impact = launch.impact_s.value if launch is not None else scan_impact(time[seen], x[seen], errors, found)
    breaks = ((found.top_s, 2),) if impact is None else ((found.top_s, 2), (impact, 1))
    noise = estimate_noise(time[moving], x[moving], stated[moving], breaks)
    errors = frame_errors(time[seen], x[seen], stated[seen], noise, shaken_sd_m=head.shaken_sd_x_m)
    return StrokeFrames(time=time, x=x, errors=errors, seen=seen), noise


def _refine_events(frames: StrokeFrames, model: StrokeModel) -> tuple[StrokeModel, float, float]:
    """Return the model with the events that are crossings moved to where the smoothed curve has them.

    Also returned are the speed lost at impact [m/s] and the acceleration at the top [m/s^2].
    """
    chain, nodes = build_chain(frames, model, fill=False)
    smoothed = smooth_chain(chain)
    takeaway, impact = model.takeaway, model.impact
    if not model.rested:
        takeaway += _newton(smoothed.mean[nodes.takeaway])
    if not model.struck:
        level = smoothed.mean[nodes.takeaway, POSITION]
        x, v = smoothed.mean[nodes.impact, :2]
        impact += float(np.clip((level - x) / max(v, 0.05), -LARGEST_STEP_S, LARGEST_STEP_S))
    top = model.top + _newton(smoothed.mean[nodes.top])
    step_mps = smoothed.mean[nodes.impact, VELOCITY] - smoothed.mean[nodes.impact + 1, VELOCITY]
    pull_mps2 = smoothed.mean[nodes.top, ACCELERATION]
    moved = replace(model, takeaway=takeaway, top=top, impact=impact)
    return moved, float(step_mps), float(pull_mps2)


def _with_top(frames: StrokeFrames, models: tuple[WeighedModel, ...]) -> tuple[WeighedModel, ...]:
    """Return the models with the top where the likeliest has it: a step there moves it by up to 2 ms."""
    likeliest = models[0].model
    if likeliest.top_kick == STEADY_TOP:
        return models
    top = _refine_events(frames, likeliest)[0].top
    return tuple(replace(each, model=replace(each.model, top=top)) for each in models)


def _impact_sensitivity(smoothed: WeighedMotion) -> FloatArray:
    """Return how the smoothed states change with the assumed impact instant, shape (n, 4) [SI/s].

    The chain holds one impact instant; its error bends the curve on both sides, which the samples must show.
    At an impact later by a moment the head kept, for that moment, the speed it then lost: the follow-through
    would begin further on by the product.
    """
    impact = smoothed.nodes.impact
    lost_mps = smoothed.mean[impact, VELOCITY] - smoothed.mean[impact + 1, VELOCITY]
    return np.asarray(lost_mps * step_response(smoothed.chain, impact + 1))


def _with_early_start(state_sd: FloatArray, time_s: FloatArray, takeaway: Estimate, node: int) -> FloatArray:
    """Return the sds with those of the first motion for the time in which it may have begun already."""
    doubtful = (time_s > takeaway.value - EARLY_START_SDS * takeaway.sd) & (np.arange(len(time_s)) <= node)
    widened = state_sd.copy()
    widened[doubtful] = np.maximum(state_sd[doubtful], state_sd[node + 1])
    return widened


def _newton(state: FloatArray) -> float:
    """Return the step in time to the zero of velocity nearest to a node."""
    v, a = state[VELOCITY], state[ACCELERATION]
    return float(np.clip(-v / a, -LARGEST_STEP_S, LARGEST_STEP_S)) if abs(a) > 1e-3 else 0.0


def _turn_sd(smoothed: WeighedMotion, node: int, noise_m: float) -> float:
    """Return how well the instant is known at which a head that did not rest turned back [s].

    A hand may turn it gently or with a start: within the noise about the turn the picture cannot tell.
    """
    a = max(abs(float(smoothed.mean[node, ACCELERATION])), 0.1)
    crossing = np.sqrt(smoothed.covariance[node, VELOCITY, VELOCITY]) / a
    return float(np.hypot(crossing, np.sqrt(2 * noise_m / a / 3)))


def _finish_node(smoothed: WeighedMotion) -> int | None:
    impact_node = smoothed.nodes.impact
    ended = np.flatnonzero(smoothed.mean[impact_node + 2 :, VELOCITY] <= 0)
    return impact_node + 2 + int(ended[0]) if len(ended) else None


def _innovation_ratio(frames: StrokeFrames, model: StrokeModel) -> float:
    """Return the root mean square of the innovations over their expected size in motion; 1 is consistent."""
    chain, nodes = build_chain(frames, model, fill=False)
    F, Q = chain_matrices(chain)
    passed = innovations(
        chain.position_m, chain.variance_m2, F, Q[..., None], chain.start_mean, chain.start_covariance
    )
    squares = [
        float(innovation[0] ** 2 / variance[0])
        for node, innovation, variance in passed
        if node > nodes.takeaway and chain.error_carry[node] < 1
    ]
    return float(np.sqrt(np.mean(squares)))
