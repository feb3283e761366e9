"""Where the pull of the forward swing may change at once, which bends the acceleration.

A hand that lets go, or grabs, within a few frames bends the acceleration sharper than the process noise of
an even swing allows. Near impact that decides the verdict: the one-sided estimate there has only the frames
since the change to go by.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pennyfall.kinematics.stroke.smoothed import JERK
from pennyfall.kinematics.values import FloatArray, IntArray
from pennyfall.tracker.smoother.chain import PullChange, StrokeFrames, StrokeModel, StrokeNodes, build_chain
from pennyfall.tracker.smoother.kalman import log_likelihoods
from pennyfall.tracker.smoother.process_noise import (
    DIFFUSION_GRID,
    log_diffusion_prior,
    noise_parts,
)

PULL_CHANGE_JERK_SD = 100.0
"""Sd of the change of jerk there [m/s^3], chosen by us: a hand that lets go of 5 m/s^2 within a
twentieth of a second."""
LOG_PULL_CHANGE_ODDS = -3.5
"""Log odds of a change beforehand, anywhere in the forward swing, chosen by us: one stroke in thirty. Of
1,200 simulated strokes at 240 frames/s, half of them with one, 88 % had their peak acceleration within
3 % with -3 or -4, 87 with -2, without 82 %; in 0.18 mm noise the speed at impact must err by less
than 0.7 %, which -3 exceeded by 0.01 %."""
PULL_CHANGE_SPACING_S = 0.008
"""Chosen by us: instants nearer to each other the picture hardly tells apart."""
LAST_BEFORE_IMPACT_S = 0.04
"""Chosen by us: a change nearer to impact cannot be told from noise, and would only let it in."""
LEAST_WEIGHT = 1e-3
"""Chosen by us: a change less likely than this changes nothing."""


def pull_change_step_s(frames: StrokeFrames) -> float:
    """Return how far apart the instants lie at which changes are sought [s]."""
    return max(PULL_CHANGE_SPACING_S, float(np.median(np.diff(frames.time))))


def find_pull_changes(frames: StrokeFrames, model: StrokeModel) -> tuple[PullChange, ...]:
    """Return where the pull of the forward swing may change at once, and by how much.

    A change competes by likelihood with an even pull and with changes elsewhere. Each instant then gets the
    variance of a change times its weight: where nothing tells, near impact above all, that is the little
    which a change unseen there would add. The process noise between them stays that of an even pull: a
    smooth, S-shaped decline reads as a change where it begins, and a smaller noise would miss its end.
    """
    chain, nodes = build_chain(frames, model, fill=False)
    F, base, unit = noise_parts(chain)
    places = _places(chain.time_s, nodes, pull_change_step_s(frames))
    diffusion = np.repeat(DIFFUSION_GRID, len(places) + 1)
    changed = np.tile(np.append(places, -1), len(DIFFUSION_GRID))

    def steps() -> Iterator[FloatArray]:
        for node in range(nodes.impact + 1):
            if node <= nodes.top:
                yield (base[node] + model.diffusion[0] * unit[node])[:, :, None]
                continue
            Q = base[node, :, :, None] + diffusion * unit[node, :, :, None]
            Q[JERK, JERK] += np.where(changed == node, PULL_CHANGE_JERK_SD**2, 0.0)
            yield Q

    log_weight = log_diffusion_prior(diffusion)
    log_weight += np.where(changed >= 0, LOG_PULL_CHANGE_ODDS - np.log(max(len(places), 1)), 0.0)
    log_weight += log_likelihoods(
        chain.position_m, chain.variance_m2, F, steps(), chain.start_mean, chain.start_covariance
    )
    weight = np.exp(log_weight - log_weight.max()).reshape(len(DIFFUSION_GRID), -1).sum(axis=0)
    weight /= weight.sum()
    return tuple(
        PullChange(
            instant_s=float(chain.time_s[place]), jerk_sd_mps3=float(PULL_CHANGE_JERK_SD * np.sqrt(each))
        )
        for place, each in zip(places, weight, strict=False)
        if each > LEAST_WEIGHT
    )


def _places(time: FloatArray, nodes: StrokeNodes, step_s: float) -> IntArray:
    """Return the nodes of the forward swing at which a change is sought, a step apart."""
    places: list[int] = []
    last = time[nodes.top]
    for node in range(nodes.top + 2, nodes.impact):
        before_impact = time[nodes.impact] - time[node] >= LAST_BEFORE_IMPACT_S
        if before_impact and time[node] - last >= 0.9 * step_s:
            places.append(node)
            last = time[node]
    return np.array(places, dtype=np.int64)
