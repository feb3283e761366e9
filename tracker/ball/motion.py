"""A ball on its way: located where it starts, where its motion leads, and again when that is known."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import median

import numpy as np

from pennyfall.kinematics.values import BALL_RADIUS_M, FloatArray
from pennyfall.tracker.ball.edges import smear_length
from pennyfall.tracker.ball.finding import head_on_floor
from pennyfall.tracker.ball.locating import (
    FASTEST_MPS,
    Heading,
    Looks,
    Picture,
    Sighting,
    in_picture,
    locate,
    locate_ahead,
    without_floor,
)
from pennyfall.tracker.ball.rest import AGAIN_M, BallAtRest
from pennyfall.tracker.clip.frame import USUAL_EXPOSURE_SHARE

_UNDER_WAY_M = 0.4 * BALL_RADIUS_M
"""Distance after which, with two sightings, a ball is on its way and no longer merely nudged."""
_BEGUN_M = 0.25 * BALL_RADIUS_M
"""Chosen by us: 5 mm, more than a nudge or a sighting's error; from there one sighting tells the way."""
_SMEARED_M = 0.3 * BALL_RADIUS_M
"""Smear from which the floor is taken out of the picture. Chosen by us: sharper edges are found better as
they are, since the ball's own moving shadow stays."""
_CLEAR_M = 3.5 * BALL_RADIUS_M
"""Distance from which neither the ball's old place nor its old shadow lies behind it."""
_LOST_S, _LOST_FRAMES = 0.15, 3
"""A moving ball unseen for both of these is lost; until then the frames are gaps."""
_TAKEN_S = 1.0
"""A resting ball unseen for this long was taken away."""
_STOPPED_MPS, _STOPPED_S, _STOPPED_M = 0.03, 0.12, 0.0006
"""A ball slower than this for this long, or that moved less than this, has stopped."""
_SPEED_CHANGE, _SPEED_SLACK_MPS = 0.35, 0.15
"""Between two frames a rolling ball keeps its speed to this share (an exposure across the impact
included)."""
_VELOCITY_SIGHTINGS = 4
"""Sightings the velocity is taken from: chosen by us, fewer pass on their scatter, more lag."""
_SMEAR_FRAMES = 12
"""Moving frames from which the exposure is learned: chosen by us, the median of these settles it."""
_PARABOLA_S = 0.15
"""Chosen by us: a struck ball slides for about as long (2 v / 7 mu g: 1.5 m/s at mu 0.3), then rolls on
with a quarter of that deceleration or less, which no one parabola follows: at 30 frames/s one over both threw
away sound sightings."""
_LEAST_TO_RELOCATE = 5
"""Sightings that fix a parabola with some left over."""
_ASTRAY_M, _ASTRAY_SDS = 0.002, 4.0
"""An early sighting farther from the path than this, and not found again, was something else."""
_PIECE_RADII = 2.6
"""Half-width of the pieces of early frames kept for that, in ball radii."""
_CARRIED_M, _CARRIED_SHARE, _CARRIED_SIGHTINGS = 0.025, 0.2, 5
"""What keeps its place beside the head over such a way, to this share of it and in so many sightings, is a
part of the head. Chosen by us: a struck ball is up to twice as fast as the head that struck it. The rear of a
white head had the outline of a ball nearer to the tag than the ball itself: it left at the takeaway, and the
direction came out reversed. The ball is looked for again where the head was addressed, once that is away."""
_LEAST_STEP_PX = 6.0
"""Motion between frames below which the exposure is not judged from the smear."""
_ALL_ROUND: tuple[Heading, ...] = tuple(
    (way * math.cos(turn), way * math.sin(turn))
    for way in (1, -1)
    for turn in np.radians(np.arange(-52, 53, 13))
)
"""Directions tried where the target line is not known: a camera stands beside it, if not squarely."""
_SOUGHT_S = 0.1
"""There a ball that left its place unseen is sought all round for so long: then it is hidden, or gone."""
_UNCONFIRMED = 2
"""Sightings of which the second is given up there when no third goes on from it."""
_LEAST_IN_PICTURE = 0.5
"""Share of the ball's width that must be inside the picture."""


