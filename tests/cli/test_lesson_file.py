"""The lesson file: what a coach writes by hand, and what is said when it is wrong."""

from __future__ import annotations

import dataclasses
import datetime as dt
import inspect
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pennyfall.cli.files.lesson_file import (
    Condition,
    Lesson,
    lesson_text,
    parse_lesson,
    read_lesson,
    student_code,
    write_lesson,
)
from pennyfall.cli.files.settings import settings_from
from pennyfall.cli.lesson.new import clips_in, sort_by_name, with_clip
from pennyfall.kinematics.errors import CannotMeasure

GOOD = """\
student = "S-01"
date = 2026-03-14
hand = "right"
green_speed_ft = 10.5

[[condition]]
name = "coin let go"
putt_ft = 12
clips = ["a.mp4", "b.mp4"]

[[condition]]
name = "coin kept on"
putt_ft = 12
clips = ["c.mp4"]
"""


def refusal(text: str) -> CannotMeasure:
    with pytest.raises(CannotMeasure) as caught:
        parse_lesson(text)
    assert caught.value.fix
    return caught.value


def test_a_lesson_written_by_hand_is_read_as_written() -> None:
    lesson = parse_lesson(GOOD)
    assert (lesson.student, lesson.date, lesson.hand) == ("S-01", dt.date(2026, 3, 14), "right")
    assert lesson.green_speed_ft == 10.5
    assert [each.title for each in lesson.conditions] == ["coin let go, 12 ft", "coin kept on, 12 ft"]
    assert lesson.clips == ("a.mp4", "b.mp4", "c.mp4")


def test_a_lesson_states_what_a_measurement_may_be_told() -> None:
    stated = """\
club = "club.toml"
ruler_mm = 97.3
recorded_at_hz = 240
dot = "green"
box = "610,402,30,20"
readout_ms = 8
"""
    lesson = parse_lesson(stated + GOOD)
    assert (lesson.club, lesson.ruler_mm, lesson.recorded_at_hz) == ("club.toml", 97.3, 240)
    assert (lesson.dot, lesson.box, lesson.readout_ms) == ("green", "610,402,30,20", 8)


def test_every_setting_a_lesson_leaves_out_stands_in_its_file_as_an_example_to_take(tmp_path: Path) -> None:
    text = lesson_text(parse_lesson(GOOD))
    taken = re.sub(r"^# (?=\w+ = )", "", text, flags=re.MULTILINE)
    lesson = parse_lesson(taken)
    for key in inspect.signature(settings_from).parameters:
        assert getattr(lesson, key) is not None, key


def test_a_coachs_notes_are_kept_over_several_lines() -> None:
    text = 'notes = """\nShoulders lead.\nNext: 20 ft.\n"""\n' + GOOD
    lesson = parse_lesson(text)
    assert lesson.notes == "Shoulders lead.\nNext: 20 ft."
    assert parse_lesson(lesson_text(lesson)) == lesson
    assert parse_lesson(GOOD).notes == ""
    with pytest.raises(CannotMeasure, match=r"'notes'.*is no plain text"):
        parse_lesson("notes = 5\n" + GOOD)


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path: Path) -> None:
    for clip in "abc":
        (tmp_path / f"{clip}.mp4").touch()
    (tmp_path / "lesson.toml").write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert read_lesson(tmp_path) == parse_lesson(GOOD)


# Surrogates have no UTF-8; printable text without them is what a file name or a label may hold.
words = st.text(st.characters(exclude_categories=("C", "Zl", "Zp", "Zs")), min_size=1, max_size=12).filter(
    lambda word: "/" not in word and word not in (".", "..")
)


