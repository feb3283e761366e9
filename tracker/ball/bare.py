"""Balls of a clip with nothing printed: found anywhere, watched until one leaves, followed away."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from pennyfall.calibration.ball_pose import REST_SIZE_SD, BallSight, camera_over_ball, pose_from_ball
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.pose import Pose
from pennyfall.kinematics.values import BALL_RADIUS_M, Estimate, FloatArray, freeze_arrays
from pennyfall.tracker.ball.anywhere import SURE, SeenBall, find_balls
from pennyfall.tracker.ball.edges import OutlineFit, fit_outline
from pennyfall.tracker.ball.finding import RestingBall
from pennyfall.tracker.ball.followed import FollowedBall
from pennyfall.tracker.ball.limb import reading_off
from pennyfall.tracker.ball.locating import Picture, Sighting
from pennyfall.tracker.ball.outline import Outline, ball_outline, floor_ball, on_floor
from pennyfall.tracker.ball.rest import BallAtRest
from pennyfall.tracker.ball.watch import LOOK_EVERY_S, BallWatcher
from pennyfall.tracker.clip.frame import LumaFrame

LOOK_SELDOM_S = 2.0
"""Looks over the whole picture grow rarer up to this, at once where a sure ball lies. Chosen by us: one takes
as long as ten frames do."""
NEXT_BALL_S = 1.0
"""How long after one ball is gone the next is looked for: nobody lays it sooner."""
_THOROUGH_LOOKS = (1, 3)
"""Looks, counted from the first, that also seek small, faint and dark balls while none is known."""
MOST_WATCHED = 4
"""Balls, and what looks like one, watched at a time."""
LIKELY_SHARE = 0.6
"""Share of the surest one's confidence below which something is not watched. Chosen by us: of balls lying
about the least had 0.77 of it; tips of shoes, which sway, had 0.5 at most."""
SIZED_EVERY_S = 0.1
"""How often a resting ball's size is read."""
_SIZE_SD = 0.15
"""How well its size is known beforehand when it is read: not at all."""
_WAY_M = 0.5
"""Way over which size and place tell the line. Chosen by us: straight on any green, and enough."""
_CLEAR_M = 1.5 * BALL_RADIUS_M
"""Way from which its size is read: the head beside it no longer covers it."""
_LEAST_SPEED_MPS, _LEAST_WAY_M, _LEAST_SEEN = 0.2, 0.06, 4
"""What leaves more slowly, not as far, or is seen less often was not struck: chosen by us."""
_PULLED_S, _AT_FIRST_S, _PULLED_SHARE, _PULLED_MPS = 0.04, 0.15, 1.2, 0.05
"""What gets faster by such a share and such a speed, within the first of these times at the earliest and the
second at the latest, is moved by hand or a part of the head: a struck ball only ever loses speed. Chosen by
us: a camera that is off lends it a tenth over that way."""
_BACK_M = 0.3 * BALL_RADIUS_M
"""Nor does it come back by so much."""
_READ_EVERY_M = 0.4 * BALL_RADIUS_M
"""Way after which its size is read again: chosen by us, six to half a turn."""
_SMEARED_PX, _ABEAM = 2.0, 0.6
"""Smear from which only those parts of the outline tell the size that run along it to this cosine."""
_WHOLE_SUPPORT = 0.85
"""Share of the outline from which its size is read as well as it can be. Chosen by us."""
_DOUBTFUL, _DOUBT_SD = 0.55, 1.5
"""Confidence below which a mark or the light on the ball may have been taken for its outline, and what that
adds to the size's relative deviation for each of confidence less. Chosen by us: of balls drawn before floors
as bright as they are those of 0.48, 0.43 and 0.38 were read 9, 18 and 40 % too small."""
_HIDDEN_SD = 0.06
"""What a hidden third takes off the size read: 4 to 6 % were measured beside heads."""
_LEAST_LAIN_S = 0.1
"""A ball found in passing is not the one that lay before the head."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LyingBall:
    """A ball at rest, or what looks like one, in the picture."""

    centre_px: FloatArray
    """Image of its centre, shape (2,) [px]."""
    radius_px: float
    """Mean radius of its outline [px]."""
    confidence: float
    """How sure it is that this is a ball, 0..1."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


