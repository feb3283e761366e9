"""From a clip to its measurement: the one path that every command and every lesson takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from pennyfall.calibration.club import Club
from pennyfall.calibration.layout import STANDARD_SHEET, TagLayout
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.tag_size import TagSizes
from pennyfall.cli.clip_time import (
    on_true_times,
    refuse_slow_motion,
    refuse_two_speeds,
    slow_motion_instead,
    with_time_facts,
)
from pennyfall.cli.no_sheet import by_head_tag, with_unknown_size, without_sheet_cautions
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import (
    CalibrationFacts,
    Caution,
    Estimate,
    Measurement,
    StrokeMeasures,
    TrackingFacts,
)
from pennyfall.tracker.boxes import Box
from pennyfall.tracker.clip import Clip
from pennyfall.tracker.dot_colour import WantedColour
from pennyfall.tracker.following import LEAST_SHEET_TAGS, Followed, follow_clip
from pennyfall.tracker.mirrored import sheet_is_mirrored
from pennyfall.tracker.picture_errors import with_picture_errors
from pennyfall.tracker.placing import PlacedHead, place_head
from pennyfall.tracker.stroke_measurement import StrokesResult, measure_strokes

LEAST_SEEN_SHARE = 0.35
"""Chosen by us: a head seen in fewer frames than this has no stroke that could be trusted."""

POOR_SEEN_SHARE = 0.95
"""Chosen by us: below this the coach is told, so that the next clip is better."""

MOVED_SHARE = 0.01
"""Chosen by us: more frames than this in which the sheet stood elsewhere is a moved camera, not a flicker."""

Progress = Callable[[float], None]


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasureOptions:
    """What the coach told beside the clip."""

    club: Club | None = None
    """The club file; it gives the tag's height and size and the coin's shelf."""
    tag_height_m: Estimate | None = None
    """Height of the tag above the floor at address; it overrides the club file [m]."""
    layout: TagLayout = STANDARD_SHEET
    """The printed tags, scaled already where the check ruler said so."""
    lens: Lens | None = None
    """Calibrated lens."""
    recorded_at_hz: float | None = None
    """True frame rate of a clip re-timed to slow motion [Hz]."""
    box: Box | None = None
    """A patch of the head on the first frame, followed in place of the tag."""
    dot: WantedColour | Box | None = None
    """A dot on the head, by its colour or by a box around it, followed in place of the tag."""

    readout_s: float | None = None
    """Time from the picture's first row to its last, where the coach knows it [s]."""

    @property
    def method(self) -> Literal["tag", "dot", "patch"]:
        """What is followed on the head."""
        if self.dot is not None:
            return "dot"
        return "tag" if self.box is None else "patch"

    @property
    def stated_height(self) -> Estimate | None:
        """Height of the tag where it was measured."""
        if self.tag_height_m is not None:
            return self.tag_height_m
        return self.club.tag_height_m if self.club is not None else None

    @property
    def tag_sizes(self) -> TagSizes | None:
        """Sizes the head tag may have; None where club or layout state it."""
        stated = self.club is not None and self.club.tag_side_m is not None
        if stated or not self.layout.printed_sides_m:
            return None
        return TagSizes(assumed_m=self.layout.head_tag_side_m, printed_m=self.layout.printed_sides_m)

    @property
    def tags(self) -> TagLayout:
        """The layout with the head tag's size from the club file."""
        if self.club is None or self.club.tag_side_m is None:
            return self.layout
        return replace(self.layout, head_tag_side_m=self.club.tag_side_m)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ClipResult:
    """A measured clip with all that a picture, a page or a track file needs of it."""

    measurement: Measurement
    followed: Followed
    placed: PlacedHead
    motion: StrokesResult


