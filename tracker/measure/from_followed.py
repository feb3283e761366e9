"""From what was followed in a clip's pictures to the measurement of its strokes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pennyfall.kinematics.coin.band import loose_object_band
from pennyfall.kinematics.coin.friction import published_friction
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import CalibrationFacts, Measurement, StrokeMeasures, TrackingFacts
from pennyfall.tracker.clip.reading import Clip
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.measure.cautions import camera_moved, clip_cautions, framing_cautions, sight_cautions
from pennyfall.tracker.measure.measured import ClipResult
from pennyfall.tracker.measure.no_sheet import with_unknown_size, without_sheet_cautions
from pennyfall.tracker.measure.refusals import cut_off_instead
from pennyfall.tracker.measure.settings import Settings
from pennyfall.tracker.measure.strokes import measure_strokes
from pennyfall.tracker.measure.times import (
    on_true_times,
    refuse_slow_motion,
    refuse_two_speeds,
    slow_motion_instead,
    with_time_facts,
)
from pennyfall.tracker.place.placing import PlacedHead, place_head


def measure_followed(clip: Clip, followed: Followed, settings: Settings) -> ClipResult:
    """Measure the strokes of a clip that was followed to its end.

    Parameters
    ----------
    clip : Clip
        The clip, all of its frames read.
    followed : Followed
        What was seen in them, with a posed camera.
    settings : Settings
        What the coach told beside the clip.

    Raises
    ------
    CannotMeasure
        When no whole stroke is in it, or its times cannot be true.

    """
    name = clip.header.path.name
    followed, repeated = on_true_times(followed, clip, settings.readout_s)
    sizes = settings.tag_sizes if followed.sheet is not None else None
    placed = place_head(followed, stated_height=settings.stated_height, tag_sizes=sizes)
    if followed.sheet is None and settings.tag_sizes is not None:
        placed = with_unknown_size(placed)
    refuse_two_speeds(name, clip, placed)
    try:
        motion = measure_strokes(placed.head, placed.balls, scale=placed.scale, direction=placed.direction)
    except CannotMeasure as error:
        better = slow_motion_instead(name, clip, placed) or cut_off_instead(clip, followed)
        raise better or error from None
    refuse_slow_motion(name, clip, motion.strokes)
    facts = clip.facts()
    measurement = Measurement(
        clip=facts,
        calibration=_calibration_facts(followed, placed, settings),
        tracking=TrackingFacts(
            method=settings.method,
            frames_seen_share=float(np.mean(followed.head.seen)),
            noise_sd_m=motion.noise_sd_m,
            innovation_ratio=motion.innovation_ratio,
        ),
        strokes=tuple(_with_loose_object(stroke, settings) for stroke in motion.strokes),
        warnings=(
            *clip_cautions(clip),
            *framing_cautions(facts, followed),
            *sight_cautions(followed, placed),
            *without_sheet_cautions(followed, placed, settings.tags, size_stated=settings.tag_sizes is None),
            *motion.cautions,
        ),
    )
    return ClipResult(
        measurement=with_time_facts(
            measurement, clip, followed, placed, readout_s=settings.readout_s, repeated=repeated
        ),
        followed=followed,
        placed=placed,
        motion=motion,
    )


def _calibration_facts(followed: Followed, placed: PlacedHead, settings: Settings) -> CalibrationFacts:
    pose = followed.pose
    if pose is None:
        raise ValueError("the camera has no pose")
    x, y, z = (float(value) for value in placed.camera.centre)
    if settings.tag_height_m is not None:
        source = "stated"
    else:
        source = "club-file" if settings.club is not None else "estimated"
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


def _with_loose_object(stroke: StrokeMeasures, settings: Settings) -> StrokeMeasures:
    """Return the stroke with where a loose coin would leave the head."""
    shelf = settings.club.shelf if settings.club is not None and settings.club.shelf is not None else Shelf()
    band = loose_object_band(
        stroke.profile,
        shelf,
        published_friction(),
        impact_s=stroke.impact_s.value,
        hub_radius_m=stroke.hub_radius_m.value,
    )
    return replace(stroke, loose_object=band)
