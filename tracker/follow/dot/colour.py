"""Colour of a dot against its ground: from a name to a direction, from pixels to a share of the dot."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays
from pennyfall.tracker.clip.frame import Frame

Colours = NDArray[np.float32]
"""Luma, blue difference and red difference of each pixel, shape (rows, columns, 3)."""

NAMES = MappingProxyType(
    {
        "white": "#ffffff",
        "red": "#e02020",
        "orange": "#f08020",
        "yellow": "#f0e020",
        "green": "#20b040",
        "blue": "#2050d0",
        "purple": "#8030c0",
        "pink": "#ff50a0",
    }
)
"""Names a person may use; what counts is the hue, since light and camera shift the rest."""

GREY_CHROMA = 12.0
"""Chosen by us: a colour with less chroma than this is bright rather than coloured [code values]."""

SHEEN = np.diag([3.0**2, 5.0**2, 5.0**2])
"""Chosen by us: noise, shading and codec leave this much variance on a ground however plain [code
values^2]. Chroma counts for less because it is coarser and coded worse: a yellow dot scattered least so. On
rendered clips with H.264 the centroid within a grown outline scatters by 0.05 to 0.06 px RMS for white and
yellow, by 0.1 to 0.2 for red, blue and pink, by 0.4 at a rate factor of 26."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class WantedColour:
    """The colour asked for."""

    chroma: FloatArray
    """Blue and red difference of the full colour, shape (2,) [code values]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @property
    def bright(self) -> bool:
        """Whether it is told by brightness, not by hue."""
        return float(np.hypot(*self.chroma)) < GREY_CHROMA

    @classmethod
    def read(cls, text: str) -> WantedColour:
        """Return the colour a name or #rrggbb stands for.

        Raises
        ------
        CannotMeasure
            When it is neither, or is so dark and grey that shadows look like it.

        """
        code = NAMES.get(text.strip().lower(), text.strip().lower())
        digits = code.removeprefix("#")
        if not (code.startswith("#") and len(digits) == 6 and set(digits) <= set("0123456789abcdef")):
            raise CannotMeasure(
                f"{text!r} is no colour of a dot.",
                fix=f"Name one of {', '.join(NAMES)}, give it as #rrggbb, or draw a box around the dot: "
                "x,y,w,h on the first frame.",
            )
        red, green, blue = (int(digits[k : k + 2], 16) / 255 for k in (0, 2, 4))
        luma = 0.2126 * red + 0.7152 * green + 0.0722 * blue  # Rec. ITU-R BT.709-6, 3.2
        chroma = 224 * np.array([(blue - luma) / 1.8556, (red - luma) / 1.5748])  # 3.3 and 3.4
        wanted = cls(chroma=chroma)
        if wanted.bright and luma < 0.6:
            raise CannotMeasure(
                f"A dot of {text} looks like any shadow.",
                fix="Use a white or a coloured dot, or draw a box around it: x,y,w,h on the first frame.",
            )
        return wanted


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DotColour:
    """The line from the ground's colour to the dot's, with the direction that tells them apart best."""

    ground: FloatArray
    """Colour of the head around the dot, shape (3,)."""
    dot: FloatArray
    """Colour of the dot's middle, shape (3,)."""
    weights: FloatArray
    """Projection of a colour less the ground's on the share of dot in a pixel, shape (3,)."""
    separation: float
    """Distance of the two colours over the ground's scatter."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @classmethod
    def between(cls, colours: Colours, core: BoolArray, ring: BoolArray) -> DotColour:
        """Return the colours of the pixels in `core` and in `ring`, masks of shape (rows, columns).

        Notes
        -----
        Fisher's linear discriminant (Fisher 1936, Ann. Eugen. 7:179-188) with the ground's covariance: a
        carpet varies in brightness, so hue counts for more there.
        """
        dot = np.median(colours[core].astype(np.float64), axis=0)
        return cls._over(dot, colours[ring].astype(np.float64))

    def over(self, around: FloatArray) -> DotColour:
        """Return the same dot over the ground that pixels of these colours show, shape (n, 3)."""
        return self._over(self.dot, around)

    @classmethod
    def _over(cls, dot: FloatArray, around: FloatArray) -> DotColour:
        ground = np.median(around, axis=0)
        # The middle half: a ring reaches over shaft and head edge now and then.
        away = np.abs(around - ground).sum(axis=1)
        usual = around[away <= np.median(away)] - ground
        scatter = 2.0 * usual.T @ usual / max(len(usual), 1) + SHEEN
        step = dot - ground
        direction = np.linalg.solve(scatter, step)
        apart = float(step @ direction)
        return cls(
            ground=ground,
            dot=dot,
            weights=direction / max(apart, 1e-9),
            separation=float(np.sqrt(max(apart, 0.0))),
        )

    @property
    def by_hue(self) -> float:
        """What part of the difference is told by chroma, 0 to 1."""
        parts = self.weights * (self.dot - self.ground)
        return float(np.clip(1.0 - parts[0], 0.0, 1.0))

    def share(self, colours: Colours) -> Colours:
        """Return how much of each pixel is dot: 0 on the ground, 1 in the dot's middle."""
        shares = (colours - self.ground.astype(np.float32)) @ self.weights.astype(np.float32)
        return np.asarray(shares, dtype=np.float32)

    def stray(self, colour: FloatArray) -> float:
        """Return how far a colour lies from the line, as a share of the line's length."""
        step = self.dot - self.ground
        off = colour - self.ground
        off = off - step * float(off @ step) / float(step @ step)
        return float(np.linalg.norm(off) / np.linalg.norm(step))


def colours_in(frame: Frame, left: int, top: int, right: int, bottom: int) -> Colours:
    """Return the colours of a part of a frame, chroma interpolated to luma's pixels.

    The part must begin on even pixels, since chroma pixels are two luma pixels wide.
    """
    height, width = frame.luma.shape
    luma = frame.luma[top:bottom, left:right]
    colours = np.empty((*luma.shape, 3), dtype=np.float32)
    colours[..., 0] = luma
    for number, plane in enumerate(frame.chroma(), start=1):
        across, down = width / plane.shape[1], height / plane.shape[0]
        part = plane[
            int(top / down) : max(int(np.ceil(bottom / down)), 1),
            int(left / across) : max(int(np.ceil(right / across)), 1),
        ]
        size = (round(part.shape[1] * across), round(part.shape[0] * down))
        wide = cv2.resize(np.ascontiguousarray(part), size, interpolation=cv2.INTER_LINEAR)
        colours[..., number] = wide[: luma.shape[0], : luma.shape[1]]
    return colours
