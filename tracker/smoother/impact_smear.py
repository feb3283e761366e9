"""The frame whose exposure the impact falls into shows the head where it never was at mid-exposure.

The picture shows the mean place over the exposure. Where the speed steps down within it, that mean lies
behind the place at mid-exposure, by as much as an eighth of step times exposure: at 1/600 s that is 0.06 mm,
more than the tag's scatter, and it happens exactly where the acceleration at impact is read.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pennyfall.tracker.smoother.chain import StrokeFrames

UNTOLD_SHARE = 0.25
"""Chosen by us: exposure over frame interval where no smear told it; indoors phones expose for 1/1000 s and
longer."""
TOLD_SD = 0.2
UNTOLD_SD = 1.0
"""Chosen by us: relative standard deviation of the shift, the exposure being told by the smear or not."""


def undo_impact_smear(
    frames: StrokeFrames, impact_s: float, impact_sd_s: float, step_mps: float, exposure_s: float
) -> StrokeFrames:
    """Return the frames with the one that saw the impact put where the head was at mid-exposure.

    Parameters
    ----------
    frames : StrokeFrames
        The frames around the stroke.
    impact_s, impact_sd_s : float
        Impact instant and its standard deviation [s].
    step_mps : float
        Speed lost at impact [m/s].
    exposure_s : float
        Exposure time; NaN where not known [s].

    Notes
    -----
    With the impact at d from mid-exposure, the mean over the exposure e of a place whose velocity steps down
    by D is behind the place at mid-exposure by D (e/2 - |d|)^2 / (2 e), on either side of the impact.

    """
    time, x = frames.visible()
    told = bool(np.isfinite(exposure_s))
    exposure = exposure_s if told else UNTOLD_SHARE * float(np.median(np.diff(time)))
    if exposure <= 0 or step_mps <= 0:
        return frames
    within = np.maximum(exposure / 2 - np.abs(time - impact_s), 0.0)
    behind = step_mps * within**2 / (2 * exposure)
    doubt = np.hypot((TOLD_SD if told else UNTOLD_SD) * behind, step_mps * within / exposure * impact_sd_s)
    moved = frames.x.copy()
    moved[frames.seen] = x + behind
    errors = replace(frames.errors, independent_m2=frames.errors.independent_m2 + doubt**2)
    return replace(frames, x=moved, errors=errors)
