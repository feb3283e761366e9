"""A tag layout of one's own, from a small JSON file."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from pennyfall.calibration.layout import (
    DICTIONARY,
    HEAD_TAG_ID,
    HEAD_TAG_SIDE_M,
    TagLayout,
    tag_dictionary,
)
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray

SMALLEST_TAG_M = 0.005  # chosen by us: a 5 mm tag is 6 px wide at 1080p from a metre away, past decoding
LARGEST_OFFSET_M = 5.0  # chosen by us: a corner farther out than this is a slip of the unit
SQUARE_TOLERANCE = 0.05  # chosen by us: four ruler readings to 0.5 mm on a 20 mm tag agree this well

_LAYOUT_FIX = (
    'Write it like {"sheet": {"0": [[-125, 85], [-75, 85], [-75, 35], [-125, 35]]}, '
    '"head_tag": {"id": 7, "side": 24}}: millimetres, corners in the order top left, top right, '
    "bottom right, bottom left as seen from above with the arrow to the right."
)


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
        document = json.loads(path.read_text(encoding="utf-8-sig"))
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
