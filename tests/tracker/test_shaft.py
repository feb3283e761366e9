"""The shaft's line: found among what moves, registered over the known floor, extended to the ball."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.pose import Pose
from pennyfall.kinematics.values import BALL_RADIUS_M, Estimate, FloatArray
from pennyfall.tracker.clip.frame import Frame, LumaFrame
from pennyfall.tracker.follow import rows
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.follow.rows import RowKeeper
from pennyfall.tracker.follow.shaft import follow_shaft
from pennyfall.tracker.place.by_shaft import LIE, Swing, fit_swing, head_by_shaft

SIZE = (640, 400)
BALL_PX, RADIUS_PX = np.array([330.0, 340.0]), 16.0
RATE_HZ = 120.0
HUB_ROW_PX = -900.0
"""The drawn shaft turns about a hub this far up the picture."""


def _columns(time_s: FloatArray) -> FloatArray:
    """Return where the drawn shaft meets the ball's row: rest, back, through, rest."""
    back = 150.0 * np.sin(np.clip((time_s - 0.3) / 0.6, 0, 1) * np.pi / 2) ** 2
    through = 260.0 * np.sin(np.clip((time_s - 0.9) / 0.7, 0, 1) * np.pi / 2) ** 2
    return np.asarray(300.0 - back + through)


def _drawn(
    time_s: FloatArray, generator: np.random.Generator, *, row_s: float = 0.0, like_floor: bool = False
) -> list[LumaFrame]:
    """Return pictures of a shaft that turns about the hub before grass, its right half as dark as that."""
    width, height = SIZE
    floor = 90 + 12 * generator.standard_normal((height, width))
    floor[:, 380:] += 60  # a bright shoe, say
    rows = np.arange(height)[:, None]
    pictures = []
    for t in time_s:
        foot = np.interp(t + row_s * (rows[:, 0] - BALL_PX[1]), FINE_S, _columns(FINE_S))
        middle = BALL_PX[0] - 30 + (foot - 300.0) * (rows[:, 0] - HUB_ROW_PX) / (BALL_PX[1] - HUB_ROW_PX)
        off = np.arange(width) - middle[:, None]
        inside = np.clip(4.5 - np.abs(off), 0, 1)
        shaft = np.where(off < 0, 200.0, 90.0 if like_floor else 30.0)
        head = (np.abs(rows - BALL_PX[1]) < 22) & (np.abs(off) < 25)
        drawn = np.where(head, 20.0, floor * (1 - inside) + shaft * inside)
        drawn += 2.0 * generator.standard_normal(drawn.shape)
        pictures.append(np.clip(drawn, 0, 255).astype(np.uint8))
    return pictures


FINE_S = np.linspace(-0.5, 2.5, 3001)
TIME_S = np.arange(0, 1.9, 1 / RATE_HZ)


def _followed(pictures: list[LumaFrame]) -> PixelTrack:
    keeper = RowKeeper(BALL_PX[None, :], RADIUS_PX)
    for index, picture in enumerate(pictures):
        keeper.take(Frame(index, float(TIME_S[index]), picture))
    track = follow_shaft(
        keeper.kept(), ball_px=BALL_PX, radius_px=RADIUS_PX, struck_s=float(TIME_S[150]), toward=1.0
    )
    assert track is not None
    return track


def _error_px(track: PixelTrack) -> FloatArray:
    assert track.seen.all()
    error: FloatArray = track.centre_px[:, 0] - (_columns(TIME_S) - 300.0 + BALL_PX[0] - 30)
    return error


def test_a_drawn_shaft_is_placed_to_a_tenth_of_a_pixel_at_the_row_of_the_ball(
    generator: np.random.Generator,
) -> None:
    error = _error_px(_followed(_drawn(TIME_S, generator)))
    assert float(np.std(error)) < 0.1
    assert abs(float(np.mean(error))) < 0.3


def test_a_shaft_half_of_which_is_as_bright_as_the_floor_is_placed_steadily(
    generator: np.random.Generator,
) -> None:
    """By its silhouette alone its middle would jump by a quarter of its width before the brighter floor."""
    error = _error_px(_followed(_drawn(TIME_S, generator, like_floor=True)))
    assert float(np.std(error)) < 0.35


def test_rows_exposed_one_after_the_other_do_not_shift_the_place_at_the_balls_row(
    generator: np.random.Generator,
) -> None:
    error = _error_px(_followed(_drawn(TIME_S, generator, row_s=1.5e-5)))
    moving = np.abs(np.gradient(_columns(TIME_S), TIME_S)) > 300
    # Upward of the ball the shaft lags by up to 200 rows of 15 us: at 500 px/s, 1.5 px.
    assert float(np.abs(error[moving]).max()) < 0.4


def test_a_picture_in_which_nothing_moves_has_no_shaft(generator: np.random.Generator) -> None:
    still = _drawn(np.zeros(1), generator)[0]
    keeper = RowKeeper(BALL_PX[None, :], RADIUS_PX)
    for index in range(60):
        noisy = np.clip(still + 2.0 * generator.standard_normal(still.shape), 0, 255).astype(np.uint8)
        keeper.take(Frame(index, index / RATE_HZ, noisy))
    kept = keeper.kept()
    assert follow_shaft(kept, ball_px=BALL_PX, radius_px=RADIUS_PX, struck_s=None, toward=0.0) is None


