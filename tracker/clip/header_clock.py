"""What an MP4's boxes say of it: clocks that must not stretch a stroke, its lens, and its length.

A file is a row of boxes, each with its length first: 32 bits, then its type, then 64 bits where the 32 say 1;
0 means 'to the end' (ISO/IEC 14496-12, 4.2).
"""

from __future__ import annotations

import mmap
import struct
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import islice
from pathlib import Path

FOCAL_KEY = b"com.apple.quicktime.camera.focal_length.35mm_equivalent"
"""Focal length of the lens as a 35 mm film's, 'track-level metadata for video track' (Apple, AVFoundation,
AVMetadataKey): text such as 26 or 50.00mm, or a number."""

INNER = {b"moov", b"trak", b"mdia", b"minf", b"stbl", b"edts", b"udta"}
"""Boxes that hold others on the way to those that count time or tell of the lens (ISO/IEC 14496-12)."""

SHARE, SLACK_S = 0.01, 0.1
"""Chosen by us: durations of one track may differ by this, for writers round them or forget a frame."""

MOST_BOXES = 10000
"""Chosen by us: a phone's file has a handful at its top level; a fragmented stream has a few a second."""

MOST_RUNS = 1_000_000
"""Chosen by us: a table of more runs is no table."""


UTF8, WHOLE_NUMBERS, FRACTIONS = 1, (21, 22), {23: ">f", 24: ">d"}
"""Types of a value (QuickTime File Format, Metadata, well-known types)."""

SHORTEST_MM, LONGEST_MM = 8.0, 400.0
"""Chosen by us: the widest and the longest lens of a phone lie well within."""


Content = mmap.mmap | bytes


def clock_disagreement(path: Path) -> str | None:
    """Return where a header's durations of the picture contradict each other, or None.

    The picture's duration is the sum of its frames' durations (stts), the track's own (mdhd), which some
    writers count to the last time of showing (ctts), and, where an edit list shows a part of it, at least
    that part (elst). Files without these boxes are not judged.
    """
    movie_rate = 0
    tracks: list[dict[str, int]] = []
    with _mapped(path) as content:
        for name, start, end in _boxes(content, 0, len(content)):
            if name == b"mvhd":
                movie_rate = _rate_and_duration(content, start)[0]
            elif name == b"trak":
                tracks.append({})
            elif tracks:
                _note(content, tracks[-1], name, start, end)
    for track in tracks:
        if track.get("picture") and track.get("rate") and track.get("duration") and track.get("frames"):
            return _judged(track, movie_rate)
    return None


def focal_length_35mm(path: Path) -> float:
    """Return the focal length that the phone wrote as its 35 mm equivalent [mm]; NaN where it wrote none.

    Of all that a phone writes beside the picture this one key is looked up, and no other is read: not where
    the clip was filmed.

    References
    ----------
    QuickTime File Format, Metadata: the box 'keys' numbers the keys from 1 on, and in 'ilst' the box of that
    number holds the value.

    """
    with _mapped(path) as content:
        for name, start, end in _boxes(content, 0, len(content)):
            if name == b"meta" and (found := _focal_length(content, start, end)) > 0:
                return found
    return float("nan")


def missing_bytes(path: Path) -> int:
    """Return how many bytes an MP4 or MOV file lacks by its own account; 0 for other files."""
    with _mapped(path) as content:
        for number, (name, _, end) in enumerate(islice(_row(content, 0, len(content)), MOST_BOXES)):
            if (number == 0 and name != b"ftyp") or not name.isalnum():
                return 0
            if end >= len(content):
                return end - len(content)
    return 0


def _focal_length(content: Content, start: int, end: int) -> float:
    # ISO's box begins with version and flags, QuickTime's does not.
    start += 0 if content[start + 4 : start + 8] == b"hdlr" else 4
    parts = {name: (first, last) for name, first, last in _row(content, start, end) if last <= end}
    if b"keys" not in parts or b"ilst" not in parts:
        return float("nan")
    first, last = parts[b"keys"]
    keys = islice(_row(content, first + 8, last), MOST_BOXES)
    wanted = [number for number, (_, at, to) in enumerate(keys, 1) if content[at:to] == FOCAL_KEY]
    for name, at, to in islice(_row(content, *parts[b"ilst"]), MOST_BOXES):
        if int.from_bytes(name, "big") in wanted:
            for _, value, value_end in _row(content, at, to):
                return _plausible(content[value:value_end])
    return float("nan")


