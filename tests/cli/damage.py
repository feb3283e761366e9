"""Damaged clips, each made from a sound one by a seeded hand."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from tests.tracker.timed_clips import Filmed, write_film

HEADER_FLIPS, PAYLOAD_FLIPS, RANDOM_CUTS = 110, 70, 24
CONTAINERS = {b"moov", b"trak", b"mdia", b"minf", b"stbl", b"edts", b"udta", b"dinf"}


@dataclass(frozen=True, slots=True)
class Damaged:
    """One damaged clip."""

    kind: str
    """What was done to it."""
    path: Path


@dataclass(frozen=True, slots=True)
class Box:
    """A box of an MP4 file."""

    name: bytes
    start: int
    end: int


def boxes(content: bytes, start: int = 0, end: int | None = None) -> Iterator[Box]:
    """Yield every box of an MP4 file, those inside others too."""
    end = len(content) if end is None else end
    while start + 8 <= end:
        size = int.from_bytes(content[start : start + 4], "big")
        name = content[start + 4 : start + 8]
        if size < 8 or start + size > end:
            return
        yield Box(name, start, start + size)
        if name in CONTAINERS:
            yield from boxes(content, start + 8, start + size)
        start += size


def damaged_clips(clip: Filmed, folder: Path, generator: np.random.Generator) -> Iterator[Damaged]:
    """Yield the damaged clips one by one; each lies in the folder until the next is asked for."""
    content = clip.path.read_bytes()
    for kind, ending, damaged in _damaged_bytes(content, generator):
        path = folder / f"damaged.{ending}"
        path.write_bytes(damaged)
        yield Damaged(kind, path)
        path.unlink()
    for kind, make in _rewritten(clip, generator):
        path = make(folder)
        yield Damaged(kind, path)
        path.unlink()


def _damaged_bytes(content: bytes, generator: np.random.Generator) -> Iterator[tuple[str, str, bytes]]:
    found = list(boxes(content))
    for place in sorted({edge for box in found for edge in (box.start, box.start + 8, box.end)}):
        yield "cut at a box", "mp4", content[:place]
    media = next(box for box in found if box.name == b"mdat")
    for place in generator.integers(media.start, media.end, RANDOM_CUTS):
        yield "cut in the payload", "mp4", content[:place]
    movie = next(box for box in found if box.name == b"moov")
    for _ in range(HEADER_FLIPS):
        yield "header flipped", "mp4", _flipped(content, movie, int(generator.integers(1, 4)), generator)
    for _ in range(PAYLOAD_FLIPS):
        many = int(generator.choice([1, 3, 10, 100]))
        yield "payload flipped", "mp4", _flipped(content, media, many, generator)
    for _ in range(6):
        first = int(generator.integers(media.start, media.end - 4000))
        yield "hole of zeros", "mp4", content[:first] + bytes(2000) + content[first + 2000 :]
        yield "piece missing", "mp4", content[:first] + content[first + 2000 :]
    yield "nothing in it", "mp4", b""
    yield "nothing in it", "mp4", b"\x00"
    yield "nothing in it", "mov", bytes(4096)
    yield "no film", "mp4", b"ffconcat version 1.0\nfile at60.mp4\n"
    yield "no film", "mp4", b"#EXTM3U\n#EXTINF:10,\nat60.mp4\n#EXT-X-ENDLIST\n"
    yield "no film", "mkv", generator.bytes(20000)
    yield "joined with itself", "mp4", content + content
    picture = np.asarray(generator.integers(0, 255, (60, 80, 3)), dtype=np.uint8)
    for kind in (".png", ".jpg", ".bmp", ".webp", ".tiff"):
        yield "still picture", "mp4", bytes(cv2.imencode(kind, picture)[1])
    yield "bomb", "mp4", _huge_png(30000)


def _flipped(content: bytes, box: Box, many: int, generator: np.random.Generator) -> bytes:
    spoilt = bytearray(content)
    for place in generator.integers(box.start + 8, box.end, many):
        spoilt[place] ^= int(generator.integers(1, 256))
    return bytes(spoilt)


def _huge_png(side: int) -> bytes:
    """Return a square black picture of 3 bits in a few hundred kilobytes: gigabytes once it is opened."""
    squeeze = zlib.compressobj(9)
    rows = b"".join(squeeze.compress(bytes(3 * side + 1)) for _ in range(side // 100)) + squeeze.flush()
    size = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", size), (b"IDAT", rows), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in chunks
    )


def _rewritten(clip: Filmed, generator: np.random.Generator) -> Iterator[tuple[str, Callable[[Path], Path]]]:
    """Yield clips written anew with damaged timestamps, order or size."""
    frames, times = list(clip.frames), clip.times_s
    count = len(frames)

    def written(
        ending: str, new: list[NDArray[np.uint8]], packets: Callable[[list[Any]], list[Any]] | None = None
    ) -> Callable[[Path], Path]:
        return lambda folder: write_film(
            folder / f"damaged.{ending}", new, times[: len(new)], packets=packets
        )

    for share in (0.01, 0.05, 0.3):
        for shift in (-3.0, -0.04, 50.0):
            chosen = generator.choice(np.arange(5, count - 2), max(1, int(share * count)), replace=False)
            yield "timestamps out of order", written("mp4", frames, _shifter(chosen.tolist(), shift))
    for _ in range(4):
        chosen = generator.choice(np.arange(5, count - 2), 3, replace=False)
        yield "timestamps repeated", written("mp4", frames, _repeater(chosen.tolist()))
    fast = _fast_frames(clip)
    for span in (1, 1, 2, 5, 20):
        first = int(generator.choice(fast[fast + span < count]))
        swapped = frames.copy()
        swapped[first], swapped[first + span] = swapped[first + span], swapped[first]
        yield "frames swapped", written("mp4", swapped)
    yield "frames swapped", written("mp4", frames[::-1])
    yield "frames swapped", written("mp4", frames[50:] + frames[:50])
    for by in (2, 4):
        yield "picture changes its size", partial(_two_sizes, frames=frames, by=by)
    yield "bare stream", written("h264", frames)
    yield "bomb", _huge_film
    yield "bomb", partial(_growing_film, frames=frames)
    yield "ten minutes of nothing", _long_nothing


def _fast_frames(clip: Filmed) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Return frames of the forward swing: to swap pictures of a head that hardly moves is no damage."""
    top_s, impact_s = clip.truth["top_s"], clip.truth["impact_s"]
    return np.flatnonzero((clip.times_s > top_s + 0.08) & (clip.times_s < impact_s - 0.03))


