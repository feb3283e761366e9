"""Dots to follow: round things of one colour in a whole picture, or the dot in a box."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray, freeze_arrays
from pennyfall.tracker.clip.frame import Frame
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.dot.colour import DotColour, WantedColour, colours_in

LEAST_DIAMETER_PX, LARGEST_SHARE = 4.0, 0.06
"""Chosen by us: from the smallest disc with a middle of its own colour to a twentieth of the picture."""

HUE_TANGENT = 0.5
"""Chosen by us: 27 degrees of hue to either side; lamps and cameras shift less, neighbours of a rainbow of
eight lie 45 apart."""

LEAST_CHROMA, LEAST_BRIGHTER = 10.0, 25.0
"""Chosen by us: less than this stands out from no floor [code values]."""

LEAST_ROUNDNESS = 0.75
"""Chosen by us: a disc seen at a slant fills its ellipse; a square fills 0.95 of one, a bar
or a letter less."""

MOST_DOTS = 12
"""Chosen by us: more things of one colour than these are a pattern."""

MOST_LOOKS = 60
"""Chosen by us: so many bright or coloured places are looked at, the most striking first."""

LEAST_SEPARATION = 5.0
"""Chosen by us: a dot nearer than five times the ground's scatter to the ground drowns in it."""

HUE_SEPARATION = 3.0
"""Chosen by us: bright speckles are common on any floor, things of one hue are rare, so less will do."""

BLUR_PX = 2
"""Chosen by us: lens and chroma spread the dot's edge over about two pixels, which belong to it."""

