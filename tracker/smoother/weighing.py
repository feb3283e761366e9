"""One motion from several models of its top and its end, each weighed by its likelihood [1]_.

References
----------
.. [1] J. A. Hoeting, D. Madigan, A. E. Raftery, C. T. Volinsky (1999), Bayesian model averaging: a tutorial,
   Stat. Sci. 14:382-417. doi:10.1214/ss/1009212519 (from memory)

"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.values import FloatArray, IntArray, freeze_arrays
from pennyfall.tracker.smoother.chain import StrokeFrames, StrokeModel, StrokeNodes, build_chain
from pennyfall.tracker.smoother.kalman import sample_paths, smooth_chain
from pennyfall.tracker.smoother.motion_model import MotionChain


@dataclass(frozen=True, kw_only=True, slots=True)
class WeighedModel:
    """A model of a stroke, and how likely it is."""

    weight: float
    """Probability among the models that compete."""
    model: StrokeModel


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
    samples = [
        sample_paths(each, share, generator)
        for each, share in zip(smoothed, _shares(weights, count).tolist(), strict=True)
        if share
    ]
    chain, nodes = chains[0]
    return WeighedMotion(
        chain=chain,
        nodes=nodes,
        mean=mean,
        covariance=covariance,
        samples=np.concatenate(samples),
    )


def _shares(weights: FloatArray, count: int) -> IntArray:
    """Return how many of `count` samples each model gets, by its weight."""
    ends = np.rint(np.cumsum(weights) * count).astype(np.int64)
    return np.asarray(ends - np.append(0, ends[:-1]))
