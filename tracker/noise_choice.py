"""The process noise a clip asks for, phase by phase, by likelihood."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pennyfall.kinematics.smoothed import ACCELERATION, JERK
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.corners import find_corners
from pennyfall.tracker.impact_time import unknown_start
from pennyfall.tracker.process_noise import (
    DIFFUSION_GRID,
    chain_log_likelihoods,
    log_diffusion_prior,
    log_likelihoods,
    log_mean,
    noise_parts,
)
from pennyfall.tracker.stroke_chain import StrokeFrames, StrokeModel, build_chain

TOP_KICKS = ((0.01, 60.0), (1.5, 60.0))
"""Sds of the steps of acceleration [m/s^2] and jerk [m/s^3] at the top that compete by likelihood, chosen by
us: a hand that pulls steadily, and one that grabs; 60 is twice the jerk of a brisk stroke."""
LOG_KICK_ODDS = np.array([0.0, -4.0])
"""Log odds beforehand, chosen by us: one stroke in fifty grabs."""
FEWEST_FRAMES_AFTER = 6
"""Chosen by us: fewer frames after impact say nothing about the process noise there."""


def choose_noise(frames: StrokeFrames, model: StrokeModel) -> StrokeModel:
    """Return the model with the process noise of its three phases and the corners of its forward swing.

    Each is the mean of its logarithm under likelihood and prior: a maximum would now and then sit at the
    edge of its range, and the smoother's intervals would be too narrow. Position alone ties the follow-
    through to what came before, so its noise is chosen by itself.
    """
    chain, nodes = build_chain(frames, model, fill=False)
    F, base, unit = noise_parts(chain)
    grid = len(DIFFUSION_GRID)
    back = np.repeat(DIFFUSION_GRID, grid * len(TOP_KICKS))
    forward = np.tile(DIFFUSION_GRID, grid * len(TOP_KICKS))
    kick = np.tile(np.repeat(np.arange(len(TOP_KICKS)), grid), grid)
    kick_variance = np.array(TOP_KICKS)[kick].T ** 2

    def steps() -> Iterator[FloatArray]:
        for node in range(nodes.impact + 1):
            diffusion = back if node <= nodes.top else forward
            Q = base[node, :, :, None] + diffusion * unit[node, :, :, None]
            if node == nodes.top + 1:
                Q[[ACCELERATION, JERK], [ACCELERATION, JERK]] = kick_variance
            yield Q

    log_weight = log_diffusion_prior(back) + log_diffusion_prior(forward) + LOG_KICK_ODDS[kick]
    log_weight += chain_log_likelihoods(chain, nodes.impact + 1, F, steps())
    model = replace(
        model,
        diffusion=(log_mean(back, log_weight), log_mean(forward, log_weight), model.diffusion[2]),
        top_kick=TOP_KICKS[int(kick[np.argmax(log_weight)])],
    )
    after = slice(nodes.impact + 1, len(chain.time_s))
    seen = np.flatnonzero(np.isfinite(chain.position_m[after]))
    through = model.diffusion[1]
    if len(seen) >= FEWEST_FRAMES_AFTER:
        position = chain.position_m[after]
        start, covariance = unknown_start(float(position[seen[0]]), float(frames.errors.sd_m[-1]))
        Q = base[after, :, :, None] + DIFFUSION_GRID * unit[after, :, :, None]
        log_weight_after = log_diffusion_prior(DIFFUSION_GRID) + log_likelihoods(
            position, chain.variance_m2[after], F[after], Q, start, covariance
        )
        through = log_mean(DIFFUSION_GRID, log_weight_after)
    return replace(model, diffusion=(*model.diffusion[:2], through), corners=find_corners(frames, model))
