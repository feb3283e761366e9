"""The printed tag as a picture: what the camera should see of it, blurred as lens and motion blur it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.values import FloatArray, freeze_arrays
from pennyfall.tracker.marks.small_matrices import inverse

ImageArray = NDArray[np.float32]

TEXELS_PER_CELL = 12
"""Chosen by us: a head tag's cell is at most 8 px wide at 4K, so texels are finer than pixels."""

MARGIN_CELLS = 2.0
"""Chosen by us: room around the white border for the blur, in cells."""

LOST_SDS, LOST_PX = 1.5, 0.6
"""Chosen by us: within this of the paper's edge (blur and half a pixel) the unknown head shows through."""

BLACK_SHARE = 0.05
"""Light from printed black as a share of light from white paper (common practice, no source)."""

GAMMA = 1 / 2.2
"""Cameras store about this power of the light (near ITU-R BT.709): it shifts edges, not centres."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Texture:
    """The blurred pattern on the tag's own plane, with its gradient."""

    values: ImageArray
    """Brightness, and its derivative along the tag's x and y [1/m], shape (rows, columns, 3)."""
    texels_per_m: float
    """Resolution [1/m]."""
    usable_x_m: float
    """Half width of the part whose brightness is known (black square and border less the blur) [m]."""
    usable_y_m: float
    """Half height of that part [m]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


class Pattern(Protocol):
    """What is looked for: a flat thing whose picture is known."""

    @property
    def side_m(self) -> float:
        """Side of its square [m]."""

    def rendered(self, jacobian: FloatArray, blur_px: float, smear_px: FloatArray) -> Texture:
        """Return it as a camera sees it; see `TagPattern.rendered`."""


class TagPattern:
    """A tag of known cells on white paper, rendered for a given view and smear.

    The tag's plane has x to the right, y up, origin at the tag's centre, in metres.

    Parameters
    ----------
    bits : NDArray
        Cells with the black border, 1 white and 0 black, row 0 at the top, shape (n, n).
    side_m : float
        Side of the black square [m].
    border_m : float
        Width of the white paper around it [m].

    """

    def __init__(self, bits: NDArray[np.uint8], *, side_m: float, border_m: float) -> None:
        self.side_m = side_m
        self.border_m = border_m
        cells = len(bits)
        self.texels_per_m = TEXELS_PER_CELL * cells / side_m
        margin = round((border_m + MARGIN_CELLS * side_m / cells) * self.texels_per_m)
        square = np.kron(bits.astype(np.float32), np.ones((TEXELS_PER_CELL, TEXELS_PER_CELL), np.float32))
        light = BLACK_SHARE + (1 - BLACK_SHARE) * np.pad(square, margin, constant_values=1.0)
        self._light = np.asarray(light, dtype=np.float32)
        self._sharp: dict[tuple[int, int], ImageArray] = {}
        self._rendered: dict[tuple[int, ...], Texture] = {}

    def rendered(self, jacobian: FloatArray, blur_px: float, smear_px: FloatArray) -> Texture:
        """Return the pattern as a camera sees it.

        Parameters
        ----------
        jacobian : FloatArray
            Pixels per metre of the tag's plane at its centre, shape (2, 2).
        blur_px : float
            Standard deviation of the picture's blur (lens, pixel, codec) [px].
        smear_px : FloatArray
            How far the tag moves in the picture while the shutter is open, shape (2,) [px].

        Returns
        -------
        Texture
            Rendered once a view: texels are quantised, and repeated views come from memory.

        """
        to_plane = inverse(jacobian)
        spread = blur_px * np.sqrt(np.sum(to_plane**2, axis=1)) * self.texels_per_m
        smear = to_plane @ smear_px * self.texels_per_m
        # A quarter of a texel of blur and a whole texel of smear are far below what a pixel resolves.
        sharp_key = (round(4 * spread[0]), round(4 * spread[1]))
        key = (*sharp_key, round(smear[0]), round(smear[1]))
        if key not in self._rendered:
            if len(self._rendered) > 256:
                self._rendered.clear()
            self._rendered[key] = self._render(key, LOST_SDS + LOST_PX / blur_px)
        return self._rendered[key]

    def _render(self, key: tuple[int, ...], lost_sds: float) -> Texture:
        sharp_key, smear = (key[0], key[1]), (key[2], key[3])
        if sharp_key not in self._sharp:
            if len(self._sharp) > 32:
                self._sharp.clear()
            self._sharp[sharp_key] = np.asarray(
                cv2.GaussianBlur(
                    self._light,
                    (0, 0),
                    sigmaX=max(key[0] / 4, 0.3),
                    sigmaY=max(key[1] / 4, 0.3),
                    borderType=cv2.BORDER_REPLICATE,
                ),
                dtype=np.float32,
            )
        light = smeared(self._sharp[sharp_key], smear)
        values = with_gradient(shade_of(light), self.texels_per_m)
        half = self.side_m / 2
        lost_x = (lost_sds * key[0] / 4 + abs(smear[0]) / 2) / self.texels_per_m
        lost_y = (lost_sds * key[1] / 4 + abs(smear[1]) / 2) / self.texels_per_m
        return Texture(
            values=values,
            texels_per_m=self.texels_per_m,
            usable_x_m=half + self.border_m - min(lost_x, 0.9 * self.border_m),
            usable_y_m=half + self.border_m - min(lost_y, 0.9 * self.border_m),
        )


def shade_of(light: ImageArray) -> ImageArray:
    """Return the brightness a camera makes of light; numpy's own power takes eight times as long."""
    return np.asarray(cv2.pow(light, GAMMA), dtype=np.float32)


def with_gradient(shade: ImageArray, texels_per_m: float) -> ImageArray:
    """Return brightness and its derivatives along x (right) and y (up) [1/m], shape (rows, columns, 3)."""
    values = np.empty((*shade.shape, 3), np.float32)
    values[..., 0] = shade
    values[:, 1:-1, 1] = (shade[:, 2:] - shade[:, :-2]) * np.float32(texels_per_m / 2)
    values[1:-1, :, 2] = (shade[:-2] - shade[2:]) * np.float32(texels_per_m / 2)  # rows run down
    values[:, [0, -1], 1] = 0
    values[[0, -1], :, 2] = 0
    return values


def smeared(light: ImageArray, smear_texels: tuple[int, int]) -> ImageArray:
    """Return the mean of copies shifted along the smear, centred on its middle."""
    across, up = smear_texels
    steps = max(abs(across), abs(up))
    if steps == 0:
        return light
    copies = min(steps + 1, 24)
    rows, columns = light.shape
    wide = np.asarray(
        cv2.copyMakeBorder(
            light, abs(up), abs(up), abs(across), abs(across), borderType=cv2.BORDER_REPLICATE
        ),
        dtype=np.float32,
    )
    total = np.zeros_like(light)
    for share in np.linspace(-0.5, 0.5, copies):
        left, top = abs(across) - round(share * across), abs(up) + round(share * up)
        total += wide[top : top + rows, left : left + columns]
    return total / np.float32(copies)
