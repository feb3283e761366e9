"""A coloured or bright dot on the head, followed by the centroid of its colour."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays
from pennyfall.tracker.clip.frame import Frame
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.dot.coding import as_coded
from pennyfall.tracker.follow.dot.colour import DotColour, WantedColour, colours_in
from pennyfall.tracker.follow.dot.finding import (
    BLUR_PX,
    HUE_SEPARATION,
    LEAST_SEPARATION,
    RING_PX,
    RoundThing,
    colour_of,
    dot_in_box,
    round_things,
)
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.follow.tag.follower import LONGEST_BLIND_S, SEEK_INTERVAL_S
from pennyfall.tracker.marks.registration import NOISE_CORRELATION

NEAR_PX = 4.0
"""Chosen by us: a dot that moves evenly is found within this of where it is expected."""

SWERVE = 0.6
"""Chosen by us: a fifth of the step is lost at impact, and starts and stops change it as much again; twice
that is looked at."""

AREA_KEPT = (0.7, 1.5)
"""Chosen by us: a dot partly covered falls below, one that runs into its like grows above; a smear of a dot
bright against its ground looks a third larger, because the camera's curve lifts the half tones."""

WIDTH_KEPT = (0.75, 1.35)
"""Chosen by us: width across the motion, which no smear changes."""

MOST_STRAY = 0.35
"""Chosen by us: a colour farther than this off the line from ground to dot is another thing."""

MEMORY = 0.2
"""Chosen by us: area and width follow perspective and light over five frames."""

SETTLED_DIAMETERS, SETTLED_PX = 1.5, 8.0
"""Chosen by us: of several dots of the colour the head's is the one that moves so far first: the
backswing comes before anything else moves, ball and stickers later or never. It needs no guess at light or
size."""

SETTLED_STEPS, LEAST_STEP_PX = 3, 0.2
"""Chosen by us: a head moves off in many steps, a speckle taken for its neighbour in one jump."""

RESCAN_S = 0.25
"""Chosen by us: how often a dot not seen to move yet is looked for among newcomers."""

DOT_FLOOR_PX = 0.04
"""Chosen by us: on rendered clips of known truth at 60, 120 and 240 frames/s the centroid of a moving dot
scattered by this much beyond what its own pixels say: codec and pixel grid follow the dot."""

