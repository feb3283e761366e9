"""The value types that every room shares: an estimate, a profile, a measured stroke."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

Direction = Literal["with the arrow", "against the arrow"]
ImpactSource = Literal["ball", "head", "sound"]


INTERVAL_SDS = 1.959963984540054
"""Half-width of a 95 % interval, in standard deviations (the normal distribution's 97.5 % point)."""

STANDARD_GRAVITY_MPS2 = 9.80665
"""Standard acceleration of free fall, 3rd CGPM (1901) [m/s^2]."""

BALL_RADIUS_M = 0.021335
"""Half the least diameter, 1.680 in or 42.67 mm (USGA, Rules of Golf 2016, appendix III); balls are
made to it [m]."""

STRADDLING_SD_SHARE = 1 / 16
"""A frame exposed across a ball's departure shows two balls: between the place most of its light says and the
mean place lies up to an eighth of the smear."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its standard deviation; NaN where it could not be measured."""

    value: float
    """Best estimate, in SI units."""
    sd: float
    """One standard deviation, same unit."""

    @classmethod
    def missing(cls) -> Estimate:
        """Return the estimate of something that could not be measured."""
        return cls(math.nan, math.nan)

    @property
    def known(self) -> bool:
        """Whether there is a value at all."""
        return not math.isnan(self.value)

    def interval(self, sds: float = INTERVAL_SDS) -> tuple[float, float]:
        """Return the symmetric interval of `sds` standard deviations (default: 95 % of a normal)."""
        return self.value - sds * self.sd, self.value + sds * self.sd

    def widened(self, sd: float) -> Estimate:
        """Return the same value with one more independent error, given by its standard deviation."""
        return Estimate(self.value, math.hypot(self.sd, sd))


def frozen_array(values: Sequence[float] | FloatArray) -> FloatArray:
    """Return a read-only float copy of `values` (freezing a dataclass alone does not freeze its arrays)."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def freeze_arrays(instance: Any) -> None:  # noqa: ANN401 - any frozen dataclass
    """Replace every array field of a frozen dataclass by a read-only copy; call from ``__post_init__``.

    An array of its own that is read-only already stays: rows of a film are too large to be held twice.
    """
    for each in fields(instance):
        value = getattr(instance, each.name)
        if isinstance(value, np.ndarray) and (value.flags.writeable or not value.flags.owndata):
            copy = value.copy()
            copy.setflags(write=False)
            object.__setattr__(instance, each.name, copy)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Profile:
    """The smoothed stroke along the target line, from shortly before takeaway to the finish."""

    t_s: FloatArray
    """Clip time, shape (n,) [s]; strictly increasing, one sample a frame and one at each side of impact."""
    x_m: FloatArray
    """Position along the target line, shape (n,) [m]; origin under the ball at rest."""
    v_mps: FloatArray
    """Velocity, shape (n,) [m/s]; positive toward the target."""
    a_mps2: FloatArray
    """Acceleration, shape (n,) [m/s^2]; positive toward the target."""
    a_sd_mps2: FloatArray
    """Standard deviation of the acceleration, shape (n,) [m/s^2]."""
    tilt_rad: FloatArray
    """Head tilt about the axis across the target line, shape (n,) [rad]; negative on the backswing side, NaN
    where unknown."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


CoinOutcome = Literal["leaves", "stays on", "either"]

CoinSeen = Literal["left", "stayed", "no coin", "not told"]
"""What the clip shows of a coin on the head in one stroke."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LooseObjectBand:
    """Where a loose object leaves the head, as bands over the friction range."""

    friction: tuple[float, float]
    """Lowest and highest static friction coefficient considered [-]."""
    outcome: CoinOutcome
    """Over the whole friction range; 'either' where it decides (leaves at low friction, stays on at high)."""
    peak_friction_demand: Estimate
    """Largest tangential over normal specific force before impact [-]."""
    slip_s: tuple[float, float] | None
    """Earliest and latest slip instant, clip time [s]."""
    leave_s: tuple[float, float] | None
    """Earliest and latest instant it passes the edge, clip time [s]."""
    leave_x_m: tuple[float, float] | None
    """Object position along the target line when it leaves [m]."""
    landing_x_m: tuple[float, float] | None
    """Landing spot along the target line from the ball [m]."""
    seen: CoinSeen = "not told"
    """What the picture shows of a coin on the head."""
    place_on_head_m: Estimate = field(default_factory=Estimate.missing)
    """The coin's middle from the tracked point at address, as seen, positive toward the face [m]."""
    observed_leave_s: Estimate = field(default_factory=Estimate.missing)
    """When the coin was seen to pass the rear edge, clip time [s]."""
    observed_landing_x_m: Estimate = field(default_factory=Estimate.missing)
    """Where it lay afterwards, seen in the clip or typed in, along the target line from the ball [m]."""

    @property
    def leaving_s(self) -> tuple[float, float] | None:
        """When it leaves, seen or else predicted, clip time [s]; None where it stays or there is none."""
        if self.seen in ("stayed", "no coin"):
            return None
        return self.observed_leave_s.interval() if self.observed_leave_s.known else self.leave_s


@dataclass(frozen=True, kw_only=True, slots=True)
class StrokeMeasures:
    """Every quantity measured on one stroke; names and units are those of the measurement file."""

    number: int
    direction: Direction
    takeaway_s: Estimate
    top_s: Estimate
    impact_s: Estimate
    finish_s: Estimate
    impact_source: ImpactSource
    backswing_s: Estimate
    forward_swing_s: Estimate
    tempo_ratio: Estimate
    backswing_length_m: Estimate
    through_length_m: Estimate
    acceleration_at_top_mps2: Estimate
    peak_acceleration_mps2: Estimate
    peak_acceleration_s: Estimate
    peak_acceleration_share: Estimate
    acceleration_at_impact_mps2: Estimate
    acceleration_before_impact_mps2: Estimate
    peak_speed_mps: Estimate
    peak_speed_after_impact_s: Estimate
    impact_speed_mps: Estimate
    speed_lost_share: Estimate
    ball_speed_mps: Estimate
    ball_to_head_ratio: Estimate
    spectral_arc_length: Estimate
    log_dimensionless_jerk: Estimate
    head_tilt_range_rad: Estimate
    hub_radius_m: Estimate
    profile: Profile
    loose_object: LooseObjectBand | None = None
    practice: bool = False
    """True for a stroke without a ball: ``impact_s`` is then the pass of the ball's former place or of the
    lowest point, and the warnings say which."""


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning a coach can act on."""

    code: str
    """Short word for programs, such as 'short-clip'."""
    message: str
    """One sentence for people."""
    touches: tuple[str, ...] = ()
    """The figures it bears on, by their names in the measurement file."""


@dataclass(frozen=True, slots=True)
class Noticed:
    """Something a coach has cause to know, as found: the words for it are chosen above."""

    code: str
    """The caution's code."""
    numbers: Mapping[str, float]
    """What its words need."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ClipFacts:
    """What the file is; names as in the measurement file."""

    file: str
    sha256: str
    width: int
    height: int
    rotation_deg: int
    codec: str
    frames: int
    duration_s: float
    frame_rate_hz: float
    frame_interval_sd_s: float
    slow_motion_factor: float
    time_source: Literal["timestamps", "stated", "metadata"]
    frames_dropped: int
    time_base: str = ""
    """Where the times come from, in one sentence."""
    capture_rate_hz: float = math.nan
    """Rate the times were derived from; NaN where they are the file's own [Hz]."""
    frames_repeated: int = 0
    """Frames that repeat the picture before them under a new timestamp, and were left out."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RollingShutter:
    """What the rows' own times do to the strokes of a clip."""

    readout_s: float
    """Time from the first row's exposure to the last row's, as stated; NaN where not known [s]."""
    impact_row_share: float
    """Where in the read-out the head lies at the first impact: 0 first row, 1 last."""
    impact_row_time_s: float
    """Time of that row from the middle row's; NaN where the read-out is not known [s]."""
    largest_shift_s: float
    """Most by which the times as a whole may be off [s]; 0 where the read-out is known."""
    largest_duration_error_s: float
    """Most by which a duration may be off [s]; 0 where the read-out is known."""
    words: str
    """The same in words."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SoundedStroke:
    """The click of one stroke."""

    number: int
    """The stroke's number."""
    click_s: Estimate
    """When the click is heard, clip time [s]; missing where none was heard."""
    click_after_impact_s: Estimate
    """That, from the picture's impact [s]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SoundCheck:
    """The clip's sound beside its picture; it moves no result."""

    strokes: tuple[SoundedStroke, ...]
    offset_s: Estimate
    """Sound later than picture, common to the clip's strokes [s]; missing where no click was heard."""
    travel_s: float
    """What the way from ball to phone makes of it [s]."""
    consistent: bool | None
    """Whether the strokes agree on the offset; None with fewer than two clicks."""
    words: str
    """The same in words."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CalibrationFacts:
    """How pixels became metres; names as in the measurement file."""

    source: Literal["sheet", "head-tag", "ball", "stated"]
    focal_source: Literal["lens-file", "sheet", "assumed"]
    focal_px: Estimate
    reprojection_rms_px: float
    scale_rel_sd: float
    tag_height_m: Estimate
    tag_height_source: Literal["club-file", "stated", "estimated"]
    camera_position_m: tuple[float, float, float]
    camera_moved: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class TrackingFacts:
    """How well the head was followed; names as in the measurement file."""

    method: Literal["tag", "dot", "patch", "bare"]
    frames_seen_share: float
    noise_sd_m: float
    innovation_ratio: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Measurement:
    """One clip measured: the content of a measurement file."""

    clip: ClipFacts
    calibration: CalibrationFacts
    tracking: TrackingFacts
    strokes: tuple[StrokeMeasures, ...]
    warnings: tuple[Caution, ...] = field(default=())
    rolling_shutter: RollingShutter | None = None
    sound: SoundCheck | None = None
    """None where the clip has no sound."""
