"""A rolling shutter: each row's own time, stated or not."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from pennyfall.demo_clips.scene import Sensor, aim_camera
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.follow.row_time import rolling_shutter, row_share, with_unknown_rows
from tests.cli.synthetic import plateau_stroke
from tests.tracker.timed_clips import SIZE, filmed, measured, misses, small_scene


@pytest.mark.parametrize("turn", [0, 1, 2, 3, -1])
def test_the_row_of_a_place_is_that_of_the_coded_picture(turn: int) -> None:
    """Number the rows of a coded picture, turn it upright as the clip is, and ask for the rows back."""
    rows, columns = 5, 8
    coded = np.repeat(np.arange(rows), columns).reshape(rows, columns)
    upright = np.rot90(coded, turn)
    down, across = np.indices(upright.shape)
    places = np.column_stack([across.ravel(), down.ravel()]).astype(float)
    share = row_share(places, rotation_deg=90 * turn, rows=rows)
    np.testing.assert_allclose(share, upright.ravel() / (rows - 1) - 0.5)


def test_where_the_readout_is_unknown_its_largest_effect_is_said() -> None:
    """The head goes from 40 % to 60 % of the rows; 240 frames/s leave 4.17 ms for a read-out."""
    stroke = plateau_stroke()
    time_s = np.linspace(0, 4, 961)
    share = np.interp(time_s, [stroke.takeaway_s.value, stroke.finish_s.value], [-0.1, 0.1])
    said = rolling_shutter((stroke,), time_s, share, readout_s=None, interval_s=1 / 240)
    assert math.isnan(said.readout_s)
    assert said.largest_duration_error_s == pytest.approx(0.2 / 240, rel=0.002)  # frames, not instants
    assert "lasts 4.2 ms at most" in said.words
    assert "durations by up to 0.83 ms" in said.words
    widened = with_unknown_rows(stroke, time_s, share, 1 / 240)
    rows = np.interp([stroke.top_s.value, stroke.impact_s.value], time_s, share)
    added = float(np.ptp(rows)) / 240 / math.sqrt(3)
    assert widened.forward_swing_s.value == stroke.forward_swing_s.value
    assert widened.forward_swing_s.sd == pytest.approx(math.hypot(stroke.forward_swing_s.sd, added))


def test_where_the_readout_is_stated_the_row_at_impact_is_named() -> None:
    stroke = plateau_stroke()
    time_s = np.linspace(0, 4, 961)
    said = rolling_shutter((stroke,), time_s, np.full(961, 0.25), readout_s=0.004, interval_s=1 / 240)
    assert said.impact_row_time_s == pytest.approx(0.001)
    assert said.largest_duration_error_s == 0
    assert "75 % of the read-out" in said.words
    assert "+1.00 ms from the middle row" in said.words


@pytest.mark.clip
@pytest.mark.slow
def test_a_sensor_read_out_along_the_stroke_is_undone_by_its_stated_time(tmp_path: Path) -> None:
    """A phone held upright reads out along the stroke: 7 ms across 8.3 ms frames bend every time and speed.

    The scene's read-out runs down the picture, so its camera is turned a quarter about the line of sight.
    """
    scene = small_scene(
        120,
        name="rolling",
        sensor=Sensor(readout_s=0.007),
        size=SIZE[::-1],
        camera=aim_camera(
            position_m=(0.0, -0.55, 0.80),
            look_at_m=(0.03, -0.06, 0.0),
            focal_px=640,
            size=SIZE[::-1],
            roll_rad=math.radians(90),
        ),
    )
    clip = filmed(scene, tmp_path)
    stated = measured(clip.path, readout_s=0.007)
    unknown = measured(clip.path)
    assert misses(stated, clip.truth) == {}
    assert misses(unknown, clip.truth) == {}
    told, guessed = stated.measurement.strokes[0], unknown.measurement.strokes[0]
    wrong = abs(guessed.forward_swing_s.value - clip.truth["forward_duration_s"])
    right = abs(told.forward_swing_s.value - clip.truth["forward_duration_s"])
    assert right < 0.0015 < wrong
    assert told.forward_swing_s.sd < guessed.forward_swing_s.sd
    rolling = unknown.measurement.rolling_shutter
    assert rolling is not None
    assert wrong < rolling.largest_duration_error_s + 2 * told.forward_swing_s.sd


@pytest.mark.clip
@pytest.mark.slow
def test_a_readout_longer_than_a_frame_is_refused(tmp_path: Path) -> None:
    clip = filmed(small_scene(120, name="short", sensor=Sensor()), tmp_path)
    with pytest.raises(CannotMeasure, match=r"read-out of 20 ms does not fit between frames 8\.33 ms apart"):
        measured(clip.path, readout_s=0.020)
