"""A measured clip, with all that was found on the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pennyfall.kinematics.values import Measurement

if TYPE_CHECKING:  # loading these takes as long as decoding a short clip
    from pennyfall.tracker.follow.clip_pass import Followed
    from pennyfall.tracker.measure.strokes import StrokesResult
    from pennyfall.tracker.place.placing import PlacedHead


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ClipResult:
    """A measured clip with all that a picture, a page or a track file needs of it."""

    measurement: Measurement
    followed: Followed
    placed: PlacedHead
    motion: StrokesResult
