"""How large the position error in motion really is, and how far it is correlated from frame to frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline

from pennyfall.kinematics.values import FloatArray

DEGREE = 5
KNOT_INTERVAL_S = 0.05
"""Chosen by us: half of the shortest feature of a stroke's acceleration; the spline then errs by microns
only."""
FRAMES_PER_KNOT = 2.5
"""Chosen by us: below this the spline swallows the noise it is meant to leave."""
SCALE_PRIOR = (0.0, 0.5)
"""Mean and sd of the log ratio of true to stated sd, chosen by us: the stated one is right within a factor
of three."""
LAG_ONE_PRIOR = (0.15, 0.25)
"""Mean and sd of the lag-one correlation, chosen by us around what filmed tags showed (0.07 to 0.4)."""
LAG_ONE_GRID = np.arange(-0.2, 0.81, 0.1)
FLOOR_M = 2e-5
"""Chosen by us: no phone camera at arm's length locates a tag better than 0.02 mm."""
RIDGE = 1e-3
SAME_M = 1e-9
"""Frames closer than this are the same picture: the codec skipped the blocks."""


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasurementNoise:
    """The frame-to-frame error of the position in motion."""

    scale: float
    """True over stated standard deviation."""
    lag_one: float
    """Correlation of the errors of neighbouring frames."""

    @property
    def inflation(self) -> float:
        """Variance factor that makes white noise as strong as this noise at the slow end, where the stroke
        lies.

        The spectral density of first-order autoregressive noise at zero frequency over its variance.
        """
        correlation = max(self.lag_one, 0.0)
        return (1 + correlation) / (1 - correlation)


def repeated_run_lengths(x_m: FloatArray) -> FloatArray:
    """Return, for each frame, how many frames in a row show the very same position, shape (n,)."""
    new_run = np.ones(len(x_m), dtype=bool)
    new_run[1:] = ~(np.abs(np.diff(x_m)) < SAME_M)
    run = np.cumsum(new_run) - 1
    lengths: FloatArray = np.bincount(run)[run].astype(np.float64)
    return lengths


def estimate_noise(
    time_s: FloatArray,
    x_m: FloatArray,
    sd_m: FloatArray,
    breaks: tuple[tuple[float, int], ...],
) -> MeasurementNoise:
    """Estimate noise scale and lag-one correlation of a moving head by restricted maximum likelihood [1]_.

    The motion is a regression spline in true time (differences of neighbouring frames would turn time
    jitter into noise).

    Parameters
    ----------
    time_s, x_m, sd_m : ndarray, shape (n,)
        Time [s], position [m] and stated standard deviation [m] of the frames in which the head moved and
        was seen.
    breaks : tuple of (float, int)
        Instants at which derivatives of the given order and above may jump: impact 1, top and takeaway 2.

    References
    ----------
    .. [1] D. A. Harville (1977), Maximum likelihood approaches to variance component estimation, J. Am.
       Stat. Assoc. 72:320-338. doi:10.1080/01621459.1977.10480998

    """
    basis = _spline_basis(time_s, breaks)
    freedom = len(x_m) - basis.shape[1]
    if freedom < 5:
        return MeasurementNoise(scale=1.0, lag_one=LAG_ONE_PRIOR[0])
    step = np.diff(time_s)
    lag = np.maximum(np.rint(step / np.median(step)), 1.0)
    system = np.column_stack([basis, x_m]) / sd_m[:, None]
    # A gap may leave a spline coefficient unsupported: a whiff of a prior keeps the system regular.
    ridge = RIDGE * np.eye(system.shape[1])[:-1]
    weights, scales = [], []
    for correlation in LAG_ONE_GRID:
        carried = np.sign(correlation) ** lag * np.abs(correlation) ** lag
        left = np.sqrt(1 - carried**2)
        white = system.copy()
        white[1:] = (system[1:] - carried[:, None] * system[:-1]) / left[:, None]
        triangle = np.abs(np.diag(np.linalg.qr(np.vstack([white, ridge]), mode="r")))
        rest = triangle[-1] ** 2
        log_scale = 0.5 * np.log(rest / freedom)
        # The likelihood of log scale is close to normal with precision 2 * freedom: combine it with its prior.
        precision = 2 * freedom
        prior_precision = SCALE_PRIOR[1] ** -2
        combined = (precision * log_scale + prior_precision * SCALE_PRIOR[0]) / (precision + prior_precision)
        weights.append(
            -freedom * combined
            - 0.5 * rest / np.exp(2 * combined)
            - np.sum(np.log(left))
            - np.sum(np.log(triangle[:-1]))
            - 0.5 * ((correlation - LAG_ONE_PRIOR[0]) / LAG_ONE_PRIOR[1]) ** 2
            - 0.5 * ((combined - SCALE_PRIOR[0]) / SCALE_PRIOR[1]) ** 2
        )
        scales.append(combined)
    weight = np.exp(np.array(weights) - np.max(weights))
    weight /= weight.sum()
    return MeasurementNoise(
        scale=float(np.exp(weight @ np.array(scales))), lag_one=float(weight @ LAG_ONE_GRID)
    )


def effective_variance(x_m: FloatArray, sd_m: FloatArray, noise: MeasurementNoise) -> FloatArray:
    """Return the variance with which each frame enters a filter that believes in white noise, shape (n,)
    [m^2].

    A run of identical frames is one measurement: each of its n frames counts a n-th.
    """
    sd = np.maximum(sd_m * noise.scale, FLOOR_M)
    runs = repeated_run_lengths(x_m)
    variance: FloatArray = sd**2 * np.where(runs > 1, np.maximum(runs, noise.inflation), noise.inflation)
    return variance


def _spline_basis(time_s: FloatArray, breaks: tuple[tuple[float, int], ...]) -> FloatArray:
    start, end = time_s[0], time_s[-1]
    spacing = max(KNOT_INTERVAL_S, FRAMES_PER_KNOT * float(np.median(np.diff(time_s))))
    edges = [start, *(t for t, _ in sorted(breaks) if start + spacing < t < end - spacing), end]
    multiplicity = {t: DEGREE + 1 - order for t, order in breaks}
    knots = [np.repeat(start, DEGREE + 1)]
    for left, right in zip(edges[:-1], edges[1:], strict=True):
        pieces = max(int(round((right - left) / spacing)), 1)
        knots.append(np.linspace(left, right, pieces + 1)[1:-1])
        knots.append(np.repeat(right, DEGREE + 1 if right == end else multiplicity[right]))
    knot = np.concatenate(knots)
    basis: FloatArray = BSpline.design_matrix(time_s, knot, DEGREE).toarray()
    return basis
