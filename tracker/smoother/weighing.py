"""The one rule by which hypotheses of a stroke are weighed: probability beforehand times likelihood.

Where several remain, the motion is that of all of them by their weights [1]_. What competes, and how probable
each is beforehand, stands in `pennyfall.kinematics.stroke.beliefs`.

References ---------- .. [1] J. A. Hoeting, D. Madigan, A. E. Raftery, C. T. Volinsky (1999), Bayesian model
averaging: a tutorial, Stat. Sci. 14:382-417. doi:10.1214/ss/1009212519 (from memory)

"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.stroke.beliefs import PROCESS_NOISE
from pennyfall.kinematics.values import FloatArray, IntArray, freeze_arrays
from pennyfall.tracker.smoother.chain import (
    MOTION_STATES,
    MotionChain,
    StrokeModel,
    StrokeNodes,
    build_chain,
    noise_parts,
)
from pennyfall.tracker.smoother.frames import StrokeFrames
from pennyfall.tracker.smoother.kalman import log_likelihoods, sample_paths, smooth_chain

DIFFUSION_GRID = 10.0 ** np.arange(2.0, 6.01, 0.5)
"""Process noises that compete by likelihood [m^2/s^7]."""
LEAST_WEIGHT = 0.03
"""Chosen by us: a model less likely than this is left out."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Hypotheses:
    """So many ways, b, in which the frames of one chain may have come about."""

    log_prior: FloatArray
    """Log probability beforehand, shape (b,)."""
    diffusion: tuple[FloatArray, ...]
    """Process noise of each phase, each of shape (b,) or (1,) [m^2/s^7]."""
    kick_node: IntArray
    """Node at which one more kick arrives, shape (b,) or (1,); -1 for none."""
    kick: FloatArray
    """Variances of that kick, shape (4,) or (4, b) [SI^2]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


NO_KICK = np.array([-1])


def log_weights(chain: MotionChain, phase: IntArray, hypotheses: Hypotheses) -> FloatArray:
    """Return the log of prior times likelihood of each hypothesis, but for a constant, shape (b,).

    Parameters
    ----------
    chain : MotionChain
        The chain but for what the hypotheses add.
    phase : ndarray, shape (m,)
        Phase of the step into each of its nodes; only the first m nodes are looked at.
    hypotheses : Hypotheses
        What competes.

    """
    F, base, unit = noise_parts(chain)
    kick = np.reshape(hypotheses.kick, (MOTION_STATES, -1))
    states = range(MOTION_STATES)

    def steps() -> Iterator[FloatArray]:
        for node, of in enumerate(phase):
            Q = base[node, :, :, None] + hypotheses.diffusion[of] * unit[node, :, :, None]
            arrives = hypotheses.kick_node == node
            if arrives.any():
                Q = np.repeat(Q, max(len(arrives), kick.shape[1]) // Q.shape[2], axis=2)
                Q[states, states] += kick * arrives
            yield Q

    return hypotheses.log_prior + log_likelihoods(
        chain.position_m, chain.variance_m2, F, steps(), chain.start_mean, chain.start_covariance
    )


def noise_prior(diffusion: FloatArray) -> FloatArray:
    """Return the log density of process noises beforehand, but for a constant."""
    return PROCESS_NOISE.certain().log_density(diffusion)


def log_mean(values: FloatArray, log_weight: FloatArray) -> float:
    """Return the mean of the logarithm under weights, as a value.

    A maximum would now and then sit at the edge of its range, and the smoother's intervals would be too
    narrow.
    """
    weight = np.exp(log_weight - log_weight.max())
    return float(np.exp(weight @ np.log(values) / weight.sum()))


@dataclass(frozen=True, kw_only=True, slots=True)
class WeighedModel:
    """A model of a stroke, and how likely it is."""

    weight: float
    """Probability among the models that compete."""
    model: StrokeModel


def likeliest(models: Sequence[WeighedModel]) -> tuple[WeighedModel, ...]:
    """Return the models that are not too unlikely, the likeliest first, their weights adding up to one."""
    kept = sorted((each for each in models if each.weight > LEAST_WEIGHT), key=lambda each: -each.weight)
    total = sum(each.weight for each in kept)
    return tuple(WeighedModel(weight=each.weight / total, model=each.model) for each in kept)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class WeighedMotion:
    """What several models together say about every node of a stroke."""

    chain: MotionChain
    """The chain of the likeliest model; the others differ from it in their noise only."""
    nodes: StrokeNodes
    mean: FloatArray
    """Smoothed states, shape (n, 5)."""
    covariance: FloatArray
    """Their covariances, shape (n, 5, 5)."""
    samples: FloatArray
    """Joint samples of the whole motion, shape (count, n, 4)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def smooth_weighed(
    frames: StrokeFrames, models: Sequence[WeighedModel], count: int, generator: np.random.Generator
) -> WeighedMotion:
    """Return the motion under several models of one stroke with the same events.

    Parameters
    ----------
    frames : StrokeFrames
        The frames of the stroke.
    models : sequence of WeighedModel
        Models with the same events, the likeliest first; their weights sum to one.
    count : int
        How many joint samples to draw; each model gets its share of them.
    generator : numpy.random.Generator
        Source of the samples.

    """
    chains = [build_chain(frames, each.model, fill=True) for each in models]
    smoothed = [smooth_chain(chain) for chain, _ in chains]
    weights = np.array([each.weight for each in models])
    mean = np.einsum("m,mns->ns", weights, [each.mean for each in smoothed])
    covariance = np.zeros((*mean.shape, mean.shape[1]))
    for weight, each in zip(weights, smoothed, strict=True):
        away = each.mean - mean
        covariance += weight * (each.covariance + away[:, :, None] * away[:, None, :])
    shares = np.diff(np.rint(np.cumsum(weights) * count).astype(np.int64), prepend=0)
    samples = [
        sample_paths(each, share, generator)
        for each, share in zip(smoothed, shares.tolist(), strict=True)
        if share
    ]
    chain, nodes = chains[0]
    return WeighedMotion(
        chain=chain, nodes=nodes, mean=mean, covariance=covariance, samples=np.concatenate(samples)
    )
