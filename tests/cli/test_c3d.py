"""The track as C3D, read back by another reader than the library that wrote it."""

from __future__ import annotations

import dataclasses
import io
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.cli.files import c3d_file, table_file
from pennyfall.cli.files.c3d_file import CHANNELS, c3d_bytes
from pennyfall.demo_clips.clips import clip_folder
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.stroke.tracks import HeadTrack
from pennyfall.kinematics.values import BoolArray, FloatArray
from pennyfall.tracker import Settings, measure_clip
from pennyfall.tracker.measure.measured import Measured

c3d = pytest.importorskip("c3d")
pytest.importorskip("ezc3d")
pytestmark = pytest.mark.clip

CLIP = clip_folder() / "larch-120-left.mp4"


class ReadBack(NamedTuple):
    reader: Any
    place_mm: FloatArray
    """Shape (frames, points, 3)."""
    missing: BoolArray
    """Shape (frames, points)."""
    channels: dict[str, FloatArray]


def read_back(content: bytes) -> ReadBack:
    reader = c3d.Reader(io.BytesIO(content))
    frames = [(points, channels[:, 0]) for _, points, channels in reader.read_frames()]
    points = np.array([each for each, _ in frames], dtype=np.float64)
    channels = np.array([each for _, each in frames], dtype=np.float64)
    labels = [str(each).strip() for each in reader.analog_labels]
    return ReadBack(reader, points[:, :, :3], points[:, :, 3] < 0, dict(zip(labels, channels.T, strict=True)))


def texts(reader: Any, name: str) -> list[str]:  # noqa: ANN401
    return [str(each).strip() for each in reader.get(name).string_array]


@pytest.fixture(scope="module")
def measured() -> Measured:
    return measure_clip(CLIP, Settings())


def with_head(measured: Measured, head: HeadTrack) -> Measured:
    tracks = dataclasses.replace(measured.placed.tracks, head=head)
    return dataclasses.replace(measured, placed=dataclasses.replace(measured.placed, tracks=tracks))


def test_another_reader_finds_points_rate_and_events_as_they_were_measured(measured: Measured) -> None:
    """The clip's frames are even: each frame of the file is one of the clip, to single precision."""
    back = read_back(c3d_bytes(measured))
    head, (ball,) = measured.placed.tracks.head, measured.placed.tracks.balls
    assert back.reader.point_rate == pytest.approx(120.0, rel=1e-6)
    assert [str(each).strip() for each in back.reader.point_labels] == ["HEAD", "BALL1"]
    assert texts(back.reader, "POINT:UNITS") == ["mm"]
    assert len(back.place_mm) == len(head.time_s)
    place_mm = 1e3 * np.column_stack([head.x_m, head.y_m, head.z_m])
    np.testing.assert_allclose(back.place_mm[head.seen, 0], place_mm[head.seen], atol=1e-4)
    np.testing.assert_array_equal(back.missing[:, 0], ~head.seen)
    np.testing.assert_array_equal(back.channels["FRAME"], np.arange(len(head.time_s)))
    np.testing.assert_allclose(back.channels["TILT"][head.seen], head.tilt_rad[head.seen], atol=1e-6)
    rolling = np.rint(ball.time_s[~ball.at_rest] * 120).astype(int)
    assert len(rolling) > 20
    np.testing.assert_allclose(back.place_mm[rolling, 1, 0], 1e3 * ball.x_m[~ball.at_rest], atol=1e-4)
    assert np.nanmax(np.abs(back.place_mm[: rolling[0], 1, 0])) < 1.0, "at rest at the world's origin"
    (stroke,) = measured.measurement.strokes
    assert texts(back.reader, "EVENT:LABELS") == ["takeaway", "top", "impact", "finish"]
    assert texts(back.reader, "EVENT:CONTEXTS") == ["Stroke 1"] * 4
    times = np.array(back.reader.get("EVENT:TIMES").float_array) @ [60.0, 1.0]
    events = [stroke.takeaway_s, stroke.top_s, stroke.impact_s, stroke.finish_s]
    np.testing.assert_allclose(times, [each.value for each in events], rtol=1e-6)
    sds = np.array(back.reader.get("PENNYFALL:EVENT_SD_S").float_array).ravel()
    np.testing.assert_allclose(sds, [each.sd for each in events], rtol=1e-6)


