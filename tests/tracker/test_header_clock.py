"""Durations that contradict each other are told, rounded ones are not; a file cut short is known."""

from __future__ import annotations

import math
import struct
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from pennyfall.demo_clips.clips import shipped_clips
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.clip.header_clock import clock_disagreement, focal_length_35mm, missing_bytes
from pennyfall.tracker.clip.reading import read_clip


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    source = next(each.path for each in shipped_clips() if each.name == "larch-60")
    copy = tmp_path / "copy.mp4"
    copy.write_bytes(source.read_bytes())
    return copy


def _changed(clip: Path, box: bytes, offset: int, factor: float) -> Path:
    """Multiply a four-byte number of the first box of a name, so far from its content's start."""
    content = bytearray(clip.read_bytes())
    place = content.index(box) + 4 + offset
    number = round(int.from_bytes(content[place : place + 4], "big") * factor)
    content[place : place + 4] = number.to_bytes(4, "big")
    clip.write_bytes(content)
    return clip


def test_sound_clips_agree_with_themselves(footage: Path) -> None:
    filmed = [*(footage / "rendered-late").glob("*.mp4"), *(footage / "ball-drop-120fps").glob("*.mp4")]
    assert len(filmed) == 3
    for path in [*filmed, *(each.path for each in shipped_clips())]:
        assert clock_disagreement(path) is None, path.name


@pytest.mark.parametrize(
    ("box", "offset", "factor"),
    [
        (b"stts", 12, 2.0),  # version and flags, count, first run's frames, then their duration
        (b"stts", 8, 0.5),
        (b"mdhd", 16, 1.5),  # version and flags, two dates, rate, then the duration
        (b"mdhd", 12, 2.0),
    ],
)
def test_a_clock_that_contradicts_the_others_is_refused(
    clip: Path, box: bytes, offset: int, factor: float
) -> None:
    with pytest.raises(CannotMeasure, match=r"copy\.mp4 contradicts itself on how long it lasts"):
        read_clip(_changed(clip, box, offset, factor))


def test_a_duration_rounded_by_its_writer_is_believed(clip: Path) -> None:
    assert clock_disagreement(_changed(clip, b"mdhd", 16, 1.01)) is None


def _copied_on_a_grid(source: Path, to: Path, ticks_a_second: int, drift: float) -> Path:
    """Copy a clip, its times rounded to a grid that the file's own, finer unit does not tell."""
    grid = Fraction(1, ticks_a_second)
    with av.open(str(source)) as given, av.open(str(to), "w") as copy:
        (track,) = given.streams.video
        copied = copy.add_stream_from_template(track)
        for packet in given.demux(track):
            if packet.dts is not None and packet.pts is not None and packet.time_base is not None:
                scale = float(packet.time_base / grid) * drift
                packet.pts, packet.dts = round(packet.pts * scale), round(packet.dts * scale)
                packet.stream, packet.time_base = copied, grid
                copy.mux(packet)
    return to


@pytest.mark.parametrize("ticks_a_second", [600, 1000])
@pytest.mark.parametrize("drift", [1.0, 1.0005])
def test_a_coarse_grid_is_found_though_the_file_counts_in_a_finer_unit(
    tmp_path: Path, ticks_a_second: int, drift: float
) -> None:
    """MP4 has at least 10,000 ticks a second, whatever counted before: 1/600 s is 32 of 1/19200."""
    source = next(each.path for each in shipped_clips() if each.name == "larch-240-early")
    even = read_clip(source).time_base
    assert "grid" not in even.words
    base = read_clip(_copied_on_a_grid(source, tmp_path / "copy.mp4", ticks_a_second, drift)).time_base
    assert "were put on their grid" in base.words
    assert base.time_s == pytest.approx(drift * even.time_s, abs=0.5 / ticks_a_second)
    assert np.diff(base.time_s) == pytest.approx(drift * np.diff(even.time_s), rel=3e-4)


def test_what_is_no_mp4_is_not_judged(tmp_path: Path) -> None:
    for content in (b"", b"\x00\x00\x00\x08moov", bytes(64), b"\xff" * 64):
        path = tmp_path / "some"
        path.write_bytes(content)
        assert clock_disagreement(path) is None


