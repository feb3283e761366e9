"""What a codec does to the track of a dot: it repeats a dot that hardly moves, and shakes one that does."""

from __future__ import annotations

import math

import numpy as np

from pennyfall.kinematics.values import BoolArray, FloatArray

SAME_PX = 0.02
"""Chosen by us: a dot coded anew differs by more than this."""

MOST_STUCK = 4
"""Chosen by us: a codec repeats a dot at the top of the backswing for this many frames; a longer stop is a
rest. A blue dot was held there for three frames (0.8 px): the top came out 31 ms late, and 1 ms where
repeated places are gaps in motion, and vague at rest."""

HIDDEN_PX = (0.1, 0.6)
"""Chosen by us: a codec repeats a block until it has changed enough to be worth coding. On rendered clips it
repeated a white dot for a tenth of a pixel, a dot that differs by hue alone for up to 0.8 px."""

MOVING_PX = 0.5
"""Chosen by us: resting frames of a compressed clip repeat each other and would hide the scatter."""

FEWEST_MOVING = 16
"""Chosen by us: the median of fewer differences may be a third off."""


def as_coded(
    centre_px: FloatArray, covariance_px2: FloatArray, *, by_hue: float
) -> tuple[FloatArray, FloatArray]:
    """Return places and covariances with what the codec did to them taken into account.

    Parameters
    ----------
    centre_px, covariance_px2 : FloatArray
        Places and their covariances by the pixels alone, shapes (n, 2) and (n, 2, 2); NaN where not seen.
    by_hue : float
        What part of the dot's difference from its ground is told by chroma, 0 to 1.

    Returns
    -------
    centre_px, covariance_px2 : FloatArray
        NaN where the dot only repeats its last place in the middle of its motion.

    """
    resting, stuck = repeated_places(centre_px)
    centre, covariance = centre_px.copy(), covariance_px2.copy()
    centre[stuck], covariance[stuck] = np.nan, np.nan
    covariance *= scatter_excess(centre, covariance) ** 2
    hidden_px = HIDDEN_PX[0] + by_hue * (HIDDEN_PX[1] - HIDDEN_PX[0])
    covariance[resting] += hidden_px**2 * np.eye(2)
    return centre, covariance


def repeated_places(centre_px: FloatArray) -> tuple[BoolArray, BoolArray]:
    """Return in which frames the codec repeated the dot: at rest, and in the middle of its motion.

    Parameters
    ----------
    centre_px : FloatArray
        Places, shape (n, 2) [px]; NaN where not seen.

    Returns
    -------
    resting, stuck : BoolArray
        Shape (n,) each. A dot stuck for a moment tells where it was before, not where it is; one that rests
        is where it was to within what a codec hides.

    """
    step = np.full(len(centre_px), np.nan)
    step[1:] = np.hypot(*np.diff(centre_px, axis=0).T)
    same = step < SAME_PX
    stuck = np.zeros(len(step), dtype=np.bool_)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], same.astype(int), [0]])))
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        around = [step[first - 1], step[end] if end < len(step) else np.nan]
        stuck[first:end] = end - first <= MOST_STUCK and all(one > MOVING_PX for one in around)
    return same & ~stuck, stuck


def scatter_excess(centre_px: FloatArray, covariance_px2: FloatArray) -> float:
    """Return how many times more than stated a moving track scatters from frame to frame, at least 1.

    Parameters
    ----------
    centre_px : FloatArray
        Places, shape (n, 2) [px]; NaN where not seen.
    covariance_px2 : FloatArray
        Their stated covariances, shape (n, 2, 2) [px^2].

    Notes
    -----
    Fourth differences leave nothing of a head's motion but the step at impact, which their median does not
    see, and sqrt(70) times the scatter of independent errors: 70 is the sum of the squares of 1, 4, 6, 4, 1.
    """
    moving = np.hypot(*np.diff(centre_px, axis=0).T)[2:-1] > MOVING_PX
    fourth = np.diff(centre_px, n=4, axis=0)[moving] if len(moving) else np.empty((0, 2))
    fourth = fourth[np.isfinite(fourth[:, 0])]
    if len(fourth) < FEWEST_MOVING:
        return 1.0
    scatter = 1.4826 * np.median(np.abs(fourth), axis=0) / math.sqrt(70)
    stated = np.sqrt(np.nanmedian(np.diagonal(covariance_px2, axis1=1, axis2=2), axis=0))
    return float(max(1.0, np.sqrt(np.mean((scatter / stated) ** 2))))
