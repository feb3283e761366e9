"""A held phone's pictures laid over the first: what does not move then stays where it is."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.tracker.clip.frame import Frame, LumaFrame

LOOK_EVERY_S, FIRST_EVERY_S, SETTLED_S = 0.1, 0.015, 0.25
"""How often a phone at rest is looked at for motion, later and in the beginning. Chosen by us: a hand moves
it within that."""

HELD_PX = 0.25
"""Chosen by us: a phone on a stand moves its picture by less, one in the hand by more within a few tenths of
a second."""

REDUCED = 2
"""Chosen by us: in a picture reduced by this, points are followed to a fortieth of a pixel of the whole
one."""

POINTS, FEWEST_POINTS, APART_PX = 200, 20, 20.0
WINDOW_PX = (15, 15)
INLIER_PX = 0.5


class Steadier:
    """Lays the pictures of a held phone over the first; those of a phone at rest stay as they are."""

    def __init__(self) -> None:
        self._reference: LumaFrame | None = None
        self._points: NDArray[np.float32] | None = None
        self._next_s = 0.0
        self.held = False
        """Whether the phone was seen to move."""

    def update(self, frame: Frame) -> Frame:
        """Return the next frame as the phone would have seen it from its first place.

        Points of the floor are followed (Lucas & Kanade 1981, in pyramids), and the homography that most of
        them share is undone. A phone that turns in the hand shifts its picture by that; by a turn, shift and
        stretch alone places were 0.4 px rms off.
        """
        if not self.held and frame.time_s < self._next_s:
            return frame
        self._next_s = frame.time_s + (LOOK_EVERY_S if frame.time_s > SETTLED_S else FIRST_EVERY_S)
        small = np.ascontiguousarray(frame.luma[::REDUCED, ::REDUCED])
        if self._reference is None:
            self._reference = small
            points = cv2.goodFeaturesToTrack(small, POINTS, 0.01, APART_PX)
            self._points = None if points is None else np.asarray(points, dtype=np.float32)
            return frame
        found = self._followed(small)
        if found is None:
            return frame
        before, after = found
        if not self.held:
            # The middle of the points, not the corners of a map through them, which err more. A codec draws
            # grain along, by 0.5 px in a clip at rest, but each point its own way.
            moved = after - before
            middle = np.median(moved, axis=0)
            stray = 1.4826 * np.median(np.abs(moved - middle), axis=0)
            self.held = float(np.hypot(*middle)) > max(HELD_PX / REDUCED, float(np.hypot(*stray)))
        motion = _map(before, after) if self.held else None
        if motion is None:
            return frame
        height, width = frame.luma.shape
        steady = cv2.warpPerspective(
            frame.luma,
            motion,
            (width, height),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return replace(frame, luma=np.asarray(steady, dtype=np.uint8))

    def _followed(self, small: LumaFrame) -> tuple[NDArray[np.float32], NDArray[np.float32]] | None:
        """Return points of the first reduced picture and where they are in this one, shapes (n, 2)."""
        if self._reference is None or self._points is None or len(self._points) < FEWEST_POINTS:
            return None
        found, followed, _ = cv2.calcOpticalFlowPyrLK(
            self._reference, small, self._points, np.empty_like(self._points), winSize=WINDOW_PX, maxLevel=3
        )
        good = followed.ravel() == 1
        if np.count_nonzero(good) < FEWEST_POINTS:
            return None
        return self._points[good, 0], np.asarray(found, dtype=np.float32)[good, 0]


def _map(before: NDArray[np.float32], after: NDArray[np.float32]) -> NDArray[np.float64] | None:
    """Return the homography from the first picture's pixels to this one's, shape (3, 3)."""
    motion, _ = cv2.findHomography(before, after, cv2.RANSAC, INLIER_PX)
    if motion is None:
        return None
    whole = np.diag([REDUCED, REDUCED, 1.0]) @ np.asarray(motion) @ np.diag([1 / REDUCED, 1 / REDUCED, 1.0])
    return np.asarray(whole / whole[2, 2], dtype=np.float64)
