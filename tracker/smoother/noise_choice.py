"""The models of a stroke its clip asks for, by likelihood: process noises, the top, the end of the pull."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from scipy.special import expit, logit, logsumexp, ndtr

from pennyfall.kinematics.stroke.smoothed import ACCELERATION, JERK
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.smoother.chain import EASING_S, StrokeFrames, StrokeModel, StrokeNodes, build_chain
from pennyfall.tracker.smoother.head_impact import unknown_start
from pennyfall.tracker.smoother.kalman import log_likelihoods, smooth_chain
from pennyfall.tracker.smoother.measurement_noise import FrameErrors
from pennyfall.tracker.smoother.motion_model import MotionChain, chain_matrices
from pennyfall.tracker.smoother.process_noise import (
    DIFFUSION_GRID,
    NoiseParts,
    log_diffusion_prior,
    log_mean,
    noise_parts,
)
from pennyfall.tracker.smoother.pull_changes import find_pull_changes
from pennyfall.tracker.smoother.weighing import WeighedModel

STEADY = (0.01, 60.0)
"""Sds of the steps of acceleration [m/s^2] and jerk [m/s^3] at the top by a hand that pulls steadily, chosen
by us; 60 is twice the jerk of a brisk stroke."""
GRAB_SHARE = 0.35
"""Sd of the step of acceleration by a hand that grabs, as a share of the pull there, chosen by us.

