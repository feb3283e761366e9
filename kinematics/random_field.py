"""Smoothness of a curve of statistics, and the height a smooth random curve seldom reaches."""

from __future__ import annotations

import math

import numpy as np
from scipy import optimize, special

from pennyfall.kinematics.values import FloatArray

_FOUR_LOG_2 = 4 * math.log(2)
_STILL = 1e-9
"""Chosen by us: a node with less than this share of the largest variance counts as having none."""


def smoothness_fwhm(residuals: FloatArray) -> float:
    """Return the smoothness of curves as the full width at half maximum of an equivalent kernel [nodes].

    Parameters
    ----------
    residuals : FloatArray
        Curves minus their cell's mean curve, shape (n, q).

    References
    ----------
    .. [1] Kiebel et al. (1999), NeuroImage 10:756-766: smoothness from the gradients of normalised residuals.

    """
    squares = (residuals**2).sum(axis=0)
    slopes = (np.gradient(residuals, axis=1) ** 2).sum(axis=0)
    known = squares > _STILL * squares.max()
    if not known.any():
        return math.nan
    mean_resels_a_node = float(np.mean(np.sqrt(slopes[known] / squares[known] / _FOUR_LOG_2)))
    return 1 / mean_resels_a_node if mean_resels_a_node > 0 else math.inf


def field_p(height: float, *, df: float, resels: float) -> float:
    """Return the one-sided probability that a smooth random t curve exceeds `height` anywhere.

    Parameters
    ----------
    height : float
        Of t [-].
    df : float
        Degrees of freedom of t.
    resels : float
        (nodes - 1) over the smoothness.

    References
    ----------
    .. [1] Worsley et al. (1996), Hum. Brain Mapp. 4:58-73, table 2: Euler densities of t fields.
    .. [2] Friston et al. (1994), Hum. Brain Mapp. 1:210-220: Poisson clumping, p = 1 - exp(-E).
    .. [3] Pataky (2012), Comput. Methods Biomech. Biomed. Engin. 15:295-301: for curves of a movement.

    """
    crossings = math.sqrt(_FOUR_LOG_2) / (2 * math.pi) * (1 + height**2 / df) ** (-(df - 1) / 2)  # [1]
    expected = float(special.stdtr(df, -height)) + resels * crossings
    return -math.expm1(-expected)


def field_threshold(level: float, *, df: float, resels: float) -> float:
    """Return the height that a smooth random t curve exceeds with one-sided probability `level`."""

    def excess(height: float) -> float:
        return field_p(height, df=df, resels=resels) - level

    high = 10.0
    while excess(high) > 0:
        high *= 2
    return float(optimize.brentq(excess, 0.0, high, xtol=1e-9))
