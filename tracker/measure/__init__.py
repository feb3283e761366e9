"""From a clip to its measurement, in six stages: read, follow, on_true_times, place, smooth, measures.

Each stage's value is complete, refuses for itself and carries its cautions. Ask for the whole way
(`measure_clip`), for a quick look (`check_clip`), or for the two halves of the way where a picture is in
between.
"""

from pennyfall.tracker.measure.check import Finding, check_clip
from pennyfall.tracker.measure.clip import measure_clip, measure_seen, see_clip
from pennyfall.tracker.measure.seen import Seen
from pennyfall.tracker.measure.settings import Settings

__all__ = [
    "Finding",
    "Seen",
    "Settings",
    "check_clip",
    "measure_clip",
    "measure_seen",
    "see_clip",
]
