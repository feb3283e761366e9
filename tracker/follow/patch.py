"""A patch of the head's own texture, followed by registering it against its first picture."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import Frame, LumaFrame
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.follow.tag.follower import TagFollower
from pennyfall.tracker.marks.pattern import ImageArray, Texture, smeared, with_gradient
from pennyfall.tracker.marks.registration import Registration, register

TEXELS_PER_PX = 3
"""Chosen by us: the patch is drawn finer than its pixels, so that sampling it between them adds no error."""

MOST_TEXELS = 256
"""Chosen by us: a box of more than 85 px has detail enough at fewer texels a pixel."""

LEAST_SIDE_PX = 8
"""Chosen by us: a smaller box holds too few pixels for a place, a stretch, brightness and contrast."""

LEAST_CONTRAST = 3.0
"""Chosen by us: a box whose luma varies less than this holds nothing but noise [luma steps]."""

LATEST_CORRELATION = 0.7
"""Chosen by us: how well the patch must look like it did a frame ago to serve as a second guess."""

CERTAIN_MATCH = 0.75
"""Chosen by us: a place in the whole picture that correlates less is not taken for the patch."""

PATCH_FLOOR_PX = 0.08
"""Chosen by us: with a box over the head of rendered clips at 60 and 240 frames/s, whose truth is exact, the
place scattered by 0.06 to 0.09 px along each axis, against 0.01 to 0.03 px by the residual alone: the first
picture's own noise and the perspective that changes along the stroke stay in it."""

SEARCH_SIDE_PX = 14
"""Chosen by us: the whole picture is searched reduced until the patch is about this small."""


class PatchPattern:
    """A part of a picture as the pattern to look for.

    Its plane has x to the right and y up, and the box spans -0.5 to 0.5 along both, so that a side of the box
    is the unit of length.

    Parameters
    ----------
    luma : LumaFrame
        The picture the patch is taken from.
    homography : FloatArray
        From the patch's plane to that picture, shape (3, 3).

    """

    side_m = 1.0

    def __init__(self, luma: LumaFrame, homography: FloatArray) -> None:
        sides = np.linalg.norm(homography[:2, :2], axis=0)
        self.texels = int(np.clip(np.ceil(TEXELS_PER_PX * sides.max()), 24, MOST_TEXELS))
        steps = (np.arange(self.texels) - (self.texels - 1) / 2) / self.texels
        x, y = np.meshgrid(steps, -steps)
        depth = homography[2, 0] * x + homography[2, 1] * y + homography[2, 2]
        across = (homography[0, 0] * x + homography[0, 1] * y + homography[0, 2]) / depth
        down = (homography[1, 0] * x + homography[1, 1] * y + homography[1, 2]) / depth
        self._shade = np.asarray(
            cv2.remap(
                np.ascontiguousarray(luma),
                across.astype(np.float32),
                down.astype(np.float32),
                cv2.INTER_CUBIC,
                borderMode=cv2.BORDER_REPLICATE,
            ),
            dtype=np.float32,
        )
        self._rendered: dict[tuple[int, int], Texture] = {}

    @property
    def contrast(self) -> float:
        """Standard deviation of the patch's luma [luma steps]."""
        return float(np.std(self._shade))

    def rendered(self, jacobian: FloatArray, blur_px: float, smear_px: FloatArray) -> Texture:
        """Return the patch as motion smears it; the lens's blur is in it already."""
        smear = np.linalg.inv(jacobian) @ smear_px
        key = (round(float(smear[0]) * self.texels), round(float(smear[1]) * self.texels))
        if key not in self._rendered:
            if len(self._rendered) > 64:
                self._rendered.clear()
            self._rendered[key] = Texture(
                values=with_gradient(smeared(self._shade, key), float(self.texels)),
                texels_per_m=float(self.texels),
                # What lies beyond the box moves otherwise, so its part of the smear is left out.
                usable_x_m=max(0.5 - abs(float(smear[0])) / 2, 0.25),
                usable_y_m=max(0.5 - abs(float(smear[1])) / 2, 0.25),
            )
        return self._rendered[key]

    def picture(self, width: int, height: int) -> ImageArray:
        """Return the patch at a size in pixels, shape (height, width)."""
        small = cv2.resize(self._shade, (width, height), interpolation=cv2.INTER_AREA)
        return np.asarray(small, dtype=np.float32)