class BallInMotion:
    """One ball from the frame in which it no longer lay in its place.

    Parameters
    ----------
    rest : BallAtRest
        The ball as it lay.
    picture : Picture
        The first frame in which it did not.
    head_px : FloatArray or None
        The head in that frame, shape (2,) [px].
    line_known : bool
        Whether the camera's world has its x axis along the target line.

    """

    def __init__(
        self, rest: BallAtRest, picture: Picture, head_px: FloatArray | None, *, line_known: bool = True
    ) -> None:
        self._rest = rest
        self._line_known = line_known
        self._left_s = picture.time_s
        self.head_px = head_px
        """The head as the ball left, shape (2,) [px]; None where not seen."""
        self._from_head: FloatArray | None = None
        """Its place as seen from the head at the first sighting of both, shape (3,) [m]."""
        self._beside_head = 0
        """Sightings of both."""
        self._strayed_m = 0.0
        """How far it has strayed from that place."""
        self.sightings: list[Sighting] = []
        """Where it was seen, in order of time."""
        self._velocity = np.full(3, np.nan)
        """Velocity over the last few sightings [m/s]; NaN before the second."""
        self._smear_shares: list[float] = []
        self._smear_share = USUAL_EXPOSURE_SHARE
        """Exposure as a share of the frame interval, as far as it is learned."""
        self._early: list[Picture] = []

    @property
    def under_way(self) -> bool:
        """Whether it went far enough to have left."""
        if len(self.sightings) < 2:
            return False
        return _apart(self.sightings[-1].centre_m, self._rest.place_m) > _UNDER_WAY_M

    @property
    def exposure_s(self) -> float:
        """Exposure time told by the ball's smear [s]; 0 where it could not be told."""
        if len(self.sightings) < 2 or not self._smear_shares:
            return 0.0
        first, last = self.sightings[0], self.sightings[-1]
        interval_s = (last.time_s - first.time_s) / max(last.frame - first.frame, 1)
        return self._smear_share * interval_s

    @property
    def stopped(self) -> bool:
        """Whether it has come to lie."""
        now_s = self.sightings[-1].time_s
        if now_s - self.sightings[0].time_s < _STOPPED_S:
            return False
        lately = [each for each in self.sightings if now_s - each.time_s <= _STOPPED_S]
        if len(lately) < 3:
            return False
        travel = _apart(lately[-1].centre_m, lately[0].centre_m)
        return travel <= max(_STOPPED_MPS * (lately[-1].time_s - lately[0].time_s), _STOPPED_M)

    @property
    def carried(self) -> bool:
        """Whether it moved with the head, and so is a part of it."""
        if self._beside_head < _CARRIED_SIGHTINGS:
            return False
        way = _apart(self.sightings[-1].centre_m, self.sightings[0].centre_m)
        return way > _CARRIED_M and self._strayed_m < _CARRIED_SHARE * way

    def out_of(self, picture: Picture) -> bool:
        """Return whether its motion has led it out of the picture."""
        if len(self.sightings) < 2:
            return False
        centre = picture.camera.project(self._expected(picture.time_s)[None, :])[0]
        return in_picture(picture.luma, centre, self.sightings[-1].fit.outline.radius_px) < _LEAST_IN_PICTURE

    def lost_in(self, picture: Picture) -> bool:
        """Return whether a ball not seen in this frame is lost for good."""
        last_s = self.sightings[-1].time_s if self.sightings else self._left_s
        unseen_s = picture.time_s - last_s
        if len(self.sightings) < 3:
            return unseen_s > _TAKEN_S or (bool(self.sightings) and unseen_s > _LOST_S)
        return unseen_s > _LOST_S and picture.frame - self.sightings[-1].frame > _LOST_FRAMES

    def locate(self, picture: Picture, head_px: FloatArray | None) -> Sighting | None:
        """Locate it in the next frame: near where it was, ahead of the head, or where its motion leads."""
        if not self.under_way:
            return self._start(picture, head_px)
        seen = self._go_on(picture)
        if seen is None and not self._line_known and len(self.sightings) == _UNCONFIRMED:
            # Sought all round, it was taken for something beside its place: nothing goes on from there.
            self.sightings.pop()
            del self._early[len(self.sightings) :]
            return self._start(picture, head_px)
        return seen

    def take(self, picture: Picture, seen: Sighting, head_px: FloatArray | None) -> None:
        """Take a sighting as its own, and learn the exposure from the first ones."""
        way = _apart(seen.centre_m, self._rest.place_m)
        if len(self.sightings) > 1 and not self.under_way and way > _UNDER_WAY_M:
            # What stirred before, by a codec's hand or a nudge, was the ball at rest: it leaves only now.
            self.sightings.clear()
            self._early.clear()
            self._from_head, self._beside_head, self._strayed_m = None, 0, 0.0
        self.sightings.append(seen)
        self._note_place_beside_head(picture, seen, head_px)
        if len(self.sightings) > 1:
            self._velocity = _mean_velocity(self.sightings[-_VELOCITY_SIGHTINGS:])
        if picture.time_s - self.sightings[0].time_s <= _PARABOLA_S:
            self._early.append(
                self._bare_if_smeared(picture).piece(
                    seen.fit.centre_px, _PIECE_RADII * seen.fit.outline.radius_px
                )
            )
        self._note_smear(picture)

    def _note_place_beside_head(self, picture: Picture, seen: Sighting, head_px: FloatArray | None) -> None:
        head_m = None if head_px is None else head_on_floor(picture.camera, head_px)
        if head_m is None:
            return
        from_head = seen.centre_m - head_m
        if self._from_head is None:
            self._from_head = from_head
        self._beside_head += 1
        self._strayed_m = max(self._strayed_m, _apart(from_head, self._from_head))

    def relocated(self, looks: Looks) -> list[Sighting]:
        """Return the sightings, the early ones located again now that exposure, speed and looks are known."""
        moving, exposure_s = self.sightings, self.exposure_s
        count = sum(each.time_s - moving[0].time_s <= _PARABOLA_S for each in moving[: len(self._early)])
        if count < _LEAST_TO_RELOCATE:
            return list(moving)
        t = np.array([each.time_s for each in moving[:count]])
        x = np.array([each.centre_m for each in moving[1:count]])
        places, velocities = _along_parabola(t[1:], x, t)  # the first may lie across the impact
        again = []
        early = zip(moving[:count], self._early[:count], places, velocities, strict=True)
        for seen, piece, place, velocity in early:
            smear = velocity * exposure_s
            better = locate(piece, place, looks, reach_m=AGAIN_M, smear_m=smear)
            if better is not None:
                again.append(better)
                continue
            off = _apart(seen.centre_m, place)
            across_impact = 0.25 * math.hypot(smear[0], smear[1]) if seen is moving[0] else 0.0
            if off < max(_ASTRAY_M, _ASTRAY_SDS * float(seen.sd_m[0])) + across_impact:
                again.append(seen)
        return again + moving[count:]

    def _start(self, picture: Picture, head_px: FloatArray | None) -> Sighting | None:
        """Locate a ball that has just left: near where it was, or ahead of the head."""
        rest = self._rest
        head_m = None if head_px is None else head_on_floor(picture.camera, head_px)
        last = self.sightings[-1].centre_m if self.sightings else rest.place_m
        near = locate(picture, last, rest.looks)
        if near is not None and not (self.sightings and _behind_head(near, head_m)):
            return near
        before_s = self.sightings[-1].time_s if self.sightings else self._lay_until(picture)
        reach_m = min(FASTEST_MPS * max(picture.time_s - before_s, 0.0), 0.5)
        if not self._line_known and picture.time_s - self._left_s > _SOUGHT_S and not self.sightings:
            return None
        for headings in self._headings_ahead(head_m, reach_m):
            ahead = locate_ahead(
                picture,
                last,
                rest.looks,
                headings=headings,
                least_m=0.0,
                most_m=reach_m,
                smear_share=self._smear_share,
            )
            if ahead is not None and not _behind_head(ahead, head_m):
                return ahead
        return None

    def _headings_ahead(self, head_m: FloatArray | None, reach_m: float) -> list[tuple[Heading, ...]]:
        """Return the directions in which it may have gone, the likelier first.

        It goes on as it began, else along the line away from the head; but a head this near may have passed
        its place since the last frame.
        """
        began_m = self.sightings[-1].centre_m - self._rest.place_m if self.sightings else np.zeros(3)
        if not self._line_known:
            far_m = math.hypot(began_m[0], began_m[1])
            begun = far_m > _BEGUN_M
            return [((began_m[0] / far_m, began_m[1] / far_m),) if begun else _ALL_ROUND]
        if abs(began_m[0]) > _BEGUN_M:
            return [((float(np.sign(began_m[0])), 0.0),)]
        side_m = 0.0 if head_m is None else float(self._rest.place_m[0] - head_m[0])
        if abs(side_m) < BALL_RADIUS_M:
            return [((1.0, 0.0), (-1.0, 0.0))]
        way = float(np.sign(side_m))
        return [((way, 0.0),), ((-way, 0.0),)] if abs(side_m) < reach_m else [((way, 0.0),)]

    def _lay_until(self, picture: Picture) -> float:
        latest_s = self._rest.latest_s
        interval_s = picture.time_s - latest_s if np.isfinite(latest_s) else 1.0 / 30.0
        return self._left_s - interval_s

    def _go_on(self, picture: Picture) -> Sighting | None:
        """Locate a ball where its motion leads."""
        last, before = self.sightings[-1], self.sightings[-2]
        looks = self._rest.looks
        elapsed = picture.time_s - last.time_s
        velocity = self._velocity
        interval = (last.time_s - before.time_s) / max(last.frame - before.frame, 1)
        place = self._expected(picture.time_s)
        smear = velocity * self._smear_share * interval
        bare = self._with_floor(picture)
        smeared = math.hypot(smear[0], smear[1]) > _SMEARED_M
        usual = bare if smeared else picture
        seen = locate(usual, place, looks, reach_m=AGAIN_M, smear_m=smear)
        if seen is None:
            seen = locate(usual, place, looks, smear_m=smear)
        if seen is None and not smeared:
            seen = locate(bare, place, looks, smear_m=smear)
        if seen is None or not _steady(seen, last, velocity):
            speed = math.hypot(velocity[0], velocity[1])
            slack = (_SPEED_CHANGE * speed + _SPEED_SLACK_MPS) * elapsed
            seen = locate_ahead(
                bare,
                last.centre_m,
                looks,
                headings=(self._heading(velocity, speed),),
                least_m=speed * elapsed - slack,
                most_m=speed * elapsed + slack,
                smear_share=interval / elapsed * self._smear_share,
            )
        return seen if seen is not None and _steady(seen, last, velocity) else None

    def _heading(self, velocity: FloatArray, speed: float) -> Heading:
        if self._line_known or speed == 0.0:
            return (1.0 if velocity[0] >= 0 else -1.0, 0.0)
        return (velocity[0] / speed, velocity[1] / speed)

    def _expected(self, time_s: float) -> FloatArray:
        last = self.sightings[-1]
        place = last.centre_m + self._velocity * (time_s - last.time_s)
        place[2] = BALL_RADIUS_M
        return place

    def _with_floor(self, picture: Picture) -> Picture:
        """Add the floor as it was when the ball lay, once the ball is clear of its old place."""
        rest = self._rest
        clear = _apart(self._expected(picture.time_s), rest.place_m) > _CLEAR_M
        same = picture.camera is rest.camera and picture.luma.shape == rest.floor.shape
        return replace(picture, floor=rest.floor) if clear and same else picture

    def _bare_if_smeared(self, picture: Picture) -> Picture:
        if len(self.sightings) < 2:
            return picture
        last, before = self.sightings[-1], self.sightings[-2]
        interval = (last.time_s - before.time_s) / max(last.frame - before.frame, 1)
        smear = self._velocity * self._smear_share * interval
        return self._with_floor(picture) if math.hypot(smear[0], smear[1]) > _SMEARED_M else picture

    def _note_smear(self, picture: Picture) -> None:
        """Learn the exposure from the first moving frames: the smear that explains the edges best."""
        if not 2 <= len(self.sightings) <= _SMEAR_FRAMES:
            return
        last, before = self.sightings[-1], self.sightings[-2]
        interval = (last.time_s - before.time_s) / max(last.frame - before.frame, 1)
        path = self._velocity * interval
        ends = picture.camera.project(np.vstack([last.centre_m, last.centre_m + path]))
        step_px = ends[1] - ends[0]
        length_px = math.hypot(*step_px)
        if length_px < _LEAST_STEP_PX:
            return
        outline = last.fit.outline
        luma, origin = without_floor(
            self._with_floor(picture), last.fit.centre_px, outline.radius_px, self._rest.looks
        )
        smear_px = smear_length(luma, outline, step_px / length_px, origin_px=origin)
        if np.isfinite(smear_px):
            self._smear_shares.append(min(smear_px / length_px, 1.0))
            self._smear_share = median(self._smear_shares)


