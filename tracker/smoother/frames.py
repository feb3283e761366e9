"""The frames around one stroke, how large their error in motion really is, and how far it is correlated.

No blanket factor widens the intervals. They were once 1.4 times as wide, for registration errors that follow
the place in the picture. Against the truth of the seven shipped clips, errors at the same place on two passes
have no covariance (below 2e-4 px^2 of a variance of 1.2e-3 to 2.4e-3 px^2); what a cubic in the place leaves
is white but for a lag-one correlation of 0 to 0.2.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.interpolate import BSpline

from pennyfall.kinematics.stroke.beliefs import NOISE_LAG_ONE, NOISE_SCALE
from pennyfall.kinematics.stroke.takeaway import DEADBAND_SDS, repeated
from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays
from pennyfall.tracker.clip.frame import USUAL_EXPOSURE_SHARE

DEGREE = 5
KNOT_INTERVAL_S = 0.05
"""Chosen by us: half of the shortest feature of a stroke's acceleration; the spline then errs by microns
only."""
FRAMES_PER_KNOT = 2.5
"""Chosen by us: below this the spline swallows the noise it is meant to leave."""
LAG_ONE_GRID = np.arange(-0.2, 0.81, 0.1)
FLOOR_M = 2e-5
"""Chosen by us: no phone camera at arm's length locates a tag better than 0.02 mm."""
SHAKEN_S = 0.02
"""Chosen by us: how long the error of a shaken camera's pose stays alike; it follows the tags over the pixels
(`head_path.SHAKEN_PX`)."""
INDEPENDENT_SD_M = 1e-6
"""A micrometre keeps the filter regular."""
RIDGE = 1e-3
EXPOSURE_KNOWN_SD, EXPOSURE_ASSUMED_SD = 0.2, 1.0
"""Chosen by us: relative standard deviation of the shift that an impact within the exposure causes, where the
smear shows how long that is, and where it does not."""


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasurementNoise:
    """The frame-to-frame error of the position in motion."""

    scale: float
    """True over stated standard deviation."""
    lag_one: float
    """Correlation of the errors of neighbouring frames."""


