"""Decoding a clip: its frames with their true times, luma plane only, in one pass."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

import av
import numpy as np
from av.video.frame import PictureType

from pennyfall.kinematics.clock.time_base import usual_interval
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import ClipFacts, FloatArray, freeze_arrays
from pennyfall.tracker.clip.album import Album
from pennyfall.tracker.clip.container import (
    FILM_AGAIN,
    MOST_OUTLIERS,
    disorder,
    opened,
    reason,
    seconds_of,
    video_stream,
)
from pennyfall.tracker.clip.frame import Frame, chroma_of, luma_of
from pennyfall.tracker.clip.reading import Reading, sha256_of

FITS_SLOT = 0.3
"""Chosen by us: a timestamp this near to a whole number of frame intervals, in intervals, is in its place."""

FRAMES_IN_FLIGHT = 8
"""Chosen by us: the decoder works on as many frames at once, so it goes on while one frame is measured; the
same number on every machine. Decoding by itself leaves a fifth of two cores idle: following 2,000 frames of
1080p took 5.8 s with the usual three, 5.2 with eight, 5.0 with sixteen and 45 MB more (bare decoding 4.8; a
thread of our own that read ahead cost 0.5 more)."""

LEAST_SOUND = 0.1
"""Chosen by us: of a clip with fewer sound frames no stroke is left, and which the decoder flags in the last
of them may differ from one run to the next."""

MOST_HELD = 4
"""Chosen by us: as many frames predicted from both sides are held back until the one after them is sound."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Decoded:
    """What a pass over the frames found out about the file."""

    times_s: FloatArray
    """True time of each frame that was used, shape (n,) [s]."""
    picture_size: tuple[int, int]
    """Width and height as displayed [px]."""
    rotation_deg: int
    """How far the coded picture is turned counter-clockwise to stand upright."""
    interlaced: bool
    damaged: bool
    """Whether a part of the pictures could not be decoded soundly."""
    frames_damaged: int
    """Frames left out since they were damaged, or built upon a damaged one."""
    timestamps_repaired: int
    """Frames left out because their timestamp does not fit those of their neighbours."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


class Decoding:
    """One pass over a clip's frames, from the first to the last.

    Parameters
    ----------
    reading : Reading
        The clip's file.
    album : Album, optional
        Gets a copy of every frame.

    """

    def __init__(self, reading: Reading, album: Album | None = None) -> None:
        self._reading = reading
        self._album = album
        self._rotation_deg = 0
        self._interlaced = False
        self._damaged = False
        self._timestamps_repaired = 0
        self._frames_damaged = 0
        self._times: list[float] = []

    def frames(self) -> Iterator[Frame]:
        """Decode the clip once and yield its frames in presentation order.

        Raises
        ------
        CannotMeasure
            When next to no frame can be decoded, the picture changes size, timestamps are in disorder, or
            fewer than two frames are left.

        """
        for time_s, picture in self.pictures():
            self._times.append(time_s)
            if self._album is not None:
                self._album.keep(time_s, picture, self._rotation_deg)
            luma = luma_of(picture, self._rotation_deg)
            chroma = partial(chroma_of, picture, self._rotation_deg)
            yield Frame(len(self._times) - 1, time_s, luma, chroma)
        self._refuse_if_unusable()

    def pictures(self) -> Iterator[tuple[float, Any]]:
        """Decode the clip once and yield true time and decoded picture of each frame that is used.

        Raises
        ------
        CannotMeasure
            When next to no frame can be decoded, or the picture changes size.

        """
        size: tuple[int, int] | None = None
        path = self._reading.path
        with opened(path) as container:
            stream = video_stream(container, path)
            stream.thread_type = "AUTO"
            stream.thread_count = FRAMES_IN_FLIGHT
            for stamp_s, picture in self._advancing(self._stamped(self._sound(container, stream))):
                time_s = self._reading.time_base.at(stamp_s)
                if size is None:
                    size = picture.width, picture.height
                    self._rotation_deg = round(picture.rotation / 90.0) * 90
                    self._interlaced = bool(picture.interlaced_frame)
                if size != (picture.width, picture.height):
                    raise CannotMeasure(
                        f"The picture of {path.name} changes from {size[0]} x {size[1]} to "
                        f"{picture.width} x {picture.height} px at {time_s:.2f} s.",
                        fix="Give the original clip from the phone, not a joined or live-streamed one.",
                    )
                yield time_s, picture

    def decoded(self) -> Decoded:
        """Return what the pass found out up to the frame it has reached."""
        header = self._reading.header
        size = (header.width, header.height)
        return Decoded(
            times_s=np.array(self._times, dtype=np.float64),
            picture_size=size[::-1] if self._rotation_deg % 180 else size,
            rotation_deg=self._rotation_deg,
            interlaced=self._interlaced,
            damaged=self._damaged,
            frames_damaged=self._frames_damaged,
            timestamps_repaired=self._timestamps_repaired,
        )

    def _sound(self, container: Any, stream: Any) -> Iterator[Any]:  # noqa: ANN401 - PyAV objects
        """Yield the frames that decode soundly.

        From a damaged frame on, the frames up to the next key frame are built upon the damage; so may be the
        frames shown just before it and predicted from both sides. One flipped byte left 50 pictures shifted
        without an error from the decoder, which flags the first of them, and a takeaway 25 standard
        deviations off.
        """
        held: list[Any] = []
        sound, yielded = True, 0
        failure: BaseException | None = None
        for picture, failed in _pictures_or_damage(container, stream):
            failure = failed or failure
            if picture is None or picture.is_corrupt:
                self._damaged, sound = True, False
                self._frames_damaged += len(held) + (picture is not None)
                held.clear()
                continue
            sound = sound or picture.key_frame
            if not sound:
                self._frames_damaged += 1
                continue
            held.append(picture)
            while held and (picture.pict_type != PictureType.B or len(held) > MOST_HELD):
                yielded += 1
                yield held.pop(0)
        yielded += len(held)
        yield from held
        if self._damaged and yielded <= LEAST_SOUND * (yielded + self._frames_damaged):
            why = "the pictures are damaged" if failure is None else reason(failure)
            raise CannotMeasure(
                f"Next to no frame of {self._reading.name} can be decoded ({why}).", fix=FILM_AGAIN
            )

    def _stamped(self, pictures: Iterator[Any]) -> Iterator[tuple[float, Any]]:
        """Yield each decoded picture with its timestamp [s], damaged timestamps left out."""
        for number, picture in enumerate(pictures):
            if not self._reading.stamps.trusted:
                stamps = self._reading.stamps.stamps_s
                if number < len(stamps):
                    yield float(stamps[number]), picture
                continue
            ticks = picture.pts if picture.pts is not None else picture.dts
            stamp = None if ticks is None else seconds_of(ticks, picture.time_base)
            if stamp is None or stamp in self._reading.stamps.outliers:
                self._timestamps_repaired += 1
                continue
            yield stamp, picture

    def _advancing(self, stamped: Iterator[tuple[float, Any]]) -> Iterator[tuple[float, Any]]:
        """Yield the pictures whose timestamps advance.

        Where two do not, the one that fits the usual interval stays; neither does where none fits.
        """
        stamps = self._reading.stamps.stamps_s
        usual_s = usual_interval(np.diff(stamps)) if len(stamps) > 1 else 1.0
        last_s, held = -np.inf, None
        for new in stamped:
            if held is None:
                if new[0] > last_s:
                    held = new
                else:
                    self._timestamps_repaired += 1
            elif new[0] > held[0]:
                yield held
                last_s, held = held[0], new
            else:
                self._timestamps_repaired += 1
                held_fits = abs((held[0] - last_s) / usual_s - 1) < FITS_SLOT
                new_fits = abs((new[0] - last_s) / usual_s - 2) < FITS_SLOT
                if new_fits and not held_fits:
                    held = new
                elif last_s < new[0] < held[0] and not held_fits:
                    self._timestamps_repaired += 1
                    held = None
        if held is not None:
            yield held

    def _refuse_if_unusable(self) -> None:
        name, frames, wrong = self._reading.name, len(self._times), self._timestamps_repaired
        if wrong > MOST_OUTLIERS * (frames + wrong):
            raise CannotMeasure(disorder(name, wrong, frames + wrong), fix=FILM_AGAIN)
        if frames < 2:
            raise CannotMeasure(
                f"{name} holds {'one frame' if frames == 1 else 'no frame'} that can be used; a stroke needs "
                "a moving picture.",
                fix="Film a video of the whole stroke, from a second before it to a second after it.",
            )


def clip_facts(reading: Reading, decoded: Decoded, *, frames_repeated: int = 0) -> ClipFacts:
    """Return what the file is, once all of its frames have been read; its content is hashed here."""
    intervals = np.diff(decoded.times_s)
    usual = usual_interval(intervals)
    times, base = decoded.times_s, reading.time_base
    return ClipFacts(
        file=reading.name,
        sha256=sha256_of(reading.path),
        width=decoded.picture_size[0],
        height=decoded.picture_size[1],
        rotation_deg=decoded.rotation_deg % 360,
        codec=reading.header.codec,
        frames=len(times),
        duration_s=float(times[-1] - times[0] + usual),
        frame_rate_hz=float(1.0 / np.mean(intervals)),
        frame_interval_sd_s=float(np.std(intervals)),
        slow_motion_factor=base.slow_motion_factor,
        time_source=base.source,
        frames_dropped=_frames_dropped(reading, intervals, usual),
        time_base=base.words,
        capture_rate_hz=base.capture_rate_hz,
        frames_repeated=frames_repeated,
    )


def _frames_dropped(reading: Reading, intervals_s: FloatArray, usual_s: float) -> int:
    base = reading.time_base
    steps = None if base.ramp else base.steps
    if steps is not None and len(intervals_s) == len(base.stamps_s) - 1:
        return int(np.sum(steps.frames_captured(intervals_s) - 1))
    return int(np.sum(np.maximum(np.round(intervals_s / usual_s) - 1, 0)))


def _pictures_or_damage(
    container: Any,  # noqa: ANN401 - PyAV objects
    stream: Any,  # noqa: ANN401
) -> Iterator[tuple[Any, BaseException | None]]:
    """Yield what the decoder gives: a picture, or the reason why there is none."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets, None)
        except (av.error.FFmpegError, OSError) as error:
            yield None, error
            return
        if packet is None:
            return
        try:
            pictures = packet.decode()
        except (av.error.FFmpegError, OSError) as error:
            yield None, error
            continue
        for picture in pictures:
            yield picture, None
