"""The smoother that stops at impact: motion model, noise, hypotheses of events, the smoothing.

Knows tracks in metres, not pictures. Ask it for one smoothed stroke (`smooth_stroke`);
`measure_with_known_events` is the same given the true events, for the bounds of the proof.
"""

from pennyfall.tracker.smoother.known_events import measure_with_known_events
from pennyfall.tracker.smoother.stroke import StrokeSmoothing, smooth_stroke

__all__ = [
    "StrokeSmoothing",
    "measure_with_known_events",
    "smooth_stroke",
]
