"""Reading a clip's header and clocks: everything about the file that is known before a frame is decoded."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pennyfall.kinematics.clock.time_base import TimeBase, time_base
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.clip.container import FILM_AGAIN, Stamps, opened, read_stamps, video_stream
from pennyfall.tracker.clip.header_clock import clock_disagreement, focal_length_35mm

CAPTURE_RATE_KEY = "com.android.capture.fps"
"""The capture rate that Android phones write (float32, MediaStore's MdtaMetadataEntry type 23)."""

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
    focal_35mm: float = float("nan")
    """Focal length of the lens as a 35 mm film's, as the phone wrote it [mm]; NaN when it does not say."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Reading:
    """A clip's file as it was found: it never changes, and every pass over the frames starts from it."""

    header: ClipHeader
    stamps: Stamps
    time_base: TimeBase

    @property
    def path(self) -> Path:
        """The video file."""
        return self.header.path

    @property
    def name(self) -> str:
        """The file's own name, as sentences to a coach use it."""
        return self.header.path.name

    @property
    def first_stamp_s(self) -> float:
        """The container's time at which true time is zero [s]."""
        return float(self.time_base.stamps_s[0])


def read_clip(path: Path, *, recorded_at_hz: float | None = None) -> Reading:
    """Read a clip's header and timestamps; no frame is decoded.

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
        are in disorder.

    """
    with opened(path) as container:
        stream = video_stream(container, path)
        header = _header(container, stream, path)
        stamps = read_stamps(container, stream, path)
    base = time_base(
        stamps.stamps_s,
        tick_s=stamps.tick_s,
        recorded_at_hz=recorded_at_hz,
        capture_rate_hz=header.capture_rate_hz,
    )
    return Reading(header=header, stamps=stamps, time_base=base)


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's content as hexadecimal text."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


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
        focal_35mm=focal_length_35mm(path) if "mp4" in container.format.name else float("nan"),
    )


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


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")
