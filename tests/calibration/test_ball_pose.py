"""One ball tells how far a camera is from it, its roll the target line, and how unsure both are."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.calibration.ball_pose import (
    BALL_SIZE,
    OUTLINE_READS_PX,
    REST_SIZE_SD,
    ROLL_SD_RAD,
    SLANT,
    WAY_OFFSET,
    WAY_SIZE_SD,
    BallSight,
    focal_from_35mm,
    pose_from_ball,
)
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.pose import Pose
from pennyfall.calibration.silhouette import silhouette
from pennyfall.demo_clips.scene import aim_camera
from pennyfall.kinematics.values import BALL_RADIUS_M, FloatArray

SIZE = (1920, 1080)
USUAL_FOCAL_PX = 0.82 * 1920
WAY_M = np.linspace(0.05, 0.45, 9)
HEAD_HEIGHT_M = 0.03


def camera_looking(
    *,
    slant_deg: float = 42.0,
    line_deg: float = 0.0,
    distance_m: float = 1.2,
    focal_px: float = USUAL_FOCAL_PX,
    roll_rad: float = 0.0,
    look_x_m: float = 0.05,
    k1: float = 0.0,
) -> Camera:
    """Return a camera that looks down at the ball, the target line turned against its own horizontal."""
    slant, line = np.radians([slant_deg, line_deg])
    away = distance_m * np.array(
        [-np.sin(line) * np.cos(slant), -np.cos(line) * np.cos(slant), np.sin(slant)]
    )
    return aim_camera(
        position_m=(float(away[0]), float(away[1]), float(away[2])),
        look_at_m=(look_x_m, 0.0, 0.0),
        focal_px=focal_px,
        size=SIZE,
        roll_rad=roll_rad,
        distortion=(k1, 0.0, 0.0, 0.0, 0.0),
    )


def seen(
    camera: Camera, along_m: FloatArray, larger: float = BALL_SIZE.value
) -> tuple[FloatArray, FloatArray]:
    """Return centres and mean radii of balls along the line, shapes (n, 2) and (n,) [px]."""
    places = np.column_stack([along_m, 0 * along_m, np.full(len(along_m), BALL_RADIUS_M)])
    centres, points = silhouette(camera, places, BALL_RADIUS_M * (1 + larger))
    return centres, np.hypot(*np.moveaxis(points - centres[:, None, :], -1, 0)).mean(axis=1)


def sight_of(camera: Camera, *, way: bool = True) -> BallSight:
    """Return what an errorless tracker reads of a ball of the usual size."""
    centres, radii = seen(camera, np.concatenate([[0.0], WAY_M]))
    radii = radii + OUTLINE_READS_PX.value
    radii[1:] *= 1 + WAY_OFFSET.value
    if not way:
        return BallSight(centre_px=centres[0], radius_px=radii[0])
    return BallSight(centre_px=centres[0], radius_px=radii[0], way_px=centres[1:], way_radii_px=radii[1:])


def lengths(camera: Camera, pixels: FloatArray) -> FloatArray:
    """Return the way of the head and that of the ball between pixels, along x, shape (2,) [m]."""
    head = camera.meet_level(pixels[:2], HEAD_HEIGHT_M)[:, 0]
    ball = camera.meet_level(pixels[2:], BALL_RADIUS_M)[:, 0]
    return np.array([head[1] - head[0], ball[1] - ball[0]])


def spread(pose: Pose, pixels: FloatArray) -> FloatArray:
    """Return the standard deviations of `lengths` by the pose's covariance."""
    best = lengths(pose.camera, pixels)
    shifts = np.array([lengths(one, pixels) - best for one in pose.perturbed()])
    return np.asarray(np.sqrt(np.sum(shifts**2, axis=0)))


STROKE = np.array(
    [
        [-0.25, 0.0, HEAD_HEIGHT_M],
        [-0.05, 0.0, HEAD_HEIGHT_M],
        [0.0, 0.0, BALL_RADIUS_M],
        [0.2, 0.0, BALL_RADIUS_M],
    ]
)


@pytest.mark.parametrize("line_deg", [0.0, 14.0, -20.0, 180.0])
def test_a_rolling_ball_and_the_usual_focal_length_give_the_camera_back(line_deg: float) -> None:
    camera = camera_looking(line_deg=line_deg)
    pose = pose_from_ball(sight_of(camera), picture_size=SIZE)
    assert pose.camera.centre == pytest.approx(camera.centre, abs=0.015)
    assert lengths(pose.camera, camera.project(STROKE)) == pytest.approx([0.2, 0.2], rel=0.004)
    assert pose.focal_source == "assumed"


