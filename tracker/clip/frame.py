"""One decoded frame: its luma and chroma planes as displayed, without a colour conversion."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

LumaFrame = NDArray[np.uint8]

RgbFrame = NDArray[np.uint8]
"""As displayed, shape (height, width, 3)."""

ChromaPlanes = tuple[NDArray[np.uint8], NDArray[np.uint8]]

USUAL_EXPOSURE_SHARE = 0.25
"""Exposure time over frame interval until a clip's own smear shows it, chosen by us: indoors phones expose
for 1/1000 s and longer."""

_LUMA_FIRST_8_BIT = ("yuv", "yuvj", "nv12", "nv16", "nv21", "nv24", "gray")


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One decoded frame."""

    index: int
    """Number in presentation order, from zero, counting only frames that are used."""
    time_s: float
    """True time from the first frame [s]."""
    luma: LumaFrame
    """Luma as displayed, shape (height, width); a read-only view into the decoder's memory."""
    chroma_source: Callable[[], ChromaPlanes] | None = None
    """Gives the frame's chroma, where it has any; asked only when a coloured dot is followed."""

    def chroma(self) -> ChromaPlanes:
        """Return the blue and red differences as displayed, 128 for grey, at their own (half) size."""
        if self.chroma_source is None:
            grey = np.full(((self.luma.shape[0] + 1) // 2, (self.luma.shape[1] + 1) // 2), 128, np.uint8)
            return grey, grey
        return self.chroma_source()


def luma_of(picture: Any, rotation_deg: int) -> LumaFrame:  # noqa: ANN401 - a PyAV frame
    """Return the luma plane of a decoded frame as displayed, shape (height, width), uint8.

    Eight-bit formats give a view; ten-bit ones are shifted down; formats without a luma plane are converted.
    """
    name: str = picture.format.name
    bits = picture.format.components[0].bits
    if name.startswith(_LUMA_FIRST_8_BIT) and bits == 8 and not name.startswith("yuyv"):
        luma = _plane(picture, np.dtype(np.uint8))
    elif name.startswith(("yuv", "gray", "p0")) and 8 < bits <= 16 and name.endswith("le"):
        deep = _plane(picture, np.dtype("<u2"))
        luma = np.right_shift(deep, 8 if name.startswith("p0") else bits - 8).astype(np.uint8)
    else:
        luma = picture.to_ndarray(format="gray")
    return np.rot90(luma, rotation_deg // 90) if rotation_deg else luma


def chroma_of(picture: Any, rotation_deg: int) -> ChromaPlanes:  # noqa: ANN401 - a PyAV frame
    """Return the blue and red difference planes of a decoded frame as displayed, uint8.

    Planar eight-bit formats give views at the planes' own size; others are converted to 4:2:0 first.
    """
    name: str = picture.format.name
    if not (name.startswith("yuv") and len(picture.planes) >= 3 and picture.format.components[1].bits == 8):
        picture = picture.reformat(format="yuv420p")
    blue, red = (_plane(picture, np.dtype(np.uint8), number) for number in (1, 2))
    if not rotation_deg:
        return blue, red
    return np.rot90(blue, rotation_deg // 90), np.rot90(red, rotation_deg // 90)


def upright(
    picture: Any,  # noqa: ANN401 - a PyAV frame
    rotation_deg: int,
    width: int,
    height: int,
    *,
    pixels: str = "rgb24",
) -> RgbFrame:
    """Return a decoded frame as displayed, RGB unless other pixels are wanted, at the size wanted."""
    across, down = (height, width) if rotation_deg % 180 else (width, height)
    small = picture.reformat(width=across, height=down, format=pixels, interpolation="AREA")
    return np.ascontiguousarray(np.rot90(small.to_ndarray(), rotation_deg // 90))


def _plane(picture: Any, kind: np.dtype[Any], number: int = 0) -> NDArray[Any]:  # noqa: ANN401 - a PyAV frame
    plane = picture.planes[number]
    rows = np.frombuffer(plane, dtype=kind).reshape(plane.height, plane.line_size // kind.itemsize)
    return rows[:, : plane.width]
