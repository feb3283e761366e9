"""Timestamps become true times: factors from the frames themselves, ramps, jitter, rounding."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pennyfall.demo_clips.clips import shipped_clips
from pennyfall.demo_clips.truth import load_truth
from pennyfall.kinematics.clock.speed_jump import LEAST_STEP_M, pulled_too_hard, speed_jump
from pennyfall.kinematics.clock.speed_ramp import rate_steps
from pennyfall.kinematics.clock.time_base import time_base, unrounded, usual_interval
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.reading import read_clip


def _stamps(*runs: tuple[int, float]) -> FloatArray:
    """Return timestamps of runs of so many intervals of such a length [s]."""
    intervals = np.concatenate([np.full(count, length) for count, length in runs])
    return np.concatenate([[0.0], np.cumsum(intervals)])


def test_timestamps_without_a_rate_are_true_times_from_the_first() -> None:
    stamps = 3.7 + _stamps((50, 1 / 60))
    base = time_base(stamps)
    np.testing.assert_allclose(base.time_s, stamps - 3.7)
    assert base.source == "timestamps"
    assert base.words == "Times are the file's own timestamps."


def test_the_factor_comes_from_the_usual_interval_and_not_from_the_mean() -> None:
    """Two pauses halve the average rate; the frames still follow each other at 30 per second."""
    stamps = _stamps((60, 1 / 30), (1, 2.0), (60, 1 / 30), (1, 2.0))
    base = time_base(stamps, recorded_at_hz=240.0)
    assert base.slow_motion_factor == pytest.approx(8.0)
    assert base.source == "stated"
    np.testing.assert_allclose(base.time_s, stamps / 8)


def test_jitter_does_not_move_the_factor(generator: np.random.Generator) -> None:
    """Each frame stamped up to 15 % of an interval late: the mean of n intervals errs by 0.15 / n at most."""
    count = 400
    stamps = np.arange(count) / 30 + generator.uniform(0, 0.15 / 30, count)
    assert usual_interval(np.diff(stamps)) == pytest.approx(1 / 30, rel=0.15 / (count - 1))


def test_lost_frames_do_not_move_the_factor(generator: np.random.Generator) -> None:
    kept = np.sort(generator.choice(400, 330, replace=False))
    assert usual_interval(np.diff(kept / 240)) == pytest.approx(1 / 240)


@pytest.mark.footage
def test_the_filmed_drop_plays_four_times_slower_than_life(footage: Path) -> None:
    """An Android phone noted 120 frames/s; the file's description: true time = container time / 4.001."""
    base = read_clip(footage / "ball-drop-120fps" / "ball_drop.mp4").time_base
    assert base.source == "metadata"
    assert base.slow_motion_factor == pytest.approx(4.001, abs=0.0005)
    assert "by the phone's own note" in base.words
    # container 29.995 frames/s over 327 frames: 10.87 s, a quarter of it true
    assert base.time_s[-1] == pytest.approx(326 / 120, rel=1e-4)


def test_a_rate_stated_by_its_round_name_changes_nothing() -> None:
    stamps = _stamps((100, 1 / 239.76))
    base = time_base(stamps, recorded_at_hz=240.0)
    assert base.slow_motion_factor == 1.0
    assert base.source == "stated"
    np.testing.assert_array_equal(base.time_s, stamps)


def test_a_rate_below_the_one_played_is_refused() -> None:
    with pytest.raises(CannotMeasure) as refused:
        time_base(_stamps((100, 1 / 240)), recorded_at_hz=60.0)
    assert refused.value.message == "The clip plays 240 frames/s, so it was not recorded at 60."
    assert refused.value.setting == "recorded_at"


def test_normal_slow_normal_is_a_ramp_where_the_rate_is_known() -> None:
    stamps = _stamps((60, 1 / 240), (100, 1 / 30), (60, 1 / 240))
    base = time_base(stamps, capture_rate_hz=240.0)
    assert base.ramp
    assert base.source == "metadata"
    np.testing.assert_allclose(base.time_s, np.arange(221) / 240)
    assert base.slow_motion_factor == pytest.approx(stamps[-1] / (220 / 240))
    assert "4.17 and 33.3 ms" in base.words


def test_a_ramp_that_eases_from_one_rate_to_the_other_is_one_too() -> None:
    ease = np.geomspace(1, 8, 12) / 240
    intervals = np.concatenate(
        [np.full(60, 1 / 240), ease, np.full(120, 8 / 240), ease[::-1], np.full(60, 1 / 240)]
    )
    stamps = np.concatenate([[0.0], np.cumsum(intervals)])
    base = time_base(stamps, recorded_at_hz=240.0)
    assert base.ramp
    np.testing.assert_allclose(base.time_s, np.arange(len(stamps)) / 240)


