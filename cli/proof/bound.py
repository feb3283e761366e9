"""Two Cramer-Rao bounds of a stroke: in the smoother's state model, and for one who knows its formula.

The state model is what the measurement assumes: jerk as a random walk, kicks at the events, red noise. The
parametric model is the study's own: the stroke's lengths, durations and acceleration levels, the ball's
departure, a scale known as well as the calibration states; a bound that nobody reaches who does not know the
formula, and so the far end of what could be gained.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from pennyfall.cli.proof.strokes import Drawn, perform_stroke
from pennyfall.cli.proof.trials import QUANTITIES, Trial, true_quantities
from pennyfall.demo_clips.strokes import Performance
from pennyfall.kinematics.stroke.launch import frame_covariance
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.place.head_path import CENTRE_FLOOR_PX
from pennyfall.tracker.place.placing import PlacedTracks
from pennyfall.tracker.smoother.known_events import KnownEvents, measure_with_known_events
from pennyfall.tracker.smoother.measurement_noise import MeasurementNoise

STEP = 1e-4
"""Relative step of the differences: large against rounding, small against curvature."""
UNBOUNDED = ("peak_acceleration_share", "peak_speed_after_impact_s")
"""A place on a plateau has no slope, hence no bound."""
GIVEN = (
    "takeaway_s",
    "impact_s",
    "finish_s",
    "backswing_s",
    "tempo_ratio",
    "ball_speed_mps",
    "ball_to_head_ratio",
)
"""What the state model is given, or what hangs on it."""
CLOCKED = ("takeaway_s", "top_s", "impact_s", "finish_s")


def state_bound(trial: Trial, placed: PlacedTracks) -> dict[str, float]:
    """Return the least standard deviation of each quantity in the smoother's own state model.

    Events and noise are known; NaN for what is given.
    """
    event = trial.performance.strokes[0]
    known = measure_with_known_events(
        placed.head,
        KnownEvents(
            takeaway_s=event.takeaway_s,
            top_s=event.top_s,
            impact_s=event.impact_s,
            finish_s=event.finish_s,
        ),
        MeasurementNoise(scale=true_over_stated(trial), lag_one=trial.conditions.lag_one),
        scale=placed.scale,
        generator=np.random.default_rng(trial.seed),
    )
    return {name: float("nan") if name in GIVEN else float(getattr(known, name).sd) for name in QUANTITIES}


def true_over_stated(trial: Trial) -> float:
    """Return the ratio of the true error of the head's pixels to the one that the track states."""
    white = trial.conditions.head_noise_px
    return float(white / np.hypot(trial.conditions.stated_share * white, CENTRE_FLOOR_PX))


def formula_bound(trial: Trial, placed: PlacedTracks) -> dict[str, float]:
    """Return the least standard deviation of each quantity for one who knows the stroke's formula [1]_.

    References
    ----------
    .. [1] H. L. Van Trees (1968), Detection, Estimation, and Modulation Theory, Part I, section 2.4: the
       information of the data plus that of the prior, here on each source of the scale's error.

    """
    head, ball = placed.head, placed.balls[0]
    noise_sd_m = float(np.nanmedian(head.sd_x_m)) * true_over_stated(trial)
    time = head.time_s[head.seen & np.isfinite(head.x_m)]
    flies = ~ball.at_rest
    flying = ball.time_s[flies]
    lag_one = trial.conditions.lag_one
    centre = _parameters(trial.drawn)
    step = STEP * np.maximum(np.abs(centre), 0.1)

    def performed(parameters: FloatArray) -> Performance:
        return perform_stroke(_with_parameters(trial.drawn, parameters))

    def head_place(parameters: FloatArray) -> FloatArray:
        return performed(parameters).motion.position(time - parameters[-1])

    def ball_place(parameters: FloatArray) -> FloatArray:
        return performed(parameters).balls[0].position(flying - parameters[-1])

    def quantities(parameters: FloatArray) -> FloatArray:
        true = true_quantities(performed(parameters))
        return np.array([true[name] + parameters[-1] * (name in CLOCKED) for name in QUANTITIES])

    # Each source of the scale's error shifts head and ball in its own way; the address place is free.
    way = trial.performance.motion.position(time)
    shifts = np.stack([way, way**2, way**3], axis=1) @ placed.scale.head.T
    unit, free = float(np.median(step)), np.zeros((len(flying), 1))
    head_slopes = np.column_stack(
        [_slopes(head_place, centre, step), unit * shifts, np.full(len(time), unit)]
    )
    rolled = unit * ball_place(centre)[:, None] * placed.scale.ball
    ball_slopes = np.column_stack([_slopes(ball_place, centre, step), rolled, free])
    head_slopes = _whitened(head_slopes, time, lag_one) / noise_sd_m
    moves = np.ones(len(flying), dtype=bool)
    errors = frame_covariance(ball.x_m[flies], ball.sd_x_m[flies], moves, ball.turning_sd_m)
    ball_slopes = np.linalg.solve(np.linalg.cholesky(errors), ball_slopes)
    information = head_slopes.T @ head_slopes + ball_slopes.T @ ball_slopes
    unknowns = len(centre)
    sources = np.arange(unknowns, unknowns + shifts.shape[1])
    information[sources, sources] += unit**2
    covariance = np.linalg.inv(information)[:unknowns, :unknowns]
    gradient = _slopes(quantities, centre, step)
    variance = np.einsum("qi,ij,qj->q", gradient, covariance, gradient)
    return {
        name: float("nan") if name in UNBOUNDED else float(np.sqrt(value))
        for name, value in zip(QUANTITIES, variance, strict=True)
    }


def _parameters(drawn: Drawn) -> FloatArray:
    """Return the numbers that make the stroke; the last is a shift of all its times."""
    stroke, putter = drawn.stroke, drawn.putter
    (_, first), (share, _), (_, last) = stroke.levels
    return np.array(
        [
            stroke.backswing_m,
            stroke.backswing_s,
            stroke.forward_s,
            stroke.through_s,
            first,
            share,
            last,
            putter.gap_m,
            putter.head_mass_kg,
            putter.restitution,
            drawn.friction,
            0.0,
        ]
    )


def _with_parameters(drawn: Drawn, parameters: FloatArray) -> Drawn:
    back_m, back_s, forward_s, through_s, first, share, last, gap_m, mass, restitution, friction = (
        float(value) for value in parameters[:-1]
    )
    stroke = replace(
        drawn.stroke,
        backswing_m=back_m,
        backswing_s=back_s,
        forward_s=forward_s,
        through_s=through_s,
        levels=((0.0, first), (share, drawn.stroke.levels[1][1]), (1.0, last)),
    )
    putter = replace(drawn.putter, gap_m=gap_m, head_mass_kg=mass, restitution=restitution)
    return replace(drawn, stroke=stroke, putter=putter, friction=friction)


def _slopes(function: Callable[[FloatArray], FloatArray], centre: FloatArray, step: FloatArray) -> FloatArray:
    """Return how the values of a function change per step of each parameter, shape (values, parameters)."""
    steps = np.diag(step)
    return np.column_stack([(function(centre + each) - function(centre - each)) / 2 for each in steps])


def _whitened(slopes: FloatArray, time_s: FloatArray, lag_one: float) -> FloatArray:
    """Return slopes of uncorrelated data of unit variance, shape (n, parameters)."""
    gaps = np.maximum(np.rint(np.diff(time_s) / np.median(np.diff(time_s))), 1.0)
    carried = lag_one ** gaps[:, None]
    white = slopes.copy()
    white[1:] = (slopes[1:] - carried * slopes[:-1]) / np.sqrt(1 - carried**2)
    return white
