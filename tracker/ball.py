"""Watching for balls: at rest, on their way, and the next one."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.tracks import BallTrack
from pennyfall.kinematics.values import FloatArray, freeze_arrays
from pennyfall.tracker.ball_edges import NEAR_SHARE, LumaFrame, smear_length
from pennyfall.tracker.ball_finding import RestingBall, find_resting_ball, head_on_floor
from pennyfall.tracker.ball_following import (
    FASTEST_MPS,
    Looks,
    Picture,
    Sighting,
    in_picture,
    level_at,
    locate,
    locate_ahead,
    without_floor,
)
from pennyfall.tracker.ball_guard import RestGuard
from pennyfall.tracker.ball_outline import BALL_RADIUS_M, ball_outline

LOOK_EVERY_S = 0.25
"""How often a new ball is looked for, and a resting one measured: chosen by us, often enough for any
re-address."""
LOOK_SELDOM_S = 1.0
"""Where a still head has no ball beside it, looks grow rarer up to this, until the head moves again."""
KEEP_BEFORE_S = 0.35
"""How much of the rest before departure is measured frame by frame: the impact finder asks for 0.3 s."""
_STILL_HEAD_MPS = 0.06
"""Head speed below which a ball is looked for: chosen by us, a waggle is faster, breathing slower."""
_HEAD_EVERY_S = 0.03
"""How often the head is placed on the floor to judge its speed."""
_FAR_FROM_HEAD_M = 0.12
"""A resting ball farther from the head than this may be another one than the ball addressed."""
_MOVED_M, _MOVED_SDS = 0.0006, 4.0
"""Least shift, and least shift in standard deviations, that is a movement."""
_UNDER_WAY_M = 0.4 * BALL_RADIUS_M
"""Distance after which, with three sightings, a ball is on its way and no longer merely nudged."""
_SMEARED_M = 0.3 * BALL_RADIUS_M
"""Smear from which the floor is taken out of the picture. Chosen by us: sharper edges are found better as
they are, since the ball's own moving shadow stays."""
_CLEAR_M = 3.5 * BALL_RADIUS_M
"""Distance from which neither the ball's old place nor its old shadow lies behind it."""
_LOST_S, _LOST_FRAMES = 0.15, 3
"""A moving ball unseen for both of these is lost; until then the frames are gaps."""
_TAKEN_S = 1.0
"""A resting ball unseen for this long was taken away."""
_STOPPED_MPS, _STOPPED_S = 0.03, 0.12
"""A ball slower than this for this long has stopped."""
_NUDGE_M = 0.10
"""A ball that stops within this distance was nudged or replaced and lies at a new place."""
_SPEED_CHANGE, _SPEED_SLACK_MPS = 0.35, 0.15
"""Between two frames a rolling ball keeps its speed to this share (an exposure across the impact
included)."""
_LEAST_REST_S = 0.05
"""A ball seen at rest for less than this is not reported."""
_SMEAR_FRAMES = 12
"""Moving frames from which the exposure is learned: chosen by us, the median of these settles it."""
_LEAST_TO_RELOCATE = 5
"""Sightings that fix a parabola with some left over."""
_AGAIN_M = NEAR_SHARE * BALL_RADIUS_M
"""Reach where a ball's place is known from the frames around."""
_LAST_AT_REST, _EARLIER_AT_REST = 12, 24
"""Frames of the rest measured: all of the last, and as many of those before: chosen by us, the mean of more
sheds nothing that one camera's bias leaves."""
_ASTRAY_M = 0.002
"""An early sighting farther from the path than this, and not found again, was something else."""
_PIECE_RADII = 2.6
"""Half-width of the pieces of early frames kept for that, in ball radii."""
_RIM_M = 0.00025
"""What the turning mark and the shading of the rim add to a moving ball's position. Measured on rendered
clips with known truth: 0.2 to 0.35 mm rms, in the rhythm of the ball's turns; at rest it is constant and
drops out."""
_LEAST_STEP_PX = 6.0
"""Motion between frames below which the exposure is not judged from the smear."""
_LEAST_IN_PICTURE = 0.5
"""Share of the ball's width that must be inside the picture."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FollowedBall:
    """One ball from its rest to where it was last seen, in pixels and in metres."""

    track: BallTrack
    """The ball's way in metres, from its rest position, along the axes of the camera's world."""
    frame: NDArray[np.intp]
    """Index in the clip of each frame in which it was located, shape (m,); as long as the track."""
    centre_px: FloatArray
    """Image of the ball's centre in each of them, shape (m, 2) [px]."""
    radius_px: FloatArray
    """Mean radius of its outline in each of them, shape (m,) [px]."""
    rest_m: FloatArray
    """Centre at rest in the camera's world, shape (3,) [m]."""
    rest_px: FloatArray
    """Image of that centre, shape (2,) [px]."""
    rest_sd_px: float
    """Standard deviation of `rest_px` [px]."""
    rest_radius_px: float
    """Mean radius of the outline at rest [px]."""
    size_ratio: float
    """Size in the picture over the size the camera predicts: a check of the calibration's scale."""
    confidence: float
    """How sure it is that this is a ball, 0..1."""
    departed: bool
    """Whether it was seen to leave."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


@dataclass(slots=True)
class _Rest:
    """The ball being watched while it lies."""

    found: RestingBall
    looks: Looks
    guard: RestGuard
    camera: Camera
    floor: LumaFrame
    measured_s: float
    sightings: list[Sighting] = field(default_factory=list)
    recent: deque[Picture] = field(default_factory=deque)


class BallWatcher:
    """Fed every frame, finds the ball at the head, watches it lie and follows it away.

    The only thing that remembers is this object: what it knows of the past frames. Everything it calls is a
    function of its arguments.
    """

    def __init__(self) -> None:
        self._finished: list[FollowedBall] = []
        self._rest: _Rest | None = None
        self._moving: list[Sighting] = []
        self._left_s: float | None = None
        self._smear_shares: list[float] = []
        self._early: list[Picture] = []
        self._looked_s = -np.inf
        self._look_gap_s = LOOK_EVERY_S
        self._head: tuple[float, FloatArray] | None = None
        self._head_speed = 0.0

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
            self._note_head_speed(time_s, None if head_px is None else head_on_floor(camera, head_px))
        picture = Picture(frame=frame, time_s=time_s, luma=luma, camera=camera)
        if self._rest is None:
            self._look(picture, head_px)
        elif self._left_s is None:
            self._watch(picture, head_px)
        else:
            self._follow(picture, head_px)

    def balls(self) -> tuple[FollowedBall, ...]:
        """Return every ball up to now, in the order in which they lay."""
        current = self._gathered()
        return tuple(self._finished) + (() if current is None else (current,))

    def tracks(self) -> tuple[BallTrack, ...]:
        """Return every ball's track up to now."""
        return tuple(ball.track for ball in self.balls())

    def _note_head_speed(self, time_s: float, head_m: FloatArray | None) -> None:
        if head_m is None:
            self._head = None
            return
        if self._head is not None and time_s > self._head[0]:
            speed = float(np.hypot(*(head_m - self._head[1])[:2])) / (time_s - self._head[0])
            self._head_speed += 0.3 * (speed - self._head_speed)  # a tag's scatter reads as speed
        self._head = (time_s, head_m)

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
            self._lay(picture, found)

    def _lay(self, picture: Picture, found: RestingBall, looks: Looks | None = None) -> None:
        """Begin to watch a ball where it was found, or where it came to lie with the looks it had."""
        fit = found.fit
        if looks is None:
            looks = Looks(scale=fit.scale, level=level_at(picture, fit.centre_px, fit.outline.radius_px))
        self._rest = _Rest(
            found=found,
            looks=looks,
            guard=RestGuard(picture.luma, fit.outline),
            camera=picture.camera,
            floor=picture.luma.copy(),
            measured_s=-np.inf,
        )
        self._moving, self._early, self._left_s, self._smear_shares = [], [], None, []

    def _watch(self, picture: Picture, head_px: FloatArray | None) -> None:
        """See whether the ball still lies."""
        rest = self._rest
        assert rest is not None
        outline = rest.found.fit.outline
        if picture.camera is not rest.camera:
            centre = picture.camera.project(rest.found.centre_m[None, :])[0]
            outline = outline.moved(centre - outline.centre_px)
            rest.guard.shift(picture.luma, outline)
        rest.recent.append(picture.piece(outline.centre_px, 1.6 * outline.radius_px + 8.0))
        while picture.time_s - rest.recent[0].time_s > KEEP_BEFORE_S:
            rest.recent.popleft()
        disturbed = rest.guard.disturbed(picture.luma)
        if not disturbed and picture.time_s - rest.measured_s < LOOK_EVERY_S:
            return
        seen = locate(picture, rest.found.centre_m, rest.looks)
        if seen is not None and not _moved(seen, rest.found.centre_m):
            if picture.time_s - rest.measured_s >= LOOK_EVERY_S:
                rest.measured_s = picture.time_s
                rest.sightings.append(seen)
                self._reconsider(picture, head_px)
            if seen.fit.support > 0.9 * rest.found.fit.support:
                rest.guard.renew(picture.luma)
            return
        rest.recent.pop()
        self._left_s = picture.time_s
        self._follow(picture, head_px)

    def _reconsider(self, picture: Picture, head_px: FloatArray | None) -> None:
        """Change to a nearer ball where the head is addressed to another one."""
        rest = self._rest
        assert rest is not None
        head_m = None if head_px is None else head_on_floor(picture.camera, head_px)
        if head_px is None or head_m is None or self._head_speed > _STILL_HEAD_MPS:
            return
        distance = float(np.hypot(*(rest.found.centre_m - head_m)[:2]))
        if distance < _FAR_FROM_HEAD_M:
            return
        other = find_resting_ball(picture.luma, picture.camera, head_px)
        if other is not None and np.hypot(*(other.centre_m - head_m)[:2]) < distance - 2.0 * BALL_RADIUS_M:
            self._finish()
            self._lay(picture, other)

    def _follow(self, picture: Picture, head_px: FloatArray | None) -> None:
        """Locate the ball once it no longer lies in its place."""
        rest = self._rest
        assert rest is not None
        assert self._left_s is not None
        moving = self._moving
        if len(moving) >= 2:
            centre = picture.camera.project(self._expected(picture.time_s)[None, :])[0]
            if in_picture(picture.luma, centre, moving[-1].fit.outline.radius_px) < _LEAST_IN_PICTURE:
                self._finish()
                return
        seen = self._start(picture, head_px) if len(moving) < 2 else self._go_on(picture)
        if seen is not None and not moving and not _moved(seen, rest.found.centre_m):
            self._left_s = None  # hidden for a while, but it lies where it lay
            rest.recent.append(
                picture.piece(rest.found.fit.centre_px, 1.6 * rest.found.fit.outline.radius_px + 8.0)
            )
            return
        if seen is not None:
            moving.append(seen)
            if len(moving) <= _SMEAR_FRAMES:
                self._early.append(
                    self._bare_if_smeared(picture).piece(
                        seen.fit.centre_px, _PIECE_RADII * seen.fit.outline.radius_px
                    )
                )
            self._note_smear(picture)
            self._maybe_stopped(picture)
            return
        unseen_s = picture.time_s - (moving[-1].time_s if moving else self._left_s)
        if len(moving) < 3:
            if unseen_s > _TAKEN_S or (moving and unseen_s > _LOST_S):
                self._finish()
        elif unseen_s > _LOST_S and picture.frame - moving[-1].frame > _LOST_FRAMES:
            self._finish()

    def _start(self, picture: Picture, head_px: FloatArray | None) -> Sighting | None:
        """Locate a ball that has just left: near where it was, or ahead of the head."""
        rest = self._rest
        assert rest is not None
        assert self._left_s is not None
        head_m = None if head_px is None else head_on_floor(picture.camera, head_px)
        last = self._moving[-1].centre_m if self._moving else rest.found.centre_m
        near = locate(picture, last, rest.looks)
        if near is not None and not (self._moving and self._behind_head(near, head_m)):
            return near
        before_s = self._moving[-1].time_s if self._moving else self._left_s - self._frame_interval(picture)
        reach = FASTEST_MPS * max(picture.time_s - before_s, 0.0)
        side = 0.0 if head_m is None else float(rest.found.centre_m[0] - head_m[0])
        ways = (1, -1) if abs(side) < BALL_RADIUS_M else (int(np.sign(side)),)
        ahead = locate_ahead(
            picture,
            last,
            rest.looks,
            ways=ways,
            least_m=0.0,
            most_m=min(reach, 0.5),
            smear_share=float(np.median(self._smear_shares)) if self._smear_shares else 0.25,
        )
        return None if ahead is None or self._behind_head(ahead, head_m) else ahead

    def _behind_head(self, seen: Sighting, head_m: FloatArray | None) -> bool:
        """Whether a sighting is where the head is, and not ahead of it."""
        return head_m is not None and float(np.hypot(*(seen.centre_m - head_m)[:2])) < 1.2 * BALL_RADIUS_M

    def _frame_interval(self, picture: Picture) -> float:
        rest = self._rest
        assert rest is not None
        if rest.recent:
            return picture.time_s - rest.recent[-1].time_s
        return 1.0 / 30.0

    def _velocity(self) -> FloatArray:
        """Return the velocity from the last few sightings, shape (3,) [m/s]."""
        last = self._moving[-4:]
        t = np.array([each.time_s for each in last])
        x = np.array([each.centre_m for each in last])
        t -= t.mean()
        return np.asarray(t @ (x - x.mean(axis=0)) / (t @ t), dtype=np.float64)

    def _expected(self, time_s: float) -> FloatArray:
        last = self._moving[-1]
        place = last.centre_m + self._velocity() * (time_s - last.time_s)
        place[2] = BALL_RADIUS_M
        return place

    def _smear(self, interval_s: float) -> FloatArray:
        share = float(np.median(self._smear_shares)) if self._smear_shares else 0.25
        return self._velocity() * share * interval_s

    def _go_on(self, picture: Picture) -> Sighting | None:
        """Locate a ball where its motion leads."""
        rest = self._rest
        assert rest is not None
        moving = self._moving
        last, before = moving[-1], moving[-2]
        elapsed = picture.time_s - last.time_s
        velocity = self._velocity()
        interval = (last.time_s - before.time_s) / max(last.frame - before.frame, 1)
        place = self._expected(picture.time_s)
        smear = self._smear(interval)
        bare = self._with_floor(picture)
        smeared = float(np.hypot(smear[0], smear[1])) > _SMEARED_M
        usual = bare if smeared else picture
        seen = locate(usual, place, rest.looks, reach_m=_AGAIN_M, smear_m=smear)
        if seen is None:
            seen = locate(usual, place, rest.looks, smear_m=smear)
        if seen is None and not smeared:
            seen = locate(bare, place, rest.looks, smear_m=smear)
        if seen is None or not _steady(seen, last, velocity):
            speed = float(np.hypot(*velocity[:2]))
            slack = (_SPEED_CHANGE * speed + _SPEED_SLACK_MPS) * elapsed
            way = 1 if velocity[0] >= 0 else -1
            seen = locate_ahead(
                bare,
                last.centre_m,
                rest.looks,
                ways=(way,),
                least_m=speed * elapsed - slack,
                most_m=speed * elapsed + slack,
                smear_share=interval / elapsed * float(np.median(self._smear_shares or [0.25])),
            )
        return seen if seen is not None and _steady(seen, last, velocity) else None

    def _with_floor(self, picture: Picture) -> Picture:
        """Add the floor as it was when the ball lay, once the ball is clear of its old place."""
        rest = self._rest
        assert rest is not None
        way = self._expected(picture.time_s) - rest.found.centre_m
        clear = float(np.hypot(way[0], way[1])) > _CLEAR_M
        same = picture.camera is rest.camera and picture.luma.shape == rest.floor.shape
        return replace(picture, floor=rest.floor) if clear and same else picture

    def _bare_if_smeared(self, picture: Picture) -> Picture:
        if len(self._moving) < 2:
            return picture
        last, before = self._moving[-1], self._moving[-2]
        smear = self._smear((last.time_s - before.time_s) / max(last.frame - before.frame, 1))
        return self._with_floor(picture) if float(np.hypot(smear[0], smear[1])) > _SMEARED_M else picture

    def _note_smear(self, picture: Picture) -> None:
        """Learn the exposure from the first moving frames: the smear that explains the edges best."""
        rest = self._rest
        assert rest is not None
        if not 2 <= len(self._moving) <= _SMEAR_FRAMES:
            return
        last, before = self._moving[-1], self._moving[-2]
        interval = (last.time_s - before.time_s) / max(last.frame - before.frame, 1)
        path = self._velocity() * interval
        ends = picture.camera.project(np.vstack([last.centre_m, last.centre_m + path]))
        step_px = ends[1] - ends[0]
        length_px = float(np.hypot(*step_px))
        if length_px < _LEAST_STEP_PX:
            return
        outline = last.fit.outline
        luma, origin = without_floor(
            self._with_floor(picture), last.fit.centre_px, outline.radius_px, rest.looks
        )
        smear_px = smear_length(luma, outline.moved(-origin), step_px / length_px)
        if np.isfinite(smear_px):
            self._smear_shares.append(min(smear_px / length_px, 1.0))

    def _maybe_stopped(self, picture: Picture) -> None:
        """End a ball's way where it stopped; a nudged ball goes on resting at its new place."""
        rest = self._rest
        assert rest is not None
        lately = [each for each in self._moving if picture.time_s - each.time_s <= _STOPPED_S]
        if picture.time_s - self._moving[0].time_s < _STOPPED_S or len(lately) < 3:
            return
        travel = float(np.hypot(*(lately[-1].centre_m - lately[0].centre_m)[:2]))
        if travel > max(_STOPPED_MPS * (lately[-1].time_s - lately[0].time_s), _MOVED_M):
            return
        way = float(np.hypot(*(lately[-1].centre_m - rest.found.centre_m)[:2]))
        last = self._moving[-1]
        if way > _NUDGE_M:
            self._finish()
            return
        found = RestingBall(centre_m=last.centre_m, fit=last.fit, confidence=rest.found.confidence)
        self._lay(picture, found, rest.looks)

    def _finish(self) -> None:
        """Store the ball and look for the next."""
        ball = self._gathered()
        if ball is not None:
            self._finished.append(ball)
        self._rest, self._moving, self._early, self._left_s, self._smear_shares = None, [], [], None, []

    def _gathered(self) -> FollowedBall | None:
        """Put together what is known of the present ball."""
        rest = self._rest
        if rest is None:
            return None
        moving = self._moving if self._under_way() else []
        known = {each.frame: each for each in rest.sightings}
        for piece in _thinned(rest.recent):
            if piece.frame not in known and (not moving or piece.frame < moving[0].frame):
                seen = locate(piece, rest.found.centre_m, rest.looks, reach_m=_AGAIN_M)
                if seen is not None:
                    known[piece.frame] = seen
        still = [known[frame] for frame in sorted(known)]
        if not still or still[-1].time_s - still[0].time_s < _LEAST_REST_S:
            return None
        return _followed(rest, still, self._relocated(rest, moving), self._exposure_s())

    def _relocated(self, rest: _Rest, moving: list[Sighting]) -> list[Sighting]:
        """Locate the ball in its first frames again, now that exposure and speed are known."""
        exposure_s = self._exposure_s()
        count = min(len(self._early), len(moving))
        if count < _LEAST_TO_RELOCATE or exposure_s == 0.0:
            return list(moving)
        t = np.array([each.time_s for each in moving[1:count]])  # the first may lie across the impact
        x = np.array([each.centre_m for each in moving[1:count]])
        again = []
        for seen, piece in zip(moving[:count], self._early, strict=False):
            place, velocity = _along_parabola(t, x, seen.time_s)
            smear = velocity * exposure_s
            better = locate(piece, place, rest.looks, reach_m=_AGAIN_M, smear_m=smear)
            if better is not None:
                again.append(better)
                continue
            off = float(np.hypot(*(seen.centre_m - place)[:2]))
            across_impact = 0.25 * float(np.hypot(smear[0], smear[1])) if seen is moving[0] else 0.0
            if off < max(_ASTRAY_M, _MOVED_SDS * float(seen.sd_m[0])) + across_impact:
                again.append(seen)
        return again + moving[count:]

    def _under_way(self) -> bool:
        rest = self._rest
        assert rest is not None
        if len(self._moving) < 2:
            return False
        way = np.hypot(*(self._moving[-1].centre_m - rest.found.centre_m)[:2])
        return bool(way > _UNDER_WAY_M)

    def _exposure_s(self) -> float:
        if len(self._moving) < 2 or not self._smear_shares:
            return 0.0
        interval = (self._moving[-1].time_s - self._moving[0].time_s) / max(
            self._moving[-1].frame - self._moving[0].frame, 1
        )
        return float(np.median(self._smear_shares)) * interval