def measure_clip(path: Path, options: MeasureOptions, *, progress: Progress | None = None) -> ClipResult:
    """Measure every stroke in a clip.

    Parameters
    ----------
    path : Path
        The video file.
    options : MeasureOptions
        What the coach told beside the clip.
    progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    CannotMeasure
        When the clip cannot be read, sheet or head cannot be found, or no whole stroke is in it.

    """
    clip = Clip(path, recorded_at_hz=options.recorded_at_hz)
    promised = clip.header.frames_promised
    followed = follow_clip(
        clip,
        options.tags,
        lens=options.lens,
        box=options.box,
        dot=options.dot,
        progress=(
            None
            if progress is None
            else lambda index, _time: progress((index + 1) / promised if promised > index else 1.0)
        ),
    )
    if followed.pose is None:
        refuse_mirrored(path, options.tags)
        followed = by_head_tag(followed, clip, stated_height=options.stated_height, lens=options.lens)
    refuse_unusable(path.name, followed)
    followed, repeated = on_true_times(followed, clip, options.readout_s)
    sizes = options.tag_sizes if followed.sheet is not None else None
    placed = place_head(followed, stated_height=options.stated_height, tag_sizes=sizes)
    if followed.sheet is None and options.tag_sizes is not None:
        placed = with_unknown_size(placed)
    refuse_two_speeds(path.name, clip, placed)
    try:
        motion = measure_strokes(
            placed.head, placed.balls, scale_rel_sd=placed.scale_rel_sd, direction=placed.direction
        )
    except CannotMeasure as error:
        raise slow_motion_instead(path.name, clip, placed) or error from None
    refuse_slow_motion(path.name, clip, motion.strokes)
    measurement = Measurement(
        clip=clip.facts(),
        calibration=_calibration_facts(followed, placed, options),
        tracking=TrackingFacts(
            method=options.method,
            frames_seen_share=float(np.mean(followed.head.seen)),
            noise_sd_m=motion.noise_sd_m,
            innovation_ratio=motion.innovation_ratio,
        ),
        strokes=tuple(_with_loose_object(with_picture_errors(stroke), options) for stroke in motion.strokes),
        warnings=(
            *clip_cautions(clip),
            *sight_cautions(followed, placed),
            *without_sheet_cautions(followed, placed, options.tags, size_stated=options.tag_sizes is None),
            *motion.cautions,
        ),
    )
    return ClipResult(
        measurement=with_time_facts(
            measurement, clip, followed, placed, readout_s=options.readout_s, repeated=repeated
        ),
        followed=followed,
        placed=placed,
        motion=motion,
    )


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


def refuse_unusable(name: str, followed: Followed) -> None:
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
    if not followed.head_ever_seen:
        raise CannotMeasure(
            f"The sheet is found in {name}, but no tag on the putter head.",
            fix="Stick the head tag flat on top of the head, clean and uncovered, the largest that fits; "
            "check the size in the club file too. Without a tag, follow a patch of the head itself (--box).",
        )
    if seen < LEAST_SEEN_SHARE:
        raise CannotMeasure(
            f"The head tag is seen in {100 * seen:.0f} % of the frames of {name}.",
            fix="The shutter may be too slow: film in brighter light or at a higher frame rate, and keep the "
            "whole stroke in the picture.",
        )


def clip_cautions(clip: Clip) -> tuple[Caution, ...]:
    """Return what the file itself gives cause to say."""
    notes = []
    if clip.damaged:
        notes.append(Caution("damaged-file", "The clip ends in damage; the part before it was measured."))
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


def _calibration_facts(followed: Followed, placed: PlacedHead, options: MeasureOptions) -> CalibrationFacts:
    pose = followed.pose
    if pose is None:
        raise ValueError("the camera has no pose")
    x, y, z = (float(value) for value in placed.camera.centre)
    if options.tag_height_m is not None:
        source = "stated"
    else:
        source = "club-file" if options.club is not None else "estimated"
    return CalibrationFacts(
        source="sheet" if followed.sheet is not None else "head-tag",
        focal_source=pose.focal_source,
        focal_px=pose.focal_px,
        reprojection_rms_px=pose.reprojection_rms_px,
        scale_rel_sd=placed.scale_rel_sd,
        tag_height_m=placed.tag.height_m,
        tag_height_source=source,  # type: ignore[arg-type]
        camera_position_m=(x, y, z),
        camera_moved=camera_moved(followed),
    )


def _with_loose_object(stroke: StrokeMeasures, options: MeasureOptions) -> StrokeMeasures:
    """Return the stroke with where a loose coin would leave the head."""
    from pennyfall.kinematics.friction import published_friction
    from pennyfall.kinematics.loose_object import loose_object_band
    from pennyfall.kinematics.shelf import Shelf

    shelf = options.club.shelf if options.club is not None and options.club.shelf is not None else Shelf()
    band = loose_object_band(
        stroke.profile,
        shelf,
        published_friction(),
        impact_s=stroke.impact_s.value,
        hub_radius_m=stroke.hub_radius_m.value,
    )
    return replace(stroke, loose_object=band)
