"""Clips without a usable sheet or head, refused with what to do about it."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import numpy as np

from pennyfall.calibration.layout import TagLayout
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.clip.header_clock import missing_bytes
from pennyfall.tracker.clip.reading import Clip
from pennyfall.tracker.follow.clip_pass import LEAST_SHEET_TAGS, Followed
from pennyfall.tracker.follow.leaving import left_the_picture
from pennyfall.tracker.follow.mirrored import sheet_is_mirrored

LEAST_SEEN_SHARE = 0.35
"""Chosen by us: a head seen in fewer frames than this has no stroke that could be trusted."""

Method = Literal["tag", "dot", "patch"]


def refuse_mirrored(path: Path, tags: TagLayout) -> None:
    """Refuse a clip that shows the sheet mirrored; to be asked when the sheet was not found.

    Raises
    ------
    CannotMeasure
        With the reason and what to do about it.

    """
    if sheet_is_mirrored(Clip(path), tags):
        raise CannotMeasure(
            f"{path.name} is mirrored: the sheet's tags read only in the flipped picture.",
            fix="Film with the rear camera, or switch off the mirroring of the front camera's videos.",
        )


def refuse_unusable(name: str, followed: Followed, *, method: Method = "tag") -> None:
    """Refuse a clip without a usable sheet or head.

    Raises
    ------
    CannotMeasure
        With the measured number and what to do about it.

    """
    if followed.pose is None and followed.sheet_tags_seen == 0:
        raise CannotMeasure(
            f"No tag of the printed sheet is found in {name}.",
            fix="Lay the sheet (pennyfall sheet) flat on the floor by the ball, all of it in the picture, in "
            "light that shows its tags plainly.",
        )
    if followed.pose is None:
        raise CannotMeasure(
            f"Only {followed.sheet_tags_seen} of the sheet's tags is found in {name}; "
            f"{LEAST_SHEET_TAGS} are the fewest, four are best.",
            fix="Uncover the sheet, or move the phone until the whole sheet is in the picture.",
        )
    seen = float(np.mean(followed.head.seen))
    if not followed.head_ever_seen and method == "dot":
        raise CannotMeasure(
            f"The sheet is found in {name}, but no dot of that colour that moves.",
            fix="Draw a box around the dot on the first frame (--dot x,y,w,h); use a dot of 10 mm or more "
            "that differs from the head in brightness too, such as white or yellow on a dark head.",
        )
    if not followed.head_ever_seen:
        raise CannotMeasure(
            f"The sheet is found in {name}, but no tag on the putter head.",
            fix="Stick the head tag flat on top of the head, clean and uncovered, the largest that fits; "
            "check the size in the club file too. Where no tag will stick, follow a dot (--dot) or a patch "
            "of the head itself (--box).",
        )
    if seen < LEAST_SEEN_SHARE:
        raise CannotMeasure(
            f"The head {method} is seen in {100 * seen:.0f} % of the frames of {name}.",
            fix="The shutter may be too slow: film in brighter light or at a higher frame rate, and keep the "
            "whole stroke in the picture.",
        )


def cut_off_instead(clip: Clip, followed: Followed) -> CannotMeasure | None:
    """Return why a clip without a whole stroke has none, where the file or the framing tells."""
    name = clip.header.path.name
    missing = missing_bytes(clip.header.path)
    if missing:
        share = missing / (missing + clip.header.path.stat().st_size)
        return CannotMeasure(
            f"{name} was not copied whole: the last {max(100 * share, 1):.0f} % of the file are missing, and "
            "what is left holds no whole stroke.",
            fix="Copy the clip from the phone once more.",
        )
    facts = clip.facts()
    leaving = left_the_picture(followed.head, (facts.width, facts.height))
    if leaving is not None:
        return CannotMeasure(
            f"The head leaves the picture of {name} on its {leaving.side} side at {leaving.time_s:.2f} s, "
            "and no whole stroke is left.",
            fix="Step back or turn the phone sideways, so that the whole stroke stays in the picture.",
        )
    return None
