"""Tags identified by decoding: to start, and to recover after a loss."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

import cv2
import numpy as np

from pennyfall.calibration.layout import tag_dictionary
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import LumaFrame

LARGEST_ENLARGED_PX = 2000
"""Chosen by us: in wider pictures the tags are large enough to decode as they are."""

CELL_PX, CELL_MARGIN = 8, 0.3
"""Chosen by us: in an enlarged picture a cell is read in its middle, where its neighbours' blur does not
reach. Of drawn tags with cells of 3 by 3.6 px, blurred by a pixel, 4 px and 0.13 read 16 of 24, this 23."""

NEAREST_OUTLINES = 0.05
"""Chosen by us: a tag's black edge and that of its paper, a border apart, are two outlines to be read, not
one. In six clips a tag of 22 px, resting, was read in five with the usual 0.21, in all with this."""


class Finder(Protocol):
    """Finds things by their id in whole pictures or parts of them; see `TagFinder`."""

    def find(self, luma: LumaFrame, *, scale: int = 1) -> dict[int, FloatArray]:
        """Return id to corners, shape (4, 2) [px]."""

    def find_in(
        self, luma: LumaFrame, left: int, top: int, right: int, bottom: int, *, scale: int = 2
    ) -> dict[int, FloatArray]:
        """Return id to corners for a part of the picture, in whole-picture pixels."""


class TagFinder:
    """Finds printed tags of one dictionary in whole pictures or parts of them.

    Parameters
    ----------
    dictionary : str
        Name of the dictionary.
    watched : iterable of int, optional
        Ids of which it is noted where they are seen mirrored: none of the standard sheet's tags, nor the
        head's, is another of the dictionary, or itself, when mirrored (of its fifty, 8, 9, 17 and 47 are
        themselves, tried one by one).

    """

    def __init__(self, dictionary: str, watched: Iterable[int] = ()) -> None:
        parameters = cv2.aruco.DetectorParameters()
        parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
        parameters.minMarkerPerimeterRate = 0.008
        parameters.adaptiveThreshWinSizeMax = 33
        tags = tag_dictionary(dictionary)
        self._known = len(tags.bytesList)
        tags = _with_mirrored(tags, watched)
        self.most_mirrored = 0
        """How many of the watched were seen mirrored in one picture at most."""
        self._detector = cv2.aruco.ArucoDetector(tags, parameters)
        parameters.perspectiveRemovePixelPerCell = CELL_PX
        parameters.perspectiveRemoveIgnoredMarginPerCell = CELL_MARGIN
        parameters.minGroupDistance = NEAREST_OUTLINES
        self._enlarged_detector = cv2.aruco.ArucoDetector(tags, parameters)
        self._latest: tuple[LumaFrame, int, dict[int, FloatArray]] | None = None

    def find(self, luma: LumaFrame, *, scale: int = 1) -> dict[int, FloatArray]:
        """Return the tags in a picture: id to corners, shape (4, 2) [px], clockwise from the tag's top left.

        Parameters
        ----------
        luma : LumaFrame
            Picture, shape (height, width).
        scale : int
            Enlargement before the search; small tags (a cell of 2 px) need 2 or 3 to decode.

        """
        if self._latest is not None and self._latest[0] is luma and self._latest[1] == scale:
            return dict(self._latest[2])  # sheet and head are looked for in the same picture
        found = self._detected(luma, scale)
        self._latest = luma, scale, found
        return dict(found)

    def _detected(self, luma: LumaFrame, scale: int) -> dict[int, FloatArray]:
        picture, detector = np.ascontiguousarray(luma), self._detector
        if scale != 1:
            detector = self._enlarged_detector
            picture = np.asarray(
                cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC), dtype=np.uint8
            )
        corners, ids, _ = detector.detectMarkers(picture)
        if ids is None:
            return {}
        found: dict[int, FloatArray] = {}
        self.most_mirrored = max(self.most_mirrored, len({*ids[ids >= self._known].tolist()}))
        for tag_id, quad in zip(np.asarray(ids).ravel(), corners, strict=True):
            # A picture's pixel centre (u + 0.5) scales, not its index u.
            pixels = (np.asarray(quad, dtype=np.float64).reshape(4, 2) + 0.5) / scale - 0.5
            kept = found.get(int(tag_id))
            if tag_id < self._known and (kept is None or _area(pixels) > _area(kept)):
                found[int(tag_id)] = pixels
        return found

    def find_in(
        self, luma: LumaFrame, left: int, top: int, right: int, bottom: int, *, scale: int = 2
    ) -> dict[int, FloatArray]:
        """Return the tags in a part of a picture, in whole-picture pixels; the part is clipped to it."""
        height, width = luma.shape
        left, right = max(left, 0), min(right, width)
        top, bottom = max(top, 0), min(bottom, height)
        if right - left < 8 or bottom - top < 8:
            return {}
        found = self.find(luma[top:bottom, left:right], scale=scale)
        return {tag_id: pixels + np.array([left, top]) for tag_id, pixels in found.items()}


def _with_mirrored(tags: cv2.aruco.Dictionary, ids: Iterable[int]) -> cv2.aruco.Dictionary:
    """Return the dictionary with some tags' mirror images behind its own, but for those that are the same."""
    cells, lists = tags.markerSize, [tags.bytesList]
    for tag_id in ids:
        bits = tags.getBitsFromByteList(tags.bytesList[tag_id : tag_id + 1], cells)
        flipped = np.ascontiguousarray(bits[:, ::-1])
        if not any(np.array_equal(np.rot90(flipped, turn), bits) for turn in range(4)):
            lists.append(tags.getByteListFromBits(flipped))
    return cv2.aruco.Dictionary(np.concatenate(lists), cells, tags.maxCorrectionBits)


def homography_of(corners_px: FloatArray, side_m: float) -> FloatArray:
    """Return the homography from a tag's plane (centre origin, x right, y up) [m] to its corners [px]."""
    half = side_m / 2
    square = np.array([[-half, half], [half, half], [half, -half], [-half, -half]], np.float32)
    return np.asarray(cv2.getPerspectiveTransform(square, corners_px.astype(np.float32)), dtype=np.float64)


def _area(quad: FloatArray) -> float:
    return float(abs(cv2.contourArea(quad.astype(np.float32))))
