"""What is written is whole, readable by whom the umask says, and never takes the place of a device."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from pennyfall.cli.files.measurement import write_whole
from pennyfall.kinematics.errors import CannotMeasure
from tests.cli.lesson_strokes import lesson_folder
from tests.cli.quick_lesson import quick_run

unix_only = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no umask and no pipes in folders")


@contextmanager
def umask(mask: int) -> Iterator[None]:
    before = os.umask(mask)
    try:
        yield
    finally:
        os.umask(before)


def mode(path: Path) -> int:
    return path.stat().st_mode & 0o777


@unix_only
@pytest.mark.parametrize(("mask", "expected"), [(0o077, 0o600), (0o022, 0o644), (0o002, 0o664)])
def test_a_file_is_readable_by_whom_the_umask_says(tmp_path: Path, mask: int, expected: int) -> None:
    out = tmp_path / "report.html"
    for content in (b"first", b"second"):
        with umask(mask):
            write_whole(out, content)
        assert out.read_bytes() == content
        assert mode(out) == expected


@unix_only
def test_with_a_strict_umask_nobody_else_reads_anything_of_a_lesson(tmp_path: Path) -> None:
    with umask(0o077):
        lesson_folder(tmp_path / "lesson", strokes=1)
        quick_run(tmp_path / "lesson", database=tmp_path / "history.sqlite")
    written = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert {"report.html", "lesson.toml", "history.sqlite"} <= {path.name for path in written}
    assert {path.name: oct(mode(path)) for path in written if mode(path) & 0o077} == {}


@unix_only
def test_a_pipe_or_a_device_is_not_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "out.json"
    os.mkfifo(pipe)
    with pytest.raises(CannotMeasure, match="no ordinary file"):
        write_whole(pipe, b"{}")
    assert pipe.is_fifo()
    assert list(tmp_path.iterdir()) == [pipe]


def test_a_place_that_cannot_be_written_is_said_and_nothing_is_left(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    for place in (tmp_path / "none" / "out.json", tmp_path / "file" / "out.json"):
        with pytest.raises(CannotMeasure, match="cannot be written"):
            write_whole(place, b"{}")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]