HUE_FLOOR_PX = 0.06
"""Chosen by us: chroma is coarser and more strongly compressed. In good clips a red dot on a head of
about its brightness scattered by 0.1 px; what a poor clip adds is measured, see `scatter_excess`."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DotSight:
    """The dot in one picture."""

    centre_px: FloatArray
    """Centroid of the share of dot, shape (2,) [px]."""
    covariance: FloatArray
    """Of the centroid, shape (2, 2) [px^2]."""
    area_px: float
    """Sum of the shares: the dot's area, whatever its smear [px^2]."""
    width_px: float
    """Standard deviation across the motion [px]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


class DotFollower:
    """Follows the head's dot; place only, no tilt.

    Parameters
    ----------
    wanted : WantedColour or Box
        The dot's colour, or a box around it on the first frame.

    Notes
    -----
    Every round thing of the colour is followed until one of them moves: that is the one on the head. The
    others, at rest, are remembered, so that none of them is taken for it after a loss.
    """

    def __init__(self, wanted: WantedColour | Box) -> None:
        self._wanted = wanted
        self._dots: list[_OneDot] = []
        self._settled: _OneDot | None = None
        self._times: list[float] = []
        self._next_scan_s = -math.inf

    @property
    def last(self) -> DotSight | None:
        """The dot in the latest frame, None when it was not seen there or is not known from others yet."""
        known = self._settled or (self._dots[0] if len(self._dots) == 1 else None)
        return known.rows[-1] if known is not None and known.rows else None

    def update(self, frame: Frame) -> DotSight | None:
        """Locate the dot in the next frame; a miss is a gap, never an invented point.

        Raises
        ------
        CannotMeasure
            On the first frame, when a box is outside the picture or holds no dot.

        """
        if self._settled is None and frame.time_s >= self._next_scan_s:
            self._scan(frame)
        self._times.append(frame.time_s)
        for dot in self._dots:
            dot.update(frame)
        if self._settled is None:
            self._settle()
        return self.last

    def take_camera(self, camera: Camera, blur_px: float) -> None:
        """Take neither: a dot is followed by its looks alone."""

    def track(self) -> PixelTrack:
        """Return where the dot was in every frame so far."""
        count = len(self._times)
        centre = np.full((count, 2), np.nan)
        covariance = np.full((count, 2, 2), np.nan)
        best = self._best()
        rows = best.rows if best is not None else [None] * count
        for k, row in enumerate(rows):
            if row is not None:
                centre[k] = row.centre_px
                covariance[k] = row.covariance
        if best is not None:
            centre, covariance = as_coded(centre, covariance, by_hue=best.by_hue)
        return PixelTrack(
            time_s=np.array(self._times),
            seen=np.isfinite(centre[:, 0]),
            centre_px=centre,
            covariance_px2=covariance,
            jacobian=np.full((count, 2, 2), np.nan),
            stretch_covariance=np.full((count, 4, 4), np.nan),
            exposure_s=float("nan"),
        )

    def _best(self) -> _OneDot | None:
        """Return the dot that moved first, else the one that has moved farthest."""
        if self._settled is not None:
            return self._settled
        return max(self._dots, key=lambda dot: dot.travel_px, default=None)

    def _scan(self, frame: Frame) -> None:
        self._next_scan_s = frame.time_s + RESCAN_S
        if isinstance(self._wanted, Box):
            if not self._times:
                self._settled = _OneDot(*dot_in_box(frame, self._wanted), missed=0)
                self._dots = [self._settled]
            return
        least = LEAST_SEPARATION if self._wanted.bright else HUE_SEPARATION
        for thing in round_things(frame, self._wanted):
            known = any(np.hypot(*(thing.centre_px - dot.place_px)) < thing.diameter_px for dot in self._dots)
            colour = None if known else colour_of(frame, thing, least=least)
            if colour is not None:
                self._dots.append(_OneDot(thing, colour, missed=len(self._times)))

    def _settle(self) -> None:
        moved = [
            dot for dot in self._dots if dot.travel_px > dot.settling_px and dot.steps_away >= SETTLED_STEPS
        ]
        if moved:
            self._settled = max(moved, key=lambda dot: dot.travel_px)
            self._settled.others = [dot.place_px for dot in self._dots if dot is not self._settled]
            self._dots = [self._settled]


class _OneDot:
    """One round thing, followed by prediction and gates."""

    def __init__(self, thing: RoundThing, colour: DotColour, *, missed: int) -> None:
        self.rows: list[DotSight | None] = [None] * missed
        self.others: list[FloatArray] = []
        """Where things that look alike lie at rest [px]."""
        self.place_px = thing.centre_px
        self._colour = colour
        self._diameter_px = thing.diameter_px
        self._began_px = thing.centre_px
        self.steps_away = 0
        """In how many frames on end it has gone farther from where it began."""
        self._velocity_px_s: FloatArray = np.zeros(2)
        self._time_s = math.nan
        self._next_seek_s = -math.inf
        self._area_px = math.nan
        self._width_px = math.nan

    @property
    def travel_px(self) -> float:
        """How far it has come without a loss [px]."""
        return float(np.hypot(*(self.place_px - self._began_px)))

    @property
    def by_hue(self) -> float:
        """What part of its difference from the ground is told by chroma, 0 to 1."""
        return self._colour.by_hue

    @property
    def settling_px(self) -> float:
        """How far it must come to be the head's [px]."""
        return max(SETTLED_DIAMETERS * self._diameter_px, SETTLED_PX)

    def update(self, frame: Frame) -> None:
        gap_s = frame.time_s - self._time_s if math.isfinite(self._time_s) else 0.0
        found = None
        if gap_s <= LONGEST_BLIND_S:
            step = self._velocity_px_s * gap_s
            speed = float(np.hypot(*step))
            for reach in (NEAR_PX + SWERVE * speed, 3 * NEAR_PX + self._diameter_px + 2 * speed):
                found = self._look(frame, self.place_px + step, reach, step)
                if found is not None:
                    break
        elif frame.time_s >= self._next_seek_s:
            self._next_seek_s = frame.time_s + SEEK_INTERVAL_S
            found = self._seek(frame)
        self.rows.append(found)
        if found is not None:
            self._remember(found, frame.time_s, gap_s)

    def _remember(self, found: DotSight, time_s: float, gap_s: float) -> None:
        fresh = not math.isfinite(self._area_px)
        lost = gap_s > LONGEST_BLIND_S
        keep = 1.0 if fresh else MEMORY
        self._area_px = found.area_px if fresh else self._area_px + keep * (found.area_px - self._area_px)
        self._width_px = (
            found.width_px if fresh else self._width_px + keep * (found.width_px - self._width_px)
        )
        self._velocity_px_s = (
            np.zeros(2) if fresh or lost or gap_s <= 0 else (found.centre_px - self.place_px) / gap_s
        )
        before = self.travel_px
        self.place_px, self._time_s = found.centre_px, time_s
        if lost:
            self._began_px = found.centre_px
        self.steps_away = self.steps_away + 1 if self.travel_px > before + LEAST_STEP_PX else 0

    def _look(self, frame: Frame, centre: FloatArray, reach: float, step: FloatArray) -> DotSight | None:
        """Look for the dot within `reach` of a place; `step` is how far it moves a frame [px]."""
        height, width = frame.luma.shape
        half = reach + 0.6 * self._diameter_px + np.abs(step) / 2 + BLUR_PX + RING_PX + 1
        left, top = (max(int(low) & ~1, 0) for low in centre - half)
        right, bottom = (
            min(int(high) + 2, most) for high, most in zip(centre + half, (width, height), strict=True)
        )
        if right - left < 4 or bottom - top < 4:
            return None
        colours = colours_in(frame, left, top, right, bottom)
        share = self._colour.share(colours)
        speed = float(np.hypot(*step))
        # A smear spreads the dot: open the whole interval, a dot of width d reaches d / (d + s) of its share.
        level = 0.5 * self._diameter_px / (self._diameter_px + 0.5 * speed)
        count, marks, boxes, middles = cv2.connectedComponentsWithStats((share > level).astype(np.uint8))
        labels = np.asarray(marks, dtype=np.int32)
        best, nearest, ground = None, reach, None
        for label in range(1, count):
            away = float(np.hypot(*(middles[label] + [left, top] - centre)))
            if away < nearest and boxes[label, cv2.CC_STAT_AREA] > 4:
                ring = _ring(labels, label)
                sight = self._centroid(colours, share, labels, label, step)
                if sight is not None:
                    best, nearest, ground = sight, away, colours[ring].astype(np.float64)
        if best is None or ground is None:
            return None
        if self.travel_px > self.settling_px:
            # A thing let go is soon before another ground; a dot on a head keeps its own.
            renewed = self._colour.over(ground)
            self._colour = renewed if renewed.separation > HUE_SEPARATION else self._colour
        return DotSight(
            centre_px=best.centre_px + np.array([left, top]),
            covariance=best.covariance,
            area_px=best.area_px,
            width_px=best.width_px,
        )

    def _centroid(
        self,
        colours: NDArray[np.float32],
        share: NDArray[np.float32],
        labels: NDArray[np.int32],
        label: int,
        step: FloatArray,
    ) -> DotSight | None:
        """Return one connected thing's centroid in window pixels; None when it is not the dot."""
        core = labels == label
        support = _grown(core, BLUR_PX) & ~_others(labels, label)
        ring = _ring(labels, label)
        if support[[0, -1]].any() or support[:, [0, -1]].any() or np.count_nonzero(ring) < 8:
            return None  # cut by the picture's edge or the window's
        around = share[ring].astype(np.float64)
        level = float(np.median(around))
        noise = 1.4826 * float(np.median(np.abs(around - level))) + 0.5 * float(
            np.abs(self._colour.weights).max()
        )
        rows, columns = np.nonzero(support)
        places = np.column_stack([columns, rows]).astype(np.float64)
        shares = share[support].astype(np.float64) - level
        area = float(shares.sum())
        if area <= 0:
            return None
        centre = shares @ places / area
        off = places - centre
        spread = (shares * off.T) @ off / area
        middle = share[core] > 0.7 * float(share[core].max())
        if self._colour.stray(np.median(colours[core][middle], axis=0).astype(np.float64)) > MOST_STRAY:
            return None
        across = _across(step)
        width = math.sqrt(max(float(across @ spread @ across), 1e-6))
        if not self._keeps(area, width):
            return None
        # What intrudes on one side shows as a difference between a tight and a wide support.
        tight = _grown(core, 1) & support
        near = share[tight].astype(np.float64) - level
        rows, columns = np.nonzero(tight)
        drift = near @ np.column_stack([columns, rows]) / float(near.sum()) - centre
        lever = off.T @ off
        noise = max(noise, self._unevenness(share, core))
        alike = NOISE_CORRELATION * (1 + 3 * self._colour.by_hue)  # a chroma pixel covers four
        covariance = alike * noise**2 * lever / area**2 + np.outer(drift, drift)
        covariance += (DOT_FLOOR_PX**2 + (HUE_FLOOR_PX * self._colour.by_hue) ** 2) * np.eye(2)
        return DotSight(centre_px=centre, covariance=covariance, area_px=area, width_px=width)

    @staticmethod
    def _unevenness(share: NDArray[np.float32], core: BoolArray) -> float:
        """Return how much the share of dot varies within the dot, where it should be one."""
        inner = cv2.erode(core.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=BLUR_PX) > 0
        return float(np.std(share[inner])) if np.count_nonzero(inner) >= 9 else 0.0

    def _keeps(self, area: float, width: float) -> bool:
        """Return whether area and width are the dot's."""
        if not math.isfinite(self._area_px):
            return True
        (least, most), (thin, wide) = AREA_KEPT, WIDTH_KEPT
        return least < area / self._area_px < most and thin < width / self._width_px < wide

    def _seek(self, frame: Frame) -> DotSight | None:
        """Look for a lost dot in the whole picture, the nearest to where it was first."""
        small = _halved_colours(frame)
        share = self._colour.share(small)
        count, _, boxes, middles = cv2.connectedComponentsWithStats((share > 0.5).astype(np.uint8))
        ratio = np.array(frame.luma.shape[::-1]) / np.array(share.shape[::-1])
        area = self._area_px if math.isfinite(self._area_px) else math.pi * self._diameter_px**2 / 4
        places = (middles + 0.5) * ratio - 0.5
        sizes = boxes[:, cv2.CC_STAT_AREA] * float(ratio.prod())
        likely = [k for k in range(1, count) if 0.4 < sizes[k] / area < 2.0 and not self._taken(places[k])]
        for k in sorted(likely, key=lambda one: float(np.hypot(*(places[one] - self.place_px))))[:6]:
            found = self._look(frame, places[k], NEAR_PX, np.zeros(2))
            if found is not None:
                return found
        return None

    def _taken(self, place: FloatArray) -> bool:
        return any(np.hypot(*(place - other)) < self._diameter_px for other in self.others)