@given(
    student=words,
    date=st.dates(),
    hand=st.sampled_from(["right", "left"]),
    green_speed_ft=st.floats(2, 20),
    names=st.lists(words, min_size=1, max_size=4, unique=True),
    putt_ft=st.floats(0.5, 150),
    clips=st.lists(words, min_size=4, max_size=4, unique=True),
    ruler_mm=st.none() | st.floats(80, 125),
    dot=st.none() | st.sampled_from(["green", "#20c040", "610,402,30,20"]),
)
def test_what_is_written_is_read_back_unchanged(
    student: str,
    date: dt.date,
    hand: str,
    green_speed_ft: float,
    names: list[str],
    putt_ft: float,
    clips: list[str],
    ruler_mm: float | None,
    dot: str | None,
) -> None:
    lesson = Lesson(
        student=student_code(student),
        date=date,
        hand="left" if hand == "left" else "right",
        green_speed_ft=green_speed_ft,
        conditions=tuple(
            Condition(name=name, putt_ft=putt_ft, clips=(clip,))
            for name, clip in zip(names, clips, strict=False)
        ),
        ruler_mm=ruler_mm,
        dot=dot,
    )
    assert parse_lesson(lesson_text(lesson)) == lesson


def test_where_the_head_is_on_one_clip_is_written_and_read_back() -> None:
    lesson = dataclasses.replace(parse_lesson(GOOD), boxes={'odd " name.mp4': "610,402,30,20"})
    assert parse_lesson(lesson_text(lesson)) == lesson


@pytest.mark.parametrize("boxes", ["boxes = 3\n", "boxes = {'a.mp4' = 3}\n"])
def test_boxes_that_are_none_are_refused_with_how_to_write_them(boxes: str) -> None:
    refused = refusal(boxes + GOOD)
    assert "'boxes' (line 1, column 1)" in refused.message
    assert '"clip.mov" = "610,402,30,20"' in refused.fix


@pytest.mark.parametrize(
    ("broken", "place"),
    [
        (GOOD.replace('"right"', '"right'), "line 3, column"),
        (GOOD.replace("putt_ft = 12\n", "putt_ft = = 12\n", 1), "line 8, column 11"),
        (GOOD.replace('"a.mp4", "b.mp4"]', '"a.mp4", "b.mp4"'), "line 11, column"),
        (GOOD + 'name = "twice"\nname = ', "line 15, column"),
        (GOOD + 'clips = [\n"x"', "line "),
    ],
)
def test_malformed_toml_is_refused_with_line_and_column(broken: str, place: str) -> None:
    error = refusal(broken)
    assert "not valid TOML" in error.message
    assert place in error.message
    assert "column" in error.message


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("date = 2026-03-14", 'date = "last week"'), "'date' (line 2, column 1) is 'last week'"),
        (('hand = "right"', 'hand = "both"'), "'hand' (line 3, column 1) is 'both'"),
        (("10.5", "105"), "'green_speed_ft' (line 4, column 1) is 105"),
        (("10.5", "nan"), "'green_speed_ft' (line 4, column 1) is nan"),
        (("10.5", "true"), "'green_speed_ft' (line 4, column 1) is True"),
        (('student = "S-01"\n', ""), "'student' is missing"),
        (('name = "coin kept on"\n', ""), "'name' is missing in condition 2"),
        (('["c.mp4"]', "[]"), "the condition 'coin kept on' has no clip (line 14, column 1)"),
        (('["c.mp4"]', '["a.mp4"]'), "the clip 'a.mp4' is in two places"),
        (('["c.mp4"]', '["../c.mp4"]'), "is not a plain file name"),
        (('["c.mp4"]', "[3]"), "is not a plain file name"),
        (("coin kept on", "coin let go"), "the condition 'coin let go, 12 ft' stands there twice"),
        (('hand = "right"', 'hand = "right"\nruler_mm = "97"'), "'ruler_mm' (line 4, column 1) is '97'"),
        (
            ('hand = "right"', 'hand = "right"\nbox = [1, 2, 3, 4]'),
            "'box' (line 4, column 1) is [1, 2, 3, 4]",
        ),
        (('hand = "right"', 'hand = "right"\ndot = " "'), "'dot' (line 4, column 1) is ' '"),
        (("green_speed_ft", "green_speed_m"), "'green_speed_m' (line 4, column 1) means nothing here"),
        (
            ('name = "coin kept on"', 'name = "x"\nhand = "left"'),
            "mixed hands: 'right' for the lesson and 'left'",
        ),
        (('name = "coin kept on"', 'name = "x"\ngreen_speed_ft = 8'), "mixed green speeds: 10.5"),
    ],
)
def test_a_wrong_value_is_refused_with_its_place_and_what_to_write(
    change: tuple[str, str], said: str
) -> None:
    before, after = change
    assert before in GOOD
    assert said in refusal(GOOD.replace(before, after)).message