def test_uneven_times_come_out_even_and_a_gap_stays_a_gap(
    measured: Measured, generator: np.random.Generator
) -> None:
    """Bound of the error: a straight line's over the longest joined interval, h^2 / 8 |x''|."""
    count, lost = 240, np.arange(100, 105)
    time_s = np.delete((np.arange(count) + generator.uniform(-0.2, 0.2, count)) / 120, lost)
    time_s[0] = 0.0
    swing = 2 * np.pi / 1.3
    x, like = 0.25 * np.sin(swing * time_s), np.full(len(time_s), 1e-4)
    seen = np.ones(len(time_s), dtype=bool)
    seen[30] = False
    head = HeadTrack(
        time_s=time_s, seen=seen, x_m=np.where(seen, x, np.nan), y_m=np.where(seen, 0.03, np.nan),
        z_m=np.where(seen, 0.03, np.nan), sd_x_m=like, sd_z_m=like, tilt_rad=0 * like, sd_tilt_rad=like,
    )  # fmt: skip
    back = read_back(c3d_bytes(with_head(measured, head)))
    even_s = np.arange(len(back.place_mm)) / 120
    (stroke,) = measured.measurement.strokes
    unknown = (even_s > time_s[99]) & (even_s < time_s[100]) | (even_s > time_s[29]) & (even_s < time_s[31])
    before = np.searchsorted(time_s, stroke.impact_s.value) - 1
    unknown |= (even_s > time_s[before]) & (even_s < time_s[before + 1])
    np.testing.assert_array_equal(back.missing[:, 0], unknown)
    assert 6 <= unknown.sum() <= 9
    np.testing.assert_array_equal(back.place_mm[unknown, 0], 0.0)  # what the format puts there
    error_m = np.abs(1e-3 * back.place_mm[~unknown, 0, 0] - 0.25 * np.sin(swing * even_s[~unknown]))
    assert error_m.max() < (1.4 / 120) ** 2 / 8 * 0.25 * swing**2
    frame = back.channels["FRAME"].astype(int)
    known = frame >= 0
    assert known.sum() < len(frame), "in the gap no frame is near"
    later = time_s[frame[known]] - even_s[known]
    np.testing.assert_allclose(back.channels["FRAME_LATER"][known], later, atol=1e-6)
    assert np.isnan(back.channels["FRAME_LATER"][~known]).all()


def test_the_command_writes_it_and_says_of_each_channel_what_it_is(tmp_path: Path) -> None:
    out = tmp_path / "track.c3d"
    result = CliRunner().invoke(app, ["measure", str(CLIP), "--c3d", str(out), "--quiet"])
    assert result.exit_code == 0, result.output
    assert list(tmp_path.iterdir()) == [out]
    reader = read_back(out.read_bytes()).reader
    assert texts(reader, "ANALOG:DESCRIPTIONS") == [meaning for _, meaning in CHANNELS.values()]
    assert texts(reader, "PENNYFALL:CLIP") == [CLIP.name]


def test_without_its_package_c3d_is_refused_before_anything_is_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(table_file, "find_spec", lambda _name: None)
    result = CliRunner().invoke(app, ["measure", str(CLIP), "--c3d", str(tmp_path / "track.c3d")])
    assert result.exit_code == 2
    assert result.stderr.splitlines()[0] == "Writing C3D needs the package ezc3d, which is not installed."
    assert "pip install '.[c3d]'" in result.stderr
    assert "--track" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_a_full_disk_cut_off_is_said_and_not_handed_on(
    measured: Measured, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The library that writes does not: to /dev/full (Linux) it wrote 'without error' (version 1.7.2)."""
    whole = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda path: whole(path)[:-1024])
    with pytest.raises(CannotMeasure, match="not be made whole"):
        c3d_bytes(measured)
    monkeypatch.setattr(Path, "read_bytes", lambda _path: b"")
    with pytest.raises(CannotMeasure, match="not be made whole"):
        c3d_bytes(measured)


def test_a_clip_of_more_frames_than_the_format_counts_is_refused(
    measured: Measured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(c3d_file, "MOST_FRAMES", 100)
    with pytest.raises(CannotMeasure, match="counts no more than 100"):
        c3d_bytes(measured)