class BareBalls:
    """Fed every frame, finds what looks like a ball, watches it lie and follows what is struck.

    Parameters
    ----------
    stated_focal : Estimate, optional
        Focal length as the file states it [px].
    lens : Lens, optional
        Calibrated lens, made in a picture of the clip's shape.
    pixel_aspect : float
        Width of a pixel over its height.

    """

    def __init__(
        self, *, stated_focal: Estimate | None = None, lens: Lens | None = None, pixel_aspect: float = 1.0
    ) -> None:
        self._optics = _Optics(stated_focal, lens, pixel_aspect)
        self._watched: list[_WatchedBall] = []
        self._struck: list[_WatchedBall] = []
        self._left: list[_WatchedBall] = []
        self._look_s = -np.inf
        self._look_gap_s = LOOK_EVERY_S
        self._looks = 0

    def update(self, frame: int, time_s: float, luma: LumaFrame) -> None:
        """Take the next frame.

        Parameters
        ----------
        frame : int
            Its index in the clip.
        time_s : float
            Its mid-exposure time [s]; increasing.
        luma : LumaFrame
            Its luma plane, shape (height, width); may be read-only, is not kept.

        """
        for ball in list(self._watched):
            ball.update(frame, time_s, luma)
            if ball.gone:
                self._watched.remove(ball)
                if not ball.struck and ball.lying.confidence > SURE:
                    self._left.append(ball)
                if ball.struck:
                    self._struck.append(ball)
                    self._look_s, self._look_gap_s = time_s + NEXT_BALL_S, NEXT_BALL_S
        on_way = any(ball.watcher.moving is not None for ball in self._watched)
        if time_s >= self._look_s and not on_way:
            self._look(frame, time_s, luma)
            sure = any(ball.lying.confidence > SURE for ball in self._watched)
            self._look_s = time_s + (LOOK_SELDOM_S if sure else self._look_gap_s)
            self._look_gap_s = min(2.0 * self._look_gap_s, LOOK_SELDOM_S)

    @property
    def candidates(self) -> tuple[LyingBall, ...]:
        """What lies and looks like a ball, the surest first."""
        lying = [ball.lying for ball in self._watched if ball.watcher.resting is not None]
        return tuple(sorted(lying, key=lambda each: -each.confidence))

    def struck(self) -> FollowedBall | None:
        """Return the first ball that was struck; None before one is."""
        ball = self._first_struck()
        return None if ball is None else ball.followed()

    def balls(self) -> tuple[FollowedBall, ...]:
        """Return the struck balls, in the order in which they were; the surest at rest where none was."""
        struck = self._all_struck()
        surest = self._surest()
        if not struck and surest is not None:
            struck = [surest]
        found = [ball.followed() for ball in struck]
        return tuple(each for each in found if each is not None)

    def pose(self, *, toward: int = 1) -> Pose | None:
        """Return the camera posed by the first struck ball, else by the surest at rest; None without one.

        Parameters
        ----------
        toward : int
            Where the target is while no ball has rolled: +1 to the right of the picture, -1 to the left.

        """
        ball = self._first_struck()
        if ball is None:
            ball = self._surest()
        return None if ball is None else ball.pose(toward)

    def _surest(self) -> _WatchedBall | None:
        """Return the surest ball at rest, one that was lost as it left among them; None without any."""
        lay = [each for each in (*self._watched, *self._left) if each.followed() is not None]
        return max(lay, key=lambda each: each.lying.confidence, default=None)

    def _first_struck(self) -> _WatchedBall | None:
        return next(iter(self._all_struck()), None)

    def _all_struck(self) -> list[_WatchedBall]:
        return self._struck + [ball for ball in self._watched if ball.struck]

    def _look(self, frame: int, time_s: float, luma: LumaFrame) -> None:
        """Look over the whole picture for what is not watched yet."""
        self._looks += 1
        thorough = not self._watched and not self._struck and self._looks in _THOROUGH_LOOKS
        for seen in find_balls(luma, thorough=thorough):
            known = any(
                np.hypot(*(seen.centre_px - each.lying.centre_px)) < each.lying.radius_px
                for each in self._watched
            )
            if not known:
                self._watched.append(_WatchedBall(frame, time_s, luma, seen, self._optics))
        self._watched.sort(key=lambda each: -each.lying.confidence)
        surest = self._watched[0].lying.confidence if self._watched else 0.0
        likely = [ball for ball in self._watched if ball.lying.confidence > LIKELY_SHARE * surest]
        self._watched = likely[:MOST_WATCHED]


