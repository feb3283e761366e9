"""The smoother that stops at impact: motion model, noise, hypotheses of events, the smoothing.

Knows tracks in metres, not pictures. Ask it for one smoothed stroke (`smooth_stroke`); `measure_told` is
the same told its events, for the bounds of the proof.
"""

from pennyfall.tracker.smoother.given_events import measure_told
from pennyfall.tracker.smoother.stroke import StrokeSmoothing, smooth_stroke

__all__ = [
    "StrokeSmoothing",
    "measure_told",
    "smooth_stroke",
]
