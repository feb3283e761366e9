"""The ball's departure and speed, from tracks with exact truth."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pennyfall.kinematics.stroke.launch import fit_launch
from pennyfall.kinematics.stroke.tracks import BallTrack
from pennyfall.kinematics.values import BoolArray, Estimate, FloatArray


def ball(
    speed: float,
    departure: float,
    generator: np.random.Generator,
    *,
    rate_hz: float = 240.0,
    deceleration: float = 3.5,
    noise_m: float = 3e-4,
    reach_m: float = 0.4,
    rest_m: float = 0.0,
    rolling: float = 0.6,
) -> BallTrack:
    """Return a ball that slides until 5/7 of its speed is left (uniform sphere, textbook), then rolls.

    It rolls as on a green of 9 ft, its deceleration 1.83^2 / (2 * 2.74) m/s^2.
    """
    time = np.arange(0.0, departure + 0.6, 1 / rate_hz)
    since = np.maximum(time - departure, 0)
    sliding = np.minimum(since, 2 / 7 * speed / deceleration)
    rolls = since - sliding
    x = speed * sliding - 0.5 * deceleration * sliding**2 + 5 / 7 * speed * rolls - 0.5 * rolling * rolls**2
    kept = x < reach_m
    noise = np.where(
        x > 0, noise_m * generator.standard_normal(len(x)), noise_m * generator.standard_normal()
    )
    return BallTrack(
        time_s=time[kept],
        x_m=(x + noise + rest_m)[kept],
        y_m=np.zeros(int(kept.sum())),
        sd_x_m=np.full(int(kept.sum()), noise_m),
        at_rest=x[kept] == 0,
    )


def part(track: BallTrack, kept: BoolArray) -> BallTrack:
    """Return the frames kept of a track."""
    names = ("time_s", "x_m", "y_m", "sd_x_m", "at_rest")
    return BallTrack(**{name: getattr(track, name)[kept] for name in names})


def changed(track: BallTrack, **arrays: FloatArray) -> BallTrack:
    values = {each.name: getattr(track, each.name) for each in fields(track)}
    return BallTrack(**{**values, **arrays})


@pytest.mark.parametrize(("rate_hz", "time_s", "share"), [(240.0, 6e-4, 0.01), (60.0, 1e-3, 0.02)])
@pytest.mark.parametrize("speed", [1.0, 1.8, 2.6])
def test_departure_and_speed_are_found_to_a_fraction_of_a_frame(
    rate_hz: float, time_s: float, share: float, speed: float, generator: np.random.Generator
) -> None:
    inside = 0
    for _ in range(40):
        departure = generator.uniform(0.8, 0.82)
        track = ball(speed, departure, generator, rate_hz=rate_hz, deceleration=generator.uniform(2, 5))
        launch = fit_launch(track)
        assert launch is not None
        assert launch.impact_s.value == pytest.approx(departure, abs=3 * time_s)
        assert launch.speed_mps.value == pytest.approx(speed, rel=4 * share)
        low, high = launch.speed_mps.interval()
        inside += low <= speed <= high
    assert inside >= 34


def turned(track: BallTrack, generator: np.random.Generator) -> BallTrack:
    """Return a ball whose moving outline errs by 0.16 mm, alike over 25 mm, and by 0.12 mm throughout."""
    moving = np.flatnonzero(~track.at_rest)
    way = np.abs(track.x_m[moving, None] - track.x_m[moving])
    alike = generator.multivariate_normal(np.zeros(len(moving)), 1.6e-4**2 * np.exp(-way / 0.025))
    x = track.x_m.copy()
    x[moving] += alike + 1.2e-4 * generator.standard_normal()
    sd = np.where(track.at_rest, track.sd_x_m, np.hypot(track.sd_x_m, 1.6e-4))
    return replace(track, x_m=x, sd_x_m=sd, turning_sd_m=1.6e-4)


@pytest.mark.parametrize("rate_hz", [240.0, 60.0])
def test_intervals_hold_for_an_outline_that_turns(rate_hz: float, generator: np.random.Generator) -> None:
    """A true coverage of 95 % falls below 87 of a hundred once in a thousand.

    Told that every frame errs on its own, the fit at 240 frames/s holds the speed in 78.
    """
    inside = {"impact_s": 0, "speed_mps": 0}
    for _ in range(100):
        truth = {"impact_s": generator.uniform(0.8, 0.82), "speed_mps": generator.uniform(1.0, 2.6)}
        plain = ball(truth["speed_mps"], truth["impact_s"], generator, rate_hz=rate_hz, noise_m=8e-5)
        launch = fit_launch(turned(plain, generator))
        assert launch is not None
        for name, true in truth.items():
            low, high = getattr(launch, name).interval()
            inside[name] += low <= true <= high
    assert min(inside.values()) >= 87, inside


def test_the_departure_is_not_pinned_to_the_last_frame_of_rest() -> None:
    """A rendered ball at 30 frames/s that left at 1.53846 s, its first moving frame missing.

    The slope, slowed by the slide, points back beyond the last frame of rest; started there the fit stayed in
    a kink of the misfit: 1.5333 s, stated to 0.2 ms.
    """
    x_mm = np.array([0.03, 0.07, 0.17, 111.85, 166.266, 216.281, 262.6])
    track = BallTrack(
        time_s=np.array([44, 45, 46, 48, 49, 50, 51]) / 30,
        x_m=1e-3 * x_mm,
        y_m=np.zeros(7),
        sd_x_m=1e-3 * np.array([0.08, 0.06, 0.21, 0.47, 0.28, 0.32, 0.32]),
        at_rest=x_mm < 1,
    )
    launch = fit_launch(track)
    assert launch is not None
    assert launch.impact_s.value == pytest.approx(1.53846, abs=2e-3)
    low, high = launch.impact_s.interval()
    assert low < 1.53846 < high


def test_two_frames_of_the_moving_ball_suffice(generator: np.random.Generator) -> None:
    track = ball(2.0, 0.801, generator, rate_hz=60.0, reach_m=0.08)
    assert np.count_nonzero(~track.at_rest) in (2, 3)
    launch = fit_launch(track)
    assert launch is not None
    low, high = launch.speed_mps.interval()
    assert low < 2.0 < high
    assert high - low < 0.2


def test_a_blurred_frame_gone_wrong_hardly_moves_the_launch(generator: np.random.Generator) -> None:
    track = ball(2.0, 0.8, generator)
    x = track.x_m.copy()
    x[np.flatnonzero(~track.at_rest)[3]] += 0.008
    launch = fit_launch(changed(track, x_m=x))
    assert launch is not None
    assert launch.impact_s.value == pytest.approx(0.8, abs=0.001)
    assert launch.speed_mps.value == pytest.approx(2.0, rel=0.03)


def test_a_ball_touched_at_address_leaves_from_where_it_lay_last(generator: np.random.Generator) -> None:
    track = ball(2.0, 0.8, generator)
    x = track.x_m - np.where(track.time_s < 0.4, 0.003, 0.0)
    launch = fit_launch(changed(track, x_m=x))
    assert launch is not None
    assert launch.impact_s.value == pytest.approx(0.8, abs=0.001)


def test_a_ball_hidden_by_the_head_before_impact_is_still_timed(generator: np.random.Generator) -> None:
    track = ball(2.0, 0.8, generator)
    kept = ~((track.time_s > 0.68) & (track.time_s < 0.806))
    launch = fit_launch(part(track, kept))
    assert launch is not None
    assert launch.impact_s.value == pytest.approx(0.8, abs=0.0015)


def test_a_ball_that_stays_or_is_only_nudged_has_no_launch(generator: np.random.Generator) -> None:
    track = ball(2.0, 0.8, generator)
    still = changed(track, x_m=np.full(len(track.x_m), 1e-4))
    nudged = changed(track, x_m=np.where(track.time_s > 0.5, 0.006, 0.0))
    assert fit_launch(still) is None
    assert fit_launch(nudged) is None


def test_a_ball_seen_only_moving_has_no_launch(generator: np.random.Generator) -> None:
    track = ball(2.0, 0.8, generator)
    moving = ~track.at_rest
    late = part(track, moving)
    assert fit_launch(late) is None


@settings(max_examples=20, deadline=None)
@given(shift=st.floats(-50, 50), offset=st.floats(-0.3, 0.3))
def test_shifting_time_and_place_shifts_the_departure_only(shift: float, offset: float) -> None:
    track = ball(1.7, 0.8, np.random.default_rng(7))
    plain = fit_launch(track)
    moved = fit_launch(changed(track, time_s=track.time_s + shift, x_m=track.x_m + offset))
    assert plain is not None
    assert moved is not None
    assert moved.impact_s.value == pytest.approx(plain.impact_s.value + shift, abs=1e-6)
    assert moved.speed_mps.value == pytest.approx(plain.speed_mps.value, rel=1e-4)


def test_a_doubtful_outline_and_errors_alike_from_frame_to_frame_widen_the_speed(
    generator: np.random.Generator,
) -> None:
    """An outline that wanders by 1 mm within 50 ms, as a printed line turning through it makes it do."""
    track = ball(2.0, 0.8, generator)
    wander = 1e-3 * np.sin(2 * np.pi * (track.time_s - 0.8) / 0.05) * ~track.at_rest
    plain = fit_launch(track)
    wandering = fit_launch(changed(track, x_m=track.x_m + wander))
    doubtful = fit_launch(replace(track, speed_rel_sd=0.02))
    assert plain is not None
    assert wandering is not None
    assert doubtful is not None
    assert wandering.speed_mps.sd > 2 * plain.speed_mps.sd
    assert doubtful.speed_mps.sd == pytest.approx(np.hypot(plain.speed_mps.sd, 0.02 * plain.speed_mps.value))


def test_told_the_impact_the_speed_is_known_better(generator: np.random.Generator) -> None:
    """Of 60 launches; a ball that left later was faster, and the errors of both show it."""
    before, after, sds = [], [], []
    for _ in range(60):
        speed, departure = float(generator.uniform(1.0, 2.5)), float(generator.uniform(0.3, 0.31))
        launch = fit_launch(ball(speed, departure, generator, rate_hz=120.0))
        assert launch is not None
        told = launch.speed_given(Estimate(departure, 1e-6))
        assert told.sd < launch.speed_mps.sd
        assert launch.speed_given(launch.impact_s) == launch.speed_mps
        before.append(launch.speed_mps.value - speed)
        after.append(told.value - speed)
        sds.append(told.sd)
    assert np.sqrt(np.mean(np.square(after))) < 0.95 * np.sqrt(np.mean(np.square(before)))
    assert np.sqrt(np.mean((np.array(after) / sds) ** 2)) == pytest.approx(1.0, abs=0.3)
