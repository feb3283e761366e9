"""Clips: the frames of a video file with their true times, luma plane only, in one decode pass."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.video.frame import PictureType

from pennyfall.kinematics.clock.time_base import TimeSource, time_base, usual_interval
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import ClipFacts, FloatArray
from pennyfall.tracker.clip.container import (
    FILM_AGAIN,
    MOST_OUTLIERS,
    disorder,
    opened,
    read_stamps,
    reason,
    seconds_of,
    video_stream,
)
from pennyfall.tracker.clip.frame import Frame, chroma_of, luma_of
from pennyfall.tracker.clip.header_clock import clock_disagreement

CAPTURE_RATE_KEY = "com.android.capture.fps"
"""The capture rate that Android phones write (float32, MediaStore's MdtaMetadataEntry type 23)."""

FITS_SLOT = 0.3
"""Chosen by us: a timestamp this near to a whole number of frame intervals, in intervals, is in its place."""

FRAMES_IN_FLIGHT = 8
"""Chosen by us: the decoder works on as many frames at once, so it goes on while one frame is measured; the
same number on every machine."""

MOST_HELD = 4
"""Chosen by us: as many frames predicted from both sides are held back until the one after them is sound."""

USUAL_ASPECTS = tuple(
    width / height
    for width, height in (
        *((1, 1), (12, 11), (10, 11), (16, 11), (40, 33), (24, 11), (20, 11), (32, 11), (80, 33)),
        *((18, 11), (15, 11), (64, 33), (160, 99), (4, 3), (3, 2), (2, 1), (3, 4)),
    )
)
"""Shapes of a pixel with a number of their own in ITU-T H.264, table E-1 (from memory), and 4:3 lying."""

ASPECT_ROUNDING = 0.0005
"""Chosen by us: rounding of a fraction in a header; damaged ones come near a usual shape by chance."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ClipHeader:
    """What the container says before a frame is decoded."""

    path: Path
    codec: str
    width: int
    """Coded width, before rotation [px]."""
    height: int
    frames_promised: int
    """Number of frames by the container's header; zero when unknown; headers lie."""
    capture_rate_hz: float
    """Rate at which the phone says it recorded; NaN when it does not say."""
    pixel_aspect: float
    """Width of a pixel over its height."""
    has_sound: bool


def _header(container: Any, stream: Any, path: Path) -> ClipHeader:  # noqa: ANN401 - PyAV objects
    if "mp4" in container.format.name and (disagreement := clock_disagreement(path)) is not None:
        raise CannotMeasure(
            f"The header of {path.name} contradicts itself on how long it lasts: {disagreement}.",
            fix=FILM_AGAIN,
        )
    context = stream.codec_context
    capture = {**container.metadata, **stream.metadata}.get(CAPTURE_RATE_KEY, "nan")
    return ClipHeader(
        path=path,
        codec=context.name,
        width=context.width,
        height=context.height,
        frames_promised=stream.frames,
        capture_rate_hz=_number(capture),
        pixel_aspect=_pixel_aspect(stream, path.name),
        has_sound=bool(container.streams.audio),
    )


class Clip:
    """A clip that is read once, from the first frame to the last.

    Parameters
    ----------
    path : Path
        The video file.
    recorded_at_hz : float or None
        The true rate of a clip re-timed to slow motion, when the coach states it.

    Raises
    ------
    CannotMeasure
        When the file is missing, is no video, has no video stream, states an absurd size, or its timestamps
        are in disorder; while iterating, when no frame can be decoded or the picture changes size.

    """

    def __init__(self, path: Path, *, recorded_at_hz: float | None = None) -> None:
        with opened(path) as container:
            stream = video_stream(container, path)
            self.header = _header(container, stream, path)
            self._stamps = read_stamps(container, stream, path)
        self.time_base = time_base(
            self._stamps.stamps_s,
            tick_s=self._stamps.tick_s,
            recorded_at_hz=recorded_at_hz,
            capture_rate_hz=self.header.capture_rate_hz,
        )
        self.rotation_deg = 0
        self.interlaced = False
        self.damaged = False
        """Whether a part of the pictures could not be decoded soundly."""
        self.timestamps_repaired = 0
        """Frames left out because their timestamp does not fit those of their neighbours."""
        self.frames_damaged = 0
        """Frames left out since they were damaged, or built upon a damaged one."""
        self._times: list[float] = []

    @property
    def first_stamp_s(self) -> float:
        """The container's time at which true time is zero [s]."""
        return float(self.time_base.stamps_s[0])

    @property
    def slow_motion_factor(self) -> float:
        """How many times slower than life the clip plays."""
        return self.time_base.slow_motion_factor

    @property
    def time_source(self) -> TimeSource:
        """How the factor is known."""
        return self.time_base.source

    @property
    def times_s(self) -> FloatArray:
        """True times of the frames read so far, shape (n,) [s]."""
        return np.array(self._times, dtype=np.float64)

    def frames(self) -> Iterator[Frame]:
        """Decode the clip once and yield its frames in presentation order.

        Raises
        ------
        CannotMeasure
            When no frame can be decoded, the picture changes size, timestamps are in disorder, or fewer than
            two frames are left.

        """
        for time_s, picture in self.pictures():
            self._times.append(time_s)
            luma = luma_of(picture, self.rotation_deg)
            chroma = partial(chroma_of, picture, self.rotation_deg)
            yield Frame(len(self._times) - 1, time_s, luma, chroma)
        self._refuse_if_unusable()

    def pictures(self) -> Iterator[tuple[float, Any]]:
        """Decode the clip once and yield true time and decoded picture of each frame that is used.

        Raises
        ------
        CannotMeasure
            When no frame can be decoded, or the picture changes size.

        """
        size: tuple[int, int] | None = None
        with opened(self.header.path) as container:
            stream = video_stream(container, self.header.path)
            stream.thread_type = "AUTO"
            stream.thread_count = FRAMES_IN_FLIGHT
            for stamp_s, picture in self._advancing(self._stamped(self._decoded(container, stream))):
                time_s = self.time_base.at(stamp_s)
                if size is None:
                    size = picture.width, picture.height
                    self.rotation_deg = round(picture.rotation / 90.0) * 90
                    self.interlaced = bool(picture.interlaced_frame)
                if size != (picture.width, picture.height):
                    raise CannotMeasure(
                        f"The picture of {self.header.path.name} changes from {size[0]} x {size[1]} to "
                        f"{picture.width} x {picture.height} px at {time_s:.2f} s.",
                        fix="Give the original clip from the phone, not a joined or live-streamed one.",
                    )
                yield time_s, picture

    def facts(self) -> ClipFacts:
        """Return what the file is, once all of its frames have been read."""
        times = self.times_s
        intervals = np.diff(times)
        usual = usual_interval(intervals)
        turned = self.rotation_deg % 180 != 0
        size = (self.header.width, self.header.height)
        return ClipFacts(
            file=self.header.path.name,
            sha256=sha256_of(self.header.path),
            width=size[1] if turned else size[0],
            height=size[0] if turned else size[1],
            rotation_deg=self.rotation_deg % 360,
            codec=self.header.codec,
            frames=len(times),
            duration_s=float(times[-1] - times[0] + usual),
            frame_rate_hz=float(1.0 / np.mean(intervals)),
            frame_interval_sd_s=float(np.std(intervals)),
            slow_motion_factor=self.slow_motion_factor,
            time_source=self.time_source,
            frames_dropped=self._frames_dropped(intervals, usual),
            time_base=self.time_base.words,
            capture_rate_hz=self.time_base.capture_rate_hz,
        )

    def _decoded(self, container: Any, stream: Any) -> Iterator[Any]:  # noqa: ANN401 - PyAV objects
        """Yield the frames that decode soundly.

        From a damaged frame on, the frames up to the next key frame are built upon the damage; so may be the
        frames shown just before it and predicted from both sides.
        """
        held: list[Any] = []
        sound, yielded = True, 0
        failure: BaseException | None = None
        for picture, failed in _pictures_or_damage(container, stream):
            failure = failed or failure
            if picture is None or picture.is_corrupt:
                self.damaged, sound = True, False
                self.frames_damaged += len(held) + (picture is not None)
                held.clear()
                continue
            sound = sound or picture.key_frame
            if not sound:
                self.frames_damaged += 1
                continue
            held.append(picture)
            while held and (picture.pict_type != PictureType.B or len(held) > MOST_HELD):
                yielded += 1
                yield held.pop(0)
        yielded += len(held)
        yield from held
        if yielded == 0 and self.damaged:
            why = "every picture is damaged" if failure is None else reason(failure)
            raise CannotMeasure(
                f"No frame of {self.header.path.name} can be decoded ({why}).", fix=FILM_AGAIN
            )

    def _stamped(self, pictures: Iterator[Any]) -> Iterator[tuple[float, Any]]:
        """Yield each decoded picture with its timestamp [s], damaged timestamps left out."""
        for number, picture in enumerate(pictures):
            if not self._stamps.trusted:
                stamps = self._stamps.stamps_s
                if number < len(stamps):
                    yield float(stamps[number]), picture
                continue
            ticks = picture.pts if picture.pts is not None else picture.dts
            stamp = None if ticks is None else seconds_of(ticks, picture.time_base)
            if stamp is None or stamp in self._stamps.outliers:
                self.timestamps_repaired += 1
                continue
            yield stamp, picture

    def _advancing(self, stamped: Iterator[tuple[float, Any]]) -> Iterator[tuple[float, Any]]:
        """Yield the pictures whose timestamps advance.

        Where two do not, the one that fits the usual interval stays; neither does where none fits.
        """
        stamps = self._stamps.stamps_s
        usual_s = usual_interval(np.diff(stamps)) if len(stamps) > 1 else 1.0
        last_s, held = -np.inf, None
        for new in stamped:
            if held is None:
                if new[0] > last_s:
                    held = new
                else:
                    self.timestamps_repaired += 1
            elif new[0] > held[0]:
                yield held
                last_s, held = held[0], new
            else:
                self.timestamps_repaired += 1
                held_fits = abs((held[0] - last_s) / usual_s - 1) < FITS_SLOT
                new_fits = abs((new[0] - last_s) / usual_s - 2) < FITS_SLOT
                if new_fits and not held_fits:
                    held = new
                elif last_s < new[0] < held[0] and not held_fits:
                    self.timestamps_repaired += 1
                    held = None
        if held is not None:
            yield held

    def _frames_dropped(self, intervals_s: FloatArray, usual_s: float) -> int:
        steps = None if self.time_base.ramp else self.time_base.steps
        if steps is not None and len(intervals_s) == len(self.time_base.stamps_s) - 1:
            return int(np.sum(steps.frames_captured(intervals_s) - 1))
        return int(np.sum(np.maximum(np.round(intervals_s / usual_s) - 1, 0)))

    def _refuse_if_unusable(self) -> None:
        name, frames, wrong = self.header.path.name, len(self._times), self.timestamps_repaired
        if wrong > MOST_OUTLIERS * (frames + wrong):
            raise CannotMeasure(disorder(name, wrong, frames + wrong), fix=FILM_AGAIN)
        if frames < 2:
            raise CannotMeasure(
                f"{name} holds {'one frame' if frames == 1 else 'no frame'} that can be used; a stroke needs "
                "a moving picture.",
                fix="Film a video of the whole stroke, from a second before it to a second after it.",
            )


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


def _pixel_aspect(stream: Any, name: str) -> float:  # noqa: ANN401 - a PyAV stream
    """Return the pixels' width over their height, believed of the coded picture or where usual."""
    coded = float(stream.codec_context.sample_aspect_ratio or 0)
    stated = float(stream.sample_aspect_ratio or 0) or 1.0
    if coded > 0 or min(abs(stated / usual - 1) for usual in USUAL_ASPECTS) < ASPECT_ROUNDING:
        return coded or stated
    raise CannotMeasure(
        f"The header of {name} states pixels {stated:.3g} times as wide as high, as no camera's are.",
        fix=FILM_AGAIN,
    )


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's content as hexadecimal text."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")
