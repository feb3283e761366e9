"""A track on even times, for programs that know one rate only; a gap stays a gap."""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import BoolArray, FloatArray, IntArray

SAME_TIME_S = 1e-5
"""Chosen by us: times that differ by no more are one. At a metre a second a hundredth of a millimetre, less
than any head's noise; more than a rate in single precision is off after two minutes."""


def on_even_times(
    time_s: FloatArray, values: FloatArray, even_s: FloatArray, *, joined: BoolArray
) -> FloatArray:
    """Return the values of a track at other times, NaN where its motion is not known.

    Parameters
    ----------
    time_s : FloatArray
        Times of the samples, strictly increasing, shape (n,) [s].
    values : FloatArray
        The samples, all known, shape (n, k).
    even_s : FloatArray
        Times at which the values are wanted, shape (m,) [s].
    joined : BoolArray
        Whether the motion from each sample to the next is smooth and without a loss, shape (n - 1,).

    Returns
    -------
    FloatArray
        Shape (m, k). At the samples' own times the samples themselves; between joined ones a piecewise cubic
        through them.

    Notes
    -----
    Akima's cubic [1] takes its slopes from the neighbours on either side alone: it neither rings nor carries
    an error along.

    References
    ----------
    .. [1] Akima 1970, J ACM 17:589-602, doi:10.1145/321607.321609.

    """
    from scipy.interpolate import Akima1DInterpolator  # 0.2 s, not before a clip's first frame

    found = np.full((len(even_s), values.shape[1]), np.nan)
    for run in np.split(np.arange(len(time_s)), np.flatnonzero(~joined) + 1):
        if not len(run):
            continue
        first_s, last_s = time_s[run[0]], time_s[run[-1]]
        inside = (even_s >= first_s - SAME_TIME_S) & (even_s <= last_s + SAME_TIME_S)
        if len(run) == 1:
            found[inside] = values[run[0]]
        else:
            curve = Akima1DInterpolator(time_s[run], values[run], axis=0)
            found[inside] = curve(np.clip(even_s[inside], first_s, last_s))
    return found


def nearest_samples(time_s: FloatArray, even_s: FloatArray) -> IntArray:
    """Return the sample nearest to each of some times, shape (m,).

    Parameters
    ----------
    time_s : FloatArray
        Times of at least one sample, increasing, shape (n,) [s].
    even_s : FloatArray
        The times, shape (m,) [s].

    """
    after = np.clip(np.searchsorted(time_s, even_s), 1, max(len(time_s) - 1, 1))
    before = after - 1
    later = np.minimum(after, len(time_s) - 1)
    return np.where(even_s - time_s[before] <= time_s[later] - even_s, before, later).astype(np.int64)
