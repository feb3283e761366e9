"""The tag on the head, followed from frame to frame by registering its known pattern."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.tag_height import TYPICAL_HEIGHT
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import Frame, LumaFrame
from pennyfall.tracker.follow.pixel_track import PixelTrack, pixel_track
from pennyfall.tracker.follow.sheet import USUAL_BLUR_PX
from pennyfall.tracker.follow.tag.search import (
    address_part,
    in_level_perspective,
    search_tag,
)
from pennyfall.tracker.follow.tag.surroundings import SurroundedTag
from pennyfall.tracker.marks.decoding import LARGEST_ENLARGED_PX, Finder, homography_of
from pennyfall.tracker.marks.pattern import Pattern, TagPattern, Texture
from pennyfall.tracker.marks.registration import (
    Registration,
    plane_jacobian,
    register,
    rendered_patch,
    shifted,
)
from pennyfall.tracker.marks.resting import LINEAR_RANGE_PX, RestingPattern
from pennyfall.tracker.marks.shutter import ShutterGauge
from pennyfall.tracker.marks.small_matrices import determinant, inverse

LEAST_CORRELATION = 0.55
"""Chosen by us: carpet and shaft correlate below 0.4 with the pattern, a smeared tag above 0.7."""

STRETCH_RATE = 4.0
"""Chosen by us: a head on a hub a metre above turns at up to 2 rad/s; twice that is wristy [1/s]."""

LONGEST_BLIND_S = 0.10
"""Chosen by us: a head out of sight longer than this is looked for in the whole picture, not predicted."""

RESTING_PX = 0.3
"""Chosen by us: a tag that moves less between two frames is at rest."""

SMEAR_SD_SHARE = 0.1
"""Chosen by us: a smear is not even, for the head speeds up within it and light and codec eat of it. On clips
rendered in good and low light the place along the smear scattered by 0.7 to 2.7 % of the smear's length, a
tenth of the unexplained share of the picture (root of 1 less the squared correlation, 0.1 to 0.28)."""

SEEK_INTERVAL_S = 0.05
"""Chosen by us: how often a lost tag is looked for in the whole picture."""

ENLARGED_SEEK_INTERVAL_S = 0.25
"""Chosen by us: how often it is looked for in the picture enlarged, where a cell of 2 px decodes."""

RARER_AFTER_S = 2.0
"""Chosen by us: after this long without the tag, looks grow rarer in proportion, down to a tenth as often."""

NEVER_SEEN_S = 0.4
"""Chosen by us: the same where it was never seen: most clips have no tag, and some that have a sheet."""

SAME_LOOK_CORRELATION = 0.75
"""Chosen by us: the head tag looks like itself by 0.9 and more where it comes out from behind a leg, like
another tag or a patch of carpet by less than 0.6."""

ROUGH_MATCH = 0.6
"""Chosen by us: half a pixel off, a tag of ten pixels still looks like itself by this much."""

COVERED_SD_SHARE = 0.2
"""Chosen by us: in sides of the tag per share of its picture that is newly unexplained; a tag that slid
behind a shaft was found 0.1, 0.5 and 0.8 px off when 0.04, 0.2 and 0.6 of its 12 px wide picture were so."""

COVERED_SHARE = 0.4
"""Chosen by us: with this much newly unexplained, a tag is half covered and no longer placed."""

USUAL_MEMORY = 0.1
"""Chosen by us: the usual unexplained share is that of the last ten frames or so."""

SEARCH_INTERVAL_S = 0.5
"""Chosen by us: how often a tag that will not decode is searched for by its pattern, which takes long."""


class TagFollower:
    """Follows one tag through the frames of a clip.

    Parameters
    ----------
    pattern : Pattern
        The tag's picture.
    tag_id : int
        Its id.
    finder : Finder
        Decoder used to start and to recover.

    """

    def __init__(self, pattern: Pattern, tag_id: int, finder: Finder) -> None:
        self._pattern = pattern
        self._tag_id = tag_id
        self._finder = finder
        self.blur_px = USUAL_BLUR_PX
        self._camera: Camera | None = None
        self._last: Registration | None = None
        self._last_time_s = float("-inf")
        self._velocity_px_s = np.zeros(2)
        self._acceleration_px_s2 = np.zeros(2)
        self._surrounded: SurroundedTag | None = None
        if isinstance(pattern, TagPattern):
            self._surrounded = SurroundedTag(side_m=pattern.side_m, border_m=pattern.border_m)
        self._next_seek_s = float("-inf")
        self._next_enlarged_s = float("-inf")
        self._next_search_s = float("-inf")
        self._shutter = ShutterGauge()
        self._good_look: Registration | None = None
        self._usual_unexplained = float("nan")
        self._interval_s = float("nan")
        self._rows: list[Registration | None] = []
        self._surroundings: tuple[slice, slice, bytes] | None = None
        self._resting: RestingPattern | None = None
        self._times: list[float] = []

    def start(self, corners_px: FloatArray) -> None:
        """Tell where the tag was decoded, so that the next update begins there."""
        homography = in_level_perspective(homography_of(corners_px, self._pattern.side_m), self._camera)
        centre, jacobian = plane_jacobian(homography)
        self._last = Registration(
            homography=homography,
            centre_px=centre,
            jacobian=jacobian,
            covariance=np.eye(6),
            correlation=1.0,
            residual_sd=0.0,
        )
        self._velocity_px_s = np.zeros(2)
        self._acceleration_px_s2 = np.zeros(2)
        self._last_time_s = float("nan")

    def take_camera(self, camera: Camera, blur_px: float) -> None:
        """Take the camera over the floor, which gives the tag's perspective, and a resting picture's blur."""
        self._camera, self.blur_px = camera, blur_px

    def update(self, frame: Frame) -> Registration | None:
        """Locate the tag in the next frame; a miss is a gap, never an invented point."""
        if self._times:
            self._interval_s = frame.time_s - self._times[-1]
        found = self._unchanged(frame.luma)
        if found is None:
            found = self._at_rest(frame.luma)
        if found is None and self._last is not None:
            found = self._follow(frame)
        if found is None and self._may_seek(frame.time_s):
            found = self._seek(frame)
        self._times.append(frame.time_s)
        self._rows.append(found)
        self._keep_surroundings(frame.luma, found)
        if found is not None:
            self._remember(frame, found)
        elif frame.time_s - self._last_time_s > LONGEST_BLIND_S:
            self._last = None
        return found

    def skip(self, frame: Frame) -> None:
        """Take a frame without looking for the tag in it: a gap."""
        self._times.append(frame.time_s)
        self._rows.append(None)

    def track(self) -> PixelTrack:
        """Return where the tag was in every frame so far."""
        return pixel_track(self._times, self._rows, exposure_share=self._shutter.known_share)

    def _unchanged(self, luma: LumaFrame) -> Registration | None:
        """Return the previous registration where the picture around it is the same to the last bit.

        Codecs skip blocks that rest; the same picture gives the same answer, at a hundredth of the cost.
        """
        if self._surroundings is None or not self._rows:
            return None
        rows, columns, picture = self._surroundings
        return self._rows[-1] if luma[rows, columns].tobytes() == picture else None

    def _at_rest(self, luma: LumaFrame) -> Registration | None:
        """Return the tag's place by the linear problem of an earlier frame, while it hardly moves."""
        return self._accepted(self._resting.register(luma)) if self._resting is not None else None

    def _keep_surroundings(self, luma: LumaFrame, found: Registration | None) -> None:
        if found is None:
            self._surroundings = None
            return
        if self._rows[:-1] and self._rows[-2] is found:
            return
        reach = 0.75 * self._pattern.side_m * np.abs(found.jacobian).sum(axis=1) + 2
        left, top = (found.centre_px - reach).astype(int)
        right, bottom = (found.centre_px + reach).astype(int)
        rows, columns = slice(max(top, 0), bottom + 1), slice(max(left, 0), right + 1)
        self._surroundings = (rows, columns, luma[rows, columns].tobytes())

    def _follow(self, frame: Frame) -> Registration | None:
        last = self._last
        if last is None:
            return None
        gap_s = frame.time_s - self._last_time_s
        gap_s = gap_s if np.isfinite(gap_s) else 0.0
        steady = 0 < gap_s < 1.5 * self._interval_s
        change = self._acceleration_px_s2 * gap_s if steady else np.zeros(2)
        homography = shifted(last.homography, (self._velocity_px_s + change) * gap_s)
        texture = self._texture(last.jacobian, self._velocity_px_s + 1.5 * change)
        stretch_sd = max(STRETCH_RATE * gap_s, 0.02) if gap_s > 0 else 0.2
        found = self._accepted(register(frame.luma, homography, texture, stretch_sd=stretch_sd))
        if found is None:
            nearer = self._search_nearby(frame.luma, homography, texture)
            if nearer is not None:
                found = self._accepted(register(frame.luma, nearer, texture, stretch_sd=stretch_sd))
        self._resting = None
        found = self._uncovered(found)
        if found is None or found.linear is None:
            return None
        if np.hypot(*(found.centre_px - last.centre_px)) < LINEAR_RANGE_PX:
            self._resting = RestingPattern(found.linear)
        elif steady:
            found = self._smear_settled(frame.luma, found, gap_s)
        return replace(found, linear=None)

    def _smear_settled(self, luma: LumaFrame, found: Registration, gap_s: float) -> Registration:
        """Return the registration with the smear of the speed that it itself tells, and its sd along it."""
        if self._last is None:
            return found
        mean = (found.centre_px - self._last.centre_px) / gap_s
        velocity = mean + 0.5 * (mean - self._velocity_px_s)
        smear = velocity * self._interval_s * self._shutter.share
        if not self._over_border(found.jacobian, smear):
            return found
        texture = self._texture(found.jacobian, velocity)
        stretch_sd = max(STRETCH_RATE * gap_s, 0.02)
        again = self._accepted(register(luma, found.homography, texture, stretch_sd=stretch_sd))
        settled = again if again is not None and again.correlation >= found.correlation else found
        covariance = settled.covariance.copy()
        unexplained = SMEAR_SD_SHARE**2 * (1 - settled.correlation**2)
        covariance[:2, :2] += unexplained * np.outer(smear, smear)
        return replace(settled, covariance=covariance)

    def _accepted(self, found: Registration | None) -> Registration | None:
        """Return the registration when it looks like the tag and has kept its size."""
        if found is None or found.correlation < LEAST_CORRELATION:
            return None
        if self._last is not None:
            size = determinant(found.jacobian) / determinant(self._last.jacobian)
            if not 0.6 < size < 1.6:
                return None
        return found

    def _uncovered(self, found: Registration | None) -> Registration | None:
        """Return the registration, less sure where something hides part of the tag; None where half of it.

        What covers a part pulls the rest toward itself, which the registration's own covariance cannot know.
        """
        if found is None or not np.isfinite(self._usual_unexplained):
            return found
        covered = max(1 - found.correlation**2 - self._usual_unexplained, 0.0)
        if covered > COVERED_SHARE:
            return None
        side_px = self._pattern.side_m * abs(determinant(found.jacobian)) ** 0.5
        covariance = found.covariance.copy()
        covariance[:2, :2] += (COVERED_SD_SHARE * covered * side_px) ** 2 * np.eye(2)
        covariance[2:, 2:] += (COVERED_SD_SHARE * covered) ** 2 * np.eye(4)
        return replace(found, covariance=covariance)

    def _search_nearby(
        self,
        luma: LumaFrame,
        homography: FloatArray,
        texture: Texture,
        *,
        reach_px: int = 16,
        least: float = LEAST_CORRELATION - 0.15,
    ) -> FloatArray | None:
        """Return the start shifted to where the rendered pattern correlates best, None when nowhere does."""
        centre, jacobian = plane_jacobian(homography)
        half = int(np.ceil(0.5 * self._pattern.side_m * np.abs(jacobian).sum(axis=1).max())) + 2
        reach = half + reach_px
        column, row = round(float(centre[0])), round(float(centre[1]))
        left, top = column - half - reach, row - half - reach
        right, bottom = column + half + reach + 1, row + half + reach + 1
        height, width = luma.shape
        if left < 0 or top < 0 or right > width or bottom > height:
            left, top = max(left, 0), max(top, 0)
            right, bottom = min(right, width), min(bottom, height)
        if right - left <= 2 * half + 1 or bottom - top <= 2 * half + 1:
            return None
        aligned = shifted(homography, np.array([column, row]) - centre)
        template, mask = rendered_patch(texture, aligned, half_px=half)
        picture = luma[top:bottom, left:right].astype(np.float32)
        scores = cv2.matchTemplate(picture, template, cv2.TM_CCOEFF_NORMED, mask=mask)
        scores = np.where(np.isfinite(scores), scores, -1.0)
        best = np.unravel_index(int(np.argmax(scores)), scores.shape)
        if scores[best] < least:
            return None
        place = np.array([left + best[1] + half, top + best[0] + half], dtype=np.float64)
        return shifted(aligned, place - np.array([column, row]))

    def _patience(self, time_s: float) -> float:
        """Return how much rarer to look the longer the tag is gone: minutes of nothing must stay cheap."""
        lost_since = self._last_time_s if np.isfinite(self._last_time_s) else 0.0
        after_s = NEVER_SEEN_S if self._good_look is None else RARER_AFTER_S
        return min(max((time_s - lost_since) / after_s, 1.0), 10.0)

    def _may_seek(self, time_s: float) -> bool:
        if time_s < self._next_seek_s:
            return False
        self._next_seek_s = time_s + SEEK_INTERVAL_S * self._patience(time_s)
        return True

    def _seek(self, frame: Frame) -> Registration | None:
        """Find the tag by its last look or by decoding, near where it was lost, else in the whole picture."""
        again = self._seek_last_look(frame)
        if again is not None:
            return again
        corners = None
        if self._last is not None:
            column, row = (int(v) for v in self._last.centre_px)
            reach = max(frame.luma.shape) // 5
            corners = self._finder.find_in(
                frame.luma, column - reach, row - reach, column + reach, row + reach
            ).get(self._tag_id)
        part = (0, 0, *frame.luma.shape[::-1])
        if self._camera is not None and self._good_look is None:
            part = address_part(self._camera, TYPICAL_HEIGHT.value)
        if corners is None:
            corners = self._finder.find_in(frame.luma, *part, scale=1).get(self._tag_id)
        enlargeable = max(frame.luma.shape) <= LARGEST_ENLARGED_PX
        if corners is None and enlargeable and frame.time_s >= self._next_enlarged_s:
            self._next_enlarged_s = frame.time_s + ENLARGED_SEEK_INTERVAL_S * self._patience(frame.time_s)
            corners = self._finder.find_in(frame.luma, *part, scale=2).get(self._tag_id)
        if corners is None:
            return self._search(frame)
        homography = in_level_perspective(homography_of(corners, self._pattern.side_m), self._camera)
        _, jacobian = plane_jacobian(homography)
        return self._trusted(register(frame.luma, homography, self._texture(jacobian), stretch_sd=0.2))

    def _seek_last_look(self, frame: Frame) -> Registration | None:
        """Find a tag out of hiding by how it looked before: in motion, a small one never decodes."""
        look = self._good_look
        if look is None:
            return None
        texture = self._pattern.rendered(look.jacobian, self.blur_px, np.zeros(2))
        start = self._search_nearby(
            frame.luma,
            look.homography,
            texture,
            reach_px=max(frame.luma.shape) // 5,
            least=ROUGH_MATCH,
        )
        if start is None:
            return None
        found = register(frame.luma, start, texture, stretch_sd=0.1)
        return self._uncovered(found) if found and found.correlation >= SAME_LOOK_CORRELATION else None

    def _search(self, frame: Frame) -> Registration | None:
        """Find a tag that does not decode by its pattern, now and then while it is lost."""
        if self._camera is None or frame.time_s < self._next_search_s:
            return None
        self._next_search_s = frame.time_s + SEARCH_INTERVAL_S * self._patience(frame.time_s)
        found = search_tag(frame.luma, self._camera, self._pattern, self.blur_px, TYPICAL_HEIGHT.value)
        if found is None:
            return None
        homography = in_level_perspective(found.homography, self._camera)
        return self._trusted(register(frame.luma, homography, self._texture(found.jacobian), stretch_sd=0.2))

    @staticmethod
    def _trusted(found: Registration | None) -> Registration | None:
        if found is None or found.correlation < LEAST_CORRELATION:
            return None
        return replace(found, linear=None)

    def _texture(self, jacobian: FloatArray, velocity_px_s: FloatArray | None = None) -> Texture:
        interval = self._interval_s if np.isfinite(self._interval_s) else 0.0
        velocity = self._velocity_px_s if velocity_px_s is None else velocity_px_s
        smear = velocity * interval * self._shutter.share
        if self._surrounded is not None and self._over_border(jacobian, smear):
            return self._surrounded.rendered(jacobian, self.blur_px, smear)
        return self._pattern.rendered(jacobian, self.blur_px, smear)

    def _over_border(self, jacobian: FloatArray, smear_px: FloatArray) -> bool:
        """Return whether a smear mixes the tag with what lies beyond its paper, which must then be known."""
        if self._surrounded is None or not self._surrounded.known:
            return False
        smear_m = float(np.hypot(*(inverse(jacobian) @ smear_px)))
        return smear_m > self._surrounded.border_m

    def _gauge_shutter(self, luma: LumaFrame, found: Registration, gap_s: float) -> None:
        moved = (self._velocity_px_s + 0.5 * self._acceleration_px_s2 * gap_s) * gap_s
        known = self._surrounded is not None and self._surrounded.known
        pattern: Pattern = self._surrounded if known and self._surrounded is not None else self._pattern
        self._shutter.take(luma, found, pattern, self.blur_px, moved)

    def _remember(self, frame: Frame, found: Registration) -> None:
        gap_s = frame.time_s - self._last_time_s
        if np.isfinite(gap_s) and 0 < gap_s < LONGEST_BLIND_S and self._last is not None:
            velocity = (found.centre_px - self._last.centre_px) / gap_s
            self._acceleration_px_s2 = (velocity - self._velocity_px_s) / gap_s
            self._velocity_px_s = velocity
            if math.hypot(*(velocity * gap_s)) > RESTING_PX:
                self._gauge_shutter(frame.luma, found, gap_s)
            elif self._surrounded is not None:
                self._surrounded.take(frame.luma, found.homography)
        else:
            self._velocity_px_s = np.zeros(2)
            self._acceleration_px_s2 = np.zeros(2)
        self._last = found
        self._last_time_s = frame.time_s
        unexplained = 1 - found.correlation**2
        usual = self._usual_unexplained
        if not np.isfinite(usual):
            self._usual_unexplained = unexplained
        else:
            self._usual_unexplained += USUAL_MEMORY * (unexplained - usual)
        if self._good_look is None or unexplained < 2 * self._usual_unexplained:
            self._good_look = found
