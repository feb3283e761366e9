"""A first look at a clip, before anything is measured: its frame rate, and whether it is the original."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pennyfall.tracker.clip.reading import read_clip
from pennyfall.tracker.measure.check import GOOD_RATE_HZ, LEAST_RATE_HZ

SLOW_MOTION = (
    "Film in the phone's slow-motion mode, 240 frames a second (120 will do). If you did, the phone sent "
    "a copy: set its playback speed to 100 % before picking it, or pick the file itself (Browse)."
)


@dataclass(frozen=True, kw_only=True, slots=True)
class ClipLook:
    """What a clip's file says."""

    words: str
    """Frame rate, codec, and original or re-timed."""
    advice: str = ""
    """What to do about it; empty where nothing needs to be done."""


def look_at(_tell: object, path: Path, recorded_at_hz: float | None) -> ClipLook:
    """Return what a clip's header and timestamps say; no frame is decoded.

    Raises
    ------
    CannotMeasure
        When the file is no film.

    """
    reading = read_clip(path, recorded_at_hz=recorded_at_hz)
    base = reading.time_base
    rate_hz = 1 / float(np.median(np.diff(base.time_s))) if len(base.time_s) > 1 else math.nan
    times = "times as the camera wrote them"
    if base.steps is not None and not base.ramp:
        times = "its frame rate changes on the way"
    elif base.source != "timestamps":
        played_hz = rate_hz / base.slow_motion_factor
        times = f"re-timed: plays at {played_hz:.0f}, put back on true time"
    return ClipLook(
        words=f"{rate_hz:.0f} frames a second, {reading.header.codec}; {times}",
        advice=""
        if rate_hz >= GOOD_RATE_HZ
        else SLOW_MOTION
        if rate_hz < LEAST_RATE_HZ + 12
        else _weak(rate_hz),
    )


def _weak(rate_hz: float) -> str:
    return (
        f"{rate_hz:.0f} frames a second will do for tempo; for acceleration film in slow motion, 240 or 120."
    )


def first_picture(_tell: object, path: Path) -> bytes:
    """Return a clip's first picture as a JPEG of its own size, the way up it is shown."""
    import cv2

    from pennyfall.tracker.clip.decoding import Decoding
    from pennyfall.tracker.clip.frame import upright

    decoding = Decoding(read_clip(path))
    _, picture = next(iter(decoding.pictures()))
    turned = round(picture.rotation / 90) * 90
    width, height = picture.width, picture.height
    if turned % 180:
        width, height = height, width
    shown = upright(picture, turned, width, height, pixels="bgr24")
    coded: bytes = cv2.imencode(".jpg", shown, [cv2.IMWRITE_JPEG_QUALITY, 80])[1].tobytes()
    return coded
