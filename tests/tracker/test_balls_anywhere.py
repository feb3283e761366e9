"""Finding balls in a whole picture, with no camera, no head and no place known."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.calibration.camera import Camera
from pennyfall.demo_clips.clips import DemoClip, shipped_clips
from pennyfall.demo_clips.truth import load_truth
from pennyfall.tracker.ball.anywhere import SeenBall, find_balls, lens_alone, outline_seen
from pennyfall.tracker.ball.outline import Outline, ball_outline
from pennyfall.tracker.clip.decoding import Decoding
from pennyfall.tracker.clip.reading import read_clip
from tests.tracker.ball_scene import RADIUS_M, Scene, camera_at
from tests.tracker.test_ball_finding import BALL_M, addressed

SCENES = {
    "far and low": Scene(camera=camera_at(1.9, 25.0, around_deg=15.0), carpet=60.0, ambient=0.6),
    "from straight above": Scene(camera=camera_at(1.5, 89.0, roll_deg=4.0), noise=5.0, ambient=0.6),
    "near": Scene(camera=camera_at(0.6, 60.0), carpet=50.0, ambient=0.7, light=(-0.4, 0.2, 0.9)),
    "compressed": Scene(
        camera=camera_at(1.0, 40.0), ball=130.0, carpet=40.0, ambient=0.7, jpeg_quality=60, carpet_texture=6.0
    ),
    "dark on light": Scene(camera=camera_at(1.1, 50.0), ball=90.0, carpet=190.0, carpet_texture=8.0),
    "dim": Scene(
        camera=camera_at(1.3, 30.0),
        carpet=25.0,
        carpet_texture=5.0,
        ball=80.0,
        head=30.0,
        ambient=0.6,
        noise=4.0,
    ),
    "a third hidden by the head": Scene(camera=camera_at(1.1, 35.0, around_deg=62.0), ambient=0.6),
}


def at(balls: tuple[SeenBall, ...], outline: Outline) -> SeenBall | None:
    """Return the ball found where one lies."""
    near = [each for each in balls if np.hypot(*(each.centre_px - outline.centre_px)) < 0.3 * each.radius_px]
    return near[0] if near else None


@pytest.mark.parametrize("name", SCENES)
def test_a_ball_is_found_in_the_whole_picture_and_has_its_size(name: str) -> None:
    """Allow what the shaded limb takes, 4 % at 16 px under a light from above."""
    scene = SCENES[name]
    outline = ball_outline(scene.camera, BALL_M)
    ball = at(find_balls(scene.frame(BALL_M, addressed(0.004))), outline)
    assert ball is not None
    assert ball.radius_px == pytest.approx(outline.radius_px, rel=0.04)


@pytest.mark.parametrize("clip", shipped_clips(), ids=lambda clip: clip.name)
def test_of_a_whole_picture_with_sheet_and_tag_the_ball_is_the_surest(clip: DemoClip) -> None:
    camera = load_truth(clip.truth)["camera"]
    truth = Camera(
        matrix=np.array(camera["K"]),
        distortion=np.array(camera["distortion_opencv_k1k2p1p2k3"]),
        rotation=np.array(camera["R_world_to_cam"]),
        translation=np.array(camera["t_world_to_cam"]),
    )
    outline = ball_outline(truth, np.array([0.0, 0.0, RADIUS_M]))
    frame = next(iter(Decoding(read_clip(clip.path)).frames()))
    balls = find_balls(frame.luma)
    assert at(balls[:1], outline) is not None
    assert balls[0].radius_px == pytest.approx(outline.radius_px, rel=0.03)


def test_a_floor_without_a_ball_has_none_that_is_sure() -> None:
    for scene in SCENES.values():
        assert all(ball.confidence < 0.45 for ball in find_balls(scene.frame(None, addressed(0.004))))


def test_the_outline_of_a_ball_follows_from_its_place_in_the_picture() -> None:
    """A camera on a stand and the same lens at the origin draw one outline, an ellipse off the middle."""
    camera = camera_at(1.0, 40.0, wide_deg=2 * np.degrees(np.arctan(0.5 / 0.82)))
    true = ball_outline(camera, np.array([0.35, -0.2, RADIUS_M]))
    again = outline_seen(lens_alone((1280, 720)), true.centre_px, true.radius_px)
    extents = np.ptp(true.points_px, axis=0)
    assert not np.isclose(extents[0], extents[1], rtol=0.02)
    np.testing.assert_allclose(np.ptp(again.points_px, axis=0), extents, rtol=0.002)
