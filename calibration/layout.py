"""Where the printed tags are: the standard sheet and the head tag."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import partial
from types import MappingProxyType
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray, frozen_array

DICTIONARY = "DICT_4X4_50"
SHEET_TAG_SIDE_M = 0.050
SHEET_CENTRES_M = {0: (-0.100, 0.060), 1: (0.100, 0.060), 2: (0.100, -0.060), 3: (-0.100, -0.060)}
HEAD_TAG_ID = 7
HEAD_TAG_SIDE_M = 0.024
HEAD_TAG_SIDES_M = (0.016, 0.020, 0.024, 0.032)
HEAD_TAG_BORDER_M = 0.004
RULER_M = 0.100
SCALE_LIMITS = (0.8, 1.25)
"""Chosen by us: 'fit to page' shrinks to about 0.92-0.97; a ruler read beyond this is a misreading."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class TagLayout:
    """The tags of one sheet lying on the floor, with the tag on the head.

    World axes: x along the arrow, y to its left, z up, origin at the middle of the sheet.
    """

    dictionary: str
    """OpenCV's name of the tag dictionary, such as 'DICT_4X4_50'."""
    corners: Mapping[int, FloatArray]
    """Outer corners of each tag's black square, shape (4, 3) [m], in the order top left, top right, bottom
    right, bottom left as printed."""
    head_tag_id: int = HEAD_TAG_ID
    """Id of the tag on the head."""
    head_tag_side_m: float = HEAD_TAG_SIDE_M
    """Side of the head tag's black square [m]."""
    printed_sides_m: tuple[float, ...] = ()
    """Sizes the head tag is printed in, where nobody said which was stuck on; empty where it is known [m]."""

    def __post_init__(self) -> None:
        frozen = {tag_id: frozen_array(corners) for tag_id, corners in self.corners.items()}
        object.__setattr__(self, "corners", MappingProxyType(frozen))

    def __reduce__(self) -> tuple[Any, ...]:
        """Let it be sent to another process, which its read-only mapping cannot be."""
        values = {each.name: getattr(self, each.name) for each in fields(self)}
        return partial(TagLayout, **values | {"corners": dict(self.corners)}), ()

    @property
    def ids(self) -> tuple[int, ...]:
        """Ids of the sheet's tags, in order."""
        return tuple(sorted(self.corners))

    def centre(self, tag_id: int) -> FloatArray:
        """Return the centre of one tag of the sheet, shape (3,) [m]."""
        return np.asarray(self.corners[tag_id].mean(axis=0), dtype=np.float64)

    def scaled(self, factor: float) -> TagLayout:
        """Return the layout as printed at another scale.

        Parameters
        ----------
        factor : float
            Measured over nominal length of the check ruler: 0.973 when its 100 mm measure 97.3 mm.

        Raises
        ------
        CannotMeasure
            When the factor is no plausible printing scale.

        """
        low, high = SCALE_LIMITS
        if not low <= factor <= high:
            raise CannotMeasure(
                f"The check ruler cannot measure {100 * factor:.1f} mm: printers are off by a few per cent.",
                fix="Measure the printed 100 mm ruler again in millimetres, from its first to its last tick.",
            )
        return TagLayout(
            dictionary=self.dictionary,
            corners={tag_id: corners * factor for tag_id, corners in self.corners.items()},
            head_tag_id=self.head_tag_id,
            head_tag_side_m=self.head_tag_side_m * factor,
            printed_sides_m=tuple(side * factor for side in self.printed_sides_m),
        )


def square_corners(centre_m: tuple[float, float], side_m: float) -> FloatArray:
    """Return an upright square's corners on the plane z = 0, shape (4, 3) [m], clockwise from top left."""
    x, y = centre_m
    half = side_m / 2
    return np.array(
        [[x - half, y + half, 0], [x + half, y + half, 0], [x + half, y - half, 0], [x - half, y - half, 0]]
    )


def head_tag_corners(side_m: float = HEAD_TAG_SIDE_M) -> FloatArray:
    """Return the head tag's corners in its own axes, shape (4, 3) [m], ordered as in `TagLayout.corners`.

    Origin at the tag's centre, x to the right and y up as printed, z out of the paper. The tag is stuck on
    with its right side toward the face, so that at address its axes are those of the world.
    """
    return square_corners((0.0, 0.0), side_m)


STANDARD_SHEET = TagLayout(
    dictionary=DICTIONARY,
    corners={tag_id: square_corners(centre, SHEET_TAG_SIDE_M) for tag_id, centre in SHEET_CENTRES_M.items()},
    printed_sides_m=HEAD_TAG_SIDES_M,
)


def tag_dictionary(name: str = DICTIONARY) -> cv2.aruco.Dictionary:
    """Return OpenCV's predefined tag dictionary of that name.

    Raises
    ------
    ValueError
        When OpenCV has no dictionary of that name.

    """
    if not name.startswith("DICT_") or not hasattr(cv2.aruco, name):
        raise ValueError(f"OpenCV has no tag dictionary {name!r}")
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name))


def tag_bits(tag_id: int, dictionary: str = DICTIONARY) -> NDArray[np.uint8]:
    """Return a tag's cells with its black border, 1 white and 0 black, row 0 at the top.

    Shape (6, 6) for the 4x4 dictionaries.

    Raises
    ------
    ValueError
        When the dictionary does not exist or has no such id.

    """
    known = tag_dictionary(dictionary)
    if not 0 <= tag_id < len(known.bytesList):
        raise ValueError(f"{dictionary} has no tag {tag_id}")
    cells = known.markerSize + 2
    return np.asarray(cv2.aruco.generateImageMarker(known, tag_id, cells) // 255, dtype=np.uint8)