def test_a_lesson_without_any_condition_is_refused() -> None:
    assert "names no condition" in refusal(GOOD.split("[[")[0]).message
    assert "names no condition" in refusal(GOOD.split("[[")[0] + "condition = 3").message


def test_a_clip_that_is_not_there_is_named_with_its_line(tmp_path: Path) -> None:
    write_lesson(parse_lesson(GOOD), tmp_path)
    for clip in ("a.mp4", "b.mp4"):
        (tmp_path / clip).touch()
    with pytest.raises(CannotMeasure, match=r"'c.mp4' named in lesson.toml \(line \d+, column \d+\)"):
        read_lesson(tmp_path)


def test_a_folder_without_lesson_file_says_how_to_get_one(tmp_path: Path) -> None:
    with pytest.raises(CannotMeasure) as caught:
        read_lesson(tmp_path)
    assert "pennyfall lesson new" in caught.value.fix


def test_a_file_that_is_not_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "lesson.toml").write_bytes(b"\xff\xfe\x00s")
    with pytest.raises(CannotMeasure, match="cannot be read"):
        read_lesson(tmp_path)


@pytest.mark.parametrize(
    ("name", "words", "feet"),
    [
        ("coin-let-go-12ft-1.mp4", "coin let go", 12),
        ("coin_kept_on 6 ft (2).MOV", "coin kept on", 6),
        ("Gate 8.5feet-03.mp4", "Gate", 8.5),
        ("drill2-10ft.mp4", "drill2", 10),
        ("coin-let-go-3m-1.mp4", "coin let go", 9.8425),
        ("coin-let-go-3 M (2).mov", "coin let go", 9.8425),
        ("gate_2,5m-1.mp4", "gate", 8.2021),
        ("gate-250cm.mp4", "gate", 8.2021),
    ],
)
def test_a_clip_name_tells_the_condition_and_the_putt(name: str, words: str, feet: float) -> None:
    (condition,) = sort_by_name([name]).conditions
    assert (condition.name, condition.putt_ft, condition.clips) == (words, feet, (name,))


def test_a_name_that_tells_nothing_is_left_for_asking() -> None:
    found = sort_by_name(["IMG_4711.MOV", "coin-let-go-12ft-1.mp4"])
    assert found.unsorted == ("IMG_4711.MOV",)
    grown = with_clip(found.conditions, "IMG_4711.MOV", "coin let go", 12.0)
    assert grown[0].clips == ("coin-let-go-12ft-1.mp4", "IMG_4711.MOV")
    assert len(with_clip(grown, "x.mp4", "coin let go", 6.0)) == 2


def test_a_number_that_is_no_putts_length_is_left_for_asking() -> None:
    names = ["IMG_4711m.MOV", "coin-let-go-500ft-1.mp4", "coin-let-go-3mm-1.mp4"]
    assert sort_by_name(names).unsorted == tuple(names)


def test_takes_are_in_order_of_their_number(tmp_path: Path) -> None:
    for take in (10, 2, 1):
        (tmp_path / f"gate-8ft-{take}.mp4").touch()
    (tmp_path / "notes.txt").touch()
    assert clips_in(tmp_path) == ("gate-8ft-1.mp4", "gate-8ft-2.mp4", "gate-8ft-10.mp4")


def test_a_folder_without_clips_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CannotMeasure, match="no clip"):
        clips_in(tmp_path)
    with pytest.raises(CannotMeasure, match="not a folder"):
        clips_in(tmp_path / "absent")
