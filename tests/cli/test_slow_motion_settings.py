"""A slow-motion clip whose file does not say so, with its true rate stated to the check and in a lesson."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.cli.files.measurement import load_measurement
from pennyfall.demo_clips.clips import clip_folder

RECORDED_HZ = 60
SLOWER = 3
LESSON = """\
student = "S-01"
date = 2026-03-14
hand = "right"
green_speed_ft = 10
tag_height_mm = 25.5
{stated}
[[condition]]
name = "as usual"
putt_ft = 8
clips = ["slow.mp4"]
"""
runner = CliRunner()


@pytest.fixture
def slow(tmp_path: Path) -> Path:
    """Return a shipped clip of 60 frames/s that plays three times slower than life and does not say so."""
    path = tmp_path / "slow.mp4"
    with av.open(str(clip_folder() / "larch-60.mp4")) as source, av.open(str(path), "w") as out:
        stream = source.streams.video[0]
        copied = out.add_stream_from_template(stream)
        for packet in source.demux(stream):
            if packet.dts is None or packet.pts is None:
                continue
            packet.pts, packet.dts = packet.pts * SLOWER, packet.dts * SLOWER
            packet.duration = (packet.duration or 0) * SLOWER
            packet.stream = copied
            out.mux(packet)
    return path


@pytest.mark.clip
def test_the_check_takes_the_stated_rate(slow: Path) -> None:
    unstated = runner.invoke(app, ["check", str(slow)])
    assert "weak  Frame rate   20 frames/s" in unstated.stdout
    result = runner.invoke(app, ["check", str(slow), "--recorded-at", str(RECORDED_HZ)])
    assert result.exit_code == 0, result.output
    assert "60 frames/s" in result.stdout


@pytest.mark.clip
def test_a_lesson_measures_and_shows_its_clips_at_the_stated_rate(slow: Path) -> None:
    folder = slow.parent
    stated = f"recorded_at_hz = {RECORDED_HZ}\n"
    (folder / "lesson.toml").write_text(LESSON.format(stated=stated), encoding="utf-8")
    result = runner.invoke(app, ["lesson", "run", str(folder), "--no-history", "--processes", "1", "--quiet"])
    assert result.exit_code == 0, result.output
    measurement = load_measurement(folder / "measured" / "slow.mp4.json")
    assert measurement.clip.slow_motion_factor == pytest.approx(SLOWER, rel=1e-3)
    (stroke,) = measurement.strokes
    assert stroke.forward_swing_s.value == pytest.approx(0.32, abs=0.03)
    out = folder / "shown.mp4"
    assert (
        runner.invoke(app, ["lesson", "clip", str(folder), "slow.mp4", str(out), "--slow", "1"]).exit_code
        == 0
    )
    with av.open(str(out)) as shown:
        times_s = [float(each.time or 0) for each in shown.decode(video=0)]
    assert np.median(np.diff(times_s)) == pytest.approx(1 / RECORDED_HZ, abs=1e-3), "at true speed"
