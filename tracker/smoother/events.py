"""The events of one stroke before it is smoothed: impact, takeaway, top and stop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import logsumexp

from pennyfall.kinematics.stroke.beliefs import IMPACT
from pennyfall.kinematics.stroke.finding import MOVING_MPS, FoundStroke, coarse_velocity
from pennyfall.kinematics.stroke.launch import Launch
from pennyfall.kinematics.stroke.takeaway import Movement, takeaway_instant
from pennyfall.kinematics.values import Estimate, FloatArray, freeze_arrays
from pennyfall.tracker.smoother.chain import MOTION_STATES, MotionChain, interleave, unknown_start
from pennyfall.tracker.smoother.frames import FrameErrors, MeasurementNoise, StrokeFrames
from pennyfall.tracker.smoother.weighing import DIFFUSION_GRID, Hypotheses, log_weights, noise_prior

STEP_EVIDENCE = 8.0
"""Log likelihood ratio beyond which a velocity step counts as an impact, chosen by us: odds of 3000 to 1."""
EARLY_MOTION_SDS = 300.0
EARLY_MOTION_M = (0.010, 0.050)
"""Frames up to this far from rest tell when the head left it, chosen by us: as many standard deviations of
its place as leave a polynomial of low degree no fault that could be seen, within limits."""
STOPPING_MOTION_M = 0.030
"""Frames this near to the finish tell when the head came to rest there, chosen by us: on simulated strokes at
240 frames/s its interval holds the truth in 96 % with 3 cm, in 87 % with half of that."""
STILL_AFTER_S = 0.15
"""Chosen by us: a head still for this long after the finish has stopped, not turned."""
USUAL_DISAGREEMENT = 3.84
"""Squared distance of two sound estimates, in their variances, that one pair of twenty exceeds (chi-squared
of one degree, 95 %; any statistical table): beyond it their interval is widened, as by Birge's ratio."""
SCAN_REACH_S = 0.12
"""Chosen by us: how far from the pass of the address position an impact is sought."""
REACH_S = 0.13
"""Chosen by us: frames this far from the impact still say something about it."""
SCAN_STEP_FRAMES = 0.5
FINE_STEP_FRAMES = 0.2
IMPACT_NOISES = DIFFUSION_GRID[2::2]
"""Process noises of this search [m^2/s^7], each weighed by its likelihood: with a middling one alone, a head
pulled hard or let go just before impact seemed to have met the ball 3 ms early at 60 frames/s. With one noise
and straight lines between candidates 3 ms apart the instant lay 3.0 of its stated deviations off at 60
frames/s and 1.4 at 240, with these and a spline through the candidates 1.2 and 1.05; ball and head together
err by 0.39 ms instead of 0.50 at 60 frames/s, by 0.13 instead of 0.15 at 240."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ImpactProfile:
    """The log likelihood of the impact instant, and of there being none."""

    time_s: FloatArray
    """Candidate instants, shape (n,) [s]."""
    log_likelihood: FloatArray
    """Log likelihood of each, shape (n,)."""
    log_likelihood_without: float
    """Log likelihood of an uninterrupted motion."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def estimate(self) -> Estimate:
        """Return mean and standard deviation of the instant."""
        fine = np.linspace(self.time_s[0], self.time_s[-1], 40 * len(self.time_s))
        # A parabola between candidates: straight lines would leave a false, sharp peak on one of them.
        log_density = CubicSpline(self.time_s, self.log_likelihood)(fine)
        weight = np.exp(log_density - log_density.max())
        weight /= weight.sum()
        mean = float(weight @ fine)
        return Estimate(mean, float(np.sqrt(weight @ (fine - mean) ** 2)))


def impact_profile(
    time_s: FloatArray, x_m: FloatArray, errors: FrameErrors, first_s: float, last_s: float, step_s: float
) -> ImpactProfile:
    """Return the likelihood of impact instants from `first_s` to `last_s`.

    Parameters
    ----------
    time_s, x_m : ndarray, shape (n,)
        Seen frames of the forward swing and follow-through: time [s], position [m].
    errors : FrameErrors
        Their errors.
    first_s, last_s, step_s : float [s]
        Range and step of the candidates.

    """
    near = (time_s > first_s - REACH_S) & (time_s < last_s + REACH_S)
    x, errors = x_m[near], errors.of(near)
    frames = StrokeFrames(time=time_s[near], x=x, seen=np.ones(len(x), dtype=bool), errors=errors)
    candidates = np.arange(first_s, last_s + step_s, step_s)
    candidates = candidates[(candidates > frames.time[0]) & (candidates < frames.time[-1])]
    time, place, position, error = interleave(frames, candidates)
    start, covariance = unknown_start(float(x[0]), float(errors.sd_m[0]))
    chain = MotionChain(
        time_s=time,
        position_m=position,
        variance_m2=error[0],
        error_carry=error[1],
        error_sd_m=error[2],
        diffusion=np.ones(len(time)),
        jerk_decay_per_s=np.zeros(len(time)),
        kick=np.zeros((len(time), MOTION_STATES)),
        start_mean=start,
        start_covariance=covariance,
    )
    diffusion = np.repeat(IMPACT_NOISES, len(candidates) + 1)
    log_weight = log_weights(
        chain,
        np.zeros(len(time), dtype=np.int64),
        Hypotheses(
            log_prior=noise_prior(diffusion),
            diffusion=(diffusion,),
            kick_node=np.tile(np.append(place[len(x) :], -1), len(IMPACT_NOISES)),
            kick=IMPACT.certain().variances(),
        ),
    )
    total = logsumexp(log_weight.reshape(len(IMPACT_NOISES), -1), axis=0)
    return ImpactProfile(
        time_s=candidates, log_likelihood=total[:-1], log_likelihood_without=float(total[-1])
    )


