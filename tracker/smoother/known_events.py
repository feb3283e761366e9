"""The smoother given what it otherwise has to find: events and noise of a stroke.

Its intervals are the Bayesian Cramer-Rao bound of the state model (Van Trees 1968, section 2.4): in a linear
Gaussian chain the smoother's covariance attains it. What a measurement errs beyond is the price of not
knowing them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.stroke.arc import HeadArc
from pennyfall.kinematics.stroke.measures import StrokeContext, measure
from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.kinematics.stroke.smoothed import ACCELERATION, SmoothedStroke
from pennyfall.kinematics.stroke.tracks import HeadTrack
from pennyfall.kinematics.values import Estimate, StrokeMeasures
from pennyfall.tracker.smoother.chain import MOTION_STATES, StrokeModel, build_chain
from pennyfall.tracker.smoother.frames import MeasurementNoise, StrokeFrames, frame_errors
from pennyfall.tracker.smoother.kalman import sample_paths, smooth_chain
from pennyfall.tracker.smoother.models import choose_models, pull_change_step_s
from pennyfall.tracker.smoother.stroke import AFTER_FINISH_S, MIDDLING_DIFFUSION, REST_WINDOW_S, SAMPLES

NO_ARC = HeadArc(
    tilt_coefficients=np.full(4, np.nan),
    tilt_covariance=np.full((4, 4), np.nan),
    address_x_m=0.0,
    hub_radius_m=Estimate.missing(),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class KnownEvents:
    """The true instants of a stroke [s]."""

    takeaway_s: float
    top_s: float
    impact_s: float
    finish_s: float


def measure_with_known_events(
    head: HeadTrack,
    events: KnownEvents,
    noise: MeasurementNoise,
    *,
    scale: ScaleErrors,
    generator: np.random.Generator,
) -> StrokeMeasures:
    """Return the measures of a stroke whose events and noise are known.

    Parameters
    ----------
    head : HeadTrack
        The head over the whole clip.
    events : KnownEvents
        Its true events.
    noise : MeasurementNoise
        The true ratio of the position error to the stated one, and its lag-one correlation.
    scale : ScaleErrors
        How the errors of the calibration shift places along the line.
    generator : numpy.random.Generator
        Source of the joint samples.

    """
    inside = (head.time_s > events.takeaway_s - REST_WINDOW_S) & (
        head.time_s < events.finish_s + AFTER_FINISH_S
    )
    time, x = head.time_s[inside], head.x_m[inside]
    seen = head.seen[inside] & np.isfinite(x)
    errors = frame_errors(time[seen], x[seen], head.sd_x_m[inside][seen], noise)
    frames = StrokeFrames(time=time, x=x, seen=seen, errors=errors)
    model = StrokeModel(
        takeaway=events.takeaway_s,
        top=events.top_s,
        impact=events.impact_s,
        struck=True,
        rested=True,
        diffusion=(MIDDLING_DIFFUSION,) * 3,
    )
    coarse, coarse_nodes = build_chain(frames, model, fill=False)
    pull_mps2 = float(smooth_chain(coarse).mean[coarse_nodes.top, ACCELERATION])
    # Of one model, the likeliest: only a Gaussian chain attains the bound.
    chain, nodes = build_chain(frames, choose_models(frames, model, pull_mps2)[0].model, fill=True)
    smoothed = smooth_chain(chain)
    stroke = SmoothedStroke(
        time_s=chain.time_s,
        state=smoothed.mean[:, :MOTION_STATES],
        state_sd=np.sqrt(np.einsum("nii->ni", smoothed.covariance)[:, :MOTION_STATES]),
        samples=sample_paths(smoothed, SAMPLES, generator),
        takeaway=Estimate(events.takeaway_s, 0.0),
        impact=Estimate(events.impact_s, 0.0),
        impact_samples_s=np.full(SAMPLES, events.impact_s),
        takeaway_samples_s=np.full(SAMPLES, events.takeaway_s),
        takeaway_node=nodes.takeaway,
        top_node=nodes.top,
        impact_node=nodes.impact,
        pull_change_step_s=pull_change_step_s(frames),
        finish_node=int(np.searchsorted(chain.time_s, events.finish_s)),
    )
    context = StrokeContext(
        number=1,
        direction="with the arrow",
        impact_source="ball",
        practice=False,
        ball_speed_mps=Estimate.missing(),
        ball_faster_when_later_mps2=0.0,
        finish_s=Estimate(events.finish_s, 0.0),
        scale=scale,
    )
    return measure(stroke, nodes.frames, NO_ARC, context)
