"""The printed sheet in the picture: found by decoding, placed by registration, watched for movement."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from pennyfall.calibration.layout import TagLayout, tag_bits
from pennyfall.kinematics.values import FloatArray, freeze_arrays
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.marks.decoding import TagFinder, homography_of
from pennyfall.tracker.marks.pattern import TagPattern, Texture
from pennyfall.tracker.marks.registration import Registration, misfit, plane_jacobian, register
from pennyfall.tracker.marks.resting import RestingPattern

PAPER_SHARE = 0.16
"""Chosen by us: white paper around a sheet tag that is sure to be there, as a share of its side."""

BLURS_PX = (0.4, 0.5, 0.6, 0.7, 0.85, 1.0, 1.25, 1.6, 2.0)
USUAL_BLUR_PX = 0.7
"""Chosen by us: from a sharp lens to a soft one behind a strong codec; the usual one is where to start."""

GOOD_CORRELATION = 0.8
"""Chosen by us: a right tag seen well correlates above 0.95, a wrong place below 0.5."""

CORNER_SD_FACTOR = 4.0
"""Chosen by us: the side of a small tag is less sure than its centre, so corners only support the centres."""

MOVED_PX = 0.3
"""Chosen by us: ten times the scatter of a resting sheet tag."""

LINEAR_RANGE_PX = 1.0
"""Chosen by us: within this the one-step estimate of a shift is good to a few per cent."""


WATCHED_PIXELS = 2000
"""Chosen by us: so many pixels of a tag tell its shift to a hundredth of a pixel; larger tags are thinned."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SheetSight:
    """The sheet's tags in one picture, as points to pose a camera from."""

    points_m: FloatArray
    """Tag centres and corners on the floor, shape (n, 3) [m]."""
    pixels: FloatArray
    """Where they are seen, shape (n, 2) [px]."""
    sd_px: FloatArray
    """Standard deviation of each pixel coordinate, shape (n,) [px]."""
    homographies: dict[int, FloatArray]
    """From each tag's own plane [m] to pixels."""
    blur_px: float
    """Standard deviation of the picture's blur that explains the tags best [px]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


class SheetFinder:
    """Finds the sheet's tags in a picture and places them to a hundredth of a pixel."""

    def __init__(self, layout: TagLayout) -> None:
        self.layout = layout
        self.sides_m = {
            tag_id: float(np.mean(np.linalg.norm(np.diff(corners, axis=0), axis=1)))
            for tag_id, corners in layout.corners.items()
        }
        self.patterns = {
            tag_id: TagPattern(tag_bits(tag_id, layout.dictionary), side_m=side, border_m=PAPER_SHARE * side)
            for tag_id, side in self.sides_m.items()
        }

    def place(
        self, luma: LumaFrame, corners_px: dict[int, FloatArray], blur_px: float | None = None
    ) -> SheetSight:
        """Place decoded tags by registering their patterns.

        Parameters
        ----------
        luma : LumaFrame
            Picture, shape (height, width).
        corners_px : dict
            Corners of the decoded tags, id to shape (4, 2) [px].
        blur_px : float, optional
            Blur of the picture, where it is known already.

        Returns
        -------
        SheetSight
            Only the tags that registered well; it may be empty.

        """
        starts = {
            tag_id: homography_of(corners_px[tag_id], self.sides_m[tag_id])
            for tag_id in self.layout.ids
            if tag_id in corners_px
        }
        placed = self.placed(luma, starts, blur_px or USUAL_BLUR_PX)
        if blur_px is None and placed:
            blur_px = self._best_blur(luma, placed)
            placed = self.placed(luma, {i: one.homography for i, one in placed.items()}, blur_px)
        return self.sight_of(placed, blur_px or USUAL_BLUR_PX)

    def follow(self, luma: LumaFrame, sight: SheetSight) -> SheetSight:
        """Place the tags again in a later picture, starting where they were."""
        return self.sight_of(self.placed(luma, sight.homographies, sight.blur_px), sight.blur_px)

    def placed(
        self, luma: LumaFrame, starts: dict[int, FloatArray], blur_px: float
    ) -> dict[int, Registration]:
        """Return the tags that register well, each from the homography to start with."""
        placed = {}
        for tag_id, start in starts.items():
            texture = self.patterns[tag_id].rendered(plane_jacobian(start)[1], blur_px, np.zeros(2))
            found = register(luma, start, texture)
            if found is not None and found.correlation > GOOD_CORRELATION:
                placed[tag_id] = found
        return placed

    def _best_blur(self, luma: LumaFrame, placed: dict[int, Registration]) -> float:
        """Return the blur that leaves least unexplained, downhill from the usual one: it has one minimum."""

        def rendered(tag_id: int, blur_px: float) -> Texture:
            return self.patterns[tag_id].rendered(placed[tag_id].jacobian, blur_px, np.zeros(2))

        softest = {tag_id: rendered(tag_id, BLURS_PX[-1]) for tag_id in placed}

        @cache
        def cost(number: int) -> float:
            if not 0 <= number < len(BLURS_PX):
                return float("inf")
            return sum(
                misfit(luma, one.homography, rendered(tag_id, BLURS_PX[number]), within=softest[tag_id])
                for tag_id, one in placed.items()
            )

        best = BLURS_PX.index(USUAL_BLUR_PX)
        while cost(better := min(best - 1, best + 1, key=cost)) < cost(best):
            best = better
        return BLURS_PX[best]

    def sight_of(self, placed: dict[int, Registration], blur_px: float) -> SheetSight:
        """Return registered tags as points to pose a camera from."""
        points, pixels, sds = [], [], []
        for tag_id, one in placed.items():
            half = self.sides_m[tag_id] / 2
            square = np.array([[-half, half, 1], [half, half, 1], [half, -half, 1], [-half, -half, 1]])
            seen = square @ one.homography.T
            centre_sd = float(np.sqrt(np.mean(np.diag(one.covariance)[:2])))
            points.append(self.layout.centre(tag_id)[None, :])
            pixels.append(one.centre_px[None, :])
            sds.append([centre_sd])
            points.append(self.layout.corners[tag_id])
            pixels.append(seen[:, :2] / seen[:, 2:])
            sds.append([CORNER_SD_FACTOR * max(centre_sd, 0.05)] * 4)
        return SheetSight(
            points_m=np.concatenate(points) if points else np.empty((0, 3)),
            pixels=np.concatenate(pixels) if pixels else np.empty((0, 2)),
            sd_px=np.concatenate(sds) if sds else np.empty(0),
            homographies={tag_id: one.homography for tag_id, one in placed.items()},
            blur_px=blur_px,
        )


