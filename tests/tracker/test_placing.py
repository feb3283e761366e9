"""A head on a known arc, seen by a known camera, comes out where it was along the target line."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from pennyfall.calibration.attitude import projection_gradient, tag_axes
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.pose import solve_pose
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Estimate, FloatArray
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.follow.sheet import SheetSight
from pennyfall.tracker.place.placing import place_tracks
from tests.calibration.scenes import camera_over_floor, sheet_points

HUB_M = 1.25
HEIGHT_M = 0.030


def _stroke(forward: float = 1.0) -> tuple[FloatArray, FloatArray]:
    """Return times and places along the arrow: at rest, 0.6 s back by 24 cm, 0.5 s forward by 45 cm."""
    time = np.arange(0, 2.2, 1 / 120)
    back = np.clip((time - 0.5) / 0.6, 0, 1)
    on = np.clip((time - 1.1) / 0.5, 0, 1)
    ease = [share**3 * (10 - 15 * share + 6 * share**2) for share in (back, on)]  # minimum jerk
    return time, forward * (-0.24 * ease[0] + 0.45 * ease[1])


def _followed(
    camera: Camera, time: FloatArray, x: FloatArray, *, quarters: int = 0
) -> tuple[Followed, FloatArray]:
    """Return a head on an arc; its tag is stuck on turned by so many quarters of a turn."""
    points = np.column_stack([x, np.full_like(x, 0.2), HEIGHT_M + HUB_M - np.sqrt(HUB_M**2 - x**2)])
    c, s = round(np.cos(quarters * np.pi / 2)), round(np.sin(quarters * np.pi / 2))
    axes = tag_axes(np.zeros_like(x), np.arcsin(x / HUB_M), np.zeros_like(x)) @ np.array([[c, -s], [s, c]])
    count = len(x)
    track = PixelTrack(
        time_s=time,
        seen=np.ones(count, dtype=np.bool_),
        centre_px=camera.project(points),
        covariance_px2=np.tile(1e-3 * np.eye(2), (count, 1, 1)),
        jacobian=projection_gradient(camera, points) @ axes,
        stretch_covariance=np.tile(1e-5 * np.eye(4), (count, 1, 1)),
        exposure_s=float("nan"),
    )
    sheet = sheet_points()
    pose = solve_pose(sheet, camera.project(sheet), np.full(len(sheet), 0.03), picture_size=(1280, 720))
    followed = Followed(
        head=track,
        pose=pose,
        sheet=None,
        moved={},
        sheet_lost=(),
        balls=(),
        head_ever_seen=True,
        sheet_tags_seen=4,
    )
    return followed, points


@pytest.mark.parametrize("place", [(0.05, -0.7, 0.8), (-0.4, -0.9, 0.5), (0.0, 1.2, 0.9)])
def test_a_head_that_rises_along_its_arc_does_not_read_as_moving_along_the_line(
    place: tuple[float, float, float],
) -> None:
    time, x = _stroke()
    followed, points = _followed(camera_over_floor(place=place), time, x)
    placed = place_tracks(followed, stated_height=Estimate(HEIGHT_M, 0.001))
    assert placed.direction == "with the arrow"
    assert placed.head.x_m == pytest.approx(points[:, 0], abs=4e-4)
    assert placed.head.tilt_rad == pytest.approx(np.arcsin(x / HUB_M), abs=4e-3)


def test_the_tilts_stated_deviation_is_that_of_the_tags_stretch(generator: np.random.Generator) -> None:
    time, x = _stroke()
    followed, _ = _followed(camera_over_floor(), time, x)
    sd = 0.02
    stretched = followed.head.jacobian @ (np.eye(2) + sd * generator.standard_normal((len(x), 2, 2)))
    covariance = np.tile(sd**2 * np.eye(4), (len(x), 1, 1))
    head = replace(followed.head, jacobian=stretched, stretch_covariance=covariance)
    placed = place_tracks(replace(followed, head=head), stated_height=Estimate(HEIGHT_M, 0.001)).head
    score = (placed.tilt_rad - np.arcsin(x / HUB_M)) / placed.sd_tilt_rad
    assert 0.7 < np.std(score) < 1.1  # 0.84: what is known beforehand of the attitude takes its share


def test_a_sheet_laid_backwards_turns_the_line_and_not_the_sign() -> None:
    time, x = _stroke(forward=-1.0)
    followed, _ = _followed(camera_over_floor(), time, x)
    placed = place_tracks(followed, stated_height=Estimate(HEIGHT_M, 0.001))
    assert placed.direction == "against the arrow"
    assert placed.head.x_m - placed.head.x_m[0] == pytest.approx(-x, abs=4e-4)


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_a_tag_stuck_on_the_wrong_way_round_is_read_as_if_it_lay_right(quarters: int) -> None:
    time, x = _stroke()
    followed, points = _followed(camera_over_floor(), time, x, quarters=quarters)
    placed = place_tracks(followed, stated_height=Estimate(HEIGHT_M, 0.001))
    assert placed.tag_quarters_off == min(quarters, 4 - quarters)
    assert placed.head.x_m == pytest.approx(points[:, 0], abs=4e-4)
    assert placed.head.tilt_rad == pytest.approx(np.arcsin(x / HUB_M), abs=4e-3)


def test_a_phone_that_was_moved_during_address_places_the_head_by_each_frames_own_camera() -> None:
    """Turned by 8 mrad for all but the first frames of the address, as a hand on the phone does: 8 px."""
    time, x = _stroke()
    camera = camera_over_floor()
    followed, points = _followed(camera, time, x)
    turn, _ = cv2.Rodrigues(np.array([0.006, 0.005, 0.0]))
    turned = replace(camera, rotation=turn @ camera.rotation, translation=turn @ camera.translation)
    late = np.arange(len(time)) >= 10
    pixels = np.where(late[:, None], turned.project(points), followed.head.centre_px)
    jacobian = followed.head.jacobian.copy()
    axes = tag_axes(np.zeros_like(x), np.arcsin(x / HUB_M), np.zeros_like(x))
    jacobian[late] = (projection_gradient(turned, points) @ axes)[late]
    sheet = sheet_points()
    sight = SheetSight(
        points_m=sheet,
        pixels=turned.project(sheet),
        sd_px=np.full(len(sheet), 0.03),
        homographies={},
        blur_px=0.7,
    )
    moved = dict.fromkeys(np.flatnonzero(late).tolist(), sight)
    head = replace(followed.head, centre_px=pixels, jacobian=jacobian)
    placed = place_tracks(replace(followed, head=head, moved=moved), stated_height=Estimate(HEIGHT_M, 0.001))
    assert placed.tag.point_m[1] == pytest.approx(points[0, 1], abs=5e-4)  # 6 mm off by the wrong camera
    assert placed.head.shaken_sd_x_m == 0.0  # knocked once, then still
    assert placed.head.x_m == pytest.approx(points[:, 0], abs=5e-4)


def test_a_phone_in_the_hand_adds_a_slow_error_to_every_place() -> None:
    time, x = _stroke()
    followed, _ = _followed(camera_over_floor(), time, x)
    sheet = sheet_points()
    still = camera_over_floor().project(sheet)
    moved = {}
    for index in range(len(time)):
        tremor_px = 4.0 * np.sin(2 * np.pi * 6.0 * time[index])
        moved[index] = SheetSight(
            points_m=sheet,
            pixels=still + tremor_px,
            sd_px=np.full(len(sheet), 0.03),
            homographies={},
            blur_px=0.7,
        )
    placed = place_tracks(replace(followed, moved=moved), stated_height=Estimate(HEIGHT_M, 0.001))
    assert 2e-5 < placed.head.shaken_sd_x_m < 1e-4  # 0.05 px of about a millimetre


def test_without_a_stated_height_the_scale_is_less_sure_and_covers_its_error() -> None:
    time, x = _stroke()
    followed, _ = _followed(camera_over_floor(), time, x)
    stated = place_tracks(followed, stated_height=Estimate(HEIGHT_M, 0.001))
    alone = place_tracks(followed, stated_height=None)
    scale = np.ptp(alone.head.x_m) / np.ptp(x)
    assert alone.scale_rel_sd > stated.scale_rel_sd
    assert abs(scale - 1) < 2 * alone.scale_rel_sd


def test_the_scale_is_surest_where_the_ball_lies() -> None:
    """A doubtful curve of the path touches the line at address, and shows at the far end of the backswing."""
    time, x = _stroke()
    followed, _ = _followed(camera_over_floor(), time, x)
    scale = place_tracks(followed, stated_height=Estimate(HEIGHT_M, 0.0005)).scale
    assert 0 < scale.relative_sd(-0.03, 0.0) < 0.6 * scale.relative_sd(float(x.min()), 0.0)


def test_a_gap_stays_a_gap() -> None:
    time, x = _stroke()
    followed, _ = _followed(camera_over_floor(), time, x)
    seen = followed.head.seen.copy()
    seen[100:104] = False
    centre = followed.head.centre_px.copy()
    centre[100:104] = np.nan
    head = PixelTrack(
        time_s=time,
        seen=seen,
        centre_px=centre,
        covariance_px2=followed.head.covariance_px2,
        jacobian=followed.head.jacobian,
        stretch_covariance=followed.head.stretch_covariance,
        exposure_s=float("nan"),
    )
    gapped = Followed(
        head=head,
        pose=followed.pose,
        sheet=None,
        moved={},
        sheet_lost=(),
        balls=(),
        head_ever_seen=True,
        sheet_tags_seen=4,
    )
    placed = place_tracks(gapped, stated_height=Estimate(HEIGHT_M, 0.001))
    assert np.all(np.isnan(placed.head.x_m[100:104]))
    assert np.isfinite(placed.head.x_m[[99, 104]]).all()


def test_a_head_seen_twice_is_refused_with_advice() -> None:
    time, x = _stroke()
    followed, _ = _followed(camera_over_floor(), time[:2], x[:2])
    with pytest.raises(CannotMeasure) as refusal:
        place_tracks(followed, stated_height=Estimate(HEIGHT_M, 0.001))
    assert "too few frames" in refusal.value.message
    assert "brighter light" in refusal.value.fix
