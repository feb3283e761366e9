"""A clip is decoded once, whatever is shown of it."""

from __future__ import annotations

import dataclasses
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.cli.files.lesson_file import Condition, write_lesson
from pennyfall.cli.files.measured_files import annotated_path
from pennyfall.cli.lesson.run import run_lesson
from pennyfall.demo_clips.clips import clip_folder
from pennyfall.tracker.clip.decoding import Decoding
from tests.cli.lesson_strokes import lesson_folder


@pytest.fixture
def passes(monkeypatch: pytest.MonkeyPatch) -> list[Decoding]:
    """Return a list that grows by every pass over a clip's pictures."""
    begun: list[Decoding] = []
    pictures = Decoding.pictures

    def noted(self: Decoding) -> Iterator[tuple[float, Any]]:
        begun.append(self)
        return pictures(self)

    monkeypatch.setattr(Decoding, "pictures", noted)
    return begun


@pytest.mark.clip
def test_the_picture_of_a_stroke_costs_no_second_pass(tmp_path: Path, passes: list[Decoding]) -> None:
    clip, picture = clip_folder() / "larch-60.mp4", tmp_path / "stroke.png"
    result = CliRunner().invoke(app, ["measure", str(clip), "--picture", str(picture), "--quiet"])
    assert result.exit_code == 0, result.output
    assert picture.stat().st_size > 100_000, "with its four frames"
    assert len(passes) == 1


@pytest.mark.clip
def test_the_film_on_a_lessons_page_costs_no_second_pass(tmp_path: Path, passes: list[Decoding]) -> None:
    lesson = lesson_folder(tmp_path, strokes=1)
    shutil.copy(clip_folder() / "larch-60.mp4", tmp_path / "a.mp4")
    (tmp_path / "lesson.toml").unlink()
    one = dataclasses.replace(lesson, conditions=(Condition(name="as usual", putt_ft=8.0, clips=("a.mp4",)),))
    write_lesson(one, tmp_path)
    run_lesson(tmp_path, database=None, processes=1)
    assert annotated_path(tmp_path, "a.mp4", 1).stat().st_size > 20_000
    assert len(passes) == 1
