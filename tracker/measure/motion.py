"""Fifth stage: motion. The strokes of a clip, smoothed up to impact and from it, with their covariance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.clock.speed_jump import pulled_too_hard
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.stroke.arc import fit_arc
from pennyfall.kinematics.stroke.finding import SHORTEST_REST_S, FoundStroke, find_strokes
from pennyfall.kinematics.stroke.launch import Launch, fit_launch
from pennyfall.kinematics.stroke.measures import StrokeContext, measure
from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.kinematics.stroke.smoothed import ACCELERATION, POSITION, VELOCITY
from pennyfall.kinematics.stroke.tracks import BallTrack, HeadTrack
from pennyfall.kinematics.values import (
    Caution,
    Direction,
    Estimate,
    FloatArray,
    StrokeMeasures,
    freeze_arrays,
)
from pennyfall.tracker.measure.cautions import caution, noticed_cautions
from pennyfall.tracker.measure.placed import Placed
from pennyfall.tracker.measure.refusals import WHOLE_IN_SLOW_MOTION, refuse_slow_motion, why_no_stroke
from pennyfall.tracker.smoother.stroke import StrokeSmoothing, smooth_stroke

SEED = 20260101
"""The joint samples are the same whenever the same clip is measured. No start anywhere is random: the same
clip gives the same files to the last digit with one thread or four; another processor's linear-algebra
kernels may round the last digits differently."""
IMPACT_DISAGREEMENT_SDS = 3.5
IMPACT_DISAGREEMENT_S = 0.002
"""Chosen by us: beyond both, ball and head tell of different impacts."""
INCONSISTENT_INNOVATIONS = (0.7, 1.4)
"""Chosen by us: outside, the filter's intervals are not to be trusted."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Motion:
    """Every stroke of a clip, and the smoothed motion frame by frame."""

    strokes: tuple[StrokeMeasures, ...]
    cautions: tuple[Caution, ...]
    noise_sd_m: float
    """Standard deviation of the frame-to-frame error of position in motion [m]."""
    innovation_ratio: float
    """Root mean square of the innovations over their expected size; 1 is consistent."""
    vx_mps: FloatArray
    """Smoothed velocity along the line, one a frame of the clip, shape (n,) [m/s]; NaN outside strokes."""
    ax_mps2: FloatArray
    """Smoothed acceleration, shape (n,) [m/s^2]; NaN outside the strokes."""
    sd_vx_mps: FloatArray
    """Standard deviation of the velocity, shape (n,) [m/s]."""
    sd_ax_mps2: FloatArray
    """Standard deviation of the acceleration, shape (n,) [m/s^2]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def smooth(placed: Placed) -> Motion:
    """Return the strokes of a placed clip.

    Raises
    ------
    CannotMeasure
        When the clip holds no whole stroke, or its strokes cannot have happened at the speed it plays.

    """
    tracks, reading = placed.tracks, placed.timed.seen.reading
    head = tracks.head
    normal_s = np.empty(0)
    if reading.time_base.retimed:
        normal_s = pulled_too_hard(head.time_s, head.x_m, head.sd_x_m, head.seen)
    try:
        motion = smooth_strokes(
            head, tracks.balls, scale=tracks.scale, direction=tracks.direction, normal_s=normal_s
        )
    except CannotMeasure as error:
        raise why_no_stroke(placed.timed, tracks, normal_s) or error from None
    refuse_slow_motion(reading, motion.strokes)
    return motion


def smooth_strokes(
    head: HeadTrack,
    balls: Sequence[BallTrack],
    *,
    scale: ScaleErrors,
    direction: Direction,
    normal_s: FloatArray | None = None,
) -> Motion:
    """Return the measures of every stroke in a clip.

    Parameters
    ----------
    head : HeadTrack
        The head over the whole clip, x positive toward the target.
    balls : sequence of BallTrack
        The balls of the clip; none for practice strokes.
    scale : ScaleErrors
        How the errors of the calibration shift places along the line.
    direction : str
        How the strokes run relative to the sheet's arrow.
    normal_s : FloatArray, optional
        Times at which a clip in slow motion is known to play at normal speed [s]; no stroke that holds one is
        measured.

    Raises
    ------
    CannotMeasure
        When the clip holds no whole stroke.

    """
    fitted = (fit_launch(ball, exposure_s=head.exposure_s) for ball in balls)
    launches = [launch for launch in fitted if launch is not None]
    found, noticed = find_strokes(head, [each.impact_s.value for each in launches])
    generator = np.random.default_rng(SEED)
    notes = list(noticed_cautions(noticed))
    if normal_s is not None and len(normal_s):
        slow = tuple(each for each in found if not _holds(each, normal_s))
        notes.append(caution("plays-normally", time_s=normal_s[0], strokes=len(found) - len(slow)))
        found = slow
    if not found:
        raise CannotMeasure("No stroke lies whole in slow motion.", fix=WHOLE_IN_SLOW_MOTION)
    strokes, smoothings = [], []
    for number, each in enumerate(found, start=1):
        launch = next((one for one in launches if one.impact_s.value == each.struck_s), None)
        smoothing = smooth_stroke(head, each, launch, generator)
        smoothings.append(smoothing)
        strokes.append(_measure_one(head, each, smoothing, launch, number, direction, scale))
        slow_error = head.shaken_sd_x_m > 0
        notes += _cautions(number, each, smoothing, launch, strokes[-1], slow_error=slow_error)
    curves = _curves(head, smoothings)
    return Motion(
        strokes=tuple(strokes),
        cautions=tuple(notes),
        noise_sd_m=float(np.median([each.noise_sd_m for each in smoothings])),
        innovation_ratio=float(np.median([each.innovation_ratio for each in smoothings])),
        vx_mps=curves[0],
        ax_mps2=curves[1],
        sd_vx_mps=curves[2],
        sd_ax_mps2=curves[3],
    )


def _holds(found: FoundStroke, times_s: FloatArray) -> bool:
    """Return whether one of some times lies within a stroke, or in the rest that shows its takeaway."""
    return bool(np.any((times_s >= found.takeaway_s - SHORTEST_REST_S) & (times_s <= found.finish_s)))


def _measure_one(
    head: HeadTrack,
    found: FoundStroke,
    smoothing: StrokeSmoothing,
    launch: Launch | None,
    number: int,
    direction: Direction,
    scale: ScaleErrors,
) -> StrokeMeasures:
    stroke = smoothing.stroke
    inside = head.seen & (head.time_s >= found.takeaway_s - 0.1) & (head.time_s <= found.finish_s)
    arc = fit_arc(
        head.x_m[inside],
        head.z_m[inside],
        head.sd_z_m[inside],
        head.tilt_rad[inside],
        head.sd_tilt_rad[inside],
        float(stroke.state[stroke.takeaway_node, POSITION]),
        head.turn_sd_per_m,
    )
    context = StrokeContext(
        number=number,
        direction=direction,
        impact_source="head" if launch is None else "ball",
        practice=smoothing.practice,
        ball_speed_mps=Estimate.missing() if launch is None else launch.speed_given(stroke.impact),
        ball_faster_when_later_mps2=0.0 if launch is None else launch.faster_when_later_mps2,
        finish_s=smoothing.finish,
        scale=scale,
    )
    return measure(stroke, smoothing.frame_nodes, arc, context)


def _cautions(
    number: int,
    found: FoundStroke,
    smoothing: StrokeSmoothing,
    launch: Launch | None,
    measures: StrokeMeasures,
    *,
    slow_error: bool,
) -> list[Caution]:
    notes = []
    ball, head = smoothing.impact_by_ball, smoothing.impact_by_head
    if ball is not None and head is not None:
        apart = abs(ball.value - head.value)
        if apart > IMPACT_DISAGREEMENT_S and apart > IMPACT_DISAGREEMENT_SDS * np.hypot(ball.sd, head.sd):
            notes.append(caution("impact-unsure", number=number, ball_s=ball.value, head_s=head.value))
    if smoothing.practice:
        notes.append(caution("practice-stroke", number=number))
    elif launch is None:
        notes.append(caution("ball-not-seen", number=number))
    if not found.rested:
        notes.append(caution("no-pause-at-address", number=number))
    if not measures.finish_s.known:
        notes.append(caution("cut-off-finish", number=number))
    if not measures.head_tilt_range_rad.known:
        notes.append(caution("tilt-not-told", number=number))
    elif not measures.hub_radius_m.known:
        notes.append(caution("arc-not-told", number=number))
    low, high = INCONSISTENT_INNOVATIONS
    # A slow error is there whether or not a frame differs from the next: small innovations do not deny it.
    if smoothing.innovation_ratio > high or (smoothing.innovation_ratio < low and not slow_error):
        notes.append(caution("noise-inconsistent", number=number, times=smoothing.innovation_ratio))
    return notes


def _curves(head: HeadTrack, smoothings: Sequence[StrokeSmoothing]) -> FloatArray:
    """Return velocity, acceleration and their sds at every frame, shape (4, n)."""
    curves = np.full((4, len(head.time_s)), np.nan)
    for each in smoothings:
        nodes = each.frame_nodes
        columns = [VELOCITY, ACCELERATION]
        curves[:2, each.frames] = each.stroke.state[nodes][:, columns].T
        curves[2:, each.frames] = each.stroke.state_sd[nodes][:, columns].T
    return curves
