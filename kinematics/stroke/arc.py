"""The head's arc: its tilt along the stroke and the radius about the hub, from tilt and from height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.values import Estimate, FloatArray, freeze_arrays

FEWEST_FRAMES = 20
SHORTEST_RADIUS_M, LONGEST_RADIUS_M = 0.4, 4.0
"""Chosen by us: a putter is 0.8 to 1 m long and its hub lies at the shoulders; beyond 4 m the arc is a
straight line."""
SIGNIFICANT_SDS = 3.0
"""Chosen by us: a curvature less sure than this gives no radius worth naming."""
SYSTEMATIC_TILT_RAD, SYSTEMATIC_HEIGHT_M = 0.002, 0.0013
"""By this much tilt and height also err smoothly along the line, half the stroke's way from its middle: so in
the mean square of 33 strokes rendered with known truth. A frame knows the head's height to 0.05 mm. With both
errors in the weights the radius of those strokes is off by 1.1 % RMS (about 6 % before, 18 % for a stroke of
19 cm in all), and the tilt ranges lie inside their intervals (up to 2.3 deviations off before)."""
CORRELATED_FRAMES = 4.0
"""Chosen by us: tilt and height errors depend on where the head is, so that neighbouring frames err
together; four frames count as one."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class HeadArc:
    """Tilt as a function of position along the target line, and the hub radius."""

    tilt_coefficients: FloatArray
    """Tilt as a cubic in x - address, shape (4,), constant term first [rad/m^k]; NaN where not measured."""
    tilt_covariance: FloatArray
    """Covariance of the coefficients, shape (4, 4)."""
    address_x_m: float
    """Position at address [m]."""
    hub_radius_m: Estimate
    """Radius of the arc, from tilt and height together [m]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def tilt_at(self, x_m: FloatArray) -> FloatArray:
        """Return the tilt at positions `x_m` relative to address [rad], shape as `x_m`; NaN where unknown."""
        return self._powers(x_m) @ self.tilt_coefficients

    def tilt_range(self, x_range_m: tuple[float, float]) -> Estimate:
        """Return how far the head tilts between two positions along the line [rad]."""
        difference = np.diff(self._powers(np.array(x_range_m)), axis=0)[0]
        return Estimate(
            float(difference @ self.tilt_coefficients),
            float(np.sqrt(difference @ self.tilt_covariance @ difference)),
        )

    def _powers(self, x_m: FloatArray) -> FloatArray:
        powers = np.vander(x_m - self.address_x_m, 4, increasing=True)
        powers[:, 0] = 0.0
        return powers


def fit_arc(
    x_m: FloatArray,
    z_m: FloatArray,
    sd_z_m: FloatArray,
    tilt_rad: FloatArray,
    sd_tilt_rad: FloatArray,
    address_x_m: float,
    turn_sd_per_m: float = 0.0,
) -> HeadArc:
    """Return the arc of one stroke.

    Parameters
    ----------
    x_m, z_m, tilt_rad : ndarray, shape (n,)
        Position [m], height [m] and tilt [rad] of the frames of the stroke; NaN where not measured.
    sd_z_m, sd_tilt_rad : ndarray, shape (n,)
        Standard deviations of height [m] and tilt [rad].
    address_x_m : float
        Position at address [m].
    turn_sd_per_m : float
        Standard deviation of the tilt's error that grows along the line [rad/m].

    Notes
    -----
    About a hub at radius R the tilt is asin((x - x_low) / R) and the height R - sqrt(R^2 - (x - x_low)^2):
    the sine of the tilt has slope 1/R, the height the coefficient 1/(2R) of x^2. The two curvatures are
    averaged by their variances; where they disagree, the interval covers both. On a plane that leans both
    are smaller by the cosine of the lean: the radius is that of the arc as seen from the side, which is
    what a coin on the head feels.

    """
    u = x_m - address_x_m
    coefficients, covariance, slope = _fit_tilt(u, tilt_rad, sd_tilt_rad, turn_sd_per_m)
    height = _height_curvature(u, z_m, sd_z_m, slope.value if slope.known else 0.0)
    radius = _radius([slope, height])
    if np.isnan(coefficients).any() and radius.known:
        # Without a measured tilt the arc itself gives it: theta = x / R.
        coefficients = np.array([0.0, 1 / radius.value, 0.0, 0.0])
        covariance = np.diag([0.0, (radius.sd / radius.value**2) ** 2, 0.0, 0.0])
    return HeadArc(
        tilt_coefficients=coefficients,
        tilt_covariance=covariance,
        address_x_m=address_x_m,
        hub_radius_m=radius,
    )


def _fit_tilt(
    u: FloatArray, tilt: FloatArray, sd: FloatArray, turn_sd_per_m: float
) -> tuple[FloatArray, FloatArray, Estimate]:
    known = np.isfinite(u) & np.isfinite(tilt) & np.isfinite(sd) & (sd > 0)
    if np.count_nonzero(known) < FEWEST_FRAMES:
        return np.full(4, np.nan), np.full((4, 4), np.nan), Estimate.missing()
    cubic, covariance = _regress(np.vander(u[known], 4, increasing=True), tilt[known], sd[known])
    line, line_covariance = _regress(np.vander(u[known], 2, increasing=True), np.sin(tilt[known]), sd[known])
    smooth_sd = float(np.hypot(SYSTEMATIC_TILT_RAD / _half_way_m(u[known]), turn_sd_per_m))
    covariance[1, 1] += smooth_sd**2
    slope = Estimate(float(line[1]), float(np.sqrt(line_covariance[1, 1])))
    return cubic, covariance, slope.widened(smooth_sd)


def _height_curvature(u: FloatArray, z: FloatArray, sd: FloatArray, first_guess: float) -> Estimate:
    known = np.isfinite(u) & np.isfinite(z) & np.isfinite(sd) & (sd > 0)
    if np.count_nonzero(known) < FEWEST_FRAMES:
        return Estimate.missing()
    curvature = first_guess
    for _ in range(3):
        design = np.vander(u[known], 3, increasing=True)
        # The circle's next term: R - sqrt(R^2 - u^2) = u^2 / (2 R) * (1 + u^2 / (4 R^2) + ...).
        design[:, 2] *= 1 + (u[known] * np.clip(curvature, 0.0, 2.0)) ** 2 / 4
        circle, covariance = _regress(design, z[known], sd[known])
        curvature = float(2 * circle[2])
    smooth_sd = 2 * SYSTEMATIC_HEIGHT_M / _half_way_m(u[known]) ** 2
    return Estimate(curvature, float(2 * np.sqrt(covariance[2, 2]))).widened(smooth_sd)


def _half_way_m(u: FloatArray) -> float:
    return max(0.5 * float(np.ptp(u)), 1e-6)


def _regress(design: FloatArray, y: FloatArray, sd: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return weighted least-squares coefficients and covariance, widened by scatter and correlation."""
    weighted = design / sd[:, None]
    solution: FloatArray = np.linalg.lstsq(weighted, y / sd, rcond=None)[0].astype(np.float64)
    freedom = max(len(y) - design.shape[1], 1)
    scatter = float(np.sum(((y - design @ solution) / sd) ** 2)) / freedom
    covariance: FloatArray = np.linalg.pinv(weighted.T @ weighted) * max(scatter, 1.0) * CORRELATED_FRAMES
    return solution, covariance


def _radius(curvatures: list[Estimate]) -> Estimate:
    known = [each for each in curvatures if each.known and each.sd > 0]
    if not known:
        return Estimate.missing()
    weights = np.array([each.sd**-2 for each in known])
    values = np.array([each.value for each in known])
    curvature = float(weights @ values / weights.sum())
    disagreement = float(weights @ (values - curvature) ** 2) / max(len(known) - 1, 1)
    sd = float(np.sqrt(max(disagreement, 1.0) / weights.sum()))
    plausible = 1 / LONGEST_RADIUS_M < curvature < 1 / SHORTEST_RADIUS_M
    if not plausible or curvature < SIGNIFICANT_SDS * sd:
        return Estimate.missing()
    return Estimate(1 / curvature, sd / curvature**2)
