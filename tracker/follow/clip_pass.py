"""One pass over a clip: sheet, head and ball followed in the picture."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.layout import HEAD_TAG_BORDER_M, TagLayout, tag_bits
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.pose import Pose, solve_pose
from pennyfall.kinematics.values import Estimate, FloatArray, freeze_arrays
from pennyfall.tracker.ball.followed import FollowedBall
from pennyfall.tracker.ball.watch import BallWatcher
from pennyfall.tracker.clip.frame import Frame, LumaFrame
from pennyfall.tracker.coin.pieces import PieceKeeper, Pieces
from pennyfall.tracker.follow.bare import BareWatch
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.dot.colour import WantedColour
from pennyfall.tracker.follow.dot.follower import DotFollower
from pennyfall.tracker.follow.patch import PatchFollower
from pennyfall.tracker.follow.pixel_track import Follower, PixelTrack
from pennyfall.tracker.follow.sheet import RestingSheet, SheetFinder, SheetSight, SheetWatch
from pennyfall.tracker.follow.tag.follower import TagFollower
from pennyfall.tracker.marks.decoding import LARGEST_ENLARGED_PX, TagFinder
from pennyfall.tracker.marks.pattern import TagPattern
from pennyfall.tracker.marks.registration import Registration

LEAST_SHEET_TAGS = 2
"""One small tag cannot pose a camera well enough to measure along a whole stroke."""

SHEET_SEEK_INTERVAL_S = 0.1
"""Chosen by us: how often a sheet not found yet is looked for."""

SHEET_RARER_AFTER_S, MOST_RARER = 3.0, 10.0
"""Chosen by us: after this long without a single tag, looks grow rarer in proportion, to a tenth as often."""

SHEET_PATIENCE_S = 1.0
"""Chosen by us: how long a fuller view of a partly covered sheet is waited for."""

SHEET_SAMPLE_INTERVAL_S = 0.3
"""Chosen by us: how often the resting sheet is placed anew; the mean sheds what noise one picture has."""

MOST_SHEET_SAMPLES = 12
"""Chosen by us: more pictures of a resting sheet say nothing new."""

NEXT_LOOK_S, LOOKS_RARER = 0.6, 4.0
"""Chosen by us: while nothing printed was ever seen, looks for tags, each 0.05 to 0.1 s of processor time on
grass, are four times as far apart each time, from this on: two in the first three seconds. Tags that are
there are seen in the first."""

FEWEST_MIRRORED = 2
"""One tag may be misread once in a while; two of the same sheet are not."""

SURE_BORDER_SHARE = 0.125
"""White border of the largest printed head tag over its side: all sizes have at least this much."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Followed:
    """What one pass over a clip saw, in pixels."""

    head: PixelTrack
    pose: Pose | None
    """Camera pose from the sheet; None when fewer than two of its tags were seen."""
    sheet: SheetSight | None
    """The sheet as it rested."""
    moved: dict[int, SheetSight]
    """Frames in which the sheet stood elsewhere in the picture."""
    sheet_lost: tuple[int, ...]
    """Frames in which picture or sheet had moved and could not be placed."""
    balls: tuple[FollowedBall, ...]
    head_ever_seen: bool
    sheet_tags_seen: int
    """Most of the sheet's tags seen in one picture."""
    mirrored: bool = False
    """Whether the sheet's tags were seen as in a mirror."""
    pieces: Pieces | None = None
    """What was kept of the pictures to look for a coin in; None where no tag is followed."""
    ball_pose: Pose | None = None
    """Camera pose from the ball; None where a mark on the head was seen, or no ball."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


class ClipFollower:
    """Follows sheet, head and ball through a clip's frames, fed in order.

    Parameters
    ----------
    layout : TagLayout
        The printed tags.
    lens : Lens, optional
        Calibrated lens, made in a picture of the clip's shape.
    stated_focal : Estimate, optional
        Focal length as the file states it [px].
    pixel_aspect : float
        Width of a pixel over its height.
    box : Box, optional
        A patch of the head on the first frame, followed in place of the head tag.
    dot : WantedColour or Box, optional
        A dot on the head, by its colour or by a box around it, followed in place of the head tag.

    """

    def __init__(
        self,
        layout: TagLayout,
        *,
        lens: Lens | None = None,
        stated_focal: Estimate | None = None,
        pixel_aspect: float = 1.0,
        box: Box | None = None,
        dot: WantedColour | Box | None = None,
    ) -> None:
        self._layout = layout
        self._lens = lens
        self._pixel_aspect = pixel_aspect
        self._tags = TagFinder(layout.dictionary, layout.ids)
        self._finder = SheetFinder(layout)
        self._head: Follower
        if dot is not None:
            self._head = DotFollower(dot)
        elif box is not None:
            self._head = PatchFollower(box)
        else:
            pattern = TagPattern(
                tag_bits(layout.head_tag_id, layout.dictionary),
                side_m=layout.head_tag_side_m,
                border_m=min(HEAD_TAG_BORDER_M, SURE_BORDER_SHARE * layout.head_tag_side_m),
            )
            self._head = TagFollower(pattern, layout.head_tag_id, self._tags)
        self._bare: BareWatch | None = None
        if dot is None:
            self._bare = BareWatch(box, stated_focal=stated_focal, lens=lens, pixel_aspect=pixel_aspect)
        self._next_look_s = 0.0
        self._printed = False
        self._pieces = PieceKeeper() if isinstance(self._head, TagFollower) else None
        self._ball = BallWatcher()
        self._pose: Pose | None = None
        self._watch: SheetWatch | None = None
        self._resting: RestingSheet | None = None
        self._samples: list[SheetSight] = []
        self._next_sheet_s = 0.0
        self._size = (0, 0)
        self._most_tags = 0
        self._ever_seen = False
        self._times_s: list[float] = []

    def update(self, frame: Frame) -> None:
        """Take the next frame."""
        self._size = (frame.luma.shape[1], frame.luma.shape[0])
        self._times_s.append(frame.time_s)
        bare = self._bare
        if bare is not None and isinstance(self._head, TagFollower) and not self._is_printed(frame):
            bare.update(frame)
            if not self._is_printed_small(frame, bare):
                self._head.skip(frame)
                return
            bare = None  # it has this frame
        if self._watch is None:
            self._seek_sheet(frame)
        else:
            self._watch.update(frame.index, frame.luma)
            self._sample_sheet(frame)
        found = self._head.update(frame)
        if found is not None:
            self._ever_seen = True
            if self._bare is not None and isinstance(self._head, TagFollower):
                self._bare.head_is_marked()
        if self._pose is not None and self._ever_seen:
            self._bare = None
        elif bare is not None:
            bare.update(frame)
        if self._pieces is not None and isinstance(found, Registration):
            camera = None if self._pose is None else self._camera_of(frame.index)
            self._pieces.take(frame, found.centre_px, found.jacobian, camera)
        if self._pose is not None:
            camera = self._camera_of(frame.index)
            centre = None if found is None else found.centre_px
            self._ball.update(frame.index, frame.time_s, frame.luma, centre, camera)

    def result(self) -> Followed:
        """Return what was seen, the pose solved from all samples of the resting sheet."""
        sheet = mean_sight(self._samples) if self._samples else None
        by_shaft = None if self._bare is None else self._bare.head(np.array(self._times_s))
        return Followed(
            head=self._head.track() if by_shaft is None else by_shaft,
            pose=self._solve(sheet, near=self._pose) if sheet is not None else None,
            ball_pose=None if self._bare is None else self._bare.pose(),
            sheet=sheet,
            moved=dict(self._watch.moved_frames) if self._watch else {},
            sheet_lost=tuple(self._watch.lost_frames) if self._watch else (),
            balls=self._ball.balls() if self._bare is None else self._bare.balls(),
            head_ever_seen=self._ever_seen or by_shaft is not None,
            sheet_tags_seen=self._most_tags,
            mirrored=self._tags.most_mirrored >= FEWEST_MIRRORED,
            pieces=None if self._pieces is None else self._pieces.pieces(),
        )

    def _is_printed(self, frame: Frame) -> bool:
        """Return whether a tag was seen by now; the first picture is looked at before anything else is."""
        if len(self._times_s) == 1:
            self._note_tags(self._tags.find(frame.luma))
        return self._printed

    def _is_printed_small(self, frame: Frame, bare: BareWatch) -> bool:
        """Look for small tags where a ball lies, ever more rarely: return whether one is there."""
        if frame.time_s >= self._next_look_s:
            self._next_look_s = LOOKS_RARER * frame.time_s + NEXT_LOOK_S
            left, top, right, bottom = bare.around_ball(frame.luma)
            part = frame.luma[max(top, 0) : bottom, max(left, 0) : right]
            if part.size == frame.luma.size:
                self._note_tags(self._tags.find(frame.luma))
            if max(frame.luma.shape) <= LARGEST_ENLARGED_PX:
                self._note_tags(self._tags.find(part, scale=2))
        return self._printed

    def _note_tags(self, found: dict[int, FloatArray]) -> None:
        self._printed |= not found.keys().isdisjoint({*self._layout.ids, self._layout.head_tag_id})

    def _seek_sheet(self, frame: Frame) -> None:
        if frame.time_s < self._next_sheet_s:
            return
        rarer = 1.0 if self._most_tags else max(frame.time_s / SHEET_RARER_AFTER_S, 1.0)
        self._next_sheet_s = frame.time_s + SHEET_SEEK_INTERVAL_S * min(rarer, MOST_RARER)
        sight = self._look(frame.luma)
        seen = len(sight.homographies)
        self._most_tags = max(self._most_tags, seen)
        whole = seen == len(self._layout.ids)
        if seen < LEAST_SHEET_TAGS or (
            not whole and (frame.time_s < SHEET_PATIENCE_S or seen < self._most_tags)
        ):
            self._rough_start(sight)
            return
        self._samples = [sight]
        self._watch = SheetWatch(self._finder, self._tags, frame.luma, sight)
        self._resting = RestingSheet(self._finder, sight)
        self._rough_start(sight)

    def _look(self, luma: LumaFrame) -> SheetSight:
        found = self._tags.find(luma)
        missing = any(tag_id not in found for tag_id in self._layout.ids)
        if missing and luma.shape[1] <= LARGEST_ENLARGED_PX:
            found = self._tags.find(luma, scale=2) | found
        return self._finder.place(luma, found)

    def _rough_start(self, sight: SheetSight) -> None:
        """Give head and ball a camera as soon as one can be had."""
        if len(sight.homographies) < LEAST_SHEET_TAGS:
            return
        self._pose = self._solve(sight)
        self._head.take_camera(self._pose.camera, sight.blur_px)

    def _sample_sheet(self, frame: Frame) -> None:
        if frame.time_s < self._next_sheet_s or len(self._samples) >= MOST_SHEET_SAMPLES:
            return
        self._next_sheet_s = frame.time_s + SHEET_SAMPLE_INTERVAL_S
        if self._resting is not None and self._watch and frame.index not in self._watch.moved_frames:
            sight = self._resting.place(frame.luma)
            if len(sight.homographies) == len(self._samples[0].homographies):
                self._samples.append(sight)

    def _camera_of(self, index: int) -> Camera:
        if self._pose is None:
            raise ValueError("no pose yet")
        moved = self._watch.moved_frames.get(index) if self._watch else None
        return self._pose.camera if moved is None else moved_camera(self._pose.camera, moved)

    def _solve(self, sight: SheetSight, near: Pose | None = None) -> Pose:
        return solve_pose(
            sight.points_m,
            sight.pixels,
            sight.sd_px,
            picture_size=self._size,
            lens=self._lens,
            pixel_aspect=self._pixel_aspect,
            near=near,
        )


def mean_sight(samples: list[SheetSight]) -> SheetSight:
    """Return the mean of several sights of the resting sheet that show the same tags."""
    first = samples[0]
    pixels = np.mean([one.pixels for one in samples], axis=0)
    return SheetSight(
        points_m=first.points_m,
        pixels=pixels,
        sd_px=first.sd_px,
        homographies=first.homographies,
        blur_px=first.blur_px,
    )


def moved_camera(camera: Camera, sight: SheetSight) -> Camera:
    """Return the camera posed anew by a sight of the sheet, its intrinsics kept."""
    rotation_vector, _ = cv2.Rodrigues(camera.rotation)
    rotation_vector, translation = cv2.solvePnPRefineLM(
        sight.points_m,
        sight.pixels,
        camera.matrix,
        camera.distortion,
        rotation_vector,
        camera.translation.copy().reshape(3, 1),
    )
    rotation, _ = cv2.Rodrigues(rotation_vector)
    return Camera(
        matrix=camera.matrix,
        distortion=camera.distortion,
        rotation=np.asarray(rotation, dtype=np.float64),
        translation=np.asarray(translation, dtype=np.float64).ravel(),
    )
