"""Balls of a clip with nothing printed: found, told from each other, followed, and a camera from them."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.calibration.camera import Camera
from pennyfall.demo_clips.clips import DemoClip, shipped_clips
from pennyfall.demo_clips.truth import load_truth
from pennyfall.kinematics.values import BALL_RADIUS_M
from pennyfall.tracker.ball.bare import BareBalls
from pennyfall.tracker.clip.decoding import Decoding
from pennyfall.tracker.clip.reading import read_clip

SINGLE = [clip for clip in shipped_clips() if "three" not in clip.name]


@pytest.mark.clip
@pytest.mark.parametrize("clip", SINGLE, ids=lambda clip: clip.name)
def test_the_struck_ball_of_a_shipped_clip_is_followed_and_poses_the_camera(clip: DemoClip) -> None:
    """No sheet, tag or head is told; the ball's first half second and a scale to 3 % are asked for."""
    truth = load_truth(clip.truth)
    balls = BareBalls()
    first = None
    for frame in Decoding(read_clip(clip.path)).frames():
        balls.update(frame.index, frame.time_s, frame.luma)
        first = first or balls.candidates
    assert first
    struck, pose = balls.struck(), balls.pose()
    assert struck is not None
    assert pose is not None
    assert np.hypot(*(first[0].centre_px - struck.centre_px[0])) < 2.0
    impact_s = truth["events_container_clock"]["impact_s"]
    moving = ~struck.at_rest
    assert abs(struck.time_s[moving][0] - impact_s) < 2.0 / truth["frame_rate_hz"]
    assert struck.time_s[-1] > impact_s + 0.25
    camera = Camera(
        matrix=np.array(truth["camera"]["K"]),
        distortion=np.array(truth["camera"]["distortion_opencv_k1k2p1p2k3"]),
        rotation=np.array(truth["camera"]["R_world_to_cam"]),
        translation=np.array(truth["camera"]["t_world_to_cam"]),
    )
    pixels = camera.project(np.array([[-0.01, 0.0, BALL_RADIUS_M], [0.01, 0.0, BALL_RADIUS_M]]))
    met = pose.camera.meet_level(pixels, BALL_RADIUS_M)
    assert np.hypot(*(met[1] - met[0])[:2]) == pytest.approx(0.02, rel=0.03)
    assert met[1, 0] > met[0, 0]