Likelihood seldom tells a step of the pull at the top. Taking the likelier of grabbing and pulling steadily
left the top of strokes with a step of 1 m/s^2 4 deviations off, held in 7 to 22 % of them; the mean of both
motions by their weights holds it in 65 to 80 %. Tops without a step err by 0.32 ms instead of 0.28 (240
frames/s)."""
LOG_KICK_ODDS = np.array([0.0, -1.5])
"""Log odds beforehand, chosen by us: one stroke in five grabs. Where one in eight did, in simulation, the top
was held by its interval in 94.8 % (94.0 with odds of -2, 92.0 with -4), the acceleration there in 95.0 %."""
LEAST_WEIGHT = 0.03
"""Chosen by us: a model less likely than this is left out."""
FEWEST_FRAMES_AFTER = 6
"""Chosen by us: fewer frames after impact say nothing about the process noise there."""
EASING_SHARE = 0.5
"""Share of the falling pulls that level off before impact, chosen by us; likelihood decides. Over 2,400
simulated strokes at 240 frames/s acceleration at impact erred by 0.40 m/s^2 RMS instead of 0.44, its bias was
-0.09 instead of -0.15, and it was held in 95.2 % instead of 92.7; over 28 rendered strokes it erred by 0.27
instead of 0.33."""


def choose_noise(frames: StrokeFrames, model: StrokeModel, pull_mps2: float) -> tuple[WeighedModel, ...]:
    """Return a model for each likely top and end of the forward swing, the likeliest first.

    The process noise of each phase is the mean of its logarithm under likelihood and prior: a maximum would
    now and then sit at the edge of its range, and the smoother's intervals would be too narrow. Position
    alone ties the follow-through to what came before, so its noise is chosen by itself.

    Parameters
    ----------
    frames : StrokeFrames
        The frames of the stroke.
    model : StrokeModel
        Its events.
    pull_mps2 : float
        About the acceleration at the top [m/s^2].

    """
    chain, nodes = build_chain(frames, model, fill=False)
    parts = noise_parts(chain)
    by_top = _with_tops(chain, nodes, parts, model, pull_mps2)
    through = _through_noise(chain, nodes, parts, frames.errors)
    if through is not None:
        by_top = [
            (weight, replace(each, diffusion=(*each.diffusion[:2], through))) for weight, each in by_top
        ]
    pull_changes = find_pull_changes(frames, by_top[0][1])
    eases = easing_probability(frames, replace(by_top[0][1], pull_changes=pull_changes))
    weighed = [
        (weight * share, replace(each, pull_changes=pull_changes, eases=easing))
        for weight, each in by_top
        for easing, share in ((False, 1 - eases), (True, eases))
    ]
    kept = sorted((each for each in weighed if each[0] > LEAST_WEIGHT), key=lambda each: -each[0])
    total = sum(weight for weight, _ in kept)
    return tuple(WeighedModel(weight=weight / total, model=each) for weight, each in kept)


def _with_tops(
    chain: MotionChain, nodes: StrokeNodes, parts: NoiseParts, model: StrokeModel, pull_mps2: float
) -> list[tuple[float, StrokeModel]]:
    """Return how likely each kick at the top is, with the model it makes; the likeliest first."""
    F, base, unit = parts
    grid = len(DIFFUSION_GRID)
    kicks = (STEADY, (max(GRAB_SHARE * abs(pull_mps2), STEADY[0]), STEADY[1]))
    back = np.repeat(DIFFUSION_GRID, grid * len(kicks))
    forward = np.tile(DIFFUSION_GRID, grid * len(kicks))
    kick = np.tile(np.repeat(np.arange(len(kicks)), grid), grid)
    kick_variance = np.array(kicks)[kick].T ** 2

    def steps() -> Iterator[FloatArray]:
        for node in range(nodes.impact + 1):
            diffusion = back if node <= nodes.top else forward
            Q = base[node, :, :, None] + diffusion * unit[node, :, :, None]
            if node == nodes.top + 1:
                Q[[ACCELERATION, JERK], [ACCELERATION, JERK]] = kick_variance
            yield Q

    log_weight = log_diffusion_prior(back) + log_diffusion_prior(forward) + LOG_KICK_ODDS[kick]
    log_weight += log_likelihoods(
        chain.position_m, chain.variance_m2, F, steps(), chain.start_mean, chain.start_covariance
    )
    by_kick = log_weight.reshape(grid, len(kicks), grid)
    likely = np.exp(logsumexp(by_kick, axis=(0, 2)) - logsumexp(by_kick))
    through = log_mean(forward, log_weight)
    models = []
    for each in np.argsort(-likely, kind="stable").tolist():
        this = kick == each
        diffusion = (log_mean(back[this], log_weight[this]), log_mean(forward[this], log_weight[this]))
        models.append(
            (float(likely[each]), replace(model, diffusion=(*diffusion, through), top_kick=kicks[each]))
        )
    return models


def _through_noise(
    chain: MotionChain, nodes: StrokeNodes, parts: NoiseParts, errors: FrameErrors
) -> float | None:
    """Return the process noise of the follow-through; None where too few frames show it."""
    after = slice(nodes.impact + 1, len(chain.time_s))
    position = chain.position_m[after]
    seen = np.flatnonzero(np.isfinite(position))
    if len(seen) < FEWEST_FRAMES_AFTER:
        return None
    F, base, unit = parts
    start, covariance = unknown_start(float(position[seen[0]]), float(errors.sd_m[-1]))
    Q = base[after, :, :, None] + DIFFUSION_GRID * unit[after, :, :, None]
    log_weight = log_diffusion_prior(DIFFUSION_GRID) + log_likelihoods(
        position, chain.variance_m2[after], F[after], Q, start, covariance
    )
    return log_mean(DIFFUSION_GRID, log_weight)


def easing_probability(frames: StrokeFrames, model: StrokeModel) -> float:
    """Return how probable it is that the pull levels off before impact, 0 to 1.

    One sided, the smoother carries the slope of the last tenth of a second on to impact, and a pull that
    eases off in an S would seem to end below zero: 0.3 to 0.7 m/s^2 too low. Where jerk decays in the last
    60 ms that is halved, but every rising pull then seems to end 0.1 too low.

    Only a pull that falls may level off (one that rises would seem to end too low), and only an impact ends
    it: a pass in practice has frames on both sides. Both models agree up to the easing, so that the
    likelihood of the frames since then decides.
    """
    if not model.struck:
        return 0.0
    chain, nodes = build_chain(frames, model, fill=False)
    smoothed = smooth_chain(chain)
    first = int(np.searchsorted(chain.time_s, model.impact - EASING_S))
    falls = ndtr(-smoothed.mean[first, JERK] / np.sqrt(smoothed.covariance[first, JERK, JERK]))
    last = slice(first, nodes.impact + 1)

    def log_likelihood(eases: bool) -> float:
        F, Q = chain_matrices(build_chain(frames, replace(model, eases=eases), fill=False)[0])
        return float(
            log_likelihoods(
                chain.position_m[last],
                chain.variance_m2[last],
                F[last],
                Q[last, :, :, None],
                smoothed.filtered_mean[first - 1],
                smoothed.filtered_covariance[first - 1],
            )[0]
        )

    return float(
        expit(logit(EASING_SHARE * falls) + log_likelihood(eases=True) - log_likelihood(eases=False))
    )
