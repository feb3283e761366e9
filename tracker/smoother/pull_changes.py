"""Where the pull of the forward swing may change at once: corners in the acceleration.

A hand that lets go, or grabs, within a few frames bends the acceleration sharper than the process noise of
an even swing allows. Near impact that decides the verdict: the one-sided estimate there has only the frames
since the corner to go by.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pennyfall.kinematics.stroke.smoothed import JERK
from pennyfall.kinematics.values import FloatArray, IntArray
from pennyfall.tracker.smoother.chain import Corner, StrokeFrames, StrokeModel, StrokeNodes, build_chain
from pennyfall.tracker.smoother.process_noise import (
    DIFFUSION_GRID,
    chain_log_likelihoods,
    log_diffusion_prior,
    noise_parts,
)

CORNER_JERK_SD = 100.0
"""Sd of the change of jerk at a corner [m/s^3], chosen by us: a hand that lets go of 5 m/s^2 within a
twentieth of a second."""
LOG_CORNER_ODDS = -3.5
"""Log odds of a corner beforehand, anywhere in the forward swing, chosen by us: one stroke in thirty. Of
1,200 simulated strokes at 240 frames/s, half of them with corners, 88 % had their peak acceleration within
3 % with -3 or -4, 87 with -2, without corners 82 %; in 0.18 mm noise the speed at impact must err by less
than 0.7 %, which -3 exceeded by 0.01 %."""
CORNER_SPACING_S = 0.008
"""Chosen by us: instants nearer to each other the picture hardly tells apart."""
LAST_BEFORE_IMPACT_S = 0.04
"""Chosen by us: a corner nearer to impact cannot be told from noise, and would only let it in."""
LEAST_WEIGHT = 1e-3
"""Chosen by us: a corner less likely than this changes nothing."""


def corner_step_s(frames: StrokeFrames) -> float:
    """Return how far apart the instants lie at which corners are sought [s]."""
    return max(CORNER_SPACING_S, float(np.median(np.diff(frames.time))))


def find_corners(frames: StrokeFrames, model: StrokeModel) -> tuple[Corner, ...]:
    """Return where the pull of the forward swing may change at once, and by how much.

    A corner competes by likelihood with an even pull and with corners elsewhere. Each instant then gets the
    variance of a corner times its weight: where nothing tells, near impact above all, that is the little
    which a corner unseen there would add. The process noise between corners stays that of an even pull: a
    smooth, S-shaped decline reads as a corner where it begins, and a smaller noise would miss its end.
    """
    chain, nodes = build_chain(frames, model, fill=False)
    F, base, unit = noise_parts(chain)
    places = _places(chain.time_s, nodes, corner_step_s(frames))
    diffusion = np.repeat(DIFFUSION_GRID, len(places) + 1)
    corner = np.tile(np.append(places, -1), len(DIFFUSION_GRID))

    def steps() -> Iterator[FloatArray]:
        for node in range(nodes.impact + 1):
            if node <= nodes.top:
                yield (base[node] + model.diffusion[0] * unit[node])[:, :, None]
                continue
            Q = base[node, :, :, None] + diffusion * unit[node, :, :, None]
            Q[JERK, JERK] += np.where(corner == node, CORNER_JERK_SD**2, 0.0)
            yield Q

    log_weight = log_diffusion_prior(diffusion)
    log_weight += np.where(corner >= 0, LOG_CORNER_ODDS - np.log(max(len(places), 1)), 0.0)
    log_weight += chain_log_likelihoods(chain, nodes.impact + 1, F, steps())
    weight = np.exp(log_weight - log_weight.max()).reshape(len(DIFFUSION_GRID), -1).sum(axis=0)
    weight /= weight.sum()
    return tuple(
        Corner(instant_s=float(chain.time_s[place]), jerk_sd_mps3=float(CORNER_JERK_SD * np.sqrt(each)))
        for place, each in zip(places, weight, strict=False)
        if each > LEAST_WEIGHT
    )


def _places(time: FloatArray, nodes: StrokeNodes, step_s: float) -> IntArray:
    """Return the nodes of the forward swing at which a corner is sought, a step apart."""
    places: list[int] = []
    last = time[nodes.top]
    for node in range(nodes.top + 2, nodes.impact):
        before_impact = time[nodes.impact] - time[node] >= LAST_BEFORE_IMPACT_S
        if before_impact and time[node] - last >= 0.9 * step_s:
            places.append(node)
            last = time[node]
    return np.array(places, dtype=np.int64)
