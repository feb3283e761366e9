"""What differs between systems: names, line ends, encodings, links, and the width of a terminal."""

from __future__ import annotations

import dataclasses
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from pennyfall.calibration.layout_file import load_layout
from pennyfall.calibration.lens import load_lens
from pennyfall.cli.files.frictions import load_frictions
from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.files.own_rules import rules_of, write_rules
from pennyfall.cli.history.export import export
from pennyfall.cli.lesson.clips import lesson_measuring
from pennyfall.cli.lesson.run import verdict
from pennyfall.demo_clips.clips import shipped_clips
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.clip.reading import read_clip
from tests.cli.lesson_strokes import lesson_folder
from tests.cli.quick_lesson import quick_run

BYTE_ORDER_MARK = b"\xef\xbb\xbf"
"""What some editors on Windows put before a text in UTF-8."""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows allows no colon in a name")
def test_a_clip_named_after_a_time_of_day_is_a_file_and_no_address(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copy(shipped_clips()[0].path, tmp_path / "12:30.mp4")
    monkeypatch.chdir(tmp_path)
    assert read_clip(Path("12:30.mp4")).header.frames_promised > 0


def test_a_character_that_the_output_cannot_hold_stops_no_command(tmp_path: Path) -> None:
    folder = tmp_path / "lesson −1"  # a true minus sign, which is in no one-byte encoding of Western Europe
    folder.mkdir()
    ran = subprocess.run(
        [sys.executable, "-c", "from pennyfall.cli.app import main; main()", "lesson", "rules", str(folder)],
        env={**os.environ, "PYTHONIOENCODING": "latin-1"},
        capture_output=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    assert b"lesson ?1" in ran.stdout
    assert ran.stderr == b""


def test_the_verdict_fits_a_narrow_terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lesson_folder(tmp_path)
    done = quick_run(tmp_path, database=None)
    for columns, widest in ((60, 60), (300, 100)):
        monkeypatch.setenv("COLUMNS", str(columns))
        lengths = [len(line) for line in verdict(done.result, done.reading).splitlines()]
        assert widest - 15 < max(lengths) <= widest


def test_tables_end_their_lines_alike_everywhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "linesep", "\r\n")  # as on Windows
    keys = {"student": "S-01", "date": "2026-03-14", "folder": "x", "hand": "right", "green_speed_ft": 10.0}
    stroke = {"condition": "coin let go", "putt_ft": 12.0, "clip": "a.mp4", "stroke": 1}
    stroke |= {"clip_sha256": "00", "scale_rel_sd": 0.01, "scale_source": "sheet"}
    table = pd.DataFrame([{**keys, **stroke, "quantity": "tempo_ratio", "value": 2.0, "sd": 0.1}])
    assert export(table, tmp_path / "strokes.csv") == 1
    written = (tmp_path / "strokes.csv").read_bytes()
    assert written.count(b"\n") == 2
    assert b"\r" not in written


@pytest.mark.parametrize("load", [load_layout, load_lens, load_frictions])
def test_a_byte_order_mark_before_a_file_does_no_harm(tmp_path: Path, load: object) -> None:
    assert callable(load)
    path = tmp_path / "file"

    def outcome(content: bytes) -> str:
        path.write_bytes(content)
        try:
            return repr(load(path))
        except CannotMeasure as error:
            return error.message

    assert outcome(BYTE_ORDER_MARK + b"{}") == outcome(b"{}")
    assert outcome(BYTE_ORDER_MARK) == outcome(b"")


def test_rules_saved_with_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    rules, _ = write_rules(tmp_path)
    plain = rules_of(tmp_path)
    rules.write_bytes(BYTE_ORDER_MARK + rules.read_bytes().replace(b"\n", b"\r\n"))
    assert rules_of(tmp_path) == plain


def test_a_file_of_a_lesson_may_lie_in_the_home_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    (home / "club.toml").write_text("tag_height_mm = 30\n", encoding="utf-8")
    monkeypatch.setenv("USERPROFILE" if sys.platform == "win32" else "HOME", str(home))
    lesson = dataclasses.replace(lesson_folder(tmp_path / "lesson", strokes=1), club="~/club.toml")
    _, measured_with = lesson_measuring(tmp_path / "lesson", lesson)
    assert measured_with.options["club"] == "tag_height_mm = 30\n"


@pytest.mark.skipif(sys.platform == "win32", reason="making a link needs rights on Windows")
def test_what_is_written_through_a_link_goes_where_it_points(tmp_path: Path) -> None:
    (tmp_path / "kept").mkdir()
    link = tmp_path / "frictions.toml"
    link.symlink_to(tmp_path / "kept" / "frictions.toml")
    for content in (b"first", b"second"):
        write_whole(link, content)
        assert link.is_symlink()
        assert (tmp_path / "kept" / "frictions.toml").read_bytes() == content
