"""A stroke with a plateau-shaped forward swing, with the measures that follow from it."""

from __future__ import annotations

import math

import numpy as np
from scipy.interpolate import PchipInterpolator

from pennyfall.kinematics.values import (
    CalibrationFacts,
    Caution,
    ClipFacts,
    Estimate,
    LooseObjectBand,
    Measurement,
    Profile,
    StrokeMeasures,
    TrackingFacts,
)

FRAME_RATE_HZ = 240.0
BACKSWING_S = 0.65
FORWARD_S = 0.32
THROUGH_S = 0.45
START_X_M = -0.031
LOST_SHARE = 0.2
GRID_HZ = 2400.0
NODES_S = np.array([0, 0.12, 0.22, 0.36, 0.50, 0.65, 0.695, 0.746, 0.874, 0.938, 0.970])
SHAPE = np.array([0, -1.0, -0.75, 0.45, 1.15, 2.05, 2.72, 2.95, 2.85, 1.45, 0.10])
"""Acceleration from takeaway to impact, in arbitrary units: it rises to a plateau and ends near zero."""


def plateau_stroke(
    *, number: int = 1, takeaway_s: float = 1.2, impact_speed_mps: float = 1.5
) -> StrokeMeasures:
    """Return the measures of a stroke whose acceleration is piecewise cubic in time.

    Velocity and position are its integrals on a fine grid. At impact the head loses `LOST_SHARE` of its
    speed; afterwards a raised cosine brings it to rest. Standard deviations are of the size a 240 fps clip
    gives.
    """
    time_s = np.arange(-0.12, BACKSWING_S + FORWARD_S + THROUGH_S, 1 / GRID_HZ)
    backswing, before = time_s <= BACKSWING_S, time_s <= BACKSWING_S + FORWARD_S
    a = np.where(time_s < 0, 0.0, PchipInterpolator(NODES_S, SHAPE)(np.clip(time_s, 0, NODES_S[-1])))
    home, away = np.sum(a[backswing & (a > 0)]), np.sum(a[backswing & (a < 0)])
    a[a < 0] *= -home / away  # the head stands still at the top
    a *= impact_speed_mps / (np.sum(a[before]) / GRID_HZ)
    v = np.cumsum(a) / GRID_HZ
    after_s = time_s[~before] - BACKSWING_S - FORWARD_S
    left_mps = (1 - LOST_SHARE) * impact_speed_mps
    v[~before] = left_mps * 0.5 * (1 + np.cos(math.pi * after_s / THROUGH_S))
    a[~before] = -left_mps * 0.5 * math.pi / THROUGH_S * np.sin(math.pi * after_s / THROUGH_S)
    x = np.cumsum(v) / GRID_HZ + START_X_M
    top = int(np.argmin(np.abs(time_s - BACKSWING_S)))
    impact = int(np.nonzero(before)[0][-1])
    frames = np.unique(np.concatenate([np.arange(0, len(time_s), 10), [impact, impact + 1]]))
    sd = (
        0.16
        + 0.25 * np.exp(-((time_s - time_s[impact]) ** 2) / 0.02**2)
        + 0.2 * np.exp(-(time_s - time_s[0]) / 0.02)
    )
    peak = int(np.argmax(np.where(before, a, -np.inf)))
    last = before & (time_s > time_s[impact] - 0.020)
    fastest = int(np.argmax(np.where(before, v, -np.inf)))
    radius_m = 1.1
    return StrokeMeasures(
        number=number,
        direction="with the arrow",
        takeaway_s=Estimate(takeaway_s, 0.009),
        top_s=Estimate(takeaway_s + BACKSWING_S, 0.0007),
        impact_s=Estimate(takeaway_s + BACKSWING_S + FORWARD_S, 0.0004),
        finish_s=Estimate(takeaway_s + BACKSWING_S + FORWARD_S + THROUGH_S, 0.002),
        impact_source="ball",
        backswing_s=Estimate(BACKSWING_S, 0.0091),
        forward_swing_s=Estimate(FORWARD_S, 0.0008),
        tempo_ratio=Estimate(BACKSWING_S / FORWARD_S, 0.03),
        backswing_length_m=Estimate(float(START_X_M - x[top]), 0.0009),
        through_length_m=Estimate(float(x[-1] - x[impact]), 0.0012),
        acceleration_at_top_mps2=Estimate(float(a[top]), 0.17),
        peak_acceleration_mps2=Estimate(float(a[peak]), 0.18),
        peak_acceleration_s=Estimate(takeaway_s + float(time_s[peak]), 0.02),
        peak_acceleration_share=Estimate((float(time_s[peak]) - BACKSWING_S) / FORWARD_S, 0.06),
        acceleration_at_impact_mps2=Estimate(float(a[impact]), 0.41),
        acceleration_before_impact_mps2=Estimate(float(np.mean(a[last])), 0.29),
        peak_speed_mps=Estimate(float(v[fastest]), 0.004),
        peak_speed_after_impact_s=Estimate(float(time_s[fastest] - time_s[impact]), 0.003),
        impact_speed_mps=Estimate(float(v[impact]), 0.005),
        speed_lost_share=Estimate(LOST_SHARE, 0.006),
        ball_speed_mps=Estimate(1.57 * impact_speed_mps, 0.02),
        ball_to_head_ratio=Estimate(1.57, 0.014),
        spectral_arc_length=Estimate(-1.62, 0.02),
        log_dimensionless_jerk=Estimate(-6.4, 0.1),
        head_tilt_range_rad=Estimate(math.radians(24.0), math.radians(0.4)),
        hub_radius_m=Estimate(radius_m, 0.03),
        profile=Profile(
            t_s=takeaway_s + time_s[frames],
            x_m=x[frames],
            v_mps=v[frames],
            a_mps2=a[frames],
            a_sd_mps2=sd[frames],
            tilt_rad=x[frames] / radius_m,
        ),
        loose_object=LooseObjectBand(
            friction=(0.15, 0.35),
            outcome="leaves",
            peak_friction_demand=Estimate(0.41, 0.02),
            slip_s=(takeaway_s + 0.58, takeaway_s + 0.71),
            leave_s=(takeaway_s + 0.74, takeaway_s + 0.84),
            leave_x_m=(-0.24, -0.19),
            landing_x_m=(-0.15, -0.08),
        ),
    )