def _shifter(chosen: list[int], shift_s: float) -> Callable[[list[Any]], list[Any]]:
    def spoil(packets: list[Any]) -> list[Any]:
        for index in chosen:
            packets[index].pts += round(shift_s * 90000)
        return _decoded_early(packets)

    return spoil


def _repeater(chosen: list[int]) -> Callable[[list[Any]], list[Any]]:
    def spoil(packets: list[Any]) -> list[Any]:
        for index in chosen:
            packets[index].pts = packets[index - 1].pts
        return _decoded_early(packets)

    return spoil


def _decoded_early(packets: list[Any]) -> list[Any]:
    """Move the times of decoding ahead, so that any time of showing may be written."""
    for packet in packets:
        packet.dts -= 5 * 90000
    return packets


def _two_sizes(folder: Path, frames: list[NDArray[np.uint8]], by: int) -> Path:
    half = len(frames) // 2
    return _joined(folder, frames[:half], [_resized(frame, by) for frame in frames[half:]])


def _growing_film(folder: Path, frames: list[NDArray[np.uint8]]) -> Path:
    return _joined(folder, frames[:40], [_black(8208, 4352)] * 2)


def _joined(folder: Path, first: list[NDArray[np.uint8]], second: list[NDArray[np.uint8]]) -> Path:
    """Write two films one after the other into a transport stream, which allows it, with one clock."""
    times = np.arange(len(first) + len(second)) / 60
    parts = [
        write_film(folder / "a.ts", first, times[: len(first)]),
        write_film(folder / "b.ts", second, times[len(first) :]),
    ]
    path = folder / "damaged.ts"
    path.write_bytes(b"".join(part.read_bytes() for part in parts))
    for part in parts:
        part.unlink()
    return path


def _resized(planar: NDArray[np.uint8], by: int) -> NDArray[np.uint8]:
    rows = planar.shape[0] * 2 // 3
    luma = planar[:rows:by, ::by][: rows // by // 2 * 2]
    return np.concatenate([luma, np.full((luma.shape[0] // 2, luma.shape[1]), 128, np.uint8)])


def _black(width: int, height: int) -> NDArray[np.uint8]:
    planar = np.full((height * 3 // 2, width), 128, np.uint8)
    planar[:height] = 16
    return planar


def _one_frame(path: Path, planar: NDArray[np.uint8]) -> Path:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = planar.shape[1], planar.shape[0] * 2 // 3, "yuv420p"
        stream.options = {"preset": "ultrafast", "threads": "1"}
        container.mux(stream.encode(av.VideoFrame.from_ndarray(planar, format="yuv420p")))
        container.mux(stream.encode(None))
    return path


def _huge_film(folder: Path) -> Path:
    return _one_frame(folder / "damaged.mp4", _black(8208, 4352))


def _long_nothing(folder: Path) -> Path:
    grey = np.full((180 * 3 // 2, 320), 128, np.uint8)
    with av.open(str(folder / "damaged.mp4"), "w") as container:
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 320, 180, "yuv420p"
        stream.options = {"preset": "ultrafast"}
        for _ in range(600 * 30):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(grey, format="yuv420p")))
        container.mux(stream.encode(None))
    return folder / "damaged.mp4"