def _thinned(recent: Sequence[Picture]) -> list[Picture]:
    """Return all of the last pictures of the rest and an even choice of those before."""
    earlier, last = list(recent)[:-_LAST_AT_REST], list(recent)[-_LAST_AT_REST:]
    pitch = max(-(-len(earlier) // _EARLIER_AT_REST), 1)
    return earlier[::pitch] + last


def _along_parabola(t: FloatArray, x: FloatArray, at_s: float) -> tuple[FloatArray, FloatArray]:
    """Return floor place and velocity at an instant from a parabola, shapes (3,) each."""
    middle = float(t.mean())
    curve = np.polynomial.polynomial.polyfit(t - middle, x, 2)
    since = at_s - middle
    place = curve[0] + curve[1] * since + curve[2] * since**2
    place[2] = BALL_RADIUS_M
    return place, np.asarray(curve[1] + 2.0 * curve[2] * since, dtype=np.float64)


def _moved(seen: Sighting, from_m: FloatArray) -> bool:
    shift = np.abs(seen.centre_m - from_m)[:2]
    return bool((shift > np.maximum(_MOVED_M, _MOVED_SDS * seen.sd_m)).any())


def _steady(seen: Sighting, last: Sighting, velocity: FloatArray) -> bool:
    """Whether a sighting continues the motion."""
    measured = (seen.centre_m - last.centre_m) / (seen.time_s - last.time_s)
    change = float(np.hypot(*(measured - velocity)[:2]))
    return change <= _SPEED_CHANGE * float(np.hypot(*velocity[:2])) + _SPEED_SLACK_MPS


def _followed(rest: _Rest, still: list[Sighting], moving: list[Sighting], exposure_s: float) -> FollowedBall:
    """Make the track from sightings, relative to the mean place at rest."""
    lately = [each for each in still if each.time_s >= still[-1].time_s - KEEP_BEFORE_S]
    weight = np.array([1.0 / float(each.sd_m @ each.sd_m) for each in lately])
    places = np.array([each.centre_m for each in lately])
    # A frame exposed across the impact lies between: the median keeps it out of the rest position.
    rest_m = np.median(places, axis=0) if len(lately) > 2 else weight @ places / weight.sum()
    everything = still + moving
    centre_m = np.array([each.centre_m for each in everything])
    sd_x_m = np.array([each.sd_m[0] for each in everything])
    time_s = np.array([each.time_s for each in everything])
    x_m, y_m = centre_m[:, 0] - rest_m[0], centre_m[:, 1] - rest_m[1]
    at_rest = np.arange(len(everything)) < len(still)
    if moving:
        speed = abs(moving[1].centre_m[0] - moving[0].centre_m[0]) / (moving[1].time_s - moving[0].time_s)
        way = np.sign(moving[-1].centre_m[0] - rest_m[0])
        sd_x_m[~at_rest] = np.hypot(sd_x_m[~at_rest], _RIM_M)
        # Exposed partly before the impact, the smear's middle is not the place at mid-exposure: the mean of a
        # ramp that begins inside the exposure is off by up to an eighth of the smear.
        straddling = (
            (way * x_m > 0)
            & (way * x_m < 0.5 * speed * exposure_s)
            & (time_s > still[-1].time_s - KEEP_BEFORE_S)
        )
        first = int(np.argmax(~at_rest))
        straddling &= np.abs(np.arange(len(everything)) - first) <= 1
        sd_x_m[straddling] = np.hypot(sd_x_m[straddling], speed * exposure_s / 16.0)
    return FollowedBall(
        track=BallTrack(time_s=time_s, x_m=x_m, y_m=y_m, sd_x_m=sd_x_m, at_rest=at_rest),
        frame=np.array([each.frame for each in everything], dtype=np.intp),
        centre_px=np.array([each.fit.centre_px for each in everything]),
        radius_px=np.array([each.fit.outline.radius_px for each in everything]),
        rest_m=rest_m,
        rest_px=rest.camera.project(rest_m[None, :])[0],
        rest_sd_px=float(np.median([each.fit.sd_px for each in lately])),
        rest_radius_px=ball_outline(rest.camera, rest_m).radius_px * rest.looks.scale,
        size_ratio=rest.looks.scale,
        confidence=rest.found.confidence,
        departed=bool(moving),
    )
