"""One stroke: tracks, events, launch, arc, measures, smoothness.

Knows arrays over time. Ask it which strokes are in a track (`find_strokes`), when a ball left
(`fit_launch`), when the head left rest (`takeaway_instant`) and what a smoothed stroke measures
(`measure`).
"""

from pennyfall.kinematics.stroke.arc import HeadArc, fit_arc
from pennyfall.kinematics.stroke.finding import FoundStroke, find_strokes
from pennyfall.kinematics.stroke.launch import Launch, fit_launch
from pennyfall.kinematics.stroke.measures import StrokeContext, measure
from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.kinematics.stroke.smoothed import SmoothedStroke
from pennyfall.kinematics.stroke.smoothness import log_dimensionless_jerk, spectral_arc_length
from pennyfall.kinematics.stroke.takeaway import takeaway_instant
from pennyfall.kinematics.stroke.tracks import BallTrack, HeadTrack

__all__ = [
    "BallTrack",
    "FoundStroke",
    "HeadArc",
    "HeadTrack",
    "Launch",
    "ScaleErrors",
    "SmoothedStroke",
    "StrokeContext",
    "find_strokes",
    "fit_arc",
    "fit_launch",
    "log_dimensionless_jerk",
    "measure",
    "spectral_arc_length",
    "takeaway_instant",
]
