"""Where the printed tags are: the standard sheet, the head tag, and layouts of one's own."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
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
SMALLEST_TAG_M = 0.005  # chosen by us: a 5 mm tag is 6 px wide at 1080p from a metre away, past decoding
LARGEST_OFFSET_M = 5.0  # chosen by us: a corner farther out than this is a slip of the unit
SCALE_LIMITS = (
    0.8,
    1.25,
)  # chosen by us: 'fit to page' shrinks to about 0.92-0.97; beyond this it is a misreading
SQUARE_TOLERANCE = 0.05  # chosen by us: four ruler readings to 0.5 mm on a 20 mm tag agree this well

_LAYOUT_FIX = (
    'Write it like {"sheet": {"0": [[-125, 85], [-75, 85], [-75, 35], [-125, 35]]}, '
    '"head_tag": {"id": 7, "side": 24}}: millimetres, corners in the order top left, top right, '
    "bottom right, bottom left as seen from above with the arrow to the right."
)


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

    def __post_init__(self) -> None:
        frozen = {tag_id: frozen_array(corners) for tag_id, corners in self.corners.items()}
        object.__setattr__(self, "corners", MappingProxyType(frozen))

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


def load_layout(path: Path) -> TagLayout:
    """Read a layout of one's own from a JSON file in millimetres.

    The file holds ``sheet`` (tag id to its four corners, each [x, y]), and may hold ``dictionary`` and
    ``head_tag`` with ``id`` and ``side``; what is left out is as on the standard sheet.

    Raises
    ------
    CannotMeasure
        When the file cannot be read or does not describe square tags lying flat.

    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise CannotMeasure(
            f"The layout file {path} cannot be read ({error.strerror}).", fix="Check its name and folder."
        ) from error
    except ValueError as error:
        raise CannotMeasure(f"The layout file {path.name} is not JSON: {error}.", fix=_LAYOUT_FIX) from error
    return _layout(document, path.name)


def _layout(document: Any, name: str) -> TagLayout:  # noqa: ANN401 - whatever the file held
    if not isinstance(document, dict) or not isinstance(document.get("sheet"), dict) or not document["sheet"]:
        raise _refused(name, 'it has no "sheet" with at least one tag')
    _refuse_unknown(document, {"dictionary", "sheet", "head_tag"}, name)
    dictionary = document.get("dictionary", DICTIONARY)
    try:
        ids = len(tag_dictionary(dictionary).bytesList)
    except (ValueError, AttributeError) as error:
        raise _refused(name, f"there is no tag dictionary {dictionary!r}") from error
    corners = {
        _tag_id(key, ids, name): _tag_corners(key, value, name) for key, value in document["sheet"].items()
    }
    head = document.get("head_tag", {})
    if not isinstance(head, dict):
        raise _refused(name, '"head_tag" must hold "id" and "side"')
    _refuse_unknown(head, {"id", "side"}, name)
    head_id = _tag_id(head.get("id", HEAD_TAG_ID), ids, name)
    if head_id in corners:
        raise _refused(name, f"tag {head_id} is both on the sheet and on the head")
    side_m = _number(head.get("side", HEAD_TAG_SIDE_M * 1e3), "the head tag's side", name) / 1e3
    if not SMALLEST_TAG_M <= side_m <= 0.1:
        raise _refused(name, f"a head tag of {side_m * 1e3:g} mm is not between 5 and 100 mm")
    return TagLayout(dictionary=dictionary, corners=corners, head_tag_id=head_id, head_tag_side_m=side_m)


def _tag_corners(key: str, value: Any, name: str) -> FloatArray:  # noqa: ANN401 - whatever the file held
    if not isinstance(value, list) or len(value) != 4:
        raise _refused(name, f"tag {key} needs four corners")
    if not all(isinstance(corner, list) and len(corner) == 2 for corner in value):
        raise _refused(name, f"each corner of tag {key} is [x, y], on the flat sheet")
    flat = (
        np.array([[_number(item, f"a corner of tag {key}", name) for item in corner] for corner in value])
        / 1e3
    )
    if np.abs(flat).max() > LARGEST_OFFSET_M:
        raise _refused(name, f"tag {key} lies more than {LARGEST_OFFSET_M:g} m from the middle of the sheet")
    sides = np.linalg.norm(np.roll(flat, -1, axis=0) - flat, axis=1)
    diagonals = np.linalg.norm(flat[:2] - flat[2:], axis=1)
    if sides.min() < SMALLEST_TAG_M:
        raise _refused(
            name, f"tag {key} has a side of {sides.min() * 1e3:.1f} mm; it must have at least 5 mm"
        )
    ratios = np.concatenate([sides / sides.mean(), diagonals / (math.sqrt(2) * sides.mean())])
    if np.abs(ratios - 1).max() > SQUARE_TOLERANCE:
        lengths = ", ".join(f"{side * 1e3:.1f}" for side in sides)
        raise _refused(name, f"tag {key} is not a square (sides {lengths} mm)")
    across, down = flat[1] - flat[0], flat[3] - flat[0]
    if across[0] * down[1] - across[1] * down[0] > 0:
        raise _refused(name, f"the corners of tag {key} run the wrong way round")
    return np.column_stack([flat, np.zeros(4)])


def _tag_id(key: Any, ids: int, name: str) -> int:  # noqa: ANN401 - whatever the file held
    text = str(key)
    if isinstance(key, bool) or not text.isdecimal() or int(text) >= ids:
        raise _refused(name, f"{key!r} is not a tag id from 0 to {ids - 1}")
    return int(text)


def _number(value: Any, what: str, name: str) -> float:  # noqa: ANN401 - whatever the file held
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise _refused(name, f"{what} is {value!r}, not a number of millimetres")
    return float(value)


def _refuse_unknown(table: dict[str, Any], known: set[str], name: str) -> None:
    if unknown := sorted(set(table) - known):
        raise _refused(name, f"{unknown[0]!r} is not a known entry")


def _refused(name: str, why: str) -> CannotMeasure:
    return CannotMeasure(f"The layout file {name} cannot be used: {why}.", fix=_LAYOUT_FIX)
