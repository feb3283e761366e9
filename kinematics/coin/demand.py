"""How the head moves in its vertical plane, and the force a coin lying on it feels.

The head swings on an arc about a hub above it and turns with a tilt. In the head's own axes (e_t along its
floor toward the target, e_n upward from it) a body at rest on the floor feels the specific force f = a - g.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from scipy.interpolate import BSpline, make_lsq_spline

from pennyfall.kinematics.values import STANDARD_GRAVITY_MPS2, FloatArray, Profile, freeze_arrays

GRID_STEP_S = 0.00025
"""Chosen by us: a coin sliding at 1 m/s moves 0.25 mm in it; slip and leave are interpolated."""
TILT_KNOT_SPACING_S = 0.1
"""Chosen by us: the head turns with the stroke (0.3 s forward), the tag's tilt trembles by the frame."""
LEAST_TILT_SHARE = 0.8
"""Chosen by us: share of frames with a tilt below which the tag's tilt is not trusted."""
LEAST_TILT_SAMPLES = 20
"""Chosen by us: fewer cannot carry a spline and its scatter."""
LEAST_HUB_RADIUS_M = 0.5
"""Chosen by us: no putter hangs from a hub lower than this; a smaller fitted radius is noise."""

TiltSource = Literal["tag", "arc", "none"]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class HeadMotion:
    """The head's floor on a fine time grid, shape (n,) each; two samples at the impact, one a side."""

    t_s: FloatArray
    """Clip time [s]; never decreasing."""
    x_m: FloatArray
    """Reference point along the target line [m]; origin under the ball at rest."""
    rise_m: FloatArray
    """Height of the reference point above its height at address [m]."""
    vx_mps: FloatArray
    """Velocity along the target line [m/s]."""
    vz_mps: FloatArray
    """Upward velocity [m/s]."""
    tilt_rad: FloatArray
    """Tilt [rad]; negative on the backswing side, where the floor slopes down toward the target."""
    tilt_rate_radps: FloatArray
    """Rate of the tilt [rad/s]."""
    tilt_acceleration_radps2: FloatArray
    """Second derivative of the tilt [rad/s^2]."""
    tangential_mps2: FloatArray
    """Specific force along the floor, a_t + g sin(theta) [m/s^2]; positive pushes the coin backward."""
    normal_mps2: FloatArray
    """Specific force across the floor, g cos(theta) + normal acceleration [m/s^2]."""
    demand_sd: FloatArray
    """Standard deviation of tangential over normal force, from that of the acceleration and the tilt [-]."""
    impact_index: int
    """Index of the first sample after impact; n where there is none."""
    impact_step_mps: float
    """Change of the head's velocity along x at impact [m/s]; negative as the ball takes speed."""
    tilt_source: TiltSource
    """'tag' (measured), 'arc' (from the hub radius) or 'none' (taken as zero)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @property
    def demand(self) -> FloatArray:
        """Friction demand f_t / f_n over the stroke, shape (n,) [-]; positive backward."""
        return self.tangential_mps2 / self.normal_mps2


def head_motion(
    profile: Profile,
    *,
    impact_s: float,
    hub_radius_m: float = math.nan,
    gravity_mps2: float = STANDARD_GRAVITY_MPS2,
    step_s: float = GRID_STEP_S,
) -> HeadMotion:
    """Return the motion of the head's floor from a smoothed stroke.

    Parameters
    ----------
    profile : Profile
        The stroke along the target line; its first sample is at address.
    impact_s : float
        Impact, clip time [s]; NaN where the head meets nothing.
    hub_radius_m : float
        Radius of the head's arc [m]; NaN where unknown. It gives the head's rise, and its tilt where the tag
        gave none.
    gravity_mps2 : float
        Gravity [m/s^2].
    step_s : float
        Step of the grid, at most [s].

    Notes
    -----
    On an arc of radius R with slope phi, x = R sin(phi): a_s = (a + sin(phi) v_s^2 / R) / cos(phi) along it
    and v_s^2 / R across it. The measured tilt turns the floor against that path; without it the floor is the
    path's tangent. Nothing is interpolated across impact.

    """
    after = profile.t_s > impact_s  # nowhere for NaN
    sides = [side for side in (~after, after) if side.any()]
    grids = [_grid(profile.t_s[side], step_s) for side in sides]
    t_s = np.concatenate(grids)

    def on_grid(values: FloatArray) -> FloatArray:
        return np.concatenate(
            [
                np.interp(grid, profile.t_s[side], values[side])
                for grid, side in zip(grids, sides, strict=True)
            ]
        )

    x_m, ax_mps2 = on_grid(profile.x_m), on_grid(profile.a_mps2)
    vx_mps, sd_ax_mps2 = on_grid(profile.v_mps), on_grid(profile.a_sd_mps2)
    turn = _fit_tilt(profile)
    if not hub_radius_m >= LEAST_HUB_RADIUS_M:
        hub_radius_m = _arc_radius(profile)
    path = _arc(x_m - profile.x_m[0], vx_mps, ax_mps2, hub_radius_m)
    tilt_rad, tilt_rate_radps, tilt_acceleration_radps2 = (
        path.turn if turn is None else [turn.spline(t_s, nu=order) for order in range(3)]
    )
    lift_mps2 = path.az_mps2 + gravity_mps2
    step_index = len(grids[0])
    return HeadMotion(
        t_s=t_s,
        x_m=x_m,
        rise_m=path.rise_m,
        vx_mps=vx_mps,
        vz_mps=path.vz_mps,
        tilt_rad=tilt_rad,
        tilt_rate_radps=tilt_rate_radps,
        tilt_acceleration_radps2=tilt_acceleration_radps2,
        tangential_mps2=ax_mps2 * np.cos(tilt_rad) + lift_mps2 * np.sin(tilt_rad),
        normal_mps2=lift_mps2 * np.cos(tilt_rad) - ax_mps2 * np.sin(tilt_rad),
        demand_sd=np.hypot(sd_ax_mps2 / gravity_mps2, 0.0 if turn is None else turn.sd_rad),
        impact_index=step_index,
        impact_step_mps=float(vx_mps[step_index] - vx_mps[step_index - 1]) if len(grids) > 1 else 0.0,
        tilt_source="tag" if turn is not None else "arc" if math.isfinite(hub_radius_m) else "none",
    )


class _Path(NamedTuple):
    rise_m: FloatArray
    vz_mps: FloatArray
    az_mps2: FloatArray
    turn: tuple[FloatArray, FloatArray, FloatArray]
    """Slope of the path and its two derivatives [rad, rad/s, rad/s^2]."""


def _arc(x_m: FloatArray, vx_mps: FloatArray, ax_mps2: FloatArray, radius_m: float) -> _Path:
    """Follow the arc of `radius_m` (infinite: a flat path) from its lowest point, where x is zero."""
    curvature_pm = 1 / radius_m
    sine = np.clip(x_m * curvature_pm, -0.9, 0.9)
    slope_rad = np.arcsin(sine)
    along_mps = vx_mps / np.cos(slope_rad)
    across_mps2 = along_mps**2 * curvature_pm
    along_mps2 = (ax_mps2 + sine * across_mps2) / np.cos(slope_rad)
    return _Path(
        rise_m=x_m * np.tan(slope_rad / 2),  # R (1 - cos phi), and zero on a flat path
        vz_mps=along_mps * sine,
        az_mps2=along_mps2 * sine + across_mps2 * np.cos(slope_rad),
        turn=(slope_rad, along_mps * curvature_pm, along_mps2 * curvature_pm),
    )


class _Turn(NamedTuple):
    spline: BSpline
    sd_rad: float


def _fit_tilt(profile: Profile) -> _Turn | None:
    """Smooth the tag's tilt by a least-squares spline; None where too little of it is known."""
    known = np.isfinite(profile.tilt_rad)
    if known.mean() < LEAST_TILT_SHARE or known.sum() < LEAST_TILT_SAMPLES:
        return None
    t_s, tilt_rad = profile.t_s[known], profile.tilt_rad[known]
    pieces = max(int((t_s[-1] - t_s[0]) / TILT_KNOT_SPACING_S), 1)
    inner = np.quantile(t_s, np.linspace(0, 1, pieces + 1)[1:-1])  # at quantiles: no piece without samples
    knots = np.concatenate([[t_s[0]] * 4, inner, [t_s[-1]] * 4])
    spline = make_lsq_spline(t_s, tilt_rad, knots, k=3)
    unknowns = len(knots) - 4
    scatter_rad = np.sqrt(np.sum((tilt_rad - spline(t_s)) ** 2) / max(len(t_s) - unknowns, 1))
    return _Turn(spline, float(scatter_rad * np.sqrt(unknowns / len(t_s))))


def _arc_radius(profile: Profile) -> float:
    """Return the radius on which the measured tilt follows the head; infinite where none fits."""
    known = np.isfinite(profile.tilt_rad)
    x_m = profile.x_m[known] - profile.x_m[0]
    slope = np.sum(x_m * np.sin(profile.tilt_rad[known]))
    spread = np.sum(x_m**2)
    if not slope > 0 or spread / slope < LEAST_HUB_RADIUS_M:
        return math.inf
    return float(spread / slope)


def _grid(t_s: FloatArray, step_s: float) -> FloatArray:
    return np.linspace(t_s[0], t_s[-1], max(math.ceil((t_s[-1] - t_s[0]) / step_s), 1) + 1)
