"""The colours of a dot and of its ground, taken from the picture in which it is first seen."""

from __future__ import annotations

import cv2
import numpy as np

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.clip.frame import Frame
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.dot.colour import DotColour, colours_in
from pennyfall.tracker.follow.dot.finding import RoundThing

LEAST_SEPARATION = 5.0
"""Chosen by us: a dot nearer than five times the ground's scatter to the ground drowns in it."""

HUE_SEPARATION = 3.0
"""Chosen by us: bright speckles are common on any floor, things of one hue are rare, so less will do."""

BLUR_PX = 2
"""Chosen by us: lens and chroma spread the dot's edge over about two pixels, which belong to it."""

RING_PX = 4
"""Chosen by us: width of the ring of ground around the dot that gives the level of nothing."""


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
