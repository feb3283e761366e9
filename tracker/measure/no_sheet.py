"""Measuring without the printed sheet: what serves in its place, and what is lost."""

from __future__ import annotations

import math
from dataclasses import replace

from pennyfall.calibration.layout import TagLayout
from pennyfall.calibration.lens import Lens
from pennyfall.kinematics.values import Caution, Estimate
from pennyfall.tracker.clip.reading import Clip
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.place.placing import PlacedHead

INTERVAL_SDS = 1.96
"""Half-width of a 95 % interval."""

UNKNOWN_SIZE_SD = 0.19
"""Chosen by us: the 95 % interval then holds the truth whichever printed size (16 to 32 mm) was taken for the
usual one of 24 mm."""


def by_head_tag(
    followed: Followed, clip: Clip, *, stated_height: Estimate | None, lens: Lens | None
) -> Followed:
    """Return what was followed with the camera posed by the head tag, where there is one."""
    from pennyfall.tracker.place.without_sheet import posed_by_head_tag

    facts = clip.facts()
    return posed_by_head_tag(
        followed,
        picture_size=(facts.width, facts.height),
        stated_height=stated_height,
        lens=lens,
        pixel_aspect=clip.header.pixel_aspect,
    )


def with_unknown_size(placed: PlacedHead) -> PlacedHead:
    """Return the placed head with a scale as unsure as a tag of unstated size makes it."""
    return replace(
        placed,
        scale=placed.scale.with_uniform(UNKNOWN_SIZE_SD),
        scale_rel_sd=math.hypot(placed.scale_rel_sd, UNKNOWN_SIZE_SD),
    )


def without_sheet_cautions(
    followed: Followed, placed: PlacedHead, tags: TagLayout, *, size_stated: bool
) -> tuple[Caution, ...]:
    """Return what is lost where the head tag had to serve in place of the sheet; nothing with a sheet."""
    if followed.sheet is not None:
        return ()
    percent = 100 * INTERVAL_SDS * placed.scale_rel_sd
    notes = [
        Caution(
            "no-sheet",
            "No printed sheet is found: the scale comes from the head tag alone, so lengths, speeds and "
            f"accelerations are uncertain by {percent:.0f} %. The target line is not known either: the "
            "stroke's own direction is taken for it, and places are told from the tag at address, not from "
            "the ball. Lay the sheet (pennyfall sheet) by the ball.",
        )
    ]
    if not size_stated:
        side_mm = 1e3 * tags.head_tag_side_m
        notes.append(
            Caution(
                "tag-size-assumed",
                f"The head tag is taken to be {side_mm:g} mm wide because nobody said; another size makes "
                "every length wrong in proportion, and most of the uncertainty is that. State its size in a "
                "club file (pennyfall club).",
            )
        )
    return tuple(notes)