RING_PX = 4
"""Chosen by us: width of the ring of ground around the dot that gives the level of nothing."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class RoundThing:
    """A round thing of the wanted colour."""

    centre_px: FloatArray
    """Its middle, shape (2,) [px], to about a pixel."""
    diameter_px: float
    """Of the circle of the same area [px]."""
    strength: float
    """How far it stands out, times how round it is [code values]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def round_things(frame: Frame, wanted: WantedColour) -> tuple[RoundThing, ...]:
    """Return the round things of a colour in a frame, the most striking first.

    Each is what stands out by more than half of its own peak.
    """
    strength, ratio = _strength(frame, wanted)
    least = LEAST_BRIGHTER if wanted.bright else LEAST_CHROMA
    largest = LARGEST_SHARE * max(frame.luma.shape)
    reach = int(largest / float(ratio.min()))
    rest = strength.copy()
    found: list[RoundThing] = []
    for _ in range(MOST_LOOKS):
        _, peak, _, (column, row) = cv2.minMaxLoc(rest)
        if peak < least or len(found) == MOST_DOTS:
            break
        top, left = max(row - reach, 0), max(column - reach, 0)
        part = rest[top : row + reach + 1, left : column + reach + 1]
        _, labels = cv2.connectedComponents((part > 0.5 * peak).astype(np.uint8))
        mask = labels == labels[row - top, column - left]
        thing = _measured(mask, ratio, np.array([left, top]), float(peak), largest)
        if thing is not None:
            found.append(thing)
        # What belongs to the same hump is not to be found again from its flank.
        flank = cv2.dilate(mask.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
        part[flank] = 0
    return tuple(sorted(found, key=lambda one: -one.strength))


def _strength(frame: Frame, wanted: WantedColour) -> tuple[NDArray[np.float32], FloatArray]:
    """Return how far each (chroma) pixel stands out as wanted, and luma pixels per such pixel, (x, y)."""
    blue, red = (plane.astype(np.float32) - 128 for plane in frame.chroma())
    ratio = np.array(frame.luma.shape[::-1], dtype=np.float64) / blue.shape[::-1]
    if not wanted.bright:
        along = (wanted.chroma / np.hypot(*wanted.chroma)).astype(np.float32)
        hue = blue * along[0] + red * along[1]
        off = np.abs(red * along[0] - blue * along[1])
        return np.where(off < HUE_TANGENT * hue, hue, np.float32(0)).astype(np.float32), ratio
    luma = cv2.resize(
        np.ascontiguousarray(frame.luma), blue.shape[::-1], interpolation=cv2.INTER_AREA
    ).astype(np.float32)
    side = int(LARGEST_SHARE * max(frame.luma.shape) / ratio.min()) | 1
    brighter = cv2.morphologyEx(luma, cv2.MORPH_TOPHAT, np.ones((side, side), np.uint8))
    grey = np.hypot(blue, red) < 2 * LEAST_CHROMA
    return np.where(grey, brighter, np.float32(0)).astype(np.float32), ratio


def _measured(
    mask: NDArray[np.bool_], ratio: FloatArray, corner: FloatArray, peak: float, largest: float
) -> RoundThing | None:
    rows, columns = np.nonzero(mask)
    area = len(rows) * float(ratio.prod())
    diameter = float(np.sqrt(4 * area / np.pi))
    at_edge = rows.min() == 0 or columns.min() == 0 or rows.max() == mask.shape[0] - 1
    if at_edge or columns.max() == mask.shape[1] - 1 or not LEAST_DIAMETER_PX <= diameter <= largest:
        return None
    # A pixel is a square of variance 1/12; an ellipse's area is 4 pi times the root of its moments' product.
    spread = np.cov(columns, rows, bias=True) + np.eye(2) / 12
    roundness = len(rows) / (4 * np.pi * np.sqrt(float(np.linalg.det(spread))))
    if roundness < LEAST_ROUNDNESS:
        return None
    middle = (np.array([columns.mean(), rows.mean()]) + corner + 0.5) * ratio - 0.5
    return RoundThing(centre_px=middle, diameter_px=diameter, strength=peak * min(roundness, 1.0))


def dot_in_box(frame: Frame, box: Box) -> tuple[RoundThing, DotColour]:
    """Return the dot in a box on a frame: what differs most from the box's border.

    Raises
    ------
    CannotMeasure
        When the box is outside the picture or holds nothing that stands out.

    """
    box.refuse_outside(frame.luma.shape[1], frame.luma.shape[0])
    left, top = box.x & ~1, box.y & ~1
    colours = colours_in(frame, left, top, box.x + box.width, box.y + box.height)
    rim = np.ones(colours.shape[:2], dtype=np.bool_)
    rim[2:-2, 2:-2] = False
    inner = ~rim
    if min(box.width, box.height) >= 8:
        ground = np.median(colours[rim], axis=0)
        away = np.linalg.norm(colours - ground, axis=-1)
        core = inner & (away > 0.6 * np.percentile(away[inner], 98))
        _, labels, boxes, middles = cv2.connectedComponentsWithStats(core.astype(np.uint8))
        if len(boxes) > 1:
            largest = 1 + int(np.argmax(boxes[1:, cv2.CC_STAT_AREA]))
            colour = DotColour.between(colours, labels == largest, rim)
            area = float(boxes[largest, cv2.CC_STAT_AREA])
            if colour.separation > LEAST_SEPARATION and area >= 6:
                thing = RoundThing(
                    centre_px=middles[largest] + [left, top],
                    diameter_px=float(np.sqrt(4 * area / np.pi)),
                    strength=colour.separation,
                )
                return thing, colour
    raise CannotMeasure(
        f"The box {box.x},{box.y},{box.width},{box.height} holds no dot that stands out from what is around "
        "it.",
        fix="Draw it around the dot with a little of the head on every side, at least 8 px wide and high; a "
        "dot should be of another colour than the head.",
    )


def colour_of(frame: Frame, thing: RoundThing, *, least: float) -> DotColour | None:
    """Return the colours of a round thing and its ground; None where they are nearer than `least`."""
    height, width = frame.luma.shape
    radius = thing.diameter_px / 2
    half = radius + BLUR_PX + RING_PX + 2
    left, top = (max(int(low) & ~1, 0) for low in thing.centre_px - half)
    right, bottom = (
        min(int(high) + 2, most) for high, most in zip(thing.centre_px + half, (width, height), strict=True)
    )
    colours = colours_in(frame, left, top, right, bottom)
    rows, columns = np.mgrid[top:bottom, left:right]
    away = np.hypot(columns - thing.centre_px[0], rows - thing.centre_px[1])
    core, ring = away < max(0.5 * radius, 1.0), (away > radius + BLUR_PX) & (away < half)
    if not core.any() or np.count_nonzero(ring) < 8:
        return None
    colour = DotColour.between(colours, core, ring)
    return colour if colour.separation > least else None