def test_a_frame_lost_in_the_slow_part_of_a_ramp_keeps_its_time() -> None:
    stamps = np.delete(_stamps((60, 1 / 240), (100, 1 / 30), (60, 1 / 240)), 100)
    base = time_base(stamps, capture_rate_hz=240.0)
    np.testing.assert_allclose(base.time_s, np.delete(np.arange(221), 100) / 240)


def test_a_camera_short_of_light_is_no_ramp() -> None:
    """60 frames/s that drop to 30: every frame is stamped at its own time, and the phone notes 60."""
    stamps = _stamps((90, 1 / 60), (60, 1 / 30), (90, 1 / 60))
    base = time_base(stamps, capture_rate_hz=60.0)
    assert not base.ramp
    np.testing.assert_array_equal(base.time_s, stamps)
    assert "steps between 16.7 and 33.3 ms" in base.words


def test_frames_at_arbitrary_times_do_not_step(generator: np.random.Generator) -> None:
    for _ in range(50):
        assert rate_steps(generator.uniform(0.004, 0.04, 200)) is None


def test_jitter_and_losses_do_not_step(generator: np.random.Generator) -> None:
    for _ in range(50):
        kept = np.sort(generator.choice(300, 270, replace=False))
        stamps = kept / 120 + generator.uniform(0, 0.1 / 120, len(kept))
        assert rate_steps(np.diff(stamps)) is None


def test_times_rounded_to_milliseconds_are_put_back_on_their_grid() -> None:
    """Matroska counts milliseconds: the usual 240 frames/s become 4, 4, 4, 4, 4, 5 ms."""
    even = np.arange(500) / 240
    rounded = np.asarray(np.round(even, 3), dtype=np.float64)
    np.testing.assert_allclose(unrounded(rounded, 0.001), even, atol=0.00005)


@pytest.mark.parametrize("ticks_a_second", [600, 1000])
@pytest.mark.parametrize("rate_hz", [240.0, 239.76, 241.3, 119.88, 60.0])
@pytest.mark.parametrize(("lost_share", "drift"), [(0.0, 0.0), (0.3, 0.0), (0.0, 3e-4), (0.03, 3e-4)])
def test_an_even_capture_is_found_behind_a_coarse_grid_though_frames_are_lost_and_its_clock_drifts(
    generator: np.random.Generator, ticks_a_second: int, rate_hz: float, lost_share: float, drift: float
) -> None:
    """Exports count 1/600 s, WebM and Matroska milliseconds; over ten seconds the rate drifts by 6 in 10,000.

    From frame to frame rounded times err by up to a whole tick.
    """
    frame = np.flatnonzero(generator.random(round(10 * rate_hz)) >= lost_share)
    even = frame / rate_hz
    true_s = even + drift * even * (10 - even) / 10
    tick_s = 1 / ticks_a_second
    base = time_base(np.floor(true_s / tick_s + generator.uniform()) * tick_s, tick_s=tick_s)
    off = base.time_s - (true_s - true_s[0])
    assert np.ptp(off) < tick_s
    assert np.abs(np.diff(off)).max() < 0.02 * tick_s
    whole_ticks = ticks_a_second % rate_hz == 0 and drift == 0
    assert ("were put on their grid" in base.words) == (not whole_ticks)


def test_uneven_times_are_not_put_on_a_grid(generator: np.random.Generator) -> None:
    stamps = np.asarray(np.round(np.cumsum(generator.uniform(0.004, 0.02, 100)), 3), dtype=np.float64)
    assert unrounded(stamps, 0.001) is stamps


def _ramped_head(slow: float) -> tuple[FloatArray, FloatArray]:
    """Return apparent time and place of a head swinging at 1 Hz, its middle part played slower."""
    true_s = np.arange(240) / 240
    interval = np.where((true_s[1:] > 0.35) & (true_s[1:] < 0.65), slow, 1.0) / 240
    return np.concatenate([[0.0], np.cumsum(interval)]), 0.12 * np.cos(2 * np.pi * true_s)


@pytest.mark.parametrize("slow", [4.0, 8.0])
def test_a_head_in_a_ramp_jumps_in_speed(slow: float) -> None:
    time_s, x_m = _ramped_head(slow)
    jump = speed_jump(time_s, x_m, np.ones(240, dtype=bool), rate_steps(np.diff(time_s)))
    assert jump is not None
    assert jump.time_s == pytest.approx(0.35, abs=4 / 240)  # the last even frames before it
    assert 1 / jump.ratio == pytest.approx(slow, rel=0.15)


def test_the_frame_of_the_jump_may_be_missing() -> None:
    time_s, x_m = _ramped_head(8.0)
    seen = np.ones(240, dtype=bool)
    seen[np.flatnonzero(np.diff(time_s) > 1 / 200)[0]] = False
    jump = speed_jump(time_s, x_m, seen, rate_steps(np.diff(time_s)))
    assert jump is not None
    assert jump.time_s == pytest.approx(0.35, abs=4 / 240)  # the last even frames before it


