"""A ball that lies: watched cheaply, measured now and then, and frame by frame before it leaves."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.values import BALL_RADIUS_M, FloatArray
from pennyfall.tracker.ball.edges import NEAR_SHARE
from pennyfall.tracker.ball.finding import RestingBall
from pennyfall.tracker.ball.locating import Looks, Picture, Sighting, level_at, locate
from pennyfall.tracker.ball.outline import Outline
from pennyfall.tracker.clip.frame import LumaFrame

MEASURE_EVERY_S = 0.25
"""How often a resting ball is measured: chosen by us, often enough for any re-address."""
KEEP_BEFORE_S = 0.35
"""How much of the rest before departure is measured frame by frame: the impact finder asks for 0.3 s."""
AGAIN_M = NEAR_SHARE * BALL_RADIUS_M
"""Reach where a ball's place is known from the frames around."""
_LAST_AT_REST, _EARLIER_AT_REST = 12, 24
"""Frames of the rest measured: all of the last, and as many of those before: chosen by us, the mean of more
sheds nothing that one camera's bias leaves."""
_MOVED_M, _MOVED_SDS = 0.0006, 4.0
"""Least shift, and least shift in standard deviations, that is a movement."""
_LEAST_REST_S = 0.05
"""A ball seen at rest for less than this is not reported."""
_RINGS = (0.82, 1.18)
"""Where luma is compared, as shares of the radius: just inside and just outside the outline, where a ball
that moves by a fifth of its radius shows most."""
_LEAST_CHANGE = 10.0
"""Luma difference that counts as a change: chosen by us, twice the ripple codecs leave on a still picture."""
_NOISE_SDS = 4.0
_DISTURBED_SHARE = 0.08
"""Share of changed points that calls for a proper look: chosen by us, a ball moved by 0.1 radius changes
more."""


class BallAtRest:
    """One ball while it lies.

    Parameters
    ----------
    picture : Picture
        The frame in which it was found, or came to lie.
    found : RestingBall
        The ball there.
    looks : Looks, optional
        Its looks, where it was known before.

    """

    def __init__(self, picture: Picture, found: RestingBall, looks: Looks | None = None) -> None:
        fit = found.fit
        self.found = found
        self.looks = looks or Looks(
            scale=fit.scale,
            level=level_at(picture, fit.centre_px, fit.outline.radius_px),
            faint=found.faint,
        )
        self.camera = picture.camera
        self.floor = picture.luma.copy()
        """The picture with the ball in its place; the floor wherever the ball has left it."""
        self._guard = RestGuard(picture.luma, fit.outline)
        self._measured_s = -np.inf
        self._sightings: list[Sighting] = []
        self._recent: deque[Picture] = deque()

    @property
    def place_m(self) -> FloatArray:
        """Its centre, shape (3,) [m]."""
        return self.found.centre_m

    @property
    def latest_s(self) -> float:
        """Time of the latest frame in which it lay [s]; NaN before the first."""
        return self._recent[-1].time_s if self._recent else float("nan")

    def lies(self, picture: Picture) -> bool:
        """Take the next frame; return whether the ball still lies in its place there."""
        outline = self.found.fit.outline
        if picture.camera is not self.camera:
            centre = picture.camera.project(self.place_m[None, :])[0]
            outline = outline.moved(centre - outline.centre_px)
            self._guard.shift(picture.luma, outline)
        self._keep(picture, outline.centre_px)
        disturbed = self._guard.disturbed(picture.luma)
        due = picture.time_s - self._measured_s >= MEASURE_EVERY_S
        if not disturbed and not due:
            return True
        seen = locate(picture, self.place_m, self.looks)
        if seen is None or self.left_by(seen):
            self._recent.pop()
            return False
        if due:
            self._measured_s = picture.time_s
            self._sightings.append(seen)
        if seen.fit.support > 0.9 * self.found.fit.support:
            self._guard.renew(picture.luma)
        return True

    def measured_in(self, picture: Picture) -> bool:
        """Return whether it was measured in this very frame, as it is now and then."""
        return self._measured_s == picture.time_s

    def seen_again(self, picture: Picture) -> None:
        """Take a frame in which the ball, hidden for a while, lies where it lay."""
        self._keep(picture, self.found.fit.centre_px)

    def left_by(self, seen: Sighting) -> bool:
        """Return whether a sighting is away from the ball's place."""
        shift = np.abs(seen.centre_m - self.place_m)[:2]
        return bool((shift > np.maximum(_MOVED_M, _MOVED_SDS * seen.sd_m)).any())

    def sightings(self, *, before_frame: int | None) -> list[Sighting]:
        """Return where it was seen at rest, the last frames one by one; empty when that was too short.

        Parameters
        ----------
        before_frame : int or None
            First frame of its way, where it was seen to leave.

        """
        known = {each.frame: each for each in self._sightings}
        for piece in _thinned(self._recent):
            if piece.frame not in known and (before_frame is None or piece.frame < before_frame):
                seen = locate(piece, self.place_m, self.looks, reach_m=AGAIN_M)
                if seen is not None:
                    known[piece.frame] = seen
        still = [known[frame] for frame in sorted(known)]
        return still if still and still[-1].time_s - still[0].time_s >= _LEAST_REST_S else []

    def lit_looks(self, still: Sequence[Sighting]) -> Looks:
        """Return its looks with the place of every edge as it was seen just before it left."""
        lately = [each.fit.beyond_px for each in still if each.time_s >= still[-1].time_s - KEEP_BEFORE_S]
        return replace(self.looks, beyond_px=np.median(lately, axis=0))

    def _keep(self, picture: Picture, centre_px: FloatArray) -> None:
        self._recent.append(picture.piece(centre_px, 1.6 * self.found.fit.outline.radius_px + 8.0))
        while picture.time_s - self._recent[0].time_s > KEEP_BEFORE_S:
            self._recent.popleft()


