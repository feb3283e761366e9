"""Second stage: one pass over the pictures. What is seen, in pixels."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from pennyfall.calibration.ball_pose import focal_from_35mm
from pennyfall.kinematics.values import Caution, Estimate
from pennyfall.tracker.clip.album import Album
from pennyfall.tracker.clip.decoding import Decoded, Decoding
from pennyfall.tracker.clip.header_clock import missing_bytes
from pennyfall.tracker.clip.reading import ClipHeader, Reading
from pennyfall.tracker.follow.clip_pass import ClipFollower, Followed
from pennyfall.tracker.measure.cautions import caution
from pennyfall.tracker.measure.settings import HeadMark, Settings

Progress = Callable[[float], None]
"""Called with the share done, 0 to 1."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Seen:
    """What one pass over a clip saw."""

    reading: Reading
    decoded: Decoded
    """What the pass found out about the file."""
    followed: Followed
    """Sheet, head and balls in the picture."""
    method: HeadMark
    """What was followed on the head, or was to be."""

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What the file itself gives cause to say."""
        notes = []
        if self.decoded.damaged:
            notes.append(caution("damaged-file", pictures=self.decoded.frames_damaged))
        if missing_bytes(self.reading.path):
            notes.append(caution("file-cut-short"))
        if self.decoded.timestamps_repaired:
            notes.append(caution("timestamps", frames=self.decoded.timestamps_repaired))
        if self.decoded.interlaced:
            notes.append(caution("interlaced"))
        return tuple(notes)


def follow(
    reading: Reading,
    settings: Settings,
    *,
    album: Album | None = None,
    progress: Progress | None = None,
    enough: Callable[[int], bool] | None = None,
) -> Seen:
    """Follow sheet, head and balls through a clip, decoding it once.

    Parameters
    ----------
    reading : Reading
        The clip's file.
    settings : Settings
        What was stated beside it.
    album : Album, optional
        Gets a small copy of every picture, for what is shown of the clip later.
    progress : callable, optional
        Called with the share done, 0 to 1, after every frame.
    enough : callable, optional
        Called with each frame's number once it was followed; the pass ends early where it returns True.

    Raises
    ------
    CannotMeasure
        When no frame can be decoded, the picture changes size, or a box holds nothing to follow.

    """
    decoding = Decoding(reading, album)
    follower = ClipFollower(
        settings.tags,
        lens=settings.lens,
        stated_focal=_stated_focal(reading.header),
        pixel_aspect=reading.header.pixel_aspect,
        box=settings.box,
        dot=settings.dot,
    )
    promised = reading.header.frames_promised
    for frame in decoding.frames():
        follower.update(frame)
        if progress is not None:
            progress((frame.index + 1) / promised if promised > frame.index else 1.0)
        if enough is not None and enough(frame.index):
            break
    followed = follower.result()
    return Seen(
        reading=reading,
        decoded=decoding.decoded(),
        followed=followed,
        method=settings.method if followed.head.slope is None else "bare",
    )


def _stated_focal(header: ClipHeader) -> Estimate | None:
    """Return the focal length that the phone wrote into the file [px]; None where it wrote none."""
    if not math.isfinite(header.focal_35mm):
        return None
    return focal_from_35mm(header.focal_35mm, (header.width, header.height))
