"""Watching for balls: at rest, on their way, and the next one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import BALL_RADIUS_M, FloatArray
from pennyfall.tracker.ball.finding import find_resting_ball, head_on_floor
from pennyfall.tracker.ball.followed import FollowedBall, followed_ball
from pennyfall.tracker.ball.locating import Picture
from pennyfall.tracker.ball.motion import BallInMotion
from pennyfall.tracker.ball.rest import BallAtRest
from pennyfall.tracker.clip.frame import LumaFrame

LOOK_EVERY_S = 0.25
"""How often a new ball is looked for: chosen by us, often enough for any re-address."""
LOOK_SELDOM_S = 1.0
"""Where a still head has no ball beside it, looks grow rarer up to this, until the head moves again."""
_STILL_HEAD_MPS = 0.06
"""Head speed below which a ball is looked for: chosen by us, a waggle is faster, breathing slower. Looser
than `finding.MOVING_MPS`, for two rough places 30 ms apart tell it; a look in vain costs little."""
_HEAD_EVERY_S = 0.03
"""How often the head is placed on the floor to judge its speed."""
_LIES_EVERY_S = 0.02
"""How often a resting ball beside a head that stands is looked at: the head must move to strike it, and from
then on every frame is looked at. Looking at every frame cost 0.2 of the 0.5 ms that a resting frame took."""
_STANDS_PX = 0.3
"""A head that is this near to where it was at the last look stands."""
_FAR_FROM_HEAD_M = 0.12
"""A resting ball farther from the head than this may be another one than the ball addressed."""
_NUDGE_M = 0.10
"""A ball that stops within this distance was nudged or replaced and lies at a new place."""


class BallWatcher:
    """Fed every frame, finds the ball at the head, watches it lie and follows it away.

    This object and the two it hands the ball to remember the past frames; everything else is a function of
    its arguments.

    Parameters
    ----------
    line_known : bool
        Whether the camera's world has its x axis along the target line; a ball is sought all round otherwise.

    """

    def __init__(self, *, line_known: bool = True) -> None:
        self._line_known = line_known
        self._finished: list[FollowedBall] = []
        self._rest: BallAtRest | None = None
        self._motion: BallInMotion | None = None
        self._looked_s = -np.inf
        self._look_gap_s = LOOK_EVERY_S
        self._head: tuple[float, FloatArray, FloatArray] | None = None
        self._head_speed = 0.0
        self._seen_beside: tuple[float, FloatArray] | None = None

    def update(
        self, frame: int, time_s: float, luma: LumaFrame, head_px: FloatArray | None, camera: Camera
    ) -> None:
        """Take the next frame.

        Parameters
        ----------
        frame : int
            Its index in the clip.
        time_s : float
            Its mid-exposure time [s]; increasing.
        luma : LumaFrame
            Its luma plane, shape (height, width); may be read-only, is not kept.
        head_px : FloatArray or None
            The head's tag (or dot, or patch) in it, shape (2,) [px]; None where not seen.
        camera : Camera
            The camera of this frame.

        """
        if self._head is None or head_px is None or time_s - self._head[0] >= _HEAD_EVERY_S:
            self._note_head_speed(time_s, head_px, camera)
        picture = Picture(frame=frame, time_s=time_s, luma=luma, camera=camera)
        if self._rest is None:
            self._look(picture, head_px)
        elif self._motion is None:
            if not self._may_wait(time_s, head_px):
                self._watch(picture, self._rest, head_px)
        else:
            self._follow(picture, self._rest, self._motion, head_px)

    def balls(self) -> tuple[FollowedBall, ...]:
        """Return every ball up to now, in the order in which they lay."""
        current = self._gathered()
        return tuple(self._finished) + (() if current is None else (current,))

    def _note_head_speed(self, time_s: float, head_px: FloatArray | None, camera: Camera) -> None:
        last, self._head = self._head, None
        if head_px is None:
            return
        stood = last is not None and bool(np.hypot(*(head_px - last[1])) < _STANDS_PX)
        place_px, head_m = last[1:] if last and stood else (head_px, head_on_floor(camera, head_px))
        if head_m is None:
            return
        if last is not None and time_s > last[0]:
            speed = float(np.hypot(*(head_m - last[2])[:2])) / (time_s - last[0])
            self._head_speed += 0.3 * (speed - self._head_speed)  # a tag's scatter reads as speed
        self._head = (time_s, place_px, head_m)

    def _may_wait(self, time_s: float, head_px: FloatArray | None) -> bool:
        """Return whether a resting ball needs no look: the head stands where it stood moments ago."""
        if head_px is not None and self._seen_beside is not None:
            seen_s, seen_px = self._seen_beside
            if time_s - seen_s < _LIES_EVERY_S and np.hypot(*(head_px - seen_px)) < _STANDS_PX:
                return True
        self._seen_beside = None if head_px is None else (time_s, head_px)
        return False

    def _look(self, picture: Picture, head_px: FloatArray | None) -> None:
        """Look for a ball at the head once in a while."""
        if self._head_speed > _STILL_HEAD_MPS:
            self._look_gap_s = LOOK_EVERY_S
            return
        if head_px is None or picture.time_s - self._looked_s < self._look_gap_s:
            return
        self._looked_s = picture.time_s
        self._look_gap_s = min(2.0 * self._look_gap_s, LOOK_SELDOM_S)
        found = find_resting_ball(picture.luma, picture.camera, head_px)
        if found is not None:
            self._look_gap_s = LOOK_EVERY_S
            self.lay(BallAtRest(picture, found))

    @property
    def resting(self) -> BallAtRest | None:
        """The ball that lies; None where it is on its way or there is none."""
        return self._rest if self._motion is None else None

    @property
    def moving(self) -> BallInMotion | None:
        """The ball on its way; None where it lies or there is none."""
        return self._motion

    def lay(self, rest: BallAtRest | None) -> None:
        """Begin to watch a ball, or none."""
        self._rest, self._motion = rest, None

    def _watch(self, picture: Picture, rest: BallAtRest, head_px: FloatArray | None) -> None:
        """See whether the ball still lies."""
        if rest.lies(picture):
            if rest.measured_in(picture):
                self._reconsider(picture, rest, head_px)
            return
        self._motion = BallInMotion(rest, picture, head_px, line_known=self._line_known)
        self._follow(picture, rest, self._motion, head_px)

    def _reconsider(self, picture: Picture, rest: BallAtRest, head_px: FloatArray | None) -> None:
        """Change to a nearer ball where the head is addressed to another one."""
        head_m = None if head_px is None else head_on_floor(picture.camera, head_px)
        if head_px is None or head_m is None or self._head_speed > _STILL_HEAD_MPS:
            return
        distance = float(np.hypot(*(rest.place_m - head_m)[:2]))
        if distance < _FAR_FROM_HEAD_M:
            return
        other = find_resting_ball(picture.luma, picture.camera, head_px)
        if other is not None and np.hypot(*(other.centre_m - head_m)[:2]) < distance - 2.0 * BALL_RADIUS_M:
            self._finish()
            self.lay(BallAtRest(picture, other))

    def _follow(
        self, picture: Picture, rest: BallAtRest, motion: BallInMotion, head_px: FloatArray | None
    ) -> None:
        """Locate the ball once it no longer lies in its place."""
        if motion.out_of(picture):
            self._finish()
            return
        seen = motion.locate(picture, head_px)
        if seen is None:
            if motion.lost_in(picture):
                self._finish()
        elif not motion.sightings and not rest.left_by(seen):
            self._motion = None  # hidden for a while, but it lies where it lay
            rest.seen_again(picture)
        else:
            motion.take(picture, seen, head_px)
            if motion.carried and motion.head_px is not None:
                self._look_again(picture, motion.head_px)
            elif motion.stopped:
                self._stop(picture, rest, motion)

    def _look_again(self, picture: Picture, address_px: FloatArray) -> None:
        """Leave what proved a part of the head, and look where that was addressed, now that it is away."""
        found = find_resting_ball(picture.luma, picture.camera, address_px)
        self.lay(None if found is None else BallAtRest(picture, found))

    def _stop(self, picture: Picture, rest: BallAtRest, motion: BallInMotion) -> None:
        """End a ball's way where it stopped; a nudged ball goes on resting at its new place."""
        last = motion.sightings[-1]
        if float(np.hypot(*(last.centre_m - rest.place_m)[:2])) > _NUDGE_M:
            self._finish()
            return
        found = replace(rest.found, centre_m=last.centre_m, fit=last.fit)
        self.lay(BallAtRest(picture, found, rest.looks))

    def _finish(self) -> None:
        """Store the ball and look for the next."""
        ball = self._gathered()
        if ball is not None:
            self._finished.append(ball)
        self.lay(None)

    def _gathered(self) -> FollowedBall | None:
        """Put together what is known of the present ball."""
        rest, motion = self._rest, self._motion
        if rest is None:
            return None
        left = motion is not None and motion.under_way
        first = motion.sightings[0].frame if motion is not None and left else None
        still = rest.sightings(before_frame=first)
        moving = motion.relocated(rest.lit_looks(still)) if motion is not None and left and still else []
        return followed_ball(rest, still, moving, motion.exposure_s if motion else 0.0) if still else None
