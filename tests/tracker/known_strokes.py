"""Simulated strokes as the smoother is told of them."""

from __future__ import annotations

from pennyfall.kinematics.stroke.tracks import HeadTrack
from pennyfall.tracker.smoother.chain import StrokeModel
from pennyfall.tracker.smoother.frames import MeasurementNoise, StrokeFrames, frame_errors
from tests.tracker.simulated_strokes import TrueStroke


def known_stroke(true: TrueStroke, head: HeadTrack) -> tuple[StrokeFrames, StrokeModel]:
    """Return the frames of a track whose noise is as stated, and the stroke's model with its true events."""
    errors = frame_errors(head.time_s, head.x_m, head.sd_x_m, MeasurementNoise(scale=1.0, lag_one=0.0))
    frames = StrokeFrames(time=head.time_s, x=head.x_m, seen=head.seen, errors=errors)
    model = StrokeModel(
        takeaway=true.takeaway_s,
        top=true.top_s,
        impact=true.impact_s,
        struck=True,
        rested=True,
        diffusion=(1e3, 1e3, 1e3),
    )
    return frames, model
