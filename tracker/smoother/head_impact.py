"""The impact instant from the head alone: the profile likelihood of where its velocity steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import logsumexp

from pennyfall.kinematics.values import Estimate, FloatArray, freeze_arrays
from pennyfall.tracker.smoother.kalman import log_likelihoods
from pennyfall.tracker.smoother.measurement_noise import FrameErrors
from pennyfall.tracker.smoother.motion_model import (
    MOTION_STATES,
    STATES,
    jerk_walk_covariance,
    transition,
    with_error,
)
from pennyfall.tracker.smoother.process_noise import log_diffusion_prior

IMPACT_KICK = np.array([0.0, 0.6**2, 12.0**2, 400.0**2])
"""Variances of what an impact may change [SI^2], chosen by us: a head of 0.35 kg loses 21 % of 1 to 3 m/s,
and the hands start anew; position cannot jump."""
START_SD = np.array([1.0, 3.0, 15.0, 400.0])
"""Standard deviations of the state before the first frame [SI], chosen by us: as good as unknown."""
REACH_S = 0.13
"""Chosen by us: frames this far from the impact still say something about it."""
SCAN_STEP_FRAMES = 0.5
FINE_STEP_FRAMES = 0.2
DIFFUSIONS = np.array([1e3, 1e4, 1e5, 1e6])
"""Process noises of this search [m^2/s^7], each weighted by its likelihood: with a middling one alone, a head
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

    def estimate(self, prior: Estimate | None = None) -> Estimate:
        """Return mean and standard deviation of the instant, combined with a Gaussian `prior` where given."""
        fine = np.linspace(self.time_s[0], self.time_s[-1], 40 * len(self.time_s))
        # A parabola between candidates: straight lines would leave a false, sharp peak on one of them.
        log_density = CubicSpline(self.time_s, self.log_likelihood)(fine)
        if prior is not None:
            log_density = log_density - 0.5 * ((fine - prior.value) / prior.sd) ** 2
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
    time, x, errors = time_s[near], x_m[near], errors.of(near)
    candidates = np.arange(first_s, last_s + step_s, step_s)
    candidates = candidates[(candidates > time[0]) & (candidates < time[-1])]
    dt = np.diff(time, prepend=time[:1])
    unit = jerk_walk_covariance(dt)
    F = np.broadcast_to(transition(dt), unit.shape)
    interval = np.searchsorted(time, candidates)
    before, after = candidates - time[interval - 1], time[interval] - candidates
    carry = transition(after)
    unit_before, unit_after = jerk_walk_covariance(before), jerk_walk_covariance(after)
    start, covariance = unknown_start(float(x[0]), float(errors.sd_m[0]))
    totals = []
    for diffusion in DIFFUSIONS:
        Q = np.broadcast_to(diffusion * unit, (len(candidates) + 1, *unit.shape)).copy()
        kicked = diffusion * unit_before + np.diag(IMPACT_KICK)
        split = carry @ kicked @ carry.swapaxes(1, 2) + diffusion * unit_after
        Q[np.arange(len(candidates)), interval] = split
        whole_F, whole_Q = with_error(F, Q, errors.carry, errors.sd_m)
        steps = np.moveaxis(whole_Q, 0, -1)
        totals.append(log_likelihoods(x, errors.independent_m2, whole_F, steps, start, covariance))
    total = logsumexp(np.array(totals) + log_diffusion_prior(DIFFUSIONS)[:, None], axis=0)
    return ImpactProfile(
        time_s=candidates, log_likelihood=total[:-1], log_likelihood_without=float(total[-1])
    )


def unknown_start(
    x_m: float, error_sd_m: float, motion_sd: FloatArray = START_SD
) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the state before the first node, known to `motion_sd` around rest."""
    mean = np.zeros(STATES)
    mean[0] = x_m
    return mean, np.diag(np.append(motion_sd[:MOTION_STATES], error_sd_m) ** 2)
