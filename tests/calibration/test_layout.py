"""The tags' places against the printed numbers, and what a layout file may not say."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pennyfall.calibration.layout import (
    HEAD_TAG_SIDES_M,
    STANDARD_SHEET,
    head_tag_corners,
    tag_bits,
)
from pennyfall.calibration.layout_file import load_layout
from pennyfall.kinematics.errors import CannotMeasure

SQUARE = [[-125, 85], [-75, 85], [-75, 35], [-125, 35]]


def written(tmp_path: Path, document: Any) -> Path:  # noqa: ANN401
    path = tmp_path / "layout.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
    return path


def test_the_sheets_centres_lie_200_by_120_mm_apart() -> None:
    centre = [STANDARD_SHEET.centre(tag_id) for tag_id in range(4)]
    assert STANDARD_SHEET.ids == (0, 1, 2, 3)
    assert np.linalg.norm(centre[1] - centre[0]) == pytest.approx(0.200)
    assert np.linalg.norm(centre[2] - centre[3]) == pytest.approx(0.200)
    assert np.linalg.norm(centre[3] - centre[0]) == pytest.approx(0.120)
    assert centre[0] == pytest.approx([-0.1, 0.06, 0.0])


@pytest.mark.parametrize("tag_id", range(4))
def test_each_sheet_tag_is_an_upright_square_of_50_mm(tag_id: int) -> None:
    corners = STANDARD_SHEET.corners[tag_id]
    top_left, top_right, bottom_right, bottom_left = corners - STANDARD_SHEET.centre(tag_id)
    assert top_left == pytest.approx([-0.025, 0.025, 0])
    assert top_right == pytest.approx([0.025, 0.025, 0])
    assert bottom_right == pytest.approx([0.025, -0.025, 0])
    assert bottom_left == pytest.approx([-0.025, -0.025, 0])


def test_the_corners_cannot_be_changed_by_accident() -> None:
    with pytest.raises(ValueError, match="read-only"):
        STANDARD_SHEET.corners[0][0, 0] = 1.0


@pytest.mark.parametrize("side_m", HEAD_TAG_SIDES_M)
def test_a_head_tags_corners_enclose_its_side_squared(side_m: float) -> None:
    x, y, _ = head_tag_corners(side_m).T
    area = 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    assert area == pytest.approx(side_m**2)


@given(factor=st.floats(0.85, 1.2), again=st.floats(0.95, 1.04))
def test_scaling_twice_is_scaling_by_the_product(factor: float, again: float) -> None:
    twice = STANDARD_SHEET.scaled(factor).scaled(again)
    for tag_id in STANDARD_SHEET.ids:
        assert twice.corners[tag_id] == pytest.approx(STANDARD_SHEET.corners[tag_id] * factor * again)
    assert twice.head_tag_side_m == pytest.approx(0.024 * factor * again)


def test_a_ruler_read_as_97_3_mm_shrinks_the_sheet() -> None:
    assert STANDARD_SHEET.scaled(0.973).centre(1) == pytest.approx([0.0973, 0.05838, 0])


@pytest.mark.parametrize("factor", [0.1, 0.79, 1.3, 10.0, float("nan"), -1.0])
def test_an_impossible_ruler_is_refused(factor: float) -> None:
    with pytest.raises(CannotMeasure, match="cannot measure") as caught:
        STANDARD_SHEET.scaled(factor)
    assert "ruler again" in caught.value.fix


def test_tag_zero_has_the_bits_of_the_published_dictionary() -> None:
    """Bytes 181 and 50, that is 1011 0101 0011 0010 (OpenCV, predefined_dictionaries.hpp, DICT_4X4, id 0)."""
    bits = tag_bits(0)
    assert bits.shape == (6, 6)
    assert not bits[[0, -1]].any()
    assert not bits[:, [0, -1]].any()
    assert bits[1:-1, 1:-1].tolist() == [[1, 0, 1, 1], [0, 1, 0, 1], [0, 0, 1, 1], [0, 0, 1, 0]]


@pytest.mark.parametrize("tag_id", [0, 1, 2, 3, 7])
def test_opencv_decodes_the_drawn_bits_upright(tag_id: int) -> None:
    picture = np.pad(
        np.kron(tag_bits(tag_id) * 255, np.ones((12, 12))).astype(np.uint8), 24, constant_values=255
    )
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    corners, ids, _ = detector.detectMarkers(picture)
    assert np.ravel(ids).tolist() == [tag_id]
    assert corners[0][0] == pytest.approx(np.array([[24, 24], [95, 24], [95, 95], [24, 95]]), abs=1.0)


@pytest.mark.parametrize(
    ("tag_id", "dictionary"), [(50, "DICT_4X4_50"), (-1, "DICT_4X4_50"), (0, "DICT_NONE")]
)
def test_a_tag_that_does_not_exist_is_a_programmers_mistake(tag_id: int, dictionary: str) -> None:
    with pytest.raises(ValueError, match="tag"):
        tag_bits(tag_id, dictionary)


def test_a_layout_file_is_read_in_millimetres(tmp_path: Path) -> None:
    layout = load_layout(
        written(
            tmp_path,
            {
                "sheet": {"4": SQUARE, "9": [[0, 20], [20, 20], [20, 0], [0, 0]]},
                "head_tag": {"id": 11, "side": 18},
            },
        )
    )
    assert layout.ids == (4, 9)
    assert layout.corners[4] == pytest.approx(STANDARD_SHEET.corners[0])
    assert layout.head_tag_id == 11
    assert layout.head_tag_side_m == pytest.approx(0.018)


def test_a_layout_file_may_turn_a_tag(tmp_path: Path) -> None:
    turned = [[0, 50], [50, 0], [0, -50], [-50, 0]]
    layout = load_layout(written(tmp_path, {"dictionary": "DICT_5X5_100", "sheet": {"60": turned}}))
    assert layout.dictionary == "DICT_5X5_100"
    assert layout.corners[60][:, :2] == pytest.approx(np.array(turned) / 1000)
    assert layout.head_tag_id == 7


@pytest.mark.parametrize(
    ("document", "why"),
    [
        ("{", "is not JSON"),
        ("[]", 'no "sheet"'),
        ({"sheet": {}}, 'no "sheet"'),
        ({"sheet": {"0": SQUARE}, "shet": 1}, "'shet' is not a known entry"),
        ({"sheet": {"50": SQUARE}}, "'50' is not a tag id from 0 to 49"),
        ({"sheet": {"-1": SQUARE}}, "not a tag id"),
        ({"sheet": {"0": SQUARE[:3]}}, "tag 0 needs four corners"),
        ({"sheet": {"0": [[*corner, 1] for corner in SQUARE]}}, r"\[x, y\]"),
        ({"sheet": {"0": [["a", 1], *SQUARE[1:]]}}, "not a number of millimetres"),
        ('{"sheet": {"0": [[NaN, 85], [-75, 85], [-75, 35], [-125, 35]]}}', "not a number of millimetres"),
        ({"sheet": {"0": SQUARE[::-1]}}, "wrong way round"),
        ({"sheet": {"0": [[-125, 85], [-75, 85], [-75, 35], [-125, 30]]}}, "not a square"),
        ({"sheet": {"0": [[0, 1], [1, 1], [1, 0], [0, 0]]}}, "side of 1.0 mm"),
        ({"sheet": {"0": [[9e6, 50], [9e6, 50], [9e6, 0], [9e6, 0]]}}, "more than 5 m"),
        ({"sheet": {"7": SQUARE}}, "both on the sheet and on the head"),
        ({"sheet": {"0": SQUARE}, "head_tag": {"side": 240}}, "not between 5 and 100 mm"),
        ({"sheet": {"0": SQUARE}, "head_tag": 7}, '"id" and "side"'),
        ({"sheet": {"0": SQUARE}, "dictionary": "DICT_9X9_1"}, "no tag dictionary"),
        ({"sheet": {"0": SQUARE}, "dictionary": 4}, "no tag dictionary"),
    ],
)
def test_a_layout_file_that_cannot_be_is_refused_with_an_example(
    tmp_path: Path,
    document: Any,  # noqa: ANN401
    why: str,
) -> None:
    with pytest.raises(CannotMeasure, match=why) as caught:
        load_layout(written(tmp_path, document))
    assert "top left, top right" in caught.value.fix


def test_a_missing_layout_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(CannotMeasure, match=r"nowhere\.json cannot be read"):
        load_layout(tmp_path / "nowhere.json")
