"""Strokes keep their true times whatever the file does to its timestamps."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray
from tests.tracker.timed_clips import Filmed, filmed, measured, misses, small_scene, write_film

pytestmark = [pytest.mark.clip, pytest.mark.slow]

CAPTURE = "com.android.capture.fps"
"""Android's tag of the capture rate (MediaStore's MdtaMetadataEntry, type 23, float32)."""


@pytest.fixture(scope="module")
def at_120(tmp_path_factory: pytest.TempPathFactory) -> Filmed:
    """Return a stroke filmed at 120 frames/s."""
    return filmed(small_scene(120, name="at120"), tmp_path_factory.mktemp("at120"))


@pytest.fixture(scope="module")
def at_240(tmp_path_factory: pytest.TempPathFactory) -> Filmed:
    """Return a stroke filmed at 240 frames/s."""
    return filmed(small_scene(240, name="at240"), tmp_path_factory.mktemp("at240"))


def _codes(result: object) -> set[str]:
    return {caution.code for caution in result.measurement.warnings}  # type: ignore[attr-defined]


def _ramped(count: int, rate_hz: float, first: int, last: int, slow: float) -> FloatArray:
    """Return container times of frames captured at one rate, those from `first` to `last` played slowly."""
    intervals = np.full(count - 1, 1 / rate_hz)
    intervals[first:last] *= slow
    return np.concatenate([[0.0], np.cumsum(intervals)])


def test_a_first_timestamp_other_than_zero_changes_nothing(at_120: Filmed, tmp_path: Path) -> None:
    clip = write_film(tmp_path / "late.mp4", at_120.frames, at_120.times_s + 3.7)
    assert misses(measured(clip), at_120.truth) == {}


def test_frames_stored_out_of_order_are_measured_in_the_order_of_showing(
    at_120: Filmed, tmp_path: Path
) -> None:
    def count(packets: list[object]) -> list[object]:
        stamps = [packet.pts for packet in packets]  # type: ignore[attr-defined]
        assert stamps != sorted(stamps)
        return packets

    options = {"bf": "3", "x264-params": "b-pyramid=normal:b-adapt=0"}
    clip = write_film(tmp_path / "b.mp4", at_120.frames, at_120.times_s, options=options, packets=count)
    assert misses(measured(clip), at_120.truth) == {}


def test_an_edit_list_that_skips_the_beginning_moves_the_clock_with_it(
    at_120: Filmed, tmp_path: Path
) -> None:
    skipped = 18
    clip = write_film(tmp_path / "cut.mp4", at_120.frames, at_120.times_s, options={"bf": "2"})
    content = bytearray(clip.read_bytes())
    entry = content.index(b"elst") + 4 + 8 + 4  # version and flags, count, then duration, media time, rate
    media_time = int.from_bytes(content[entry : entry + 4], "big") + round(skipped / 120 * 90000)
    content[entry : entry + 4] = media_time.to_bytes(4, "big")
    clip.write_bytes(content)
    result = measured(clip)
    assert result.measurement.clip.frames == pytest.approx(len(at_120.frames) - skipped, abs=1)
    assert misses(result, at_120.truth, shift_s=skipped / 120) == {}


def test_dropped_frames_leave_gaps_and_no_shift(
    at_240: Filmed, tmp_path: Path, generator: np.random.Generator
) -> None:
    kept = np.sort(generator.choice(np.arange(1, len(at_240.frames) - 1), 330, replace=False))
    kept = np.concatenate([[0], kept, [len(at_240.frames) - 1]])
    clip = write_film(tmp_path / "gaps.mp4", [at_240.frames[i] for i in kept], at_240.times_s[kept])
    result = measured(clip)
    assert result.measurement.clip.frames_dropped == len(at_240.frames) - len(kept)
    assert misses(result, at_240.truth) == {}


def test_pictures_shown_twice_do_not_stand_in_for_lost_ones(
    at_240: Filmed, tmp_path: Path, generator: np.random.Generator
) -> None:
    frames = list(at_240.frames)
    lost = np.sort(generator.choice(np.arange(100, len(frames) - 60), 30, replace=False))
    for index in lost:
        frames[index] = frames[index - 1]
    result = measured(write_film(tmp_path / "twice.mp4", frames, at_240.times_s))
    assert result.measurement.clip.frames_repeated >= 15  # the others lie where the head hardly moves
    assert misses(result, at_240.truth) == {}


def test_a_clip_blown_up_to_twice_its_rate_is_measured_on_its_own_pictures(
    at_120: Filmed, tmp_path: Path
) -> None:
    frames = [frame for frame in at_120.frames for _ in range(2)]
    result = measured(write_film(tmp_path / "double.mp4", frames, np.arange(len(frames)) / 240))
    assert "repeated-frames" in _codes(result)
    assert misses(result, at_120.truth) == {}


def test_frames_at_arbitrary_times_keep_them(tmp_path: Path, generator: np.random.Generator) -> None:
    times = np.concatenate([[0.0], np.cumsum(generator.uniform(1 / 240, 1 / 60, 160))])
    times = np.round(times * 90000) / 90000
    clip = filmed(small_scene(120, name="uneven", frame_times_s=times[times < 1.65]), tmp_path)
    assert misses(measured(clip.path), clip.truth) == {}


def test_a_camera_that_halves_its_rate_in_poor_light_is_believed(at_240: Filmed, tmp_path: Path) -> None:
    kept = np.concatenate([np.arange(150), np.arange(150, len(at_240.frames), 2)])
    clip = write_film(tmp_path / "dim.mp4", [at_240.frames[i] for i in kept], at_240.times_s[kept])
    result = measured(clip)
    assert "frame-rate-steps" in _codes(result)
    assert misses(result, at_240.truth) == {}


@pytest.mark.parametrize("ending", ["mkv", "avi"])
def test_containers_with_coarse_or_no_times_of_showing_are_measured(
    at_240: Filmed, tmp_path: Path, ending: str
) -> None:
    clip = write_film(tmp_path / f"clip.{ending}", at_240.frames, at_240.times_s, options={"bf": "2"})
    assert misses(measured(clip), at_240.truth) == {}


@pytest.mark.parametrize("jitter_s", [0.0, 0.0012])
def test_slow_motion_is_undone_by_the_capture_rate_in_the_file(
    at_240: Filmed, tmp_path: Path, generator: np.random.Generator, jitter_s: float
) -> None:
    times = at_240.times_s * 8 + generator.uniform(0, 2 * jitter_s, len(at_240.times_s))
    clip = write_film(tmp_path / "slow.mp4", at_240.frames, times, metadata={CAPTURE: "240.0"})
    result = measured(clip)
    assert result.measurement.clip.time_source == "metadata"
    assert result.measurement.clip.slow_motion_factor == pytest.approx(8, rel=5e-4)
    assert misses(result, at_240.truth) == {}


def test_a_stated_rate_is_set_against_the_frames_and_not_against_the_header(
    at_240: Filmed, tmp_path: Path
) -> None:
    """A second of pause behind the stroke pulls the header's average from 30 to 27 frames/s."""
    times = at_240.times_s * 8
    times[-3:] += 1.5
    clip = write_film(tmp_path / "slow.mp4", at_240.frames, times)
    result = measured(clip, recorded_at_hz=240.0)
    assert result.measurement.clip.time_source == "stated"
    assert misses(result, at_240.truth) == {}