def test_a_resting_ball_gives_the_scale_and_takes_the_line_along_the_picture() -> None:
    camera = camera_looking()
    pixels = camera.project(STROKE)
    for toward in (1, -1):
        pose = pose_from_ball(sight_of(camera, way=False), picture_size=SIZE, toward=toward)
        assert lengths(pose.camera, pixels) == pytest.approx([toward * 0.2, toward * 0.2], rel=0.004)
    turned = camera_looking(line_deg=20.0)
    pose = pose_from_ball(sight_of(turned, way=False), picture_size=SIZE)
    pixels = turned.project(STROKE)
    wrong = np.abs(lengths(pose.camera, pixels) - 0.2)
    assert (wrong < 2.0 * spread(pose, pixels)).all()


def test_a_camera_of_the_players_side_is_posed_as_well() -> None:
    """The ball rolls to the left of the picture, and the line runs from the camera's right to its left."""
    camera = camera_looking(line_deg=172.0)
    centres, _ = seen(camera, np.array([0.0, 0.3]))
    assert centres[1, 0] < centres[0, 0]
    pose = pose_from_ball(sight_of(camera), picture_size=SIZE)
    assert pose.camera.centre[1] > 0
    assert lengths(pose.camera, camera.project(STROKE)) == pytest.approx([0.2, 0.2], rel=0.004)


def test_the_slant_hardly_matters_along_the_line_and_is_not_believed_known() -> None:
    camera = camera_looking(slant_deg=58.0)
    pixels = camera.project(STROKE)
    pose = pose_from_ball(sight_of(camera), picture_size=SIZE)
    assert lengths(pose.camera, pixels) == pytest.approx([0.2, 0.2], rel=0.02)
    heights = [one.centre[2] - pose.camera.centre[2] for one in pose.perturbed()]
    assert np.linalg.norm(heights) > 0.1


def test_the_files_focal_length_narrows_what_the_lens_leaves_open() -> None:
    """27 mm by the diagonal of 36 x 24 mm are 1375 px of 2203, and steadying makes them a little more."""
    stated = focal_from_35mm(27.0, SIZE)
    assert stated.value == pytest.approx(1.05 * 27.0 / 43.27 * 2202.9, rel=1e-3)
    sight = sight_of(camera_looking(focal_px=stated.value))
    known = pose_from_ball(sight, picture_size=SIZE, stated_focal=stated)
    usual = pose_from_ball(sight, picture_size=SIZE)
    assert known.focal_px.sd < 0.5 * usual.focal_px.sd


def test_a_lens_file_outdoes_what_the_file_states() -> None:
    lens = Lens(
        matrix=np.array([[1500.0, 0, 959.5], [0, 1500.0, 539.5], [0, 0, 1]]),
        distortion=np.zeros(5),
        width_px=1920,
        height_px=1080,
        rms_px=0.1,
        focal_sd_px=2.0,
    )
    camera = camera_looking(focal_px=1500.0)
    pose = pose_from_ball(
        sight_of(camera), picture_size=SIZE, lens=lens, stated_focal=focal_from_35mm(40.0, SIZE)
    )
    assert pose.focal_source == "lens-file"
    assert pose.camera.centre == pytest.approx(camera.centre, abs=0.015)


def test_the_stated_covariance_covers_what_is_drawn_from_the_priors(generator: np.random.Generator) -> None:
    """Lengths of head and ball lie within 95 % intervals in 9 of 10 cases or more, and they are not wide."""
    inside, sds = [], []
    for _ in range(40):
        camera = camera_looking(
            slant_deg=float(np.degrees(np.clip(generator.normal(SLANT.value, SLANT.sd), 0.25, 1.3))),
            line_deg=float(generator.normal(0, 10.0)),
            distance_m=float(generator.uniform(0.9, 1.7)),
            focal_px=USUAL_FOCAL_PX * float(np.exp(generator.normal(0, 0.2))),
            roll_rad=float(generator.normal(0, ROLL_SD_RAD)),
            k1=float(generator.normal(0, 0.03)),
        )
        centres, radii = seen(
            camera, np.concatenate([[0.0], WAY_M]), float(generator.normal(BALL_SIZE.value, BALL_SIZE.sd))
        )
        radii += generator.normal(OUTLINE_READS_PX.value, OUTLINE_READS_PX.sd)
        radii[1:] *= 1 + generator.normal(WAY_OFFSET.value, WAY_OFFSET.sd)
        radii[1:] *= 1 + generator.normal(0, WAY_SIZE_SD, len(WAY_M))
        sight = BallSight(
            centre_px=centres[0] + generator.normal(0, 0.15, 2),
            radius_px=float(radii[0] * (1 + generator.normal(0, REST_SIZE_SD))),
            way_px=centres[1:] + generator.normal(0, 0.4, (len(WAY_M), 2)),
            way_radii_px=radii[1:],
        )
        pose = pose_from_ball(sight, picture_size=SIZE)
        pixels = camera.project(STROKE)
        sd = spread(pose, pixels)
        inside.append(np.abs(lengths(pose.camera, pixels) - 0.2) < 1.96 * sd)
        sds.append(sd / 0.2)
    assert np.mean(inside, axis=0).min() >= 0.9
    assert np.median(sds, axis=0).max() < 0.03