def scan_impact(time: FloatArray, x: FloatArray, errors: FrameErrors, found: FoundStroke) -> float | None:
    """Return the likeliest instant of a velocity step near the ball, None where nothing speaks for one."""
    first = max(found.top_s + 0.08, found.pass_s - SCAN_REACH_S)
    last = min(found.finish_s - 0.05, found.pass_s + SCAN_REACH_S)
    profile = impact_profile(time, x, errors, first, last, SCAN_STEP_FRAMES * float(np.median(np.diff(time))))
    best = int(np.argmax(profile.log_likelihood))
    if profile.log_likelihood[best] - profile.log_likelihood_without < STEP_EVIDENCE:
        return None
    return float(profile.time_s[best])


def impact_by_head(
    frames: StrokeFrames, found: FoundStroke, launch: Launch | None
) -> tuple[Estimate | None, bool]:
    """Return the impact instant by the head's velocity step, and whether a ball was struck."""
    time, x = frames.visible()
    if launch is not None:
        centre: float | None = launch.impact_s.value
    else:
        centre = scan_impact(time, x, frames.errors, found)
    if centre is None:
        return None, False
    frame = float(np.median(np.diff(time)))
    reach = max(2.5 * frame, 0.012)
    profile = impact_profile(time, x, frames.errors, centre - reach, centre + reach, FINE_STEP_FRAMES * frame)
    return profile.estimate(), True


def combine_impact(by_head: Estimate | None, launch: Launch | None, found: FoundStroke) -> Estimate:
    """Return the impact by ball and head together; where they disagree, the interval covers both."""
    if launch is None or by_head is None:
        return by_head or Estimate(found.pass_s, 0.005)
    ball, head = launch.impact_s, by_head
    precision = ball.sd**-2 + head.sd**-2
    value = (ball.value * ball.sd**-2 + head.value * head.sd**-2) / precision
    disagreement = (ball.value - head.value) ** 2 / (ball.sd**2 + head.sd**2)
    return Estimate(value, float(np.sqrt(max(disagreement / USUAL_DISAGREEMENT, 1.0) / precision)))


def find_takeaway(frames: StrokeFrames, found: FoundStroke, noise: MeasurementNoise) -> Estimate:
    """Return when the head left rest, or where the motion plainly begins when it did not rest."""
    if not found.rested:
        return Estimate(found.takeaway_s, 0.02)
    time, x = frames.visible()
    rest = np.median(x[time <= max(found.takeaway_s - 0.05, time[2])])
    sd = frames.errors.sd_m
    early = (np.abs(x - rest) < _early_motion(sd)) & (time < found.top_s)
    last = int(np.argmin(early)) if not early.all() else len(early)
    visible = _visible_motion(time[:last], x[:last], rest, float(np.median(sd)))
    movement = Movement(
        length_m=float(x[time < found.top_s + 0.02].min() - rest), end_s=found.top_s, rests=True
    )
    return takeaway_instant(time[:last], x[:last], sd[:last], noise.lag_one, visible, movement)


def _early_motion(sd_m: FloatArray) -> float:
    return float(np.clip(EARLY_MOTION_SDS * np.median(sd_m), *EARLY_MOTION_M))


def _visible_motion(time: FloatArray, x: FloatArray, rest: float, sd: float) -> float:
    """Return the first instant from which on the head stays clearly behind its rest position."""
    clear = np.abs(x - rest) > 4 * sd
    still = np.flatnonzero(~clear)
    return float(time[min(still[-1] + 1, len(time) - 1)]) if len(still) else float(time[0])


def coarse_top(frames: StrokeFrames, found: FoundStroke) -> float:
    """Return the top from a cubic through the frames around it."""
    time, x = frames.visible()
    frame = float(np.median(np.diff(time)))
    near = np.abs(time - found.top_s) < max(0.05, 3.5 * frame)
    t = time[near] - found.top_s
    cubic = np.polynomial.Polynomial.fit(t, x[near], 3)
    fine = np.linspace(t[0], t[-1], 400)
    return float(found.top_s + fine[int(np.argmin(cubic(fine)))])


def find_stop(frames: StrokeFrames, found: FoundStroke, noise: MeasurementNoise) -> Estimate:
    """Return when the head came to rest, a takeaway in reversed time; missing where it turned."""
    time, x = frames.visible()
    velocity = coarse_velocity(time, x)
    after = (time > found.finish_s) & (time < found.finish_s + STILL_AFTER_S)
    if (
        not found.finished
        or time[-1] < found.finish_s + STILL_AFTER_S
        or np.any(np.abs(velocity[after]) > MOVING_MPS)
    ):
        return Estimate.missing()
    rest = np.median(x[after][len(x[after]) // 2 :])
    movement = Movement(
        length_m=float(np.interp(found.pass_s, time, x) - rest), end_s=-found.pass_s, rests=False
    )
    sd = frames.errors.sd_m
    near = (np.abs(x - rest) < STOPPING_MOTION_M) & (time > found.pass_s)
    time, x, sd = time[near][::-1], x[near][::-1], sd[near][::-1]
    visible = _visible_motion(-time, x, rest, float(np.median(sd)))
    mirrored = takeaway_instant(-time, x, sd, noise.lag_one, visible, movement)
    return Estimate(-mirrored.value, mirrored.sd)