def _apart(one: FloatArray, other: FloatArray) -> float:
    """Return the distance of two places over the floor, or the change of a velocity."""
    return math.hypot(one[0] - other[0], one[1] - other[1])


def _behind_head(seen: Sighting, head_m: FloatArray | None) -> bool:
    """Whether a sighting is where the head is, and not ahead of it."""
    return head_m is not None and _apart(seen.centre_m, head_m) < 1.2 * BALL_RADIUS_M


def _mean_velocity(sightings: list[Sighting]) -> FloatArray:
    """Return the velocity over some sightings by least squares, shape (3,) [m/s]."""
    t = np.array([each.time_s for each in sightings])
    t -= t.sum() / len(t)
    velocity: FloatArray = t @ np.array([each.centre_m for each in sightings]) / (t @ t)
    return velocity


def _along_parabola(t: FloatArray, x: FloatArray, at_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return floor places and velocities at some instants from a parabola, shapes (n, 3) each."""
    middle, reach = float(t.mean()), float(np.ptp(t))
    curve = np.linalg.lstsq(np.vander((t - middle) / reach, 3, increasing=True), x, rcond=None)[0]
    since = ((at_s - middle) / reach)[:, None]
    places = curve[0] + curve[1] * since + curve[2] * since**2
    places[:, 2] = BALL_RADIUS_M
    return places, np.asarray((curve[1] + 2.0 * curve[2] * since) / reach, dtype=np.float64)


def _steady(seen: Sighting, last: Sighting, velocity: FloatArray) -> bool:
    """Whether a sighting continues the motion."""
    measured = (seen.centre_m - last.centre_m) / (seen.time_s - last.time_s)
    speed = math.hypot(velocity[0], velocity[1])
    return _apart(measured, velocity) <= _SPEED_CHANGE * speed + _SPEED_SLACK_MPS
