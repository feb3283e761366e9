"""When and how fast the ball left: a rest, then a launch that slides to a slower pace."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.stroke.launch_fit import FIT_WINDOW_S, LaunchFrames, fit_departure, frame_covariance
from pennyfall.kinematics.stroke.tracks import BallTrack
from pennyfall.kinematics.values import Estimate, FloatArray

GONE_M = 0.02
"""Chosen by us: a ball nudged at address moves by millimetres; one struck is 2 cm away within two frames."""
TOUCHED_M = 0.004
"""Chosen by us: less than this is noise or a nudge."""
REST_WINDOW_S = 0.25
"""Chosen by us: the rest position is that of the last quarter second, in case the ball was touched before."""
CONTACT_TIME_SD_S = 5e-5
"""Chosen by us: contact lasts about 0.5 ms (USGA, see the launch tests), and the way back to the rest meets
its middle; by this much it may lie off that."""
SHIFT_SD_M = 1.2e-4
"""By this much a moving ball's outline lies off that of the resting one: 0.00 to 0.26 mm on clips rendered
with known truth, 0.12 in the mean square."""
STRADDLING_SD_SHARE = 1 / 16
"""A frame exposed across the departure shows two balls: between the place most of its light says and the mean
place lies up to an eighth of the smear."""
START_SHARES = (0.1, 0.9)
"""Chosen by us: between the last frame of the resting ball and the first of the moving one, the fit starts
here. At 30 frames/s it stayed at the last frame of rest before: impact 5.1 ms early, stated to 0.4."""
HIDDEN_UNHARMFUL_S, HIDDEN_DECELERATION_SD_MPS2 = 0.02, 2.0
"""Chosen by us: a ball first seen a frame or so after it left tells its launch; one hidden for longer slid,
hopped or rolled meanwhile, with anything between none and 0.4 g."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Launch:
    """A ball's departure."""

    impact_s: Estimate
    """Instant of departure, clip time [s]."""
    speed_mps: Estimate
    """Speed just after impact [m/s]."""
    faster_when_later_mps2: float
    """By how much the ball was faster if it left later: the slope of the speed over the instant, by the
    covariance of their errors [m/s^2]."""

    def speed_given(self, impact: Estimate) -> Estimate:
        """Return the speed [m/s] once the head, too, has told the instant of impact [s]."""
        later_s = impact.value - self.impact_s.value
        learned = self.faster_when_later_mps2**2 * (self.impact_s.sd**2 - impact.sd**2)
        return Estimate(
            self.speed_mps.value + self.faster_when_later_mps2 * later_s,
            math.sqrt(self.speed_mps.sd**2 - learned),
        )


def fit_launch(ball: BallTrack, *, exposure_s: float = math.nan) -> Launch | None:
    """Return the launch of a ball, or None when it never left.

    Departure instant, launch speed, sliding deceleration and the error of the rest position are fitted
    together by generalised least squares; the deceleration has a prior, so that two or three frames of the
    moving ball suffice. So have an offset and a drift of the moving frames, which stand for what a long smear
    hides.

    Parameters
    ----------
    ball : BallTrack
        The ball over the whole clip.
    exposure_s : float
        Exposure time, where it is known [s].

    """
    finite = np.isfinite(ball.x_m) & np.isfinite(ball.time_s)
    time, x, y = ball.time_s[finite], ball.x_m[finite], ball.y_m[finite]
    leaving = _departure_index(x)
    if leaving is None or not ball.at_rest[finite][:leaving].any():
        return None
    rest = np.flatnonzero(time[:leaving] >= time[leaving - 1] - REST_WINDOW_S)
    moving = np.flatnonzero((np.arange(len(time)) >= leaving) & (time <= time[leaving] + FIT_WINDOW_S))
    if len(moving) < 2:
        return None
    place_m = float(np.median(x[rest]))
    speed = float(np.median(np.diff(x[moving[:6]]) / np.diff(time[moving[:6]])))
    # Well inside the gap: at a resting frame the misfit has a kink, in which the fit would stay.
    early, late = np.interp(START_SHARES, [0.0, 1.0], time[leaving - 1 : leaving + 1])
    start_s = float(np.clip(time[leaving] - (x[leaving] - place_m) / speed, early, late))
    sd = ball.sd_x_m[finite]
    use = np.concatenate([rest[-3:], moving])
    # A frame just after the departure may still lie within a nudge of the rest.
    moves = (use >= leaving) | ~ball.at_rest[finite][use]
    exposure_s = exposure_s if math.isfinite(exposure_s) else 0.0
    straddling = np.abs(time[use] - start_s) < exposure_s / 2
    frame_sd = np.where(straddling, np.hypot(sd[use], STRADDLING_SD_SHARE * abs(speed) * exposure_s), sd[use])
    frames = LaunchFrames(
        time_s=time[use],
        way_m=x[use] - place_m,
        moves=moves,
        covariance_m2=frame_covariance(x[use], frame_sd, moves, ball.turning_sd_m),
        # Frames of the resting ball are often the same picture: together they know its place as one does.
        rest_sd_m=math.hypot(float(np.median(sd[rest])), SHIFT_SD_M),
        exposure_s=exposure_s,
    )
    departure, launch_speed, covariance_m = fit_departure(frames, start_s, speed)
    # Extrapolated to the departure over frames in which the ball was hidden, the speed is less sure.
    hidden_s = max(float(time[leaving]) - departure.value - HIDDEN_UNHARMFUL_S, 0.0)
    launch_speed = launch_speed.widened(HIDDEN_DECELERATION_SD_MPS2 * hidden_s)
    launch_speed = launch_speed.widened(ball.speed_rel_sd * launch_speed.value)
    sideways = float(np.median((y[moving] - np.median(y[rest])) / (x[moving] - place_m)))
    along_path = float(np.hypot(1.0, sideways))
    impact = departure.widened(CONTACT_TIME_SD_S)
    return Launch(
        impact_s=impact,
        speed_mps=Estimate(launch_speed.value * along_path, launch_speed.sd * along_path),
        faster_when_later_mps2=covariance_m * along_path / impact.sd**2,
    )


def _departure_index(x: FloatArray) -> int | None:
    """Return the first frame after the last one in which the ball, later gone, lay near its rest position."""
    if len(x) < 3:
        return None
    gone = np.flatnonzero(np.abs(x - np.median(x[: max(3, len(x) // 10)])) > GONE_M)
    if not len(gone):
        return None
    first_gone = int(gone[0])
    level = float(np.median(x[max(0, first_gone - 20) : max(first_gone - 2, 1)]))
    resting = np.flatnonzero(np.abs(x[:first_gone] - level) < TOUCHED_M)
    return int(resting[-1]) + 1 if len(resting) else None
