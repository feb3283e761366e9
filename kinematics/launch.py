"""When and how fast the ball left: a rest, then a launch that slides to a slower pace."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from pennyfall.kinematics.tracks import BallTrack
from pennyfall.kinematics.values import BoolArray, Estimate, FloatArray

GONE_M = 0.02
"""Chosen by us: a ball nudged at address moves by millimetres; one struck is 2 cm away within two frames."""
TOUCHED_M = 0.004
"""Chosen by us: less than this is noise or a nudge."""
FIT_WINDOW_S = 0.12
"""Chosen by us: long enough for ten frames at 60 a second, short enough for the launch to dominate."""
REST_WINDOW_S = 0.25
"""Chosen by us: the rest position is that of the last quarter second, in case the ball was touched before."""
DECELERATION_PRIOR = (3.3, 1.5)
"""Mean and sd [m/s^2], chosen by us: mu_k g for mu_k from 0.1 to 0.6 (ball on carpet or green; common
practice, no source)."""
ROLLING_PRIOR = (0.6, 0.25)
"""Mean and sd of the deceleration of the roll [m/s^2], chosen by us: Stimpmeter readings of 7 to 13 ft mean
0.8 to 0.4 (`roll.STIMPMETER_RELEASE_MPS`)."""
CONTACT_TIME_SD_S = 5e-5
"""Chosen by us: contact lasts about 0.5 ms (USGA, see the launch tests), and the way back to the rest meets
its middle; by this much it may lie off that."""
SHIFT_SD_M = 1.2e-4
"""By this much a moving ball's outline lies off that of the resting one: 0.00 to 0.26 mm on clips rendered
with known truth, 0.12 in the mean square."""
TURNING_REACH_M = 0.025
"""Over this way the error of a turning ball's outline stays alike: in clips rendered with known truth the
moving ball's error, 0.09 to 0.22 mm, was correlated by 0.64 from frame to frame at 240 frames/s and by 0 to
0.4 at 120."""
SMEAR_UNHARMFUL_M = 0.007
"""Chosen by us: a ball smeared by a sixth of its diameter still shows both of its edges plainly."""
SMEAR_OFFSET_SHARE = 0.45
SMEAR_DRIFT_SHARE = 0.7
"""As shares of the smear beyond that: where the edges run into each other and into the head behind, all
early frames err alike, and less and less as the ball slows and gets clear of the head. In clips rendered at
30 and 60 frames/s with smears of 11 to 40 mm the offset was 0.11 to 0.74 of it, 0.45 in the mean square, and
the drift over the fitted time up to 0.9."""
STRADDLING_SD_SHARE = 1 / 16
"""A frame exposed across the departure shows two balls: between the place most of its light says and the mean
place lies up to an eighth of the smear."""
START_SHARES = (0.1, 0.9)
"""Chosen by us: between the last frame of the resting ball and the first of the moving one, the fit starts
here."""
EXPOSURE_INSTANTS = 9
"""Chosen by us: instants that stand for an exposure; the mean of a ramp is then right to one per cent."""
OUTLIER_SDS = 3.0
"""Chosen by us: residuals beyond count ever less (Cauchy's loss), so that a smeared frame cannot pull."""

SCALE_LOG_SD = 0.5
"""Sd of the log ratio of true to stated sd of a moving frame, chosen by us: as of the head's frames."""
FEWEST_TO_CORRELATE, MOST_CARRY = 6, 0.9
"""Chosen by us: fewer residuals do not tell their correlation, and even a slow error changes within the
fitted time."""
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
    frames_moving: int
    """How many frames of the moving ball the fit rests on."""


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
    sd = np.maximum(ball.sd_x_m[finite], 1e-5)
    leaving = _departure_index(x)
    if leaving is None or not ball.at_rest[finite][:leaving].any():
        return None
    rest = np.flatnonzero(time[:leaving] >= time[leaving - 1] - REST_WINDOW_S)
    moving = np.flatnonzero((np.arange(len(time)) >= leaving) & (time <= time[leaving] + FIT_WINDOW_S))
    if len(moving) < 2:
        return None
    level = float(np.median(x[rest]))
    # Frames of the resting ball are often the same picture: together they know its place as one frame does.
    level_sd = math.hypot(float(np.median(sd[rest])), SHIFT_SD_M)
    use = np.concatenate([rest[-3:], moving])
    slope = float(np.median(np.diff(x[moving[:6]]) / np.diff(time[moving[:6]])))
    # Well inside the gap: at a resting frame the misfit has a kink, in which the fit would stay.
    early, late = np.interp(START_SHARES, [0.0, 1.0], time[leaving - 1 : leaving + 1])
    start = np.array([np.clip(time[leaving] - (x[leaving] - level) / slope, early, late), slope])
    exposure_s = exposure_s if math.isfinite(exposure_s) else 0.0
    smear_m = abs(slope) * exposure_s
    # A frame just after the departure may still lie within a nudge of the rest.
    moves = (use >= leaving) | ~ball.at_rest[finite][use]
    straddling = np.abs(time[use] - start[0]) < exposure_s / 2
    frame_sd = np.where(straddling, np.hypot(sd[use], STRADDLING_SD_SHARE * smear_m), sd[use])
    whiten = np.linalg.inv(np.linalg.cholesky(frame_covariance(x[use], frame_sd, moves, ball.turning_sd_m)))
    fit = _fit(time[use], x[use] - level, whiten, level_sd, start, moves, smear_m)
    departure, speed = fit[0], fit[1]
    # Extrapolated to the departure over frames in which the ball was hidden, the speed is less sure.
    hidden_s = max(float(time[leaving]) - departure.value - HIDDEN_UNHARMFUL_S, 0.0)
    speed = speed.widened(HIDDEN_DECELERATION_SD_MPS2 * hidden_s)
    speed = speed.widened(ball.speed_rel_sd * speed.value)
    sideways = float(np.median((y[moving] - np.median(y[rest])) / (x[moving] - level)))
    along_path = float(np.hypot(1.0, sideways))
    return Launch(
        impact_s=departure.widened(CONTACT_TIME_SD_S),
        speed_mps=Estimate(speed.value * along_path, speed.sd * along_path),
        frames_moving=len(moving),
    )


def _departure_index(x: FloatArray) -> int | None:
    """Return the first frame after the last one in which the ball, later gone, lay near its rest position."""
    if len(x) < 3:
        return None
    level = x[0]
    gone = np.flatnonzero(np.abs(x - np.median(x[: max(3, len(x) // 10)])) > GONE_M)
    if not len(gone):
        return None
    first_gone = int(gone[0])
    level = float(np.median(x[max(0, first_gone - 20) : max(first_gone - 2, 1)]))
    resting = np.flatnonzero(np.abs(x[:first_gone] - level) < TOUCHED_M)
    return int(resting[-1]) + 1 if len(resting) else None


def frame_covariance(x: FloatArray, sd: FloatArray, moves: BoolArray, turning_sd_m: float) -> FloatArray:
    """Return the covariance of the errors of a ball's places, shape (n, n) [m^2].

    Parameters
    ----------
    x, sd : ndarray, shape (n,) [m]
        The places and their standard deviations.
    moves : ndarray, shape (n,)
        Whether the ball moves there.
    turning_sd_m : float
        What a moving ball's turning outline causes of `sd` [m]; nearby places share it.

    """
    shared = turning_sd_m**2 * np.exp(-np.abs(x[:, None] - x) / TURNING_REACH_M) * np.outer(moves, moves)
    np.fill_diagonal(shared, np.maximum(sd**2, shared.diagonal()))
    return shared


def _fit(
    time: FloatArray,
    x: FloatArray,
    whiten: FloatArray,
    level_sd: float,
    start: FloatArray,
    moves: BoolArray,
    smear_m: float,
) -> tuple[Estimate, Estimate]:
    origin = start[0]
    decel_mean, decel_sd = DECELERATION_PRIOR
    rolling_mean, rolling_sd = ROLLING_PRIOR
    harm_m = max(smear_m - SMEAR_UNHARMFUL_M, 0.0)
    offset_sd = SMEAR_OFFSET_SHARE * harm_m + 1e-7
    drift_sd = SMEAR_DRIFT_SHARE * harm_m / FIT_WINDOW_S + 1e-6
    # The picture shows the mean place over the exposure, which at the departure is not that at its middle.
    spread = (np.arange(EXPOSURE_INSTANTS) + 0.5) / EXPOSURE_INSTANTS - 0.5
    instants = spread * smear_m / abs(start[1])
    instants_s = time[:, None] + instants - origin
    since_start = np.where(moves, time - time[moves][0], 0.0)

    def residuals(parameters: FloatArray) -> FloatArray:
        departure, speed, deceleration, shift, offset, drift, rolling = parameters
        since = np.maximum(instants_s - departure, 0.0)
        travel = _travel(since, speed, deceleration, rolling_mean + rolling_sd * rolling).mean(axis=1)
        smeared = offset_sd * offset * moves + drift_sd * drift * since_start
        frames = whiten @ (x - level_sd * shift * moves - smeared - travel)
        priors = np.array([(deceleration - decel_mean) / decel_sd, shift, offset, drift, rolling])
        return np.concatenate([_soften(frames), priors])

    guess = np.array([0.0, start[1] + 0.02 * decel_mean, decel_mean, 0.0, 0.0, 0.0, 0.0])
    fit = least_squares(residuals, guess, method="lm", x_scale=[1e-3, 0.1, 1.0, 1.0, 1.0, 1.0, 1.0])
    jacobian = np.asarray(fit.jac, dtype=np.float64)
    of_frames, of_priors = jacobian[: len(time)], jacobian[len(time) :]
    scale = _variance_scale(residuals(fit.x)[: len(time)][moves], of_frames[moves], of_priors)
    covariance = np.linalg.pinv(of_frames.T @ of_frames / scale + of_priors.T @ of_priors)
    departure_sd, speed_sd = np.sqrt(np.diag(covariance)[:2])
    return Estimate(float(origin + fit.x[0]), float(departure_sd)), Estimate(float(fit.x[1]), float(speed_sd))


def _variance_scale(residual: FloatArray, of_frames: FloatArray, of_priors: FloatArray) -> float:
    """Return the variance of the moving frames' errors over that stated, as the fit's residuals tell it.

    The log of the ratio of the sds is close to normal with precision twice the degrees of freedom, and so
    combined with its prior; returned is the mean of its square. Residuals that still err alike, as they do
    where a printed line turns through the outline, count as fewer.
    """
    information = of_frames.T @ of_frames
    leverage = float(np.trace(np.linalg.pinv(information + of_priors.T @ of_priors) @ information))
    freedom = max(len(residual) - leverage, 0.5)
    log_ratio = 0.5 * math.log(max(float(residual @ residual), 1e-6) / freedom)
    precision = 2 * freedom + SCALE_LOG_SD**-2
    return math.exp(2 * (2 * freedom * log_ratio + 1) / precision) * _shared(residual)


def _shared(residual: FloatArray) -> float:
    """Return how many times the variance of a mean exceeds that of independent residuals.

    By their lag-one correlation r as (1 + r) / (1 - r), as for a first-order autoregression (Bayley &
    Hammersley 1946, J. R. Stat. Soc. Suppl. 8:184-197, from memory).
    """
    if len(residual) < FEWEST_TO_CORRELATE:
        return 1.0
    carry = float(residual[1:] @ residual[:-1]) / max(float(residual @ residual), 1e-12)
    carry = min(max(carry, 0.0), MOST_CARRY)
    return (1 + carry) / (1 - carry)


def _travel(since_s: FloatArray, speed: float, deceleration: float, rolling_mps2: float) -> FloatArray:
    """Return how far a ball has gone: it slides, and rolls on once it has slowed to 5/7 of its launch speed.

    The 5/7 is that of a uniform sphere launched without spin (textbook mechanics, from the balance of
    linear and angular momentum about the contact point).
    """
    deceleration = max(deceleration, 0.1)
    sliding = np.minimum(since_s, 2 / 7 * speed / deceleration)
    rolling = since_s - sliding
    travel: FloatArray = (
        speed * sliding
        - 0.5 * deceleration * sliding**2
        + 5 / 7 * speed * rolling
        - 0.5 * rolling_mps2 * rolling**2
    )
    return travel


def _soften(residual: FloatArray) -> FloatArray:
    """Return residuals whose square is Cauchy's loss."""
    softened: FloatArray = np.sign(residual) * OUTLIER_SDS * np.sqrt(np.log1p((residual / OUTLIER_SDS) ** 2))
    return softened
