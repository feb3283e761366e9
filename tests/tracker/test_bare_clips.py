"""Clips with nothing printed, rendered elsewhere by path tracing: ball and shaft against exact truth."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import INTERVAL_SDS, Estimate, FloatArray
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.clip_pass import ClipFollower
from pennyfall.tracker.measure.clip import measure_clip
from pennyfall.tracker.measure.measured import Measured
from pennyfall.tracker.measure.settings import Settings

pytestmark = [pytest.mark.clip, pytest.mark.footage]

INSTANTS = {"takeaway_s": "start_leaves_rest_s", "top_s": "top_s", "impact_s": "impact_s"}
FIGURES = {
    "forward_swing_s": "forward_duration_s",
    "tempo_ratio": "tempo_ratio_back_over_forward",
    "backswing_length_m": "amplitude_m_x",
    "impact_speed_mps": "impact_speed_just_before_m_s",
    "peak_speed_mps": "peak_forward_speed_m_s",
    "ball_speed_mps": "ball_launch_speed_m_s",
    "acceleration_at_top_mps2": "accel_at_top_m_s2",
    "peak_acceleration_mps2": "peak_forward_accel_m_s2",
    "acceleration_before_impact_mps2": "accel_mean_20ms_before_impact_m_s2",
}
"""Fields of a measured stroke and their names in the truth."""


def _truth(path: Path) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(path.read_text())
    return document


def _beside_truth(measured: Measured, truth: dict[str, Any]) -> dict[str, tuple[Estimate, float]]:
    """Return measured and true value of every figure of the only stroke."""
    (stroke,) = measured.measurement.strokes
    instants, figures = truth["events_container_clock"], truth["events_model_clock"]
    return {name: (getattr(stroke, name), instants[true]) for name, true in INSTANTS.items()} | {
        name: (getattr(stroke, name), figures[true]) for name, true in FIGURES.items()
    }


def _holds_its_truth(beside: dict[str, tuple[Estimate, float]]) -> None:
    """Assert that at most one in a dozen 95 % intervals misses its truth, and none by half its width more."""
    sds = {name: abs(found.value - true) / found.sd for name, (found, true) in beside.items()}
    missed = {name: round(each, 1) for name, each in sds.items() if not each < INTERVAL_SDS}
    assert len(missed) <= 1, missed
    assert all(each < 1.5 * INTERVAL_SDS for each in missed.values()), missed


@pytest.fixture(scope="module")
def sunlit_lawn(footage: Path) -> tuple[Measured, dict[str, Any]]:
    """Return the clip of a white mallet on a lawn in hard sun, 60 frames/s, measured, and its truth."""
    folder = footage / "rendered-bare"
    measured = measure_clip(folder / "baresun60_h264.mp4", Settings())
    return measured, _truth(folder / "baresun60_h264.truth.json")


def test_a_clip_with_nothing_printed_is_measured_by_ball_and_shaft(
    sunlit_lawn: tuple[Measured, dict[str, Any]],
) -> None:
    measurement = sunlit_lawn[0].measurement
    assert (measurement.tracking.method, measurement.calibration.source) == ("bare", "ball")
    assert not measurement.calibration.tag_height_m.known
    assert [each.code for each in measurement.warnings] == ["nothing-printed"]


@pytest.mark.parametrize(
    ("name", "within", "relative"),
    [
        # What is asked of bare clips at 60 frames/s: a coach's decisions rest on no less.
        ("top_s", 0.003, False),
        ("impact_s", 0.0025, False),
        ("forward_swing_s", 0.004, False),
        ("backswing_length_m", 0.04, True),
        ("impact_speed_mps", 0.04, True),
        ("peak_speed_mps", 0.04, True),
        ("ball_speed_mps", 0.04, True),
        ("acceleration_at_top_mps2", 0.08, True),
        ("peak_acceleration_mps2", 0.08, True),
        ("acceleration_before_impact_mps2", 0.8, False),
    ],
)
def test_a_bare_clip_at_60_frames_a_second_is_as_near_its_truth_as_asked(
    sunlit_lawn: tuple[Measured, dict[str, Any]], name: str, within: float, relative: bool
) -> None:
    found, true = _beside_truth(*sunlit_lawn)[name]
    assert abs(found.value - true) < within * (true if relative else 1.0)


def test_the_takeaway_of_a_bare_clip_is_told_to_70_ms(
    sunlit_lawn: tuple[Measured, dict[str, Any]],
) -> None:
    found, true = _beside_truth(*sunlit_lawn)["takeaway_s"]
    low, high = found.interval()
    assert low < true < high
    assert high - low < 0.070


def test_the_intervals_of_a_bare_clip_hold_the_truth(sunlit_lawn: tuple[Measured, dict[str, Any]]) -> None:
    _holds_its_truth(_beside_truth(*sunlit_lawn))


def test_a_bare_head_is_followed_to_the_finish_and_its_swing_told_to_most_of_a_degree(
    sunlit_lawn: tuple[Measured, dict[str, Any]],
) -> None:
    measured, truth = sunlit_lawn
    head, events = measured.placed.tracks.head, truth["events_container_clock"]
    swung = (head.time_s > events["start_leaves_rest_s"]) & (head.time_s < events["head_at_rest_again_s"])
    assert np.mean(head.seen[swung]) > 0.98
    true_rad = np.array(truth["frames"]["swing_angle_rad"])
    assert _rms_deg(head.tilt_rad[swung] - head.tilt_rad[0], true_rad[swung]) < 0.7


def _rms_deg(found_rad: FloatArray, true_rad: FloatArray) -> float:
    return float(np.degrees(np.sqrt(np.nanmean((found_rad - true_rad) ** 2))))


def test_the_picture_shows_the_bare_head_where_it_is(sunlit_lawn: tuple[Measured, dict[str, Any]]) -> None:
    """What is cut out and drawn over follows the head up its arc, within half its width (84 mm: 75 px)."""
    measured, truth = sunlit_lawn
    true_px = np.array(truth["frames"]["head_centre_px"])
    found_px = measured.placed.timed.followed.head.head_px
    assert np.ptp(true_px[:, 1]) > 75  # on the row of the ball it would be missed
    assert np.nanmax(np.abs(found_px - true_px)) < 37


@pytest.mark.slow
@pytest.mark.parametrize("clip", ["rendered-late/late120_hevc", "rendered-late/late120_dec60",
                                  "rendered-tremor/tremor240_hevc"])  # fmt: skip
def test_a_clip_whose_marks_are_not_looked_for_still_holds_its_truth(
    clip: str, footage: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ClipFollower, "_note_tags", lambda *_: None)
    measured = measure_clip(footage / f"{clip}.mp4", Settings())
    assert measured.measurement.tracking.method == "bare"
    _holds_its_truth(_beside_truth(measured, _truth(footage / f"{clip}.truth.json")))


@pytest.mark.slow
def test_a_box_names_the_bare_head_and_a_box_elsewhere_is_refused_in_its_own_words(
    sunlit_lawn: tuple[Measured, dict[str, Any]], footage: Path
) -> None:
    clip = footage / "rendered-bare" / "baresun60_h264.mp4"
    named = measure_clip(clip, Settings(box=Box.read("770,470,130,160"))).measurement
    assert named.tracking.method == "bare"
    assert named.strokes[0].top_s == sunlit_lawn[0].measurement.strokes[0].top_s
    with pytest.raises(CannotMeasure, match="no shaft that swings from the head named") as caught:
        measure_clip(clip, Settings(box=Box.read("100,100,80,80")))
    assert caught.value.setting == "box"
    assert "box lies around the head" in caught.value.fix
