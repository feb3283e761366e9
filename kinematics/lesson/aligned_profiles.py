"""Acceleration profiles on one time axis: takeaway, top and impact of every stroke laid over each other."""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import FloatArray, StrokeMeasures, frozen_array

NODES_A_PART = 101
"""One node for each percent of the backswing and of the forward swing."""
PHASE = frozen_array(np.linspace(0.0, 2.0, 2 * NODES_A_PART - 1))
"""Phase of each node, shape (201,): 0 takeaway, 1 top of the backswing, 2 impact; linear in time between."""


def aligned_acceleration(stroke: StrokeMeasures) -> tuple[FloatArray, FloatArray]:
    """Return acceleration and its standard deviation at `PHASE`, shape (201,) each [m/s^2].

    All NaN where an event is unknown or the profile does not reach from takeaway to impact. Each part of the
    stroke is stretched linearly between its landmarks (landmark registration: Ramsay and Silverman 2005,
    Functional Data Analysis, 2nd ed., section 7.3); the values are not scaled. The last node is the left
    limit at impact as measured; samples from half a frame before impact on are not used, since the one that
    stands a microsecond after impact belongs to a head that the ball has already slowed.
    """
    profile = stroke.profile
    landmarks = np.array([stroke.takeaway_s.value, stroke.top_s.value, stroke.impact_s.value])
    frame_s = float(np.median(np.diff(profile.t_s)))
    before = profile.t_s < landmarks[2] - frame_s / 2
    missing = np.full_like(PHASE, np.nan)
    if not np.all(np.diff(landmarks) > 0) or before.sum() < 2:  # also where a landmark is NaN
        return missing, missing.copy()
    t, a, sd = profile.t_s[before], profile.a_mps2[before], profile.a_sd_mps2[before]
    if t[0] > landmarks[0] + frame_s or t[-1] < landmarks[2] - 2 * frame_s:
        return missing, missing.copy()
    if stroke.acceleration_at_impact_mps2.known:
        t = np.append(t, landmarks[2])
        a = np.append(a, stroke.acceleration_at_impact_mps2.value)
        sd = np.append(sd, stroke.acceleration_at_impact_mps2.sd)
    node_s = np.interp(PHASE, [0.0, 1.0, 2.0], landmarks)
    return np.interp(node_s, t, a), np.interp(node_s, t, sd)
