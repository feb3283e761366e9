"""Clips: the frames of a video file with their true times, luma plane only, in one decode pass."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Literal

import av
import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import ClipFacts, FloatArray

LumaFrame = NDArray[np.uint8]

ChromaPlanes = tuple[NDArray[np.uint8], NDArray[np.uint8]]

TimeSource = Literal["timestamps", "stated", "metadata"]

LARGEST_SIDE_PX = 8192
"""Chosen by us: twice 4K; anything larger is a damaged header or a decompression bomb."""

SLOW_MOTION_LEAST_FACTOR = 1.5
"""Chosen by us: a capture rate nearer than this to the played rate is rounding, not slow motion."""

CAPTURE_RATE_KEY = "com.android.capture.fps"
"""The capture rate that Android phones write (float32, MediaStore's MdtaMetadataEntry type 23)."""

FILM_AGAIN = "Film again, or copy the clip from the phone once more, as the original file."

_LUMA_FIRST_8_BIT = ("yuv", "yuvj", "nv12", "nv16", "nv21", "nv24", "gray")


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One decoded frame."""

    index: int
    """Number in presentation order, from zero, counting only frames that are used."""
    time_s: float
    """True time from the first frame [s]."""
    luma: LumaFrame
    """Luma as displayed, shape (height, width); a read-only view into the decoder's memory."""
    chroma_source: Callable[[], ChromaPlanes] | None = None
    """Gives the frame's chroma, where it has any; asked only when a coloured dot is followed."""

    def chroma(self) -> ChromaPlanes:
        """Return the blue and red differences as displayed, 128 for grey, at their own (half) size."""
        if self.chroma_source is None:
            grey = np.full(((self.luma.shape[0] + 1) // 2, (self.luma.shape[1] + 1) // 2), 128, np.uint8)
            return grey, grey
        return self.chroma_source()


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
    rate_hz: float
    """Average frame rate by the container; NaN when unknown."""
    capture_rate_hz: float
    """Rate at which the phone says it recorded; NaN when it does not say."""
    pixel_aspect: float
    """Width of a pixel over its height."""
    has_sound: bool


def read_header(path: Path) -> ClipHeader:
    """Read what the container says about its video stream.

    Raises
    ------
    CannotMeasure
        When the file is missing, is no video, has no video stream, or states an absurd size.

    """
    with _opened(path) as container:
        stream = _video_stream(container, path)
        context = stream.codec_context
        if not (0 < context.width <= LARGEST_SIDE_PX and 0 < context.height <= LARGEST_SIDE_PX):
            raise CannotMeasure(
                f"{path.name} states a picture of {context.width} x {context.height} px, as no phone does.",
                fix=FILM_AGAIN,
            )
        capture = {**container.metadata, **stream.metadata}.get(CAPTURE_RATE_KEY, "nan")
        return ClipHeader(
            path=path,
            codec=context.name,
            width=context.width,
            height=context.height,
            frames_promised=stream.frames,
            rate_hz=float(stream.average_rate) if stream.average_rate else float("nan"),
            capture_rate_hz=_number(capture),
            pixel_aspect=float(stream.sample_aspect_ratio or 1) or 1.0,
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
        See `read_header`; while iterating, when a frame cannot be decoded at all or the picture changes size.

    """

    def __init__(self, path: Path, *, recorded_at_hz: float | None = None) -> None:
        self.header = read_header(path)
        self._recorded_at_hz = recorded_at_hz
        self.rotation_deg = 0
        self.interlaced = False
        self.damaged = False
        """Whether decoding ended at damage rather than at the end of the file."""
        self.timestamps_repaired = 0
        """Frames left out because their timestamp did not advance."""
        self._times: list[float] = []
        self.slow_motion_factor, self.time_source = self._slow_motion()

    @property
    def times_s(self) -> FloatArray:
        """True times of the frames read so far, shape (n,) [s]."""
        return np.array(self._times, dtype=np.float64)

    def frames(self) -> Iterator[Frame]:
        """Decode the clip once and yield its frames in presentation order."""
        first: float | None = None
        shape: tuple[int, int] | None = None
        with _opened(self.header.path) as container:
            stream = _video_stream(container, self.header.path)
            stream.thread_type = "AUTO"
            for picture in self._decoded(container, stream):
                stamp = picture.time
                if stamp is None:
                    self.timestamps_repaired += 1
                    continue
                if first is None:
                    first = stamp
                    self.rotation_deg = round(picture.rotation / 90.0) * 90
                    self.interlaced = bool(picture.interlaced_frame)
                time_s = (stamp - first) / self.slow_motion_factor
                if self._times and time_s <= self._times[-1]:
                    self.timestamps_repaired += 1
                    continue
                luma = luma_of(picture, self.rotation_deg)
                if shape is not None and luma.shape != shape:
                    raise CannotMeasure(
                        f"The picture of {self.header.path.name} changes from {shape[1]} x {shape[0]} to "
                        f"{luma.shape[1]} x {luma.shape[0]} px at {time_s:.2f} s.",
                        fix="Give the original clip from the phone, not a joined or live-streamed one.",
                    )
                shape = (luma.shape[0], luma.shape[1])
                self._times.append(time_s)
                chroma = partial(chroma_of, picture, self.rotation_deg)
                yield Frame(len(self._times) - 1, time_s, luma, chroma)
        self._refuse_if_too_short()

    def facts(self) -> ClipFacts:
        """Return what the file is, once all of its frames have been read."""
        times = self.times_s
        intervals = np.diff(times)
        usual = float(np.median(intervals))
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
            frames_dropped=int(np.sum(np.maximum(np.round(intervals / usual) - 1, 0))),
        )

    def _decoded(self, container: Any, stream: Any) -> Iterator[Any]:  # noqa: ANN401 - PyAV objects
        """Yield the decoder's frames; damage ends the clip early instead of ending the program."""
        decoded = 0
        try:
            for picture in container.decode(stream):
                decoded += 1
                yield picture
        except (av.error.FFmpegError, OSError) as error:
            self.damaged = True
            if decoded == 0:
                raise CannotMeasure(
                    f"No frame of {self.header.path.name} can be decoded ({_reason(error)}).", fix=FILM_AGAIN
                ) from error

    def _slow_motion(self) -> tuple[float, TimeSource]:
        """Return how many times slower than life the clip plays, and how that is known."""
        played = self.header.rate_hz
        if self._recorded_at_hz is not None:
            return (self._recorded_at_hz / played if played > 0 else 1.0), "stated"
        factor = self.header.capture_rate_hz / played
        if np.isfinite(factor) and factor >= SLOW_MOTION_LEAST_FACTOR:
            return float(factor), "metadata"
        return 1.0, "timestamps"

    def _refuse_if_too_short(self) -> None:
        frames = len(self._times)
        if frames >= 2:
            return
        raise CannotMeasure(
            f"{self.header.path.name} holds {'one frame' if frames == 1 else 'no frame'} that can be used; "
            "a stroke needs a moving picture.",
            fix="Film a video of the whole stroke, from a second before it to a second after it.",
        )


def luma_of(picture: Any, rotation_deg: int) -> LumaFrame:  # noqa: ANN401 - a PyAV frame
    """Return the luma plane of a decoded frame as displayed, shape (height, width), uint8.

    Eight-bit formats give a view; ten-bit ones are shifted down; formats without a luma plane are converted.
    """
    name: str = picture.format.name
    bits = picture.format.components[0].bits
    if name.startswith(_LUMA_FIRST_8_BIT) and bits == 8 and not name.startswith("yuyv"):
        luma = _plane(picture, np.dtype(np.uint8))
    elif name.startswith(("yuv", "gray", "p0")) and 8 < bits <= 16 and name.endswith("le"):
        deep = _plane(picture, np.dtype("<u2"))
        luma = np.right_shift(deep, 8 if name.startswith("p0") else bits - 8).astype(np.uint8)
    else:
        luma = picture.to_ndarray(format="gray")
    return np.rot90(luma, rotation_deg // 90) if rotation_deg else luma


def chroma_of(picture: Any, rotation_deg: int) -> ChromaPlanes:  # noqa: ANN401 - a PyAV frame
    """Return the blue and red difference planes of a decoded frame as displayed, uint8.

    Planar eight-bit formats give views at the planes' own size; others are converted to 4:2:0 first.
    """
    name: str = picture.format.name
    if not (name.startswith("yuv") and len(picture.planes) >= 3 and picture.format.components[1].bits == 8):
        picture = picture.reformat(format="yuv420p")
    blue, red = (_plane(picture, np.dtype(np.uint8), number) for number in (1, 2))
    if not rotation_deg:
        return blue, red
    return np.rot90(blue, rotation_deg // 90), np.rot90(red, rotation_deg // 90)


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's content as hexadecimal text."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _plane(picture: Any, kind: np.dtype[Any], number: int = 0) -> NDArray[Any]:  # noqa: ANN401 - a PyAV frame
    plane = picture.planes[number]
    rows = np.frombuffer(plane, dtype=kind).reshape(plane.height, plane.line_size // kind.itemsize)
    return rows[:, : plane.width]


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[Any]:
    if not path.is_file():
        raise CannotMeasure(f"There is no file {path}.", fix="Check the name and the folder of the clip.")
    try:
        container = av.open(str(path))
    except (av.error.FFmpegError, OSError, ValueError) as error:
        raise CannotMeasure(
            f"{path.name} cannot be read as a video ({_reason(error)}).", fix=FILM_AGAIN
        ) from error
    with container:
        yield container


def _video_stream(container: Any, path: Path) -> Any:  # noqa: ANN401 - PyAV objects
    if not container.streams.video:
        raise CannotMeasure(f"{path.name} holds no video stream.", fix="Give the clip itself, not its sound.")
    stream = container.streams.video[0]
    if stream.codec_context is None:
        raise CannotMeasure(f"{path.name} is coded in a way that cannot be decoded here.", fix=FILM_AGAIN)
    return stream


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")


def _reason(error: BaseException) -> str:
    return str(getattr(error, "strerror", None) or error).lower().rstrip(".")
