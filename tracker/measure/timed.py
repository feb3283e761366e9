"""Third stage: true times. Repeated and misplaced pictures left out, rows at their own times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.clock.time_base import usual_interval
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Caution
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.follow.false_times import misplaced_frames, repeated_frames, without
from pennyfall.tracker.follow.leaving import left_the_picture
from pennyfall.tracker.follow.row_time import at_row_times
from pennyfall.tracker.measure.cautions import caution
from pennyfall.tracker.measure.seen import Seen
from pennyfall.tracker.measure.settings import Settings


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Timed:
    """What was seen, each place at its true time."""

    seen: Seen
    """As the pass saw it."""
    followed: Followed
    """The same without pictures that repeat another or stand at another's time, and at its rows' times."""
    frames_repeated: int

    @property
    def interval_s(self) -> float:
        """Usual time between two frames [s]."""
        return usual_interval(np.diff(self.seen.decoded.times_s))

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What the times, and where the head went in them, give cause to say."""
        base = self.seen.reading.time_base
        notes = []
        if base.ramp:
            notes.append(caution("speed-ramp", words=base.words))
        elif base.steps is not None:
            notes.append(caution("frame-rate-steps", words=base.words))
        if base.retimed and base.source == "stated":
            notes.append(caution("slow-motion-stated", rate_hz=base.capture_rate_hz))
        if self.frames_repeated:
            notes.append(caution("repeated-frames", frames=self.frames_repeated))
        leaving = left_the_picture(self.followed.head, self.seen.decoded.picture_size)
        if leaving is not None:
            notes.append(caution("head-left-picture", side=leaving.side, time_s=leaving.time_s))
        return tuple(notes)


def on_true_times(seen: Seen, settings: Settings) -> Timed:
    """Return what was seen without repeated or misplaced pictures and, where stated, at its rows' times.

    Raises
    ------
    CannotMeasure
        When the stated read-out takes longer than a frame.

    """
    interval_s = usual_interval(np.diff(seen.decoded.times_s))
    readout_s = settings.readout_s
    if readout_s is not None and readout_s > interval_s:
        raise CannotMeasure(
            f"A read-out of {1e3 * readout_s:.3g} ms does not fit between frames {1e3 * interval_s:.3g} ms "
            "apart.",
            fix="State the time from the picture's first row to its last, in ms, or leave it out.",
            setting="readout",
        )
    repeated = repeated_frames(seen.followed.head)
    followed = without(seen.followed, repeated)
    followed = without(followed, misplaced_frames(followed.head))
    if readout_s is not None:
        followed = at_row_times(
            followed, readout_s, rotation_deg=seen.decoded.rotation_deg, rows=seen.reading.header.height
        )
    return Timed(seen=seen, followed=followed, frames_repeated=len(repeated))
