"""The balls of a clip on the floor: which was struck, which way it went, where it was in each frame."""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.stroke.tracks import BallTrack
from pennyfall.kinematics.values import Estimate, FloatArray
from pennyfall.tracker.ball.followed import TURNING_SD_M, FollowedBall
from pennyfall.tracker.ball.outline import on_floor
from pennyfall.tracker.place.cameras import FrameCameras

PATH_TURN_SD_RAD = 0.017
"""Chosen by us: the head's path at impact agrees with the ball's start to about a degree."""

FREE_TURN_SD_RAD = 0.035
"""Chosen by us: without a ball, how well the sheet is laid along the path."""

LARGEST_TURN_RAD = 0.10
"""Chosen by us: a ball that starts more than 6 degrees off the sheet's axis was mishit."""

DOUBTFUL_CONFIDENCE, DOUBTFUL_SPEED_REL_SD = (0.45, 0.55), 0.02
"""Chosen by us: a ball whose outline is this doubtful may be a printed line that turns with it. Of 20 clips
rendered by path tracing those with a confidence of 0.55 and more had speeds right to 0.7 %; one of 0.46,
bright on bright tiles with a line by its rim, was 3.9 % off."""

BALL_DIRECTION_S = 0.15
"""Chosen by us: over this time after the start the ball runs straight on any green."""


def ball_on_floor(ball: FollowedBall, cameras: FrameCameras) -> FloatArray:
    """Return the ball's centre in each frame it was located, shape (m, 3) [m]."""
    if not len(ball.frame):
        return np.empty((0, 3))
    way = on_floor(cameras.rest, ball.centre_px)
    for row, index in enumerate(ball.frame.tolist()):
        if index in cameras.moved:
            way[row] = on_floor(cameras.moved[index], ball.centre_px[row : row + 1])[0]
    return way


def struck_ball(
    balls: tuple[FollowedBall, ...], ways: list[FloatArray]
) -> tuple[FloatArray, FloatArray, FollowedBall] | None:
    """Return rest place, way and ball of the first ball that left, else of the first that lay there."""
    for wanted in (True, False):
        for ball, way in zip(balls, ways, strict=True):
            resting = ball.at_rest
            if ball.departed == wanted and resting.any():
                return np.median(way[resting], axis=0), way, ball
    return None


def path_turn(rest_ball: tuple[FloatArray, FloatArray, FollowedBall] | None, forward: float) -> Estimate:
    """Return what the ball tells of the turn of the head's path against the target line [rad]."""
    if rest_ball is not None and rest_ball[2].departed:
        rest, way, ball = rest_ball
        moving = ~ball.at_rest
        early = (
            moving & (ball.time_s <= ball.time_s[moving][0] + BALL_DIRECTION_S) if moving.any() else moving
        )
        if early.sum() >= 2:
            along = forward * (way[early, 0] - rest[0])
            across = forward * (way[early, 1] - rest[1])
            turn = float(np.arctan2(along @ across, along @ along))
            if abs(turn) < LARGEST_TURN_RAD:
                return Estimate(turn, PATH_TURN_SD_RAD)
    return Estimate(0.0, FREE_TURN_SD_RAD)


def ball_track(ball: FollowedBall, way: FloatArray, forward: float, origin: FloatArray) -> BallTrack:
    """Return the ball's way along and across the target line, from its place at rest."""
    rest = np.median(way[ball.at_rest], axis=0) if ball.at_rest.any() else way[0]
    return BallTrack(
        time_s=ball.time_s,
        x_m=forward * (way[:, 0] - rest[0]),
        y_m=forward * (way[:, 1] - rest[1]),
        sd_x_m=ball.sd_x_m,
        at_rest=ball.at_rest,
        rest_m=(forward * float(rest[0] - origin[0]), forward * float(rest[1] - origin[1])),
        speed_rel_sd=float(np.interp(ball.confidence, DOUBTFUL_CONFIDENCE, (DOUBTFUL_SPEED_REL_SD, 0.0))),
        turning_sd_m=TURNING_SD_M,
    )


def ball_by_frame(
    count: int, balls: tuple[FollowedBall, ...], ways: list[FloatArray], origin_x: float, forward: float
) -> FloatArray:
    """Return the ball's place in every frame, shape (count,) [m]; NaN where not seen."""
    place = np.full(count, np.nan)
    for ball, way in zip(balls, ways, strict=True):
        place[ball.frame] = forward * (way[:, 0] - origin_x)
    return place