class PatchFinder:
    """Finds the patch, as it looked at first, in a whole picture or a part of it."""

    def __init__(self, pattern: PatchPattern, size_px: tuple[int, int]) -> None:
        self._pattern = pattern
        self._size_px = size_px

    def find(self, luma: LumaFrame, *, scale: int = 1) -> dict[int, FloatArray]:
        """Return the patch's corners under id 0 where one place stands out; enlarging finds nothing more."""
        if scale != 1:
            return {}
        width, height = self._size_px
        reduced = max(int(min(width, height) // SEARCH_SIDE_PX), 1)
        template = self._pattern.picture(max(width // reduced, 4), max(height // reduced, 4))
        rows, columns = luma.shape[0] // reduced, luma.shape[1] // reduced
        if rows <= template.shape[0] or columns <= template.shape[1]:
            return {}
        picture = cv2.resize(np.ascontiguousarray(luma), (columns, rows), interpolation=cv2.INTER_AREA)
        scores = cv2.matchTemplate(picture.astype(np.float32), template, cv2.TM_CCOEFF_NORMED)
        row, column = np.unravel_index(int(np.argmax(scores)), scores.shape)
        if scores[row, column] < CERTAIN_MATCH:
            return {}
        ratio = np.array([luma.shape[1] / columns, luma.shape[0] / rows])
        return {0: _box_corners(np.array([column, row]) * ratio, self._size_px)}

    def find_in(
        self, luma: LumaFrame, left: int, top: int, right: int, bottom: int, *, scale: int = 1
    ) -> dict[int, FloatArray]:
        """Return the patch's corners in a part of the picture, in whole-picture pixels."""
        left, top = max(left, 0), max(top, 0)
        part = luma[top : max(bottom, top), left : max(right, left)]
        return {number: corners + np.array([left, top]) for number, corners in self.find(part).items()}


class _FirstPicture(TagFollower):
    """Registers every frame against the first picture; the latest one offers a second guess.

    The latest picture only tells where to look: the place itself always comes from the first, so nothing
    adds up from frame to frame.
    """

    def __init__(self, pattern: PatchPattern, finder: PatchFinder) -> None:
        super().__init__(pattern, 0, finder)
        self._latest: PatchPattern | None = None

    def _follow(self, frame: Frame) -> Registration | None:
        found = super()._follow(frame)
        if found is None and self._latest is not None and self._last is not None:
            texture = self._latest.rendered(self._last.jacobian, self.blur_px, np.zeros(2))
            guess = register(frame.luma, self._last.homography, texture, stretch_sd=0.02)
            if guess is not None and guess.correlation > LATEST_CORRELATION:
                texture = self._texture(guess.jacobian)
                found = self._accepted(register(frame.luma, guess.homography, texture, stretch_sd=0.02))
        if found is not None:
            self._latest = PatchPattern(frame.luma, found.homography)
        return found


class PatchFollower:
    """Follows what a box on the first frame holds; place only, no tilt.

    Parameters
    ----------
    box : Box
        The part of the first picture, on the head and nothing but the head.

    """

    def __init__(self, box: Box) -> None:
        self._box = box
        self._inner: _FirstPicture | None = None

    def update(self, frame: Frame) -> Registration | None:
        """Locate the patch in the next frame; a miss is a gap, never an invented point.

        Raises
        ------
        CannotMeasure
            On the first frame, when the box is outside the picture or holds nothing to follow.

        """
        if self._inner is None:
            self._inner = self._begin(frame.luma)
        return self._inner.update(frame)

    def take_camera(self, camera: Camera, blur_px: float) -> None:
        """Take neither: a patch is followed by its looks alone."""

    def track(self) -> PixelTrack:
        """Return where the patch was in every frame so far."""
        if self._inner is None:
            raise ValueError("no frame yet")
        track = self._inner.track()
        return replace(
            track,
            covariance_px2=track.covariance_px2 + PATCH_FLOOR_PX**2 * np.eye(2),
            jacobian=np.full_like(track.jacobian, np.nan),
            stretch_covariance=np.full_like(track.stretch_covariance, np.nan),
        )

    def _begin(self, luma: LumaFrame) -> _FirstPicture:
        box = self._box
        box.refuse_outside(luma.shape[1], luma.shape[0])
        if min(box.width, box.height) < LEAST_SIDE_PX:
            raise CannotMeasure(
                f"A box of {box.width} x {box.height} px is too small to follow.",
                fix=f"Draw it at least {LEAST_SIDE_PX} px wide and high, on the head's most marked part.",
            )
        corners = _box_corners(np.array([box.x, box.y]), (box.width, box.height))
        middle = corners.mean(axis=0)
        homography = np.array([[box.width, 0, middle[0]], [0, -box.height, middle[1]], [0, 0, 1.0]])
        pattern = PatchPattern(luma, homography)
        if pattern.contrast < LEAST_CONTRAST:
            raise CannotMeasure(
                f"The box holds almost one shade (its luma varies by {pattern.contrast:.1f} steps): there is "
                "nothing to follow.",
                fix="Draw it over a line, a hole or an edge of the head, or stick a dot on.",
                setting="dot",
            )
        inner = _FirstPicture(pattern, PatchFinder(pattern, (box.width, box.height)))
        inner.start(corners)
        return inner


def _box_corners(top_left: FloatArray, size_px: tuple[int, int]) -> FloatArray:
    """Return the corners of a box of whole pixels, clockwise from the top left, shape (4, 2) [px]."""
    edges = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * np.array(size_px)
    return np.asarray(top_left + edges - 0.5, dtype=np.float64)
