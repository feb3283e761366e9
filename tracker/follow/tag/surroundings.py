"""The tag with what surrounds it on the head, as seen at rest: the pattern for frames that motion smears."""

from __future__ import annotations

import cv2
import numpy as np

from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.marks.pattern import GAMMA, ImageArray, Texture, shade_of, smeared, with_gradient
from pennyfall.tracker.marks.small_matrices import inverse

TEXELS_PER_PX = 3.0
"""Chosen by us: drawn finer than its pixels, so that sampling it between them adds no error."""

SURROUNDINGS_M = 0.008
"""Chosen by us: what lies this far beyond the paper is still the head, and moves with the tag."""

MOST_PICTURES = 8
"""Chosen by us: the mean of eight pictures has a third of one picture's noise."""

LUMA_BLACK, LUMA_SPAN = 16.0, 219.0
"""Limited range (Rec. ITU-R BT.709, item 3.5); contrast and brightness are solved anyway."""


class SurroundedTag:
    """The picture of a resting tag and its surroundings on the tag's own plane, to be smeared.

    A printed tag is known, the head around it is not: where motion smears the one over the other by more than
    the paper's white border, only a picture taken at rest tells what the mixture looks like.

    Parameters
    ----------
    side_m, border_m : float
        Side of the tag's black square and width of its white border [m].

    """

    def __init__(self, *, side_m: float, border_m: float) -> None:
        self.side_m = side_m
        self.border_m = border_m
        self._paper_m = side_m / 2 + border_m
        self._reach_m = self._paper_m + SURROUNDINGS_M
        self._light: ImageArray | None = None
        self._pictures = 0
        self._texels_per_m = 0.0
        self._rendered: dict[tuple[int, int], Texture] = {}

    @property
    def known(self) -> bool:
        """Whether a picture has been taken."""
        return self._light is not None

    def take(self, luma: LumaFrame, homography: FloatArray) -> None:
        """Add a picture of the resting tag, given the homography from its plane [m] to pixels."""
        if self._pictures >= MOST_PICTURES:
            return
        if self._light is None:
            sides = np.linalg.norm(homography[:2, :2] / homography[2, 2], axis=0)
            self._texels_per_m = TEXELS_PER_PX * float(sides.max())
        light = self._on_plane(luma, homography)
        share = 1.0 / (self._pictures + 1)
        self._light = light if self._light is None else (1 - share) * self._light + share * light
        self._pictures += 1
        self._rendered.clear()

    def rendered(self, jacobian: FloatArray, blur_px: float, smear_px: FloatArray) -> Texture:
        """Return it as motion smears it; the lens's blur is in it already. See `TagPattern.rendered`."""
        if self._light is None:
            raise ValueError("no picture of the resting tag yet")
        smear_m = inverse(jacobian) @ smear_px
        across, up = (round(float(each) * self._texels_per_m) for each in smear_m)
        if (across, up) not in self._rendered:
            if len(self._rendered) > 64:
                self._rendered.clear()
            shade = shade_of(smeared(self._light, (across, up)))
            self._rendered[across, up] = Texture(
                values=with_gradient(shade, self._texels_per_m),
                texels_per_m=self._texels_per_m,
                usable_x_m=self._usable_m(float(smear_m[0])),
                usable_y_m=self._usable_m(float(smear_m[1])),
            )
        return self._rendered[across, up]

    def _usable_m(self, smear_m: float) -> float:
        """Return half the width within which all that is smeared together was seen at rest [m]."""
        return float(np.clip(self._reach_m - abs(smear_m) / 2, self.side_m / 2, self._paper_m))

    def _on_plane(self, luma: LumaFrame, homography: FloatArray) -> ImageArray:
        texels = 2 * round(self._reach_m * self._texels_per_m) + 1
        steps = (np.arange(texels) - (texels - 1) / 2) / self._texels_per_m
        x, y = np.meshgrid(steps, -steps)
        depth = homography[2, 0] * x + homography[2, 1] * y + homography[2, 2]
        across = (homography[0, 0] * x + homography[0, 1] * y + homography[0, 2]) / depth
        down = (homography[1, 0] * x + homography[1, 1] * y + homography[1, 2]) / depth
        left, top = int(across.min()) - 2, int(down.min()) - 2
        left, top = max(left, 0), max(top, 0)
        part = luma[top : int(down.max()) + 3, left : int(across.max()) + 3]
        seen = cv2.remap(
            np.ascontiguousarray(part, dtype=np.float32),
            (across - left).astype(np.float32),
            (down - top).astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        light = np.clip((seen - LUMA_BLACK) / LUMA_SPAN, 0.001, 1.0) ** np.float32(1 / GAMMA)
        return np.asarray(light, dtype=np.float32)
