"""What a measured clip gives the coach cause to know."""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import Caution, ClipFacts
from pennyfall.tracker.clip.header_clock import missing_bytes
from pennyfall.tracker.clip.reading import Clip
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.follow.leaving import left_the_picture
from pennyfall.tracker.place.placing import PlacedHead

POOR_SEEN_SHARE = 0.95
"""Chosen by us: below this the coach is told, so that the next clip is better."""

MOVED_SHARE = 0.01
"""Chosen by us: more frames than this in which the sheet stood elsewhere is a moved camera, not a flicker."""


def clip_cautions(clip: Clip) -> tuple[Caution, ...]:
    """Return what the file itself gives cause to say."""
    notes = []
    if clip.damaged:
        notes.append(
            Caution(
                "damaged-file",
                f"The file is damaged: {clip.frames_damaged} pictures were left out, the others measured.",
            )
        )
    if missing_bytes(clip.header.path):
        notes.append(
            Caution(
                "file-cut-short",
                "The file was not copied whole; what is left of it was measured. Copy it from the phone once "
                "more.",
            )
        )
    if clip.timestamps_repaired:
        notes.append(
            Caution(
                "timestamps",
                f"{clip.timestamps_repaired} frames had a timestamp that does not fit their neighbours' and "
                "were left out.",
            )
        )
    if clip.interlaced:
        notes.append(
            Caution("interlaced", "The clip is interlaced: its two half pictures blur every moving edge.")
        )
    return tuple(notes)


def framing_cautions(facts: ClipFacts, followed: Followed) -> tuple[Caution, ...]:
    """Return where the head leaves the picture, if it does."""
    leaving = left_the_picture(followed.head, (facts.width, facts.height))
    if leaving is None:
        return ()
    return (
        Caution(
            "head-left-picture",
            f"The head leaves the picture on its {leaving.side} side at {leaving.time_s:.2f} s: step back or "
            "turn the phone sideways.",
        ),
    )


def sight_cautions(followed: Followed, placed: PlacedHead) -> tuple[Caution, ...]:
    """Return what sheet, head and ball give cause to say."""
    notes = []
    pose = followed.pose
    seen = float(np.mean(followed.head.seen))
    if seen < POOR_SEEN_SHARE:
        notes.append(
            Caution(
                "head-seen",
                f"The head is seen in {100 * seen:.0f} % of the frames: film in brighter light or at a "
                "higher frame rate, with the whole stroke in the picture.",
            )
        )
    if pose is not None and pose.focal_source == "assumed" and followed.sheet is not None:
        notes.append(
            Caution(
                "focal-assumed",
                "The focal length is assumed, not measured: lengths and speeds are uncertain by "
                f"{100 * placed.scale_rel_sd:.1f} %. Film from a slant, or make a lens file.",
            )
        )
    if followed.sheet is not None and followed.sheet_tags_seen < 4:
        notes.append(
            Caution("sheet-covered", f"Only {followed.sheet_tags_seen} of the sheet's four tags are seen.")
        )
    if camera_moved(followed):
        notes.append(
            Caution(
                "camera-moved",
                "Camera or sheet moved during the clip; the camera was placed anew in every such frame, at "
                "the price of more noise. Put the phone on a stand.",
            )
        )
    if followed.sheet_lost:
        notes.append(
            Caution(
                "sheet-lost",
                f"In {len(followed.sheet_lost)} frames the sheet could not be placed after it had moved.",
            )
        )
    if placed.direction == "against the arrow":
        notes.append(
            Caution(
                "sheet-reversed",
                "The sheet's arrow points away from the target; the ball's way was taken as the target line.",
            )
        )
    if placed.tag_quarters_off:
        notes.append(
            Caution(
                "tag-turned",
                f"The head tag is stuck on turned by {90 * placed.tag_quarters_off} degrees; it was read as "
                "if its mark pointed to the face. Stick it on the right way for the next clip.",
            )
        )
    if not any(ball.departed for ball in followed.balls):
        notes.append(
            Caution(
                "no-ball",
                "No ball was seen to leave: ball speed is not measured, impact is told from the head alone.",
            )
        )
    return tuple(notes)


def camera_moved(followed: Followed) -> bool:
    """Return whether camera or sheet moved for more than a flicker."""
    return len(followed.moved) > MOVED_SHARE * len(followed.head.time_s)
