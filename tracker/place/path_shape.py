"""The head's path seen from above: how it is turned and curved against the target line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.values import Estimate, FloatArray

CURVATURE_SD_PER_M = 0.25
"""Chosen by us: strokes on an arc stray inside by up to 1 cm over 25 cm of backswing, rarely by 2."""

OFFSET_SD_M = 0.03
"""Chosen by us: a constant error of the tag's size shifts every frame alike and must not turn the path."""

TURN_FLOOR_RAD = 0.0035
CURVATURE_FLOOR_PER_M = 0.04
"""Errors of the path told by the tag's size that do not average out: blur and light make it drift along the
path. On the six shipped clips without lens distortion the turn erred by 0.0026 rad and the curvature by
0.033 /m. An unknown lens bends the path as well; that goes into the scale with the lens itself
(`scale_budget`), as the two partly undo each other."""

CORRELATED_FRAMES = 6.0
"""Chosen by us: neighbouring frames of a compressed clip err alike in size; this many count as one."""

FEWEST_FRAMES = 12
"""Chosen by us: fewer frames cannot tell three unknowns."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PathShape:
    """Place across the target line as a function of the distance along it from address."""

    turn_rad: Estimate
    """Slope at address [rad]."""
    curvature_per_m: Estimate
    """Second derivative [1/m]."""

    def across(self, along_m: FloatArray) -> FloatArray:
        """Return the place across the line at distances along it, from the address point [m]."""
        return np.asarray(
            self.turn_rad.value * along_m + 0.5 * self.curvature_per_m.value * along_m**2, dtype=np.float64
        )

    def slope(self, along_m: FloatArray) -> FloatArray:
        """Return the path's slope at distances along the line [rad]."""
        return np.asarray(self.turn_rad.value + self.curvature_per_m.value * along_m, dtype=np.float64)


def straight_path(turn_rad: Estimate) -> PathShape:
    """Return a straight path, for which only the turn is known."""
    return PathShape(turn_rad=turn_rad, curvature_per_m=Estimate(0.0, CURVATURE_SD_PER_M))


def fit_path(
    camera_centre: FloatArray,
    address: FloatArray,
    points: FloatArray,
    nearness: FloatArray,
    nearness_sd: FloatArray,
    *,
    turn_rad: Estimate,
) -> PathShape:
    """Fit turn and curvature of the path to how near the tag looks along it.

    Parameters
    ----------
    camera_centre, address : FloatArray
        Camera and address point in the world, shape (3,) [m].
    points : FloatArray
        Where the rays meet the straight path's plane, shape (n, 3) [m].
    nearness : FloatArray
        Log of the tag's seen size over its size at `points`, shape (n,); NaN where not measured.
    nearness_sd : FloatArray
        Its standard deviation, shape (n,).
    turn_rad : Estimate
        What is known of the path's turn beforehand, from the ball's way or from how the sheet is laid.

    Returns
    -------
    PathShape
        Most probable shape; the prior rules where the tag says little.

    """
    good = np.isfinite(nearness) & np.isfinite(points[:, 0])
    if np.count_nonzero(good) < FEWEST_FRAMES:
        return straight_path(turn_rad)
    rays = points[good] - camera_centre
    moved = camera_centre + rays * np.exp(-nearness[good])[:, None]
    along = moved[:, 0] - address[0]
    across = moved[:, 1] - address[1]
    sd = np.abs(rays[:, 1]) * nearness_sd[good] * np.sqrt(CORRELATED_FRAMES) + 1e-5
    design = np.column_stack([np.ones_like(along), along, 0.5 * along**2]) / sd[:, None]
    prior_sd = np.array([OFFSET_SD_M, turn_rad.sd, CURVATURE_SD_PER_M])
    expected = np.array([0.0, turn_rad.value, 0.0])
    floor = np.diag([0.0, TURN_FLOOR_RAD**2, CURVATURE_FLOOR_PER_M**2])
    fitted, covariance = _solve(design, across / sd)
    # The tag's own say, its lasting errors included, weighed against what was known beforehand.
    weight = np.linalg.inv(covariance + floor)
    posterior = np.linalg.inv(weight + np.diag(prior_sd**-2))
    shape = posterior @ (weight @ fitted + expected / prior_sd**2)
    sds = np.sqrt(np.diag(posterior))
    return PathShape(
        turn_rad=Estimate(float(shape[1]), float(sds[1])),
        curvature_per_m=Estimate(float(shape[2]), float(sds[2])),
    )


def _solve(design: FloatArray, observed: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return least-squares coefficients and covariance, widened where the scatter exceeds the stated."""
    covariance = np.linalg.pinv(design.T @ design)
    fitted = covariance @ (design.T @ observed)
    freedom = max(len(observed) - 3, 1)
    scatter = float(np.sum((observed - design @ fitted) ** 2)) / freedom
    return np.asarray(fitted, np.float64), np.asarray(covariance * max(scatter, 1.0), np.float64)
