"""Damaged and odd files end in one plain sentence with a remedy, and leave nothing behind."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from pennyfall.cli.app import app


def _measure(clip: Path, folder: Path) -> tuple[int, str]:
    arguments = ["measure", str(clip), "--json", str(folder / "out.json"), "--quiet"]
    result = CliRunner().invoke(app, arguments)
    return result.exit_code, result.stderr


@pytest.mark.footage
@pytest.mark.clip
def test_every_odd_file_is_refused_in_words_with_code_2(footage: Path, tmp_path: Path) -> None:
    files = sorted((footage / "odd-files").iterdir())
    assert len(files) >= 19
    for clip in files:
        code, words = _measure(clip, tmp_path)
        assert code == 2, (clip.name, words)
        assert clip.name in words
        assert "Traceback" not in words
        assert "defect" not in words
        assert len(words.strip().splitlines()) >= 2, "a remedy follows the sentence"
        assert list(tmp_path.iterdir()) == [], clip.name


@pytest.mark.parametrize(
    ("name", "content"),
    [("empty.mp4", b""), ("text.mp4", b"not a video\n" * 100), ("noise.mov", bytes(range(256)) * 64)],
)
def test_a_file_that_is_no_video_is_refused(tmp_path: Path, name: str, content: bytes) -> None:
    clip = tmp_path / name
    clip.write_bytes(content)
    code, words = _measure(clip, tmp_path)
    assert code == 2
    assert name in words
    assert "Traceback" not in words


def test_a_missing_clip_and_a_folder_are_refused(tmp_path: Path) -> None:
    for clip in (tmp_path / "nowhere.mp4", tmp_path):
        code, words = _measure(clip, tmp_path)
        assert code == 2
        assert clip.name in words


def test_a_result_that_cannot_be_written_is_refused_before_the_clip_is_read(tmp_path: Path) -> None:
    clip = tmp_path / "noise.mp4"
    clip.write_bytes(b"not a video")
    code, words = _measure(clip, tmp_path / "no" / "such")
    assert code == 2
    assert words.startswith(f"There is no folder {tmp_path}/no/such.\n")