@dataclass(frozen=True, slots=True)
class _Optics:
    """What is known of the lens."""

    stated_focal: Estimate | None
    lens: Lens | None
    pixel_aspect: float


class _ReadSize(NamedTuple):
    """The resting ball's size as read in one frame."""

    radius_px: float
    support: float
    """Share of the outline that was seen."""
    off_px: Estimate
    """What the radius is read off the ball's own."""


class _WatchedBall:
    """One ball, or what looks like one, with a camera over it."""

    def __init__(self, frame: int, time_s: float, luma: LumaFrame, seen: SeenBall, optics: _Optics) -> None:
        self._optics = optics
        self._size = (luma.shape[1], luma.shape[0])
        self._sizes: list[_ReadSize] = []
        self._sized_s = -np.inf
        self._way: list[tuple[FloatArray, float]] = []
        self._read_at_m = 0.0
        self._frame = frame
        self._followed: tuple[int, FollowedBall | None] | None = None
        self.gone = False
        """Whether it is no longer to be seen, or proved no ball."""
        self.struck = False
        """Whether it left as a struck ball does."""
        self.lying = LyingBall(centre_px=seen.centre_px, radius_px=seen.radius_px, confidence=seen.confidence)
        self._sight = BallSight(centre_px=seen.centre_px, radius_px=seen.radius_px)
        self._camera: Camera = camera_over_ball(
            self._sight,
            picture_size=self._size,
            stated_focal=optics.stated_focal,
            lens=optics.lens,
            pixel_aspect=optics.pixel_aspect,
        )
        self.watcher = BallWatcher(line_known=False)
        fit = fit_outline(
            luma,
            ball_outline(self._camera, floor_ball(0.0, 0.0)),
            reach_px=max(2.5, 0.2 * seen.radius_px),
            size_sd=_SIZE_SD,
            faint=seen.faint,
        )
        fit = fit or seen.fit
        place = on_floor(self._camera, fit.centre_px[None, :])[0]
        found = RestingBall(centre_m=place, fit=fit, confidence=seen.confidence, faint=seen.faint)
        picture = Picture(frame=frame, time_s=time_s, luma=luma, camera=self._camera)
        self.watcher.lay(BallAtRest(picture, found))
        self._faint = seen.faint
        self._found_s = time_s
        self.update(frame, time_s, luma)

    def update(self, frame: int, time_s: float, luma: LumaFrame) -> None:
        """Take the next frame."""
        self._frame = frame
        self.watcher.update(frame, time_s, luma, None, self._camera)
        motion = self.watcher.moving
        if motion is not None:
            if motion.sightings and motion.sightings[-1].frame == frame:
                self._note_way(luma, motion.sightings, motion.exposure_s)
                self.gone = _pulled(motion.sightings)
                lain_s = motion.sightings[0].time_s - self._found_s
                self.struck = lain_s > _LEAST_LAIN_S and _rolls(motion.sightings)
        elif self.watcher.resting is not None:
            self.struck = False
            self._note_size(time_s, luma, self.watcher.resting.found.fit)
        else:
            self.gone = True

    def followed(self) -> FollowedBall | None:
        """Return its way; None where it was seen too briefly."""
        if self._followed is None or self._followed[0] != self._frame:  # it is put together from many frames
            balls = self.watcher.balls()
            self._followed = (self._frame, balls[-1] if balls else None)
        return self._followed[1]

    def pose(self, toward: int) -> Pose:
        """Return the camera posed by its place, size and way."""
        sight = self._sight
        if self._sizes:
            most = max(each.support for each in self._sizes)
            whole = [each for each in self._sizes if each.support > most - 0.03]
            off = Estimate(
                *np.median([(each.off_px.value, each.off_px.sd) for each in whole], axis=0).tolist()
            )
            hidden = max(_WHOLE_SUPPORT - most, 0.0) / (1.0 - _WHOLE_SUPPORT)
            doubt = _DOUBT_SD * max(_DOUBTFUL - self.lying.confidence, 0.0)
            sd = math.hypot(REST_SIZE_SD, _HIDDEN_SD * min(hidden, 1.0) / 2.0, doubt)
            sight = replace(
                sight,
                radius_px=float(np.median([each.radius_px for each in whole])),
                radius_sd=sd,
                reads_px=off,
            )
        followed = self.followed()
        if followed is not None and followed.at_rest.any():
            sight = replace(sight, centre_px=np.median(followed.centre_px[followed.at_rest], axis=0))
        if self.struck and self._way:
            places, radii_px = _by_half_turns(self._way)
            sight = replace(sight, way_px=places, way_radii_px=radii_px)
        return pose_from_ball(
            sight,
            picture_size=self._size,
            toward=toward,
            stated_focal=self._optics.stated_focal,
            lens=self._optics.lens,
            pixel_aspect=self._optics.pixel_aspect,
        )

    def _note_size(self, time_s: float, luma: LumaFrame, fit: OutlineFit) -> None:
        """Read the resting ball's size now and then."""
        if time_s - self._sized_s < SIZED_EVERY_S:
            return
        self._sized_s = time_s
        read = self._read(luma, fit.outline)
        if read is not None:
            self._sizes.append(_ReadSize(read.outline.radius_px, read.support, reading_off(luma, read)))

    def _note_way(self, luma: LumaFrame, sightings: list[Sighting], exposure_s: float) -> None:
        """Read place and size of the ball on its way, over the first half metre."""
        seen = sightings[-1]
        way_m = math.hypot(*seen.centre_m[:2])
        if not _CLEAR_M < way_m < _WAY_M or way_m < self._read_at_m + _READ_EVERY_M:
            return
        self._read_at_m = way_m
        outline = seen.fit.outline
        if len(sightings) > 1 and exposure_s > 0.0:
            before = sightings[-2]
            step = seen.fit.centre_px - before.fit.centre_px
            outline = _unsmeared(outline, step * (exposure_s / (seen.time_s - before.time_s)))
        read = self._read(luma, outline)
        if read is not None:
            self._way.append((read.centre_px, seen.fit.outline.radius_px * read.scale))

    def _read(self, luma: LumaFrame, outline: Outline) -> OutlineFit | None:
        return fit_outline(
            luma,
            outline,
            reach_px=max(2.5, 0.2 * outline.radius_px),
            size_sd=_SIZE_SD,
            faint=self._faint,
        )


