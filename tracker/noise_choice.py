"""The process noise a clip asks for, phase by phase, by likelihood."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pennyfall.kinematics.smoothed import ACCELERATION, JERK
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.corners import with_corners
from pennyfall.tracker.impact_time import unknown_start
from pennyfall.tracker.motion_model import chain_matrices
from pennyfall.tracker.process_noise import DIFFUSION_GRID, log_diffusion_prior, log_likelihoods, log_mean
from pennyfall.tracker.stroke_chain import StrokeFrames, StrokeModel, build_chain

TOP_KICKS = ((0.01, 60.0), (1.5, 60.0))
"""Sds of the steps of acceleration [m/s^2] and jerk [m/s^3] at the top that compete by likelihood, chosen by
us: a hand that pulls steadily, and one that grabs; 60 is twice the jerk of a brisk stroke."""
LOG_KICK_ODDS = np.array([0.0, -4.0])
"""Log odds beforehand, chosen by us: one stroke in fifty grabs."""
IMPACT_SHARE = 2.0
"""Process noise near impact over the likeliest of its phase, in a fine track. Likelihood fits it to the
middle of the phase, where most frames are, and so to a smoother motion than the one-sided estimate at impact
may assume. Measured on 300 to 600 simulated strokes at 240 and 60 frames/s, half of them with corners in
their acceleration: with 1 the mean of the last 20 ms erred by 1.07 and 1.16 of its stated standard
deviations, with this by 1.01 and 1.15, with 3 by 0.90 and 1.02; with 3 by 6 to 8 % more in absolute terms
than with 1."""
FINE_RATE_HZ = 240.0
"""Chosen by us: at lower rates the share is larger by the root of their ratio, since fewer frames near impact
leave more to the middle of the phase: at 60 frames/s 92 % of the intervals held without, 93 to 95 % with."""
FINE_M2_S = (1.2e-4) ** 2 / 240
"""Noise density up to which a track counts as fine. A coarser one hides what the model misses: at 0.18 mm the
errors were within the stated ones with 1."""
COARSENING = 1.5
"""How fast the share falls with the noise density beyond, chosen by us: to 1 at 0.18 mm and 240 frames/s."""
FEWEST_FRAMES_AFTER = 6
"""Chosen by us: fewer frames after impact say nothing about the process noise there."""


def choose_noise(frames: StrokeFrames, model: StrokeModel) -> StrokeModel:
    """Return the model with the process noise of its three phases.

    Each is the mean of its logarithm under likelihood and prior: a maximum would now and then sit at the
    edge of its range, and the smoother's intervals would be too narrow. Position alone ties the follow-
    through to what came before, so its noise is chosen by itself.
    """
    chain, nodes = build_chain(frames, model, fill=False)
    F, base = chain_matrices(replace(chain, diffusion=np.zeros(len(chain.time_s))))
    unit = chain_matrices(replace(chain, diffusion=(chain.diffusion > 0).astype(np.float64)))[1] - base
    before = slice(nodes.impact + 1)
    grid = len(DIFFUSION_GRID)
    back, forward = (
        np.repeat(DIFFUSION_GRID, grid * len(TOP_KICKS)),
        np.tile(DIFFUSION_GRID, grid * len(TOP_KICKS)),
    )
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
    log_weight += log_likelihoods(
        chain.position_m[before],
        chain.variance_m2[before],
        F[before],
        steps(),
        chain.start_mean,
        chain.start_covariance,
    )
    top_kick = TOP_KICKS[int(kick[np.argmax(log_weight)])]
    model = replace(model, diffusion=(log_mean(back, log_weight), 0.0, 0.0), top_kick=top_kick)
    model = with_corners(frames, model)
    chosen_forward = model.diffusion[1]
    after = slice(nodes.impact + 1, len(chain.time_s))
    seen = np.flatnonzero(np.isfinite(chain.position_m[after]))
    through = chosen_forward
    if len(seen) >= FEWEST_FRAMES_AFTER:
        position = chain.position_m[after]
        start, covariance = unknown_start(float(position[seen[0]]), float(frames.errors.sd_m[-1]))
        Q = base[after, :, :, None] + DIFFUSION_GRID * unit[after, :, :, None]
        log_weight_after = log_diffusion_prior(DIFFUSION_GRID) + log_likelihoods(
            position, chain.variance_m2[after], F[after], Q, start, covariance
        )
        through = log_mean(DIFFUSION_GRID, log_weight_after)
    return replace(model, diffusion=(model.diffusion[0], chosen_forward, through))


def loosened_at_impact(frames: StrokeFrames, likeliest: StrokeModel) -> StrokeModel:
    """Return the model with which a swing is smoothed whose acceleration at impact is asked for."""
    frame_s = float(np.median(np.diff(frames.time)))
    density = float(np.median(frames.errors.sd_m)) ** 2 * frame_s
    fine = IMPACT_SHARE * max(frame_s * FINE_RATE_HZ, 1.0) ** 0.5
    share = float(np.clip(fine * (FINE_M2_S / density) ** COARSENING, 1.0, fine))
    return replace(likeliest, looseness_at_impact=share)