def _halved_colours(frame: Frame) -> NDArray[np.float32]:
    """Return a whole frame's colours at the size of its chroma, shape (rows, columns, 3)."""
    blue, red = frame.chroma()
    luma = cv2.resize(np.ascontiguousarray(frame.luma), blue.shape[::-1], interpolation=cv2.INTER_AREA)
    return np.stack([luma, blue, red], axis=-1).astype(np.float32)


def _grown(mask: BoolArray, px: int) -> BoolArray:
    size = 2 * px + 1
    shape = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return np.asarray(cv2.dilate(mask.astype(np.uint8), shape) > 0, dtype=np.bool_)


def _others(labels: NDArray[np.int32], label: int) -> BoolArray:
    """Return where other things of the colour are, with their edges."""
    return _grown((labels > 0) & (labels != label), 1)


def _ring(labels: NDArray[np.int32], label: int) -> BoolArray:
    """Return the ground around one thing of the colour."""
    core = labels == label
    wide, near = _grown(core, BLUR_PX + RING_PX), _grown(core, BLUR_PX + 1)
    return np.asarray(wide & ~near & ~_others(labels, label), dtype=np.bool_)


def _across(step: FloatArray) -> FloatArray:
    """Return the unit vector across a step; the picture's upward where there is none."""
    length = float(np.hypot(*step))
    return np.array([-step[1], step[0]]) / length if length > 0.5 else np.array([0.0, 1.0])
