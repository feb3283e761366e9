"""Fourth stage: metres. Camera, head and balls in the world, once, and how surely."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from pennyfall.calibration.pose import Pose
from pennyfall.kinematics.values import INTERVAL_SDS, CalibrationFacts, Caution, Estimate
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.measure.cautions import caution
from pennyfall.tracker.measure.refusals import refuse_two_speeds, refuse_unusable
from pennyfall.tracker.measure.settings import Settings
from pennyfall.tracker.measure.timed import Timed
from pennyfall.tracker.place.placing import PlacedTracks, place_tracks
from pennyfall.tracker.place.without_sheet import posed_by_head_tag, sized_by_ball

POOR_SEEN_SHARE = 0.95
"""Chosen by us: below this the coach is told, so that the next clip is better."""

MOVED_SHARE = 0.01
"""Chosen by us: more frames than this in which the sheet stood elsewhere is a moved camera, not a flicker."""

UNKNOWN_SIZE_SD = 0.19
"""Chosen by us: the 95 % interval then holds the truth whichever printed size (16 to 32 mm) was taken for the
usual one of 24 mm."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Placed:
    """A clip's head and balls in metres, and what that rests on."""

    timed: Timed
    tracks: PlacedTracks
    pose: Pose
    """The camera, from the sheet or, where there is none, from the head tag."""
    facts: CalibrationFacts
    cautions: tuple[Caution, ...]
    """What sheet, head and ball give cause to say."""


def place(timed: Timed, settings: Settings) -> Placed:
    """Return head and balls in metres.

    Raises
    ------
    CannotMeasure
        When neither sheet nor head tag gives a scale, the head is not seen, or a part of the clip plays at
        another speed.

    """
    followed, pose, size_known = _posed(timed, settings)
    tracks = place_tracks(
        followed,
        stated_height=settings.stated_height,
        tag_sizes=settings.tag_sizes if followed.sheet is not None else None,
    )
    if not size_known:
        tracks = with_unknown_size(tracks)
    refuse_two_speeds(timed.seen.reading, tracks)
    return Placed(
        timed=timed,
        tracks=tracks,
        pose=pose,
        facts=_facts(followed, pose, tracks, settings),
        cautions=(
            *_sight_cautions(followed, pose, tracks),
            *_sheetless_cautions(followed, tracks, settings, size_known=size_known),
        ),
    )


def _posed(timed: Timed, settings: Settings) -> tuple[Followed, Pose, bool]:
    """Return what was followed, its camera by sheet, head tag or ball, and if its scale is known."""
    followed, seen = timed.followed, timed.seen
    size_known = True
    if followed.pose is None and not followed.mirrored:
        pose = followed.ball_pose
        if followed.head.slope is None:
            followed, pose, size_known = _posed_by_tag(timed, settings)
        followed = replace(followed, pose=pose)
    refuse_unusable(seen.reading.name, seen.followed, method=seen.method, posed=followed.pose is not None)
    if followed.pose is None:
        raise ValueError("a clip without a pose was not refused")
    return followed, followed.pose, size_known


def _posed_by_tag(timed: Timed, settings: Settings) -> tuple[Followed, Pose | None, bool]:
    """Return the same by the head tag, at the size that a ball tells where nobody stated it."""
    followed, seen = timed.followed, timed.seen

    def pose_of(head: PixelTrack) -> Pose | None:
        return posed_by_head_tag(
            head,
            picture_size=seen.decoded.picture_size,
            stated_height=settings.stated_height,
            lens=settings.lens,
            pixel_aspect=seen.reading.header.pixel_aspect,
        )

    pose, sizes = pose_of(followed.head), settings.tag_sizes
    resting = [ball for ball in followed.balls if ball.at_rest.any()]
    if pose is not None and sizes is not None and resting:
        sized = sized_by_ball(followed.head, pose, resting[0], sizes)
        return replace(followed, head=sized), pose_of(sized), True
    return followed, pose, sizes is None


def with_unknown_size(tracks: PlacedTracks) -> PlacedTracks:
    """Return the tracks with a scale as unsure as a tag of unstated size makes it."""
    return replace(
        tracks,
        scale=tracks.scale.with_uniform(UNKNOWN_SIZE_SD),
        scale_rel_sd=math.hypot(tracks.scale_rel_sd, UNKNOWN_SIZE_SD),
    )


def _facts(followed: Followed, pose: Pose, tracks: PlacedTracks, settings: Settings) -> CalibrationFacts:
    x, y, z = (float(value) for value in tracks.camera.centre)
    bare = followed.head.slope is not None
    return CalibrationFacts(
        source="sheet" if followed.sheet is not None else "ball" if bare else "head-tag",
        focal_source=pose.focal_source,
        focal_px=pose.focal_px,
        reprojection_rms_px=pose.reprojection_rms_px,
        scale_rel_sd=tracks.scale_rel_sd,
        tag_height_m=Estimate.missing() if bare else tracks.tag.height_m,
        tag_height_source=settings.height_source,
        camera_position_m=(x, y, z),
        camera_moved=_camera_moved(followed),
    )


def _camera_moved(followed: Followed) -> bool:
    """Return whether camera or sheet moved for more than a flicker."""
    return len(followed.moved) > MOVED_SHARE * len(followed.head.time_s)


def _sight_cautions(followed: Followed, pose: Pose, tracks: PlacedTracks) -> tuple[Caution, ...]:
    notes = []
    seen = float(np.mean(followed.head.seen))
    if seen < POOR_SEEN_SHARE:
        notes.append(caution("head-seen", percent=100 * seen))
    if pose.focal_source == "assumed" and followed.sheet is not None:
        notes.append(caution("focal-assumed", percent=100 * tracks.scale_rel_sd))
    if followed.sheet is not None and followed.sheet_tags_seen < 4:
        notes.append(caution("sheet-covered", tags=followed.sheet_tags_seen))
    if _camera_moved(followed):
        notes.append(caution("camera-moved"))
    if followed.sheet_lost:
        notes.append(caution("sheet-lost", frames=len(followed.sheet_lost)))
    if followed.sheet is not None and tracks.direction == "against the arrow":
        notes.append(caution("sheet-reversed"))
    if tracks.tag_quarters_off:
        notes.append(caution("tag-turned", degrees=90 * tracks.tag_quarters_off))
    if not any(ball.departed for ball in followed.balls):
        notes.append(caution("no-ball"))
    return tuple(notes)


def _sheetless_cautions(
    followed: Followed, tracks: PlacedTracks, settings: Settings, *, size_known: bool
) -> tuple[Caution, ...]:
    """Return what is lost where the head tag had to serve in place of the sheet; nothing with a sheet."""
    if followed.sheet is not None:
        return ()
    percent = 100 * INTERVAL_SDS * tracks.scale_rel_sd
    if followed.head.slope is not None:
        return (caution("nothing-printed", percent=percent),)
    notes = [caution("no-sheet", percent=percent)]
    if not size_known:
        notes.append(caution("tag-size-assumed", side_mm=1e3 * settings.tags.head_tag_side_m))
    return tuple(notes)
