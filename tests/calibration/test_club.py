"""The club file: units, defaults, refusals with their line, and the text it writes."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pennyfall.calibration.club import (
    HEAD_ENTRIES,
    SHELF_ENTRIES,
    Club,
    Entry,
    club_of,
    club_toml,
    load_club,
    parse_club,
)
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import Estimate

WHOLE = """
tag_height_mm = 30.3
tag_height_sd_mm = 0.5
tag_size_mm = 20

[shelf]
floor_height_mm = 12
edge_distance_mm = 25
lip_height_mm = 1.5
cavity_depth_mm = 10
front_room_mm = 2
coin_from_tag_mm = -18
"""


def test_millimetres_become_metres() -> None:
    assert parse_club(WHOLE, "club.toml") == Club(
        tag_height_m=Estimate(0.0303, 0.0005),
        tag_side_m=0.020,
        shelf=Shelf(
            floor_height_m=0.012,
            edge_distance_m=0.025,
            lip_height_m=0.0015,
            cavity_depth_m=0.010,
            front_room_m=0.002,
            coin_from_tag_m=-0.018,
        ),
    )


def test_the_tags_height_alone_is_a_club() -> None:
    club = parse_club("tag_height_mm = 30", "club.toml")
    assert club == Club(tag_height_m=Estimate(0.030, 0.001))
    assert club.shelf is None
    assert club.tag_side_m is None, "the size stays the one the layout has"


def test_a_club_file_with_the_lines_that_were_asked_for_once_is_read_without_them() -> None:
    old = "tag_height_mm = 30\ntag_to_face_mm = 21.5\nhead_mass_g = 352\n[shelf]\nedge_distance_mm = 25"
    club = parse_club(old, "club.toml")
    assert club == parse_club("tag_height_mm = 30\n[shelf]\nedge_distance_mm = 25", "club.toml")
    assert "face" not in club_toml(club).partition("[shelf]")[0]
    assert "mass" not in club_toml(club)


def test_an_empty_shelf_is_a_plain_shelf() -> None:
    assert parse_club("tag_height_mm = 30\n[shelf]", "club.toml").shelf == Shelf()


def test_a_file_saved_by_another_editor_is_read(tmp_path: Path) -> None:
    path = tmp_path / "club.toml"
    path.write_bytes(b"\xef\xbb\xbf" + WHOLE.replace("\n", "\r\n").encode())
    assert load_club(path) == parse_club(WHOLE, "club.toml")


@given(data=st.data())
def test_what_is_written_is_read_back(data: st.DataObject) -> None:
    """Every value the ranges allow, to the tenth of a millimetre or gram."""

    def drawn(entries: tuple[Entry, ...]) -> dict[str, float]:
        return {
            entry.key: entry.checked(
                data.draw(st.integers(round(10 * entry.low), round(10 * entry.high))) / 10
            )
            for entry in entries
        }

    shelf = drawn(SHELF_ENTRIES) if data.draw(st.booleans()) else None
    club = club_of(drawn(HEAD_ENTRIES), shelf)
    again = parse_club(club_toml(club), "club.toml")
    assert again.tag_height_m.value == pytest.approx(club.tag_height_m.value)
    assert again.tag_height_m.sd == pytest.approx(club.tag_height_m.sd)
    assert again.tag_side_m == pytest.approx(club.tag_side_m)
    assert (again.shelf is None) == (shelf is None)
    if again.shelf is not None and club.shelf is not None:
        assert again.shelf.edge_distance_m == pytest.approx(club.shelf.edge_distance_m)
        assert again.shelf.coin_from_tag_m == pytest.approx(club.shelf.coin_from_tag_m)


@pytest.mark.parametrize(
    ("text", "why", "fix"),
    [
        ("tag_height_mm = 30.3.1", "line 1, column", "Correct that line"),
        ("tag_height_mm = 30\ntag_height_mm = 31", "line 2", "Correct that line"),
        ("", "lacks 'tag_height_mm'", "from the floor to the tag"),
        ("tag_size_mm = 20", "lacks 'tag_height_mm'", "from the floor to the tag"),
        ("tag_height_mm = 3.03", r"\(club.toml, line 1\) is 3.03 mm, not between 5 and 80", "in mm"),
        ("tag_height_mm = 0.0303", "not between 5 and 80", "in mm"),
        ("tag_height_mm = nan", "nan mm, not between", "Measure it again"),
        ("tag_height_mm = inf", "inf mm, not between", "Measure it again"),
        ('tag_height_mm = "30"', "'30', not a number", "without quotes"),
        ("tag_height_mm = true", "True, not a number", "without quotes"),
        ("tag_height_mm = 30\ntag_height_sd_mm = 0", "line 2", "Measure it again"),
        ("tag_height_mm = 30\n\ntag_size_mm = 0.02", r"line 3\) is 0.02 mm, not between 8 and 60", "in mm"),
        (
            "tag_height_mm = 30\ntag_hight = 3",
            r"'tag_hight' \(club.toml, line 2\) means nothing",
            "Known are: tag_height_mm",
        ),
        ("tag_height_mm = 30\nlip_height_mm = 1", "line 2.* wrong part", r"below \[shelf\]"),
        ("tag_height_mm = 30\n[shelf]\ntag_size_mm = 20", "line 3.* wrong part", r"below \[shelf\]"),
        ("tag_height_mm = 30\n[shelf]\nedge_distance_mm = -5", "line 3", "middle of the coin"),
        ("tag_height_mm = 30\nshelf = 4", "not a table", r"\[shelf\]"),
    ],
)
def test_a_slip_is_named_with_its_line_and_remedy(text: str, why: str, fix: str) -> None:
    with pytest.raises(CannotMeasure, match=why) as caught:
        parse_club(text, "club.toml")
    assert fix.replace("\\", "") in caught.value.fix


def test_a_missing_club_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(CannotMeasure, match=r"nowhere\.toml cannot be read") as caught:
        load_club(tmp_path / "nowhere.toml")
    assert "pennyfall club new" in caught.value.fix


def test_a_picture_given_as_club_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "club.toml"
    path.write_bytes(b"\xff\xd8\xff\xe0")
    with pytest.raises(CannotMeasure, match="no plain text"):
        load_club(path)