def by_sheet() -> CalibrationFacts:
    """Return a scale that rests on the sheet and a club file."""
    return CalibrationFacts(
        source="sheet",
        focal_source="sheet",
        focal_px=Estimate(1600.0, 20.0),
        reprojection_rms_px=0.11,
        scale_rel_sd=0.003,
        tag_height_m=Estimate(0.0303, 0.0005),
        tag_height_source="club-file",
        camera_position_m=(0.1, -1.05, 0.75),
        camera_moved=False,
    )


def measurement(*strokes: StrokeMeasures, warnings: tuple[Caution, ...] = ()) -> Measurement:
    """Return a measurement of a 240 fps clip that holds `strokes`."""
    return Measurement(
        clip=ClipFacts(
            file="larch.mp4",
            sha256="0" * 64,
            width=1280,
            height=720,
            rotation_deg=0,
            codec="h264",
            frames=612,
            duration_s=2.55,
            frame_rate_hz=FRAME_RATE_HZ,
            frame_interval_sd_s=0.0,
            slow_motion_factor=1.0,
            time_source="timestamps",
            frames_dropped=0,
        ),
        calibration=by_sheet(),
        tracking=TrackingFacts(
            method="tag", frames_seen_share=0.98, noise_sd_m=0.0001, innovation_ratio=1.02
        ),
        strokes=strokes,
        warnings=warnings,
    )
