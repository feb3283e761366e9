"""A coin that leaves the head falls as a free body does."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pennyfall.demo_clips.ball import GRAVITY_MPS2
from pennyfall.demo_clips.coin import COIN_THICKNESS_M, coin_path, fall_time_s
from pennyfall.demo_clips.larch import EARLY_240
from pennyfall.demo_clips.record import performance_of
from pennyfall.demo_clips.render import Renderer
from pennyfall.demo_clips.scene import Coin, Sensor

SEAT_M = (-0.030, 0.0, COIN_THICKNESS_M / 2)


def test_a_body_let_go_at_rest_falls_for_the_root_of_twice_the_height_over_g() -> None:
    assert fall_time_s(0.03, 0.0) == pytest.approx(math.sqrt(2 * 0.03 / GRAVITY_MPS2), rel=1e-12)


def test_the_coin_rides_falls_and_lies() -> None:
    performance = performance_of(EARLY_240)
    top_s = performance.strokes[0].top_s
    leave_s = top_s + 0.05
    path = coin_path(performance, EARLY_240.putter, seat_m=SEAT_M, leave_s=leave_s)
    rotation, origin = EARLY_240.putter.pose(float(performance.motion.position(np.array(top_s))))
    np.testing.assert_allclose(path(top_s)[0], origin + rotation @ SEAT_M, atol=1e-12)
    t = leave_s + np.array([0.005, 0.010, 0.015])
    places = np.array([path(float(s))[0] for s in t])
    second = (places[2] - 2 * places[1] + places[0]) / 0.005**2
    np.testing.assert_allclose(second, [0.0, 0.0, -GRAVITY_MPS2], atol=1e-6)
    lying, normal = path(leave_s + 1.0)
    assert lying[2] == pytest.approx(COIN_THICKNESS_M / 2, abs=1e-9)
    np.testing.assert_array_equal(normal, [0.0, 0.0, 1.0])
    np.testing.assert_array_equal(path(leave_s + 2.0)[0], lying)


def test_the_coin_does_not_jump_when_it_leaves() -> None:
    performance = performance_of(EARLY_240)
    leave_s = performance.strokes[0].top_s + 0.08
    path = coin_path(
        performance,
        EARLY_240.putter,
        seat_m=SEAT_M,
        leave_s=leave_s,
        slid_m=lambda t_s: 0.5 * max(0.0, t_s - leave_s + 0.1) ** 2,
    )
    before, after = path(leave_s - 1e-5)[0], path(leave_s + 1e-5)[0]
    assert np.linalg.norm(after - before) < 3e-5  # 20 us at about 1 m/s


def test_the_coin_is_seen_where_it_lies() -> None:
    """What the coin changes in the picture is a disc about its projected centre, as wide as a coin there."""
    performance = performance_of(EARLY_240)
    path = coin_path(performance, EARLY_240.putter, seat_m=SEAT_M, leave_s=performance.strokes[0].top_s)
    time_s = performance.strokes[0].impact_s + 0.3
    bare = replace(EARLY_240, sensor=Sensor(exposure_s=1e-4, blur_px=0.0))
    with_coin = Renderer(replace(bare, coin=Coin(path=path)), performance).frame(0, time_s)
    without = Renderer(bare, performance).frame(0, time_s)
    changed = np.abs(with_coin - without).max(axis=-1) > 0.02
    rows, columns = np.nonzero(changed)
    centre = EARLY_240.camera.project(path(time_s)[0][None])[0]
    np.testing.assert_allclose([columns.mean(), rows.mean()], centre, atol=0.3)
    depth = float((EARLY_240.camera.rotation @ path(time_s)[0] + EARLY_240.camera.translation)[2])
    wide = EARLY_240.camera.matrix[0, 0] * 0.02425 / depth
    assert wide <= np.ptp(columns) + 1 <= wide + 2  # every pixel of which it covers a part, at either end