AS_STATED = MeasurementNoise(scale=1.0, lag_one=NOISE_LAG_ONE.certain().mean)
"""Before a motion has told better."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FrameErrors:
    """The error model of each seen frame, for a filter that carries the error as a state."""

    sd_m: FloatArray
    """Standard deviation, shape (n,) [m]."""
    carry: FloatArray
    """Correlation with the error of the seen frame before, shape (n,)."""
    independent_m2: FloatArray
    """Variance of what is independent in each frame, shape (n,) [m^2]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def of(self, frames: BoolArray) -> FrameErrors:
        """Return those of some of the frames."""
        return FrameErrors(
            sd_m=self.sd_m[frames], carry=self.carry[frames], independent_m2=self.independent_m2[frames]
        )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class StrokeFrames:
    """The frames around one stroke."""

    time: FloatArray
    """Shape (n,) [s]."""
    x: FloatArray
    """Position along the target line, shape (n,) [m]; NaN where not seen."""
    seen: BoolArray
    """Shape (n,)."""
    errors: FrameErrors
    """Error model of the seen frames only."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def visible(self) -> tuple[FloatArray, FloatArray]:
        """Return time and position of the seen frames."""
        return self.time[self.seen], self.x[self.seen]


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
        return AS_STATED
    step = np.diff(time_s)
    lag = np.maximum(np.rint(step / np.median(step)), 1.0)
    system = np.column_stack([basis, x_m]) / sd_m[:, None]
    # A gap may leave a spline coefficient unsupported: a whiff of a prior keeps the system regular.
    ridge = RIDGE * np.eye(system.shape[1])[:-1]
    scale_prior = NOISE_SCALE.certain()
    weights, scales = [], []
    for correlation in LAG_ONE_GRID:
        carried = np.sign(correlation) ** lag * np.abs(correlation) ** lag
        left = np.sqrt(1 - carried**2)
        white = system.copy()
        white[1:] = (system[1:] - carried[:, None] * system[:-1]) / left[:, None]
        triangle = np.abs(np.diag(np.linalg.qr(np.vstack([white, ridge]), mode="r")))
        rest = triangle[-1] ** 2
        log_scale = 0.5 * np.log(rest / freedom)
        # The log scale is close to normal with precision 2 * freedom: combine it with its prior about zero.
        combined = log_scale / (1 + scale_prior.log_sd**-2 / (2 * freedom))
        weights.append(
            -freedom * combined
            - 0.5 * rest / np.exp(2 * combined)
            - np.sum(np.log(left))
            - np.sum(np.log(triangle[:-1]))
            + NOISE_LAG_ONE.certain().log_density(correlation)
            + scale_prior.log_density(np.exp(combined))
        )
        scales.append(combined)
    weight = np.exp(np.array(weights) - np.max(weights))
    weight /= weight.sum()
    return MeasurementNoise(
        scale=float(np.exp(weight @ np.array(scales))), lag_one=float(weight @ LAG_ONE_GRID)
    )


def frame_errors(
    time_s: FloatArray,
    x_m: FloatArray,
    sd_m: FloatArray,
    noise: MeasurementNoise,
    *,
    shaken_sd_m: float = 0.0,
) -> FrameErrors:
    """Return the error model of the seen frames.

    Where the camera was held, the slow error of its pose is carried from frame to frame, and the tag's own
    error counts as independent.

    A run of identical frames is one picture with one error, so the error is carried over whole; what the
    codec may have hidden meanwhile is independent.
    """
    sd = np.maximum(sd_m * noise.scale, FLOOR_M)
    step = np.diff(time_s, prepend=time_s[0] - 1.0)
    carry = max(noise.lag_one, 0.0) ** np.maximum(np.rint(step / np.median(step[1:])), 1.0)
    same = repeated(x_m, sd_m)
    if shaken_sd_m > 0:
        return FrameErrors(
            sd_m=np.full(len(sd), shaken_sd_m),
            carry=np.where(same, 1.0, np.exp(-step / SHAKEN_S)),
            independent_m2=sd**2,
        )
    return FrameErrors(
        sd_m=sd,
        carry=np.where(same, 1.0, carry),
        independent_m2=np.where(same, (DEADBAND_SDS * sd) ** 2, INDEPENDENT_SD_M**2),
    )


def _spline_basis(time_s: FloatArray, breaks: tuple[tuple[float, int], ...]) -> FloatArray:
    start, end = time_s[0], time_s[-1]
    spacing = max(KNOT_INTERVAL_S, FRAMES_PER_KNOT * float(np.median(np.diff(time_s))))
    edges = [start, *(t for t, _ in sorted(breaks) if start + spacing < t < end - spacing), end]
    multiplicity = {t: DEGREE + 1 - order for t, order in breaks}
    knots = [np.repeat(start, DEGREE + 1)]
    for left, right in pairwise(edges):
        pieces = max(round((right - left) / spacing), 1)
        knots.append(np.linspace(left, right, pieces + 1)[1:-1])
        knots.append(np.repeat(right, DEGREE + 1 if right == end else multiplicity[right]))
    knot = np.concatenate(knots)
    basis: FloatArray = BSpline.design_matrix(time_s, knot, DEGREE).toarray()
    return basis


def undo_impact_smear(
    frames: StrokeFrames, impact_s: float, impact_sd_s: float, step_mps: float, exposure_s: float
) -> StrokeFrames:
    """Return the frames with the one that saw the impact put where the head was at mid-exposure.

    That picture shows the mean place over the exposure, where the head never was at mid-exposure: at
    1/600 s it lies off by 0.06 mm, more than the tag's scatter, exactly where the acceleration at impact is
    read.

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
    known = bool(np.isfinite(exposure_s))
    exposure = exposure_s if known else USUAL_EXPOSURE_SHARE * float(np.median(np.diff(time)))
    if exposure <= 0 or step_mps <= 0:
        return frames
    within = np.maximum(exposure / 2 - np.abs(time - impact_s), 0.0)
    behind = step_mps * within**2 / (2 * exposure)
    doubt = np.hypot(
        (EXPOSURE_KNOWN_SD if known else EXPOSURE_ASSUMED_SD) * behind,
        step_mps * within / exposure * impact_sd_s,
    )
    moved = frames.x.copy()
    moved[frames.seen] = x + behind
    errors = replace(frames.errors, independent_m2=frames.errors.independent_m2 + doubt**2)
    return replace(frames, x=moved, errors=errors)
