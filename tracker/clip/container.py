"""Opening a clip's file: only what may be a film, of a sane size, and its timestamps without decoding."""

from __future__ import annotations

import contextlib
import mimetypes
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray, freeze_arrays

LARGEST_SIDE_PX = 8192
MOST_PIXELS = 8192 * 4320
"""Chosen by us: 8K; anything larger is a damaged header or a decompression bomb."""

MOST_FRAMES = 200_000
"""Chosen by us: a quarter of an hour at 240 frames/s; nobody putts as long."""

FILMS = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts,mpeg,flv,asf,ogg,mxf,ivf,nut,dv"
"""Formats of films with times; bare streams have no times, pictures, playlists and lists are no films."""

MOST_REORDERED = 16
"""Frames that the order of decoding may differ from that of showing by: the largest decoded picture buffer of
ITU-T H.264 (A.3.1) and H.265 (A.4.2), from memory."""

MOST_OUTLIERS = 0.10
"""Chosen by us: with more timestamps out of order than this, none can be believed."""

LONE_END_S = 10.0
"""Chosen by us: a single first or last frame this far from all others has a damaged timestamp."""

FILM_AGAIN = "Film again, or copy the clip from the phone once more, as the original file."


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Stamps:
    """The timestamps of a clip's frames, read without decoding any."""

    stamps_s: FloatArray
    """In order of presentation, strictly increasing, outliers left out, shape (n,) [s]."""
    outliers: frozenset[float]
    """Timestamps left out since they lie far from their neighbours' [s]."""
    tick_s: float
    """What all timestamps are whole multiples of, from the first on [s]: the file's unit, or the coarser grid
    on which they were before a program wrote them in a finer one (1/600 s in 1/19200, milliseconds in
    1/16000)."""
    trusted: bool
    """Whether the frames carry them; False where the container only knows an order (AVI)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open a film; nothing else than this one file is ever read.

    Raises
    ------
    CannotMeasure
        When the file is missing or is no film.

    """
    if path.is_dir():
        raise CannotMeasure(
            f"{path} is a folder, not a clip.",
            fix="Name the clip in it; a folder of clips is a lesson (pennyfall lesson new).",
        )
    if not path.is_file():
        raise CannotMeasure(f"There is no file {path}.", fix="Check the name and the folder of the clip.")
    options = {"format_whitelist": FILMS, "protocol_whitelist": "file", "max_pixels": str(MOST_PIXELS)}
    try:
        # absolute: a name such as '12:30.mp4' is otherwise read as the address of a protocol
        container = av.open(str(path.absolute()), options=options)
    except (av.error.FFmpegError, OSError, ValueError) as error:
        kind = mimetypes.guess_type(path.name)[0] or "video"
        if not kind.startswith("video"):
            raise CannotMeasure(
                f"{path.name} is no video but a {path.suffix} file.",
                fix="Name the clip itself, as the phone recorded it.",
            ) from error
        raise CannotMeasure(
            f"{path.name} cannot be read as a video ({reason(error)}).", fix=FILM_AGAIN
        ) from error
    with container:
        yield container


def video_stream(container: Any, path: Path) -> Any:  # noqa: ANN401 - PyAV objects
    """Return the first video stream, its size checked before a frame is decoded.

    Raises
    ------
    CannotMeasure
        When there is none, it cannot be decoded, or it states an absurd size or length.

    """
    if not container.streams.video:
        raise CannotMeasure(f"{path.name} holds no video stream.", fix="Give the clip itself, not its sound.")
    stream = container.streams.video[0]
    context = stream.codec_context
    if context is None:
        raise CannotMeasure(f"{path.name} is coded in a way that cannot be decoded here.", fix=FILM_AGAIN)
    width, height = context.width, context.height
    inside = 0 < width <= LARGEST_SIDE_PX and 0 < height <= LARGEST_SIDE_PX
    if not (inside and width * height <= MOST_PIXELS):
        raise CannotMeasure(
            f"{path.name} states a picture of {width} x {height} px, as no phone does.", fix=FILM_AGAIN
        )
    context.options = {"max_pixels": str(MOST_PIXELS)}  # the picture may also grow in mid-stream
    return stream


def read_stamps(container: Any, stream: Any, path: Path) -> Stamps:  # noqa: ANN401 - PyAV objects
    """Return the timestamps of a clip's frames, read to the end of the file.

    Raises
    ------
    CannotMeasure
        When it holds too many frames, or its timestamps are in disorder.

    """
    found: list[int] = []
    base, trusted = stream.time_base, container.format.name != "avi"
    with contextlib.suppress(av.error.FFmpegError, OSError):  # damage ends the file early
        for packet in container.demux(stream):
            stamp = packet.pts if trusted and packet.pts is not None else packet.dts
            if packet.size and stamp is not None and not packet.is_discard:
                found.append(stamp)
            if len(found) > MOST_FRAMES:
                raise CannotMeasure(
                    f"{path.name} holds more than {MOST_FRAMES} frames.",
                    fix="Cut the clip to the strokes.",
                )
    if not found or base is None:
        return Stamps(stamps_s=np.empty(0), outliers=frozenset(), tick_s=0.0, trusted=trusted)
    stamps = np.array([seconds_of(stamp, base) for stamp in found])
    kept = in_order(stamps)
    if np.mean(~kept) > MOST_OUTLIERS:
        raise CannotMeasure(disorder(path.name, int(np.sum(~kept)), len(kept)), fix=FILM_AGAIN)
    grid = int(np.gcd.reduce(np.diff(np.unique(np.array(found)[kept])))) or 1
    good = np.unique(stamps[kept])
    while len(good) > 2 and good[-1] - good[-2] > LONE_END_S:
        good = good[:-1]
    while len(good) > 2 and good[1] - good[0] > LONE_END_S:
        good = good[1:]
    return Stamps(
        stamps_s=good,
        outliers=frozenset(stamps.tolist()) - set(good.tolist()),
        tick_s=seconds_of(grid, base),
        trusted=trusted,
    )


def seconds_of(ticks: int, base: Fraction) -> float:
    """Return a timestamp [s], rounded once: the same float wherever the same timestamp is read."""
    return ticks * base.numerator / base.denominator


def in_order(stamps_s: FloatArray) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Return which timestamps, in order of decoding, lie where their neighbours say, shape (n,).

    A frame's place in the order of showing differs from its place in the order of decoding by a few frames at
    most; a damaged timestamp is far from its place.
    """
    kept = np.ones(len(stamps_s), dtype=bool)
    while True:
        index = np.flatnonzero(kept)
        rank = np.empty(len(index), dtype=np.int64)
        rank[np.argsort(stamps_s[index], kind="stable")] = np.arange(len(index))
        away = np.abs(rank - np.arange(len(index)))
        worst = away.max(initial=0)
        if worst <= MOST_REORDERED:
            return kept
        kept[index[away > max(MOST_REORDERED, worst // 2)]] = False


def disorder(name: str, wrong: int, of: int) -> str:
    """Return the sentence for timestamps that cannot be believed."""
    return f"{wrong} of the {of} frames of {name} have a timestamp that does not fit their neighbours'."


def reason(error: BaseException) -> str:
    """Return an error's own words, in lower case and without a full stop."""
    return str(getattr(error, "strerror", None) or error).lower().rstrip(".")