def _unsmeared(outline: Outline, smear_px: FloatArray) -> Outline:
    """Return the part of an outline that a motion hardly smears."""
    length = math.hypot(*smear_px)
    if length < _SMEARED_PX:
        return outline
    abeam = np.abs(outline.normals @ smear_px) < _ABEAM * length
    return replace(outline, points_px=outline.points_px[abeam], normals=outline.normals[abeam])


def _by_half_turns(way: list[tuple[FloatArray, float]]) -> tuple[FloatArray, FloatArray]:
    """Return place and median radius over half a turn each: a mark that comes round pulls at the outline."""
    places, radii = np.array([place for place, _ in way]), np.array([radius for _, radius in way])
    gone = np.hypot(*(places - places[0]).T) / (np.pi * np.median(radii))
    parts = [np.floor(gone) == part for part in range(int(gone.max()) + 1)]
    parts = [part for part in parts if part.any()]
    middles = [np.flatnonzero(part)[np.count_nonzero(part) // 2] for part in parts]
    return places[middles], np.array([np.median(radii[part]) for part in parts])


def _rolls(sightings: list[Sighting]) -> bool:
    """Whether a way is that of a struck ball: far and fast enough, and seen often enough."""
    if len(sightings) < _LEAST_SEEN or _pulled(sightings):
        return False
    first, last = sightings[0], sightings[-1]
    way_m = math.hypot(*(last.centre_m - first.centre_m)[:2])
    return way_m > max(_LEAST_WAY_M, _LEAST_SPEED_MPS * (last.time_s - first.time_s))


def _pulled(sightings: list[Sighting]) -> bool:
    """Whether something gets faster at first, or comes back."""
    places = np.array([each.centre_m[:2] for each in sightings])
    way_m = np.hypot(*(places - places[0]).T)
    if way_m.max() - way_m[-1] > _BACK_M:
        return True
    since_s = np.array([each.time_s for each in sightings])[1:]  # the first may lie across the impact
    early = since_s <= since_s[:1] + _AT_FIRST_S
    since_s, way_m = since_s[early] - since_s[:1], way_m[1:][early]
    if len(since_s) < 4 or since_s[-1] < _PULLED_S:
        return False
    bend, start_mps, _ = np.polyfit(since_s, way_m, 2)
    end_mps = start_mps + 2.0 * bend * since_s[-1]
    return bool(end_mps > _PULLED_SHARE * max(start_mps, 0.0) + _PULLED_MPS)
