"""How smooth a movement is: spectral arc length and log dimensionless jerk of its speed."""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import FloatArray

PADDING_LEVEL = 4
CUTOFF_HZ = 10.0
AMPLITUDE_THRESHOLD = 0.05
"""The three settings the measure was published with [1]_ (see `spectral_arc_length`)."""


def spectral_arc_length(speed_mps: FloatArray, rate_hz: float) -> float:
    """Return the spectral arc length of a speed profile: closer to zero is smoother [1]_.

    Parameters
    ----------
    speed_mps : ndarray, shape (n,) [m/s]
        Speed (not velocity) at even intervals.
    rate_hz : float [Hz]
        Samples a second.

    References
    ----------
    .. [1] S. Balasubramanian, A. Melendez-Calderon, A. Roby-Brami, E. Burdet (2015), On the analysis of
       movement smoothness, J. NeuroEng. Rehabil. 12:112, eq. 11. doi:10.1186/s12984-015-0090-9

    """
    length = int(2 ** (np.ceil(np.log2(len(speed_mps))) + PADDING_LEVEL))
    frequency = np.arange(length // 2) * rate_hz / length
    spectrum = np.abs(np.fft.rfft(speed_mps, length))[: length // 2]
    spectrum = spectrum / spectrum.max()
    band = frequency <= CUTOFF_HZ
    frequency, spectrum = frequency[band], spectrum[band]
    above = np.flatnonzero(spectrum >= AMPLITUDE_THRESHOLD)
    selected = slice(above[0], above[-1] + 1)
    frequency, spectrum = frequency[selected], spectrum[selected]
    span = frequency[-1] - frequency[0]
    return -float(np.sum(np.hypot(np.diff(frequency) / span, np.diff(spectrum))))


def log_dimensionless_jerk(speed_mps: FloatArray, rate_hz: float) -> float:
    """Return the log dimensionless jerk of an even speed profile: closer to zero is smoother [1]_.

    References
    ----------
    .. [1] S. Balasubramanian, A. Melendez-Calderon, E. Burdet (2012), A robust and sensitive metric for
       quantifying movement smoothness, IEEE Trans. Biomed. Eng. 59:2126-2136, eq. 5.
       doi:10.1109/TBME.2011.2179545

    """
    jerk = np.diff(speed_mps, 2) * rate_hz**2
    duration = len(speed_mps) / rate_hz
    peak = np.max(np.abs(speed_mps))
    return -float(np.log(duration**3 / peak**2 * np.sum(jerk**2) / rate_hz))