class RestingSheet:
    """Places a resting sheet in later pictures, by one matrix product a tag.

    Parameters
    ----------
    finder : SheetFinder
        Places the tags where the product does not.
    sight : SheetSight
        The sheet as it rests.

    """

    def __init__(self, finder: SheetFinder, sight: SheetSight) -> None:
        self._finder = finder
        self._sight = sight
        self._patterns: dict[int, RestingPattern] = {}

    def place(self, luma: LumaFrame) -> SheetSight:
        """Place the tags in a later picture; those that no longer register are missing."""
        placed = {}
        for tag_id, pattern in self._patterns.items():
            found = pattern.register(luma)
            if found is not None and found.correlation > GOOD_CORRELATION:
                placed[tag_id] = found
        if len(placed) < len(self._sight.homographies):
            placed = self._finder.placed(luma, self._sight.homographies, self._sight.blur_px)
            self._patterns = {
                tag_id: RestingPattern(one.linear) for tag_id, one in placed.items() if one.linear is not None
            }
        return self._finder.sight_of(placed, self._sight.blur_px)


class ShiftGauge:
    """Measures by one matrix product how far a resting patch has shifted since it was taken.

    Parameters
    ----------
    luma : LumaFrame
        Picture the patch is taken from.
    centre_px, half_px : FloatArray, int
        The patch's middle, shape (2,), and half its side [px].

    Notes
    -----
    Least squares on shift, contrast and brightness, linearised at the resting picture: valid below a pixel,
    which is enough to tell rest from movement.

    """

    def __init__(self, luma: LumaFrame, centre_px: FloatArray, half_px: int) -> None:
        column, row = round(float(centre_px[0])), round(float(centre_px[1]))
        height, width = luma.shape
        self._rows = slice(max(row - half_px, 1), min(row + half_px + 1, height - 1))
        self._columns = slice(max(column - half_px, 1), min(column + half_px + 1, width - 1))
        outer = luma[
            self._rows.start - 1 : self._rows.stop + 1, self._columns.start - 1 : self._columns.stop + 1
        ].astype(np.float64)
        patch = outer[1:-1, 1:-1]
        across = (outer[1:-1, 2:] - outer[1:-1, :-2]) / 2
        down = (outer[2:, 1:-1] - outer[:-2, 1:-1]) / 2
        pitch = max(patch.size // WATCHED_PIXELS, 1)
        self._rows = slice(self._rows.start, self._rows.stop, pitch)
        across, down, patch = across[::pitch], down[::pitch], patch[::pitch]
        design = np.column_stack([-across.ravel(), -down.ravel(), patch.ravel(), np.ones(patch.size)])
        self._solve = np.linalg.pinv(design)[:3].astype(np.float32)

    def shift(self, luma: LumaFrame) -> FloatArray:
        """Return how far the patch has shifted, shape (2,) [px]; NaN where it is no longer recognised."""
        patch = luma[self._rows, self._columns].astype(np.float32).ravel()
        across, down, contrast = (self._solve @ patch).tolist()
        if contrast < 0.3 or abs(across) > LINEAR_RANGE_PX or abs(down) > LINEAR_RANGE_PX:
            return np.full(2, np.nan)
        return np.array([across / contrast, down / contrast], dtype=np.float64)


class SheetWatch:
    """Watches the resting sheet frame by frame: cheap while it rests, registered again when it moves.

    Parameters
    ----------
    finder : SheetFinder
        Places the tags again when they moved.
    luma : LumaFrame
        The picture in which the sheet was found.
    sight : SheetSight
        The sheet in that picture.

    """

    def __init__(self, finder: SheetFinder, tags: TagFinder, luma: LumaFrame, sight: SheetSight) -> None:
        self._finder = finder
        self._tags = tags
        self._rest = sight
        self._sight = sight
        self._gauges = {
            tag_id: ShiftGauge(luma, *self._patch(tag_id, homography))
            for tag_id, homography in sight.homographies.items()
        }
        self.moved_frames: dict[int, SheetSight] = {}
        """Frames in which the sheet stood elsewhere in the picture, with where."""
        self.lost_frames: list[int] = []
        """Frames in which fewer than two tags could be placed although the picture had moved."""

    def update(self, index: int, luma: LumaFrame) -> None:
        """Look at the sheet in the next frame."""
        if self._resting(index, luma):
            return
        sight = self._finder.follow(luma, self._sight)
        if len(sight.homographies) < 2:
            found = self._tags.find(luma)
            sight = self._finder.place(luma, found, self._rest.blur_px)
        if len(sight.homographies) < 2:
            self.lost_frames.append(index)
            return
        self._sight = sight
        self.moved_frames[index] = sight

    def _resting(self, index: int, luma: LumaFrame) -> bool:
        """Return whether the sheet stands where it stood.

        Its tags move together, so one that stands tells of all; they take turns. Where that one was moved,
        or covered by a shadow or a foot, the sheet still stands when two of the others do.
        """
        gauges = list(self._gauges.values())
        first = index % len(gauges)
        if self._stands(gauges[first], luma):
            return True
        others = gauges[:first] + gauges[first + 1 :]
        return sum(self._stands(gauge, luma) for gauge in others) >= min(2, len(gauges))

    @staticmethod
    def _stands(gauge: ShiftGauge, luma: LumaFrame) -> bool:
        return math.hypot(*gauge.shift(luma)) < MOVED_PX

    def _patch(self, tag_id: int, homography: FloatArray) -> tuple[FloatArray, int]:
        centre, jacobian = plane_jacobian(homography)
        half = 0.5 * self._finder.sides_m[tag_id] * float(np.sqrt(abs(np.linalg.det(jacobian))))
        return centre, max(int(half * 1.1), 6)
