"""Balls of a clip with nothing printed: found, told from each other, followed, and a camera from them."""

from __future__ import annotations

import math
from collections.abc import Callable

import cv2
import numpy as np
import pytest

from pennyfall.calibration.camera import Camera
from pennyfall.demo_clips.clips import DemoClip, shipped_clips
from pennyfall.demo_clips.truth import load_truth
from pennyfall.kinematics.values import BALL_RADIUS_M
from pennyfall.tracker.ball.bare import BareBalls
from pennyfall.tracker.clip.decoding import Decoding
from pennyfall.tracker.clip.frame import LumaFrame
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


SIZE = (640, 360)
RATE_HZ = 120.0
LEAVES_S = 0.4
REST_PX = np.array([250.0, 200.0])
SPEED_PX_S = 600.0
RADIUS_PX = 14.0


def drawn(balls: list[tuple[float, float]], seed: int) -> LumaFrame:
    """Return a picture of bright balls, shaded to their limb, on a floor of fixed grain under fresh noise."""
    floor = 70.0 + 6.0 * np.random.default_rng(1).normal(size=SIZE[::-1])
    fine, luma = 4, floor
    reach = math.ceil(RADIUS_PX) + 1
    steps = (np.arange(2 * reach * fine) + 0.5) / fine - 0.5
    seen = [(u, v) for u, v in balls if -reach < u < SIZE[0] + reach and -reach < v < SIZE[1] + reach]
    for u, v in seen:
        left, top = round(u) - reach, round(v) - reach
        away = ((steps + left - u) ** 2 + (steps[:, None] + top - v) ** 2) / RADIUS_PX**2
        bright = (away < 1) * (150.0 + 60.0 * np.sqrt(np.maximum(1 - away, 0)))
        cover, shade = (
            cv2.resize(each, (2 * reach, 2 * reach), interpolation=cv2.INTER_AREA)
            for each in ((away < 1).astype(np.float64), bright)
        )
        edge = 2 * reach
        padded = np.pad(luma, edge)
        place = padded[top + edge : top + 2 * edge, left + edge : left + 2 * edge]
        place[:] = place * (1 - cover) + shade
        luma = padded[edge:-edge, edge:-edge]
    noisy = cv2.GaussianBlur(luma, (0, 0), 0.7) + np.random.default_rng(seed).normal(
        scale=1.5, size=luma.shape
    )
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)


def watched(ways: list[Callable[[float], tuple[float, float]]], until_s: float) -> BareBalls:
    """Return what is known after some balls went their ways."""
    balls = BareBalls()
    for index in range(round(until_s * RATE_HZ)):
        time_s = index / RATE_HZ
        balls.update(index, time_s, drawn([way(time_s) for way in ways], index + 2))
    return balls


def struck_way(time_s: float) -> tuple[float, float]:
    """Return the place of a ball that leaves at once at its full speed."""
    return float(REST_PX[0] + SPEED_PX_S * max(time_s - LEAVES_S, 0.0)), float(REST_PX[1])


def swung_way(time_s: float) -> tuple[float, float]:
    """Return the place of a round part of the head: it leaves slowly, gets faster, and comes to its top."""
    swing = 0.5 * (1 - np.cos(2 * np.pi * max(time_s - 0.1, 0.0) / 0.6))
    return float(180.0 - 90.0 * swing), 150.0


def still_way(time_s: float) -> tuple[float, float]:
    """Return the place of a ball that only lies there."""
    return 420.0, 280.0


def test_of_balls_and_a_part_of_the_head_the_one_that_leaves_at_full_speed_was_struck() -> None:
    balls = watched([still_way, swung_way, struck_way], 0.7)
    found = balls.balls()
    assert len(found) == 1
    np.testing.assert_allclose(np.median(found[0].centre_px[found[0].at_rest], axis=0), REST_PX, atol=0.5)
    assert found[0].time_s[~found[0].at_rest][0] == pytest.approx(LEAVES_S, abs=1.5 / RATE_HZ)
    pose = balls.pose()
    assert pose is not None
    way = pose.camera.meet_level(np.array([REST_PX, REST_PX + np.array([100.0, 0.0])]), BALL_RADIUS_M)
    per_px = float(way[1, 0] - way[0, 0]) / 100.0
    assert per_px == pytest.approx(BALL_RADIUS_M / RADIUS_PX, rel=0.04)


def test_a_ball_beside_is_not_taken_for_the_struck_one_that_the_head_hides() -> None:
    """It stirs in the frame across the impact and is unseen in the next, where the other could be it."""

    def hidden_way(time_s: float) -> tuple[float, float]:
        frames = round((time_s - 0.2) * RATE_HZ)
        if frames == 2:
            return -100.0, -100.0
        return float(REST_PX[0] + (12.0 * frames - 10.0 if frames > 0 else 0.0)), float(REST_PX[1])

    def beside(time_s: float) -> tuple[float, float]:
        del time_s
        return float(REST_PX[0] - 31.0), float(REST_PX[1])

    struck = watched([hidden_way, beside], 0.35).struck()
    assert struck is not None
    assert struck.centre_px[-1, 0] > REST_PX[0] + 100.0


def test_where_nothing_is_struck_the_surest_ball_at_rest_poses_the_camera() -> None:
    balls = watched([still_way], 0.3)
    assert balls.struck() is None
    assert [ball.departed for ball in balls.balls()] == [False]
    pose = balls.pose(toward=-1)
    assert pose is not None
    assert pose.camera.project(np.array([[0.0, 0.0, BALL_RADIUS_M]]))[0] == pytest.approx(
        [420.0, 280.0], abs=0.5
    )
    assert pose.camera.rotation[0, 0] < 0


def test_a_clip_without_a_ball_has_none() -> None:
    balls = watched([], 0.1)
    assert balls.balls() == ()
    assert balls.pose() is None
    assert balls.candidates == ()
