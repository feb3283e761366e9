from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from pennyfall.calibration.camera import Camera
from pennyfall.demo_clips.scene import aim_camera
from pennyfall.kinematics.coin.friction import known_coin, published_friction
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.coin.fallen import RestingCoin, find_resting_coin
from pennyfall.tracker.coin.on_head import leave_instant

CAMERA = aim_camera(position_m=(-0.04, -0.95, 0.85), look_at_m=(-0.05, -0.02, 0.0), focal_px=1060)
DIAMETER_M = known_coin().diameter_m


def carpet(generator: np.random.Generator, count: int) -> list[NDArray[np.uint8]]:
    """Return noisy frames of one textured floor."""
    texture = cv2.GaussianBlur(generator.normal(0, 40, (720, 1280)), (0, 0), 2)
    return [
        np.clip(90 + texture + generator.normal(0, 3, texture.shape), 0, 255).astype(np.uint8)
        for _ in range(count)
    ]


def with_disc(
    frames: list[NDArray[np.uint8]],
    camera: Camera,
    x_m: float,
    y_m: float,
    *,
    diameter_m: float = DIAMETER_M,
    level: float = 160,
) -> list[NDArray[np.uint8]]:
    """Return the frames with a disc on the floor, its rim projected exactly."""
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    rim: FloatArray = np.column_stack(
        [
            x_m + diameter_m / 2 * np.cos(angle),
            y_m + diameter_m / 2 * np.sin(angle),
            np.zeros_like(angle),
        ]
    )
    polygon = np.round(camera.project(rim) * 16).astype(np.int32)
    drawn = []
    for frame in frames:
        image = frame.copy()
        cv2.fillPoly(image, [polygon], level, lineType=cv2.LINE_AA, shift=4)
        drawn.append(image)
    return drawn


def found(before: list[NDArray[np.uint8]], after: list[NDArray[np.uint8]]) -> RestingCoin | None:
    return find_resting_coin(before, after, CAMERA, diameter_m=DIAMETER_M, x_range_m=(-0.45, 0.15))


@pytest.mark.parametrize(("x_m", "y_m"), [(-0.22, 0.0), (-0.33, 0.06), (-0.11, -0.08)])
@pytest.mark.parametrize("level", [30, 170])
def test_a_new_disc_on_the_floor_is_found_where_it_lies(
    x_m: float, y_m: float, level: float, generator: np.random.Generator
) -> None:
    frames = carpet(generator, 8)
    coin = found(frames[:4], with_disc(frames[4:], CAMERA, x_m, y_m, level=level))
    assert coin is not None
    assert coin.x_m.value == pytest.approx(x_m, abs=0.001)
    assert coin.y_m.value == pytest.approx(y_m, abs=0.001)


def test_nothing_new_is_nothing_found(generator: np.random.Generator) -> None:
    frames = carpet(generator, 8)
    assert found(frames[:4], frames[4:]) is None
    lying = with_disc(frames, CAMERA, -0.2, 0.0)
    assert found(lying[:4], lying[4:]) is None  # it lay there before


@pytest.mark.parametrize("share", [0.5, 2.0])
def test_a_disc_of_another_size_is_no_coin(share: float, generator: np.random.Generator) -> None:
    frames = carpet(generator, 8)
    after = with_disc(frames[4:], CAMERA, -0.2, 0.0, diameter_m=share * DIAMETER_M)
    assert found(frames[:4], after) is None


def test_a_head_that_passes_over_some_frames_does_not_hide_the_coin(generator: np.random.Generator) -> None:
    frames = carpet(generator, 18)
    after = with_disc(frames[9:], CAMERA, -0.2, 0.0)
    for number, frame in enumerate(after[:4]):
        cv2.rectangle(frame, (450 + 60 * number, 300), (600 + 60 * number, 420), 20, -1)
    coin = found(frames[:9], after)
    assert coin is not None
    assert coin.x_m.value == pytest.approx(-0.2, abs=0.001)


def test_the_leave_instant_is_where_the_slides_parabola_reaches_the_edge() -> None:
    """Displacement -(a/2)(t - 0.5)^2 with a = 4 m/s^2 passes 15 mm at 0.5 + sqrt(2 * 0.015 / 4) s."""
    time_s = np.arange(0, 1, 1 / 240)
    shift_m = -2.0 * np.clip(time_s - 0.5, 0, None) ** 2
    shift_m[shift_m < -0.014] = np.nan  # out of sight before the edge
    leave_s = leave_instant(time_s, shift_m, 0.015)
    assert leave_s.value == pytest.approx(0.5 + np.sqrt(0.0075), abs=5e-4)
    assert 0 < leave_s.sd < 0.02


def test_a_coin_that_stays_has_no_leave_instant() -> None:
    time_s = np.arange(0, 1, 1 / 240)
    assert not leave_instant(time_s, np.zeros_like(time_s), 0.015).known
    assert not leave_instant(time_s, np.full_like(time_s, np.nan), 0.015).known


@pytest.mark.slow
@pytest.mark.clip
def test_the_friction_of_a_filmed_coin_is_found_again(tmp_path: Path) -> None:
    """The engine that moves the coin has one coefficient, so the kinetic share is stated as 1."""
    pytest.importorskip("mujoco")
    from pennyfall.cli.coin.sighting import find_coin_in_clip
    from pennyfall.cli.files.settings import settings_from
    from pennyfall.kinematics.coin.prediction import CoinSetup, predict_coin
    from pennyfall.tracker.measure.clip import measure_clip
    from tests.tracker.coin_clip import PUTTER, SHELF, render_coin_clip

    clip = tmp_path / "coin.mp4"
    truth = render_coin_clip(clip, 0.20)
    result = measure_clip(clip, settings_from(tag_height_mm=1000 * PUTTER.tag_height_m))
    stroke = result.measurement.strokes[0]
    setup = CoinSetup(shelf=SHELF, friction=published_friction(), coin=known_coin(), kinetic_share=1.0)

    seen = find_coin_in_clip(result, stroke, setup)
    known = predict_coin(stroke, setup, seen).inferred
    unknown = predict_coin(stroke, replace(setup, kinetic_share=None), seen).inferred

    assert seen.leave_s.value == pytest.approx(truth.leave_s, abs=0.005)
    assert seen.landing_x_m.value == pytest.approx(truth.resting_x_m, abs=0.004)
    assert known is not None
    assert unknown is not None
    assert known.static.value == pytest.approx(truth.friction, abs=0.03)
    assert abs(unknown.static.value - truth.friction) < 1.96 * unknown.static.sd