def _box(kind: bytes, body: bytes, *, wide: bool = False) -> bytes:
    if wide:
        return (1).to_bytes(4, "big") + kind + (16 + len(body)).to_bytes(8, "big") + body
    return (8 + len(body)).to_bytes(4, "big") + kind + body


def test_a_file_lacks_what_its_boxes_say_it_should_hold(tmp_path: Path) -> None:
    whole = _box(b"ftyp", b"isom" * 4) + _box(b"moov", bytes(500)) + _box(b"mdat", bytes(3000), wide=True)
    path = tmp_path / "clip.mp4"
    for lacking in (0, 1, 700, 3000):
        path.write_bytes(whole[: len(whole) - lacking])
        assert missing_bytes(path) == lacking
    for other in (b"", b"\x1aE\xdf\xa3 matroska", bytes(100)):
        path.write_bytes(other)
        assert missing_bytes(path) == 0


def test_a_box_to_the_end_of_the_file_lacks_nothing(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    path.write_bytes(_box(b"ftyp", b"isom" * 4) + (0).to_bytes(4, "big") + b"mdat" + bytes(100))
    assert missing_bytes(path) == 0


def _filled(name: bytes, *content: bytes) -> bytes:
    inside = b"".join(content)
    return (8 + len(inside)).to_bytes(4, "big") + name + inside


def _with_keys(clip: Path, kind: int, value: bytes, *, iso: bool = False, user_data: bool = False) -> Path:
    """Write a place and a focal length beside the clip's picture track, as phones do."""
    names = (
        b"com.apple.quicktime.location.ISO6709",
        b"com.apple.quicktime.camera.focal_length.35mm_equivalent",
    )
    keys = _filled(
        b"keys", bytes(4), len(names).to_bytes(4, "big"), *(_filled(b"mdta", each) for each in names)
    )
    values = ((1, b"+10.0000+020.0000/"), (kind, value))
    listed = [
        _filled(number.to_bytes(4, "big"), _filled(b"data", kind.to_bytes(4, "big"), bytes(4), content))
        for number, (kind, content) in enumerate(values, 1)
    ]
    handler = _filled(b"hdlr", bytes(8), b"mdta", bytes(12))
    meta = _filled(b"meta", bytes(4) if iso else b"", handler, keys, _filled(b"ilst", *listed))
    meta = _filled(b"udta", meta) if user_data else meta
    content = clip.read_bytes()
    moov, trak = content.index(b"moov") - 4, content.index(b"trak") - 4
    end = trak + int.from_bytes(content[trak : trak + 4], "big")
    content = content[:end] + meta + content[end:]
    for box in (moov, trak):
        size = int.from_bytes(content[box : box + 4], "big") + len(meta)
        content = content[:box] + size.to_bytes(4, "big") + content[box + 4 :]
    clip.write_bytes(content)
    return clip


@pytest.mark.parametrize(
    ("kind", "value", "iso"),
    [
        (1, b"26", False),
        (1, b"26.00mm", True),
        (21, (26).to_bytes(4, "big"), False),
        (23, struct.pack(">f", 26.0), False),
        (24, struct.pack(">d", 26.0), True),
    ],
)
def test_the_focal_length_that_a_phone_wrote_is_read(clip: Path, kind: int, value: bytes, iso: bool) -> None:
    assert focal_length_35mm(_with_keys(clip, kind, value, iso=iso)) == 26.0


@pytest.mark.parametrize(
    ("kind", "value"),
    [(1, b"unknown"), (1, b"\xff"), (21, bytes(4)), (23, b"\x00"), (1, b"9999"), (0, b"26")],
)
def test_a_focal_length_that_no_phone_has_is_none(clip: Path, kind: int, value: bytes) -> None:
    assert math.isnan(focal_length_35mm(_with_keys(clip, kind, value)))


def test_a_reading_holds_the_focal_length_and_is_nan_without_one(clip: Path) -> None:
    assert math.isnan(read_clip(clip).header.focal_35mm)
    assert read_clip(_with_keys(clip, 1, b"26")).header.focal_35mm == 26.0


def test_programs_that_copy_a_clip_leave_the_focal_length_among_the_users_data(clip: Path) -> None:
    assert focal_length_35mm(_with_keys(clip, 1, b"26", iso=True, user_data=True)) == 26.0