def test_a_head_of_which_frames_are_missing_does_not_jump(generator: np.random.Generator) -> None:
    true_s = np.sort(generator.choice(240, 150, replace=False)) / 240
    x_m = 0.12 * np.cos(2 * np.pi * true_s) + generator.normal(0, 0.0001, 150)
    assert speed_jump(true_s, x_m, np.ones(150, dtype=bool)) is None


def test_an_impact_is_no_jump() -> None:
    """A head of 350 g loses 21 % of its speed to the ball (momentum and restitution 0.78)."""
    time_s = np.arange(120) / 240
    v = np.where(time_s < 0.25, 1.6, 1.26)
    x_m = np.concatenate([[0.0], np.cumsum(v[:-1])]) / 240
    assert speed_jump(time_s, x_m, np.ones(120, dtype=bool)) is None


def test_no_stroke_of_the_shipped_clips_jumps_however_its_frames_are_thinned(
    generator: np.random.Generator,
) -> None:
    """Every clip's true way, noisy, thinned at random or to a half or a third of its rate.

    Places that scatter by more than a tenth of `LEAST_STEP_M` are not looked at; here some do by twice that.
    """
    for clip in shipped_clips():
        frames = load_truth(clip.truth)["frames"]
        time_s, x_m = np.array(frames["container_pts_s"]), np.array(frames["head_centre_xyz_m"])[:, 0]
        for draw in range(30):
            count = round(len(time_s) * generator.uniform(0.4, 1.0))
            random = np.sort(generator.choice(len(time_s), count, replace=False))
            kept = random if draw % 2 else np.arange(0, len(time_s), 1 + draw % 3)
            noisy = x_m[kept] + generator.normal(
                0, LEAST_STEP_M * generator.choice([0.05, 0.1, 0.2]), len(kept)
            )
            assert speed_jump(time_s[kept], noisy, np.ones(len(kept), dtype=bool)) is None, clip.name


def _pulls(time_s: FloatArray, x_m: FloatArray, sd_m: float, generator: np.random.Generator) -> int:
    """Return in how many frames a head with such noise seems to be pulled too hard."""
    noisy = x_m + generator.normal(0, sd_m, len(x_m))
    return len(pulled_too_hard(time_s, noisy, np.full(len(x_m), sd_m), np.ones(len(x_m), dtype=bool)))


@pytest.mark.parametrize("sd_m", [0.00005, 0.0001, 0.0003, 0.001])
def test_no_shipped_stroke_is_pulled_too_hard_but_each_is_at_normal_speed_among_slow_motion(
    generator: np.random.Generator, sd_m: float
) -> None:
    """Never as it was, impact included, nor thinned at random; where every eighth picture was kept, yes."""
    for clip in shipped_clips():
        frames = load_truth(clip.truth)["frames"]
        time_s, x_m = np.array(frames["container_pts_s"]), np.array(frames["head_centre_xyz_m"])[:, 0]
        for _ in range(10):
            kept = np.sort(generator.choice(len(time_s), round(0.7 * len(time_s)), replace=False))
            assert _pulls(time_s, x_m, sd_m, generator) == 0, clip.name
            assert _pulls(time_s[kept], x_m[kept], sd_m, generator) == 0, clip.name
        thinned = x_m[::8]
        assert _pulls(time_s[: len(thinned)], thinned, sd_m, generator) > 3, clip.name


def test_a_stroke_that_itself_falters_or_changes_its_speed_is_not_pulled_too_hard(
    generator: np.random.Generator,
) -> None:
    """A backswing that stops within 40 ms and goes on, and a forward swing let go before the impact."""
    time_s = np.arange(300) / 240
    v = np.interp(
        time_s, [0.2, 0.3, 0.34, 0.4, 0.5, 0.7, 0.95, 0.96, 1.1], [0, -0.3, 0, 0, -0.4, 0, 1.5, 1.45, 0.9]
    )
    x_m = np.concatenate([[0.0], np.cumsum(v[:-1])]) / 240
    assert _pulls(time_s, x_m, 0.0001, generator) == 0


def test_one_or_two_wrong_places_are_no_pull(generator: np.random.Generator) -> None:
    time_s = np.arange(200) / 240
    x_m = 0.1 * np.sin(2 * np.pi * 0.8 * time_s)
    x_m[60] += 0.003
    x_m[120:122] += 0.0004
    assert _pulls(time_s, x_m, 0.0001, generator) == 0


def test_an_impact_is_no_pull_however_fast_the_head(generator: np.random.Generator) -> None:
    """A head of 350 g loses 21 % of its speed to the ball (momentum and restitution 0.78)."""
    time_s = np.arange(120) / 240
    for speed_mps in (0.5, 1.5, 4.5):
        v = np.where(time_s < 0.25, speed_mps, 0.79 * speed_mps)
        x_m = np.concatenate([[0.0], np.cumsum(v[:-1])]) / 240
        assert _pulls(time_s, x_m, 0.0001, generator) == 0