def _pose(slant_rad: float, generator_sd: float = 0.0) -> Pose:
    """Return a camera 1.3 m from the ball that looks down at it, its slant unsure."""
    focal, distance = 1500.0, 1.3
    s, c = np.sin(slant_rad), np.cos(slant_rad)
    rotation = np.array([[1.0, 0.0, 0.0], [0.0, -s, -c], [0.0, c, -s]])
    ball = np.array([0.0, 0.0, BALL_RADIUS_M])
    translation = np.array([0.0, 0.0, distance]) - rotation @ ball
    vector, _ = cv2.Rodrigues(rotation)
    parameters = np.concatenate([[np.log(focal)], vector.ravel(), translation, [0.0]])
    matrix = np.array([[focal, 0, 959.5], [0, focal, 539.5], [0, 0, 1]])
    camera = Camera(matrix=matrix, distortion=np.zeros(5), rotation=rotation, translation=translation)
    covariance = 1e-8 * np.eye(8)
    if generator_sd > 0:
        step = 1e-3
        other = _pose(slant_rad + step)
        slope = (other.parameters - parameters) / step
        covariance = covariance + generator_sd**2 * np.outer(slope, slope)
    return Pose(
        camera=camera,
        focal_source="assumed",
        focal_px=Estimate(focal, 1.0),
        reprojection_rms_px=float("nan"),
        parameters=parameters,
        covariance=covariance,
        picture_size=(1920, 1080),
        pixel_aspect=1.0,
    )


def _line(camera: Camera, x_m: FloatArray, *, radius_m: float, across_m: float) -> PixelTrack:
    """Return the line of a shaft that swings about a hub, and the rows by which its foot rises."""
    tilt = np.arcsin(x_m / radius_m)
    foot = np.column_stack([x_m, np.full(len(x_m), across_m), BALL_RADIUS_M + radius_m * (1 - np.cos(tilt))])
    along = np.column_stack(
        [
            -np.sin(tilt) * np.sin(LIE.value),
            np.full(len(x_m), np.cos(LIE.value)),
            np.cos(tilt) * np.sin(LIE.value),
        ]
    )
    low, high = camera.project(foot), camera.project(foot + 0.2 * along)
    slope = (high[:, 0] - low[:, 0]) / (high[:, 1] - low[:, 1])
    row = 539.5
    count = len(x_m)
    return PixelTrack(
        time_s=np.arange(count) / 240.0,
        seen=np.ones(count, dtype=np.bool_),
        centre_px=np.column_stack([low[:, 0] + slope * (row - low[:, 1]), np.full(count, row)]),
        covariance_px2=np.tile(0.01 * np.eye(2), (count, 1, 1)),
        jacobian=np.full((count, 2, 2), np.nan),
        stretch_covariance=np.full((count, 4, 4), np.nan),
        exposure_s=float("nan"),
        slope=slope,
        rise_px=low[0, 1] - low[:, 1],
    )


ALONG_M = np.concatenate([np.zeros(20), np.linspace(0, -0.25, 40), np.linspace(-0.25, 0.28, 60)])
ORIGIN, X_AXIS = np.zeros(3), np.array([1.0, 0.0, 0.0])


def test_place_and_tilt_of_a_club_about_a_hub_come_out_of_its_line() -> None:
    pose = _pose(np.radians(44.0))
    line = _line(pose.camera, ALONG_M, radius_m=1.3, across_m=0.012)
    swing = fit_swing(line, pose, ORIGIN, X_AXIS)
    head = head_by_shaft(line, swing)
    x = pose.camera.rays(head.pixel.centre_px)
    place = swing.camera.centre[0] + x[:, 0] * (0.012 - swing.camera.centre[1]) / x[:, 1]
    assert np.abs(place - ALONG_M).max() < 5e-4
    assert np.degrees(np.abs(head.tilt_rad - np.arcsin(ALONG_M / 1.3)).max()) < 0.3
    assert swing.turn_per_m.value == pytest.approx(1 / 1.3, rel=0.03)


def test_the_rows_by_which_the_head_rises_tell_the_slant_of_the_camera() -> None:
    """Of a camera that looks down steeply; near 40 degrees slant and radius make the same rise, too."""
    truth, believed = _pose(np.radians(56.0)), _pose(np.radians(42.0), generator_sd=np.radians(12.0))
    line = _line(truth.camera, ALONG_M, radius_m=1.1, across_m=0.012)
    with_rise = fit_swing(line, believed, ORIGIN, X_AXIS)
    without = fit_swing(replace(line, rise_px=None), believed, ORIGIN, X_AXIS)
    true_range = np.ptp(np.arcsin(ALONG_M / 1.1))

    def off(swing: Swing) -> float:
        return float(abs(np.ptp(head_by_shaft(line, swing).tilt_rad) / true_range - 1))

    assert off(with_rise) < off(without)
    assert with_rise.turn_per_m.sd < without.turn_per_m.sd
    assert abs(with_rise.turn_per_m.value - 1 / 1.1) < 2 * with_rise.turn_per_m.sd


def test_of_a_clip_too_long_every_picture_keeps_every_other_row(
    generator: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    pictures = generator.integers(0, 255, (100, 360, 31), dtype=np.uint8)
    monkeypatch.setattr(rows, "MOST_BYTES", 60 * 70 * 31)
    keeper = RowKeeper(BALL_PX[None, :], RADIUS_PX)
    for index, picture in enumerate(pictures):
        keeper.take(Frame(index, index / RATE_HZ, picture))
    kept = keeper.kept()
    assert len(kept.time_s) == len(kept.luma) == 100
    assert np.ptp(np.diff(kept.row_px)) == 0
    assert np.array_equal(kept.luma, pictures[:, kept.row_px.astype(int)])