def _plausible(data: bytes) -> float:
    """Return the number in a box 'data' (type, place, value) where it can be a focal length; else NaN."""
    kind, value = int.from_bytes(data[:4], "big"), data[8:]
    number = float("nan")
    with suppress(ValueError, struct.error):
        if kind == UTF8:
            number = float(value.decode("ascii", "replace").strip("\0 ").removesuffix("mm"))
        elif kind in WHOLE_NUMBERS:
            number = float(int.from_bytes(value[:8], "big"))
        elif kind in FRACTIONS:
            number = struct.unpack(FRACTIONS[kind], value)[0]
    return number if SHORTEST_MM < number < LONGEST_MM else float("nan")


def _judged(track: dict[str, int], movie_rate: int) -> str | None:
    own_s, frames_s = track["duration"] / track["rate"], track["frames"] / track["rate"]
    slack_s = SLACK_S + SHARE * max(own_s, frames_s)
    if not frames_s - slack_s <= own_s <= frames_s + track.get("late", 0) / track["rate"] + slack_s:
        return f"{own_s:.2f} s by its track, {frames_s:.2f} s by its frames"
    shown_s = track.get("shown", 0) / movie_rate if movie_rate else 0.0
    if shown_s > own_s + SLACK_S + SHARE * own_s:
        return f"{own_s:.2f} s by its track, of which {shown_s:.2f} s are shown"
    return None


def _note(content: Content, track: dict[str, int], name: bytes, start: int, end: int) -> None:
    """Keep what a box of a track says of its time."""
    if name == b"mdhd":
        track["rate"], track["duration"] = _rate_and_duration(content, start)
    elif name == b"hdlr":
        track["picture"] = int(content[start + 8 : start + 12] == b"vide")
    elif name == b"stts":
        track["frames"] = sum(count * ticks for count, ticks in _runs(content, start, end))
    elif name == b"ctts":
        track["late"] = max((ticks for _, ticks in _runs(content, start, end) if ticks < 1 << 31), default=0)
    elif name == b"elst":
        wide = 8 if content[start] == 1 else 4
        entries = min(_number(content, start + 4, 4), (end - start - 8) // (2 * wide + 4))
        starts = [start + 8 + entry * (2 * wide + 4) for entry in range(entries)]
        gap = (1 << 8 * wide) - 1  # a media time of -1 is a pause before the picture
        track["shown"] = sum(
            _number(content, at, wide) for at in starts if _number(content, at + wide, wide) != gap
        )


def _runs(content: Content, start: int, end: int) -> Iterator[tuple[int, int]]:
    """Yield count and value of every run of a table."""
    for run in range(min(_number(content, start + 4, 4), (end - start - 8) // 8, MOST_RUNS)):
        yield _number(content, start + 8 + 8 * run, 4), _number(content, start + 12 + 8 * run, 4)


def _rate_and_duration(content: Content, start: int) -> tuple[int, int]:
    wide = 8 if content[start] == 1 else 4
    first = start + 4 + 2 * wide
    return _number(content, first, 4), _number(content, first + 4, wide)


def _number(content: Content, start: int, size: int) -> int:
    return int.from_bytes(content[start : start + size], "big")


@contextmanager
def _mapped(path: Path) -> Iterator[Content]:
    """Let a file's content be looked at without reading it."""
    with path.open("rb") as stream:
        if path.stat().st_size == 0:  # nothing can be mapped
            yield b""
            return
        with mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as content:
            yield content


def _boxes(content: Content, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield name, start and end of the content of every whole box, those inside others after them."""
    for name, first, last in _row(content, start, end):
        if last > end:
            return
        yield name, first, last
        if name in INNER:
            yield from _boxes(content, first, last)


def _row(content: Content, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield the boxes of one level; the last may say that it ends beyond `end`."""
    while start + 8 <= end:
        size, head = _number(content, start, 4), 8
        if size == 1:
            size, head = _number(content, start + 8, 8), 16
        size = size or end - start
        if size < head:
            return
        yield content[start + 4 : start + 8], start + head, start + size
        start += size
