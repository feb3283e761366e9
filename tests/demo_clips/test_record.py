"""A recorded clip holds the frames, times and sound that its truth says."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import islice
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.record import performance_of, render_clip, render_frames, truth_path
from pennyfall.demo_clips.scene import Encoding, Scene, Sensor, aim_camera
from pennyfall.demo_clips.strokes import Move, NewBall, Rest, Stroke, perform
from pennyfall.demo_clips.truth import load_truth, stroke_truth

SMALL = (320, 180)
SCENE = Scene(
    name="small",
    script=(Rest(0.1), Stroke(backswing_s=0.4, forward_s=0.2, through_s=0.3), Rest(0.05)),
    size=SMALL,
    rate_hz=Fraction(60),
    phase_s=0.004,
    camera=aim_camera(position_m=(0.0, -0.9, 0.8), look_at_m=(0.0, -0.1, 0.0), focal_px=300, size=SMALL),
    sensor=Sensor(exposure_s=1 / 500),
    encoding=Encoding(crf=12),
)


def frames_of(scene: Scene, count: int | None = None) -> list[NDArray[np.uint8]]:
    """Return a scene's frames, or as many of the first ones."""
    performance = performance_of(scene)
    return list(islice(render_frames(scene, performance, scene.times_s(performance.duration_s)), count))


@pytest.fixture(scope="module")
def frames() -> list[NDArray[np.uint8]]:
    return frames_of(SCENE)


def test_one_scene_always_gives_the_same_frames(frames: list[NDArray[np.uint8]]) -> None:
    first, second = frames, frames_of(SCENE)
    assert len(first) == 62  # (1.05 s - 4 ms) x 60 frames/s, cut
    np.testing.assert_array_equal(first, second)


def test_another_seed_gives_another_noise() -> None:
    (first,), (second,) = frames_of(SCENE, 1), frames_of(replace(SCENE, seed=2), 1)
    assert np.any(first != second)


def test_resting_frames_differ_by_noise_only() -> None:
    rows = SMALL[1]
    a, b = (frame[:rows].astype(float) for frame in frames_of(SCENE, 2))
    assert abs(float((a - b).mean())) < 0.05
    assert 0.3 < float((a - b).std()) < 8.0


@pytest.mark.parametrize("codec", ["libx264", "libx265"])
def test_the_file_holds_every_frame_at_its_time(
    tmp_path: Path, codec: str, frames: list[NDArray[np.uint8]]
) -> None:
    path = tmp_path / "clip.mp4"
    scene = replace(SCENE, encoding=Encoding(codec=codec, crf=12))
    assert render_clip(scene, path) == truth_path(path)
    truth = load_truth(truth_path(path))
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        decoded = [(float(frame.time or 0.0), frame.to_ndarray()) for frame in container.decode(stream)]
        assert (stream.width, stream.height) == SMALL
        assert container.metadata.get("location") is None
    np.testing.assert_allclose([t for t, _ in decoded], truth["frames"]["container_pts_s"], atol=1.2e-5)
    error = np.array([image for _, image in decoded]).astype(float) - np.array(frames)
    assert 10 * np.log10(255**2 / np.mean(error**2)) > 36  # dB; crf 12 is nearly transparent


def test_uneven_frame_times_are_kept(tmp_path: Path) -> None:
    times = np.cumsum([0.0, *np.tile([0.0160, 0.0180, 0.0150], 6)])
    path = tmp_path / "clip.mp4"
    render_clip(replace(SCENE, frame_times_s=times), path)
    with av.open(str(path)) as container:
        seen = [float(frame.time or 0.0) for frame in container.decode(video=0)]
    np.testing.assert_allclose(seen, times, atol=1.2e-5)
    frames = load_truth(truth_path(path))["frames"]
    np.testing.assert_allclose(frames["frame_time_s"], times + SCENE.phase_s, atol=1e-9)


def test_the_click_is_heard_at_impact_plus_its_delay(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    render_clip(replace(SCENE, encoding=Encoding(sound=True, sound_delay_s=0.006)), path)
    truth = load_truth(truth_path(path))
    with av.open(str(path)) as container:
        stream = container.streams.audio[0]
        blocks = [(float(frame.time or 0.0), frame.to_ndarray()[0]) for frame in container.decode(stream)]
        rate = stream.rate
    wave = np.concatenate([samples for _, samples in blocks])
    loud = blocks[0][0] + np.flatnonzero(np.abs(wave) > 0.15)[0] / rate
    (click,) = truth["sound_clicks_container_s"]
    assert click == pytest.approx(truth["events_container_clock"]["impact_s"] + 0.006, abs=1e-9)
    assert loud == pytest.approx(click, abs=0.0015)  # the codec smears by a fraction of its 21 ms block


def test_the_truth_tells_one_story_on_both_clocks(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    render_clip(SCENE, path)
    truth = load_truth(truth_path(path))
    model, container = truth["events_model_clock"], truth["events_container_clock"]
    offset = truth["model_time_minus_container_time_s"]
    assert model["impact_s"] - container["impact_s"] == pytest.approx(offset, abs=1e-12)
    assert model["backswing_duration_s"] == pytest.approx(0.4, abs=1e-12)
    assert model["forward_duration_s"] == pytest.approx(0.2, abs=1e-12)
    assert model["peak_forward_accel_time_frac_of_forward"] <= 0.55
    assert "Invented data" in truth["note"]
    frames = truth["frames"]
    at_rest = np.array(frames["frame_time_s"]) < model["start_leaves_rest_s"]
    assert np.ptp(np.array(frames["head_u_m"])[at_rest]) == 0.0
    moved = np.array([centre[0] for centre in frames["ball_centre_xyz_m"]]) > 0
    assert np.array_equal(moved, np.array(frames["frame_time_s"]) > model["impact_s"])


@pytest.mark.parametrize("rest_s", [0.1, 0.37, 0.55, 0.6, 1.1])
def test_the_truth_at_impact_is_its_left_limit(rest_s: float) -> None:
    """Levels (0, 1), (0.4, 0.95), (1, 0.2): the acceleration at impact is a fifth of that at the top."""
    stroke = Stroke(levels=((0.0, 1.0), (0.4, 0.95), (1.0, 0.2)))
    script = (Rest(rest_s), stroke, NewBall(), Move(0.0, 0.7), Rest(0.33), stroke)
    performance = perform(script, Putter())
    joints = performance.motion.starts_s
    for events in performance.strokes:
        assert events.top_s in joints
        assert events.impact_s in joints
        truth = stroke_truth(performance, events)
        at_top, at_impact = truth["accel_at_top_m_s2"], truth["accel_just_before_impact_m_s2"]
        assert at_impact == pytest.approx(0.2 * at_top, rel=1e-9)
        assert truth["accel_before_top_m_s2"] == pytest.approx(at_top, rel=1e-9)
        assert truth["peak_forward_speed_time_rel_impact_s"] == 0.0
        impact_speed = truth["impact_speed_just_before_m_s"]
        assert truth["peak_forward_speed_m_s"] == pytest.approx(impact_speed, rel=1e-12)


def test_a_foreign_document_is_not_taken_for_a_truth(tmp_path: Path) -> None:
    path = tmp_path / "other.json"
    path.write_text('{"schema": "something"}', encoding="utf-8")
    with pytest.raises(ValueError, match="not a truth document"):
        load_truth(path)


def test_a_failed_recording_leaves_no_file(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"."):
        render_clip(replace(SCENE, encoding=Encoding(codec="no-such-codec")), tmp_path / "clip.mp4")
    assert list(tmp_path.iterdir()) == []