def test_slow_motion_that_nothing_tells_of_is_refused_with_the_question(
    at_240: Filmed, tmp_path: Path
) -> None:
    clip = write_film(tmp_path / "slow.mp4", at_240.frames, at_240.times_s * 8)
    with pytest.raises(CannotMeasure) as refused:
        measured(clip)
    assert "slow motion" in refused.value.message
    assert refused.value.setting == "recorded_at"


@pytest.mark.parametrize("known", ["metadata", "stated"])
def test_a_normal_slow_normal_ramp_is_measured_at_the_capture_rate(
    at_240: Filmed, tmp_path: Path, known: str
) -> None:
    times = _ramped(len(at_240.frames), 240, 180, 330, 8)
    metadata = {CAPTURE: "240.0"} if known == "metadata" else {}
    clip = write_film(tmp_path / "ramp.mp4", at_240.frames, times, metadata=metadata)
    result = measured(clip, recorded_at_hz=240.0 if known == "stated" else None)
    assert "speed-ramp" in _codes(result)
    assert result.measurement.clip.time_source == known
    assert "ramp" in result.measurement.clip.time_base
    assert misses(result, at_240.truth) == {}


def test_a_ramp_of_unknown_rate_is_refused_with_the_question(at_240: Filmed, tmp_path: Path) -> None:
    times = _ramped(len(at_240.frames), 240, 150, 270, 4)
    clip = write_film(tmp_path / "ramp.mp4", at_240.frames, times)
    with pytest.raises(CannotMeasure) as refused:
        measured(clip)
    assert "slow motion" in refused.value.message
    assert refused.value.setting == "recorded_at"


def test_a_ramp_whose_normal_parts_lost_their_frames_is_not_guessed_at(
    at_240: Filmed, tmp_path: Path
) -> None:
    """An editor's export at an even 30 frames/s: every eighth frame at normal speed, every one in between."""
    kept = np.concatenate([np.arange(0, 150, 8), np.arange(150, 300), np.arange(300, len(at_240.frames), 8)])
    clip = write_film(tmp_path / "export.mp4", [at_240.frames[i] for i in kept], np.arange(len(kept)) / 30)
    for stated, said in ((None, "a part of the clip plays in slow motion"), (240.0, "plays at normal speed")):
        with pytest.raises(CannotMeasure, match=said):
            measured(clip, recorded_at_hz=stated)


def test_one_timestamp_far_ahead_costs_one_frame(at_240: Filmed, tmp_path: Path) -> None:
    def spoil(packets: list[object]) -> list[object]:
        packets[140].pts += 90000 * 40  # type: ignore[attr-defined]
        return packets

    clip = write_film(tmp_path / "ahead.mp4", at_240.frames, at_240.times_s, packets=spoil)
    result = measured(clip)
    assert result.measurement.clip.frames == len(at_240.frames) - 1
    assert "timestamps" in _codes(result)
    assert misses(result, at_240.truth) == {}


def test_a_timestamp_a_few_frames_ahead_costs_one_frame(at_240: Filmed, tmp_path: Path) -> None:
    def spoil(packets: list[object]) -> list[object]:
        packets[260].pts += round(90000 * 6.5 / 240)  # type: ignore[attr-defined]
        return packets

    clip = write_film(tmp_path / "ahead.mp4", at_240.frames, at_240.times_s, packets=spoil)
    result = measured(clip)
    assert result.measurement.clip.frames == len(at_240.frames) - 1
    assert misses(result, at_240.truth) == {}


def test_timestamps_in_disorder_are_refused(at_240: Filmed, tmp_path: Path) -> None:
    def spoil(packets: list[object]) -> list[object]:
        for packet in packets[100::7]:
            packet.pts += 90000 * 40  # type: ignore[attr-defined]
        return packets

    clip = write_film(tmp_path / "disorder.mp4", at_240.frames, at_240.times_s, packets=spoil)
    with pytest.raises(CannotMeasure, match=r"\d+ of the \d+ frames of disorder\.mp4 have a timestamp"):
        measured(clip)