def _thinned(recent: Iterable[Picture]) -> list[Picture]:
    """Return all of the last pictures of the rest and an even choice of those before."""
    earlier, last = list(recent)[:-_LAST_AT_REST], list(recent)[-_LAST_AT_REST:]
    pitch = max(-(-len(earlier) // _EARLIER_AT_REST), 1)
    return earlier[::pitch] + last


class RestGuard:
    """Compares the luma on two rings about the outline with what it was.

    Parameters
    ----------
    luma : LumaFrame
        A frame with the ball at rest.
    outline : Outline
        Its outline there.

    """

    def __init__(self, luma: LumaFrame, outline: Outline) -> None:
        self._v, self._u = _ring_pixels(luma, outline)
        self._reference = self._levels(luma)
        self._noise = 0.0

    def disturbed(self, luma: LumaFrame) -> bool:
        """Whether the rings look different; a common change of brightness does not count."""
        levels = self._levels(luma)
        gain = float(levels @ self._reference) / max(float(self._reference @ self._reference), 1.0)
        change = np.abs(levels - gain * self._reference)
        limit = max(_LEAST_CHANGE, _NOISE_SDS * self._noise)
        return bool(np.count_nonzero(change > limit) > _DISTURBED_SHARE * len(change))

    def shift(self, luma: LumaFrame, outline: Outline) -> None:
        """Look at the outline's new place: the camera moved, the ball did not."""
        self._v, self._u = _ring_pixels(luma, outline)

    def renew(self, luma: LumaFrame) -> None:
        """Take a frame in which the ball was found in its place as the new comparison."""
        levels = self._levels(luma)
        scatter = 1.4826 * float(np.median(np.abs(levels - self._reference)))
        self._noise = max(0.7 * self._noise, min(scatter, 3.0 * _LEAST_CHANGE))
        self._reference = levels

    def _levels(self, luma: LumaFrame) -> NDArray[np.float32]:
        return luma[self._v, self._u].astype(np.float32)


def _ring_pixels(luma: LumaFrame, outline: Outline) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    spokes = outline.points_px - outline.centre_px
    at = np.rint(np.vstack([outline.centre_px + share * spokes for share in _RINGS])).astype(np.intp)
    height, width = luma.shape
    return np.clip(at[:, 1], 0, height - 1), np.clip(at[:, 0], 0, width - 1)
