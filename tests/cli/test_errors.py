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
    for clip, what in (
        (tmp_path / "nowhere.mp4", "There is no file"),
        (tmp_path, "is a folder, not a clip.\nName the clip in it"),
    ):
        code, words = _measure(clip, tmp_path)
        assert code == 2
        assert clip.name in words
        assert what in words


@pytest.mark.parametrize(("name", "content"), [("sheet.pdf", b"%PDF-1.4\n"), ("stroke.json", b"{}\n")])
@pytest.mark.parametrize("command", ["measure", "check", "coin", "lens"])
def test_a_file_of_another_kind_is_called_what_it_is(
    tmp_path: Path, command: str, name: str, content: bytes
) -> None:
    clip = tmp_path / name
    clip.write_bytes(content)
    if (command, clip.suffix) == ("coin", ".json"):
        return  # a measurement file is what it takes
    result = CliRunner().invoke(app, [command, str(clip)])
    assert result.exit_code == 2
    assert result.stderr.splitlines() == [
        f"{name} is no video but a {clip.suffix} file.",
        "Name the clip itself, as the phone recorded it.",
    ]


def test_a_clip_in_place_of_its_measurement_is_to_be_measured_first(tmp_path: Path) -> None:
    clip = tmp_path / "stroke.mp4"
    clip.write_bytes(bytes(range(256)))
    for words in (["plan"], ["prove", str(clip)]):
        result = CliRunner().invoke(app, [*words, str(clip)])
        assert result.exit_code == 2
        assert result.stderr.splitlines() == [
            "stroke.mp4 is no measurement file.",
            "If it is a clip, measure it first: pennyfall measure stroke.mp4 --json stroke.json",
        ]


@pytest.fixture
def read_only() -> Path:
    """Return a folder in which nobody makes a file, the system's own administrator neither."""
    folder = Path("/proc")
    if not folder.is_dir():
        pytest.skip("needs Linux's folder of processes")
    return folder


@pytest.mark.parametrize(
    "words",
    [
        ("measure", "{clip}", "--json"),
        ("measure", "{clip}", "--track"),
        ("measure", "{clip}", "--picture"),
        ("coin", "{clip}", "--frictions"),
        ("coin", "{clip}", "--json"),
        ("plan", "{clip}", "--picture"),
        ("lens", "{clip}", "--out"),
    ],
)
def test_a_place_where_nothing_can_be_written_is_noticed_before_the_clip_is_read(
    tmp_path: Path, read_only: Path, words: tuple[str, ...]
) -> None:
    clip = tmp_path / "noise.mp4"
    clip.write_bytes(b"not a video")
    out = read_only / "out.png"
    result = CliRunner().invoke(app, [*(word.format(clip=clip) for word in words), str(out)])
    assert result.exit_code == 2
    assert result.stderr.startswith(f"{out} cannot be written (")
    assert "Name a folder that exists and may be written" in result.stderr


def test_a_folder_for_several_clips_has_to_be_writable_too(tmp_path: Path, read_only: Path) -> None:
    clips = [tmp_path / "one.mp4", tmp_path / "two.mp4"]
    for clip in clips:
        clip.write_bytes(b"not a video")
    result = CliRunner().invoke(app, ["measure", *map(str, clips), "--json", str(read_only)])
    assert result.exit_code == 2
    assert "cannot be written" in result.stderr
    assert "one.mp4" not in result.stderr


def test_looking_whether_a_place_can_be_written_leaves_what_is_there(tmp_path: Path) -> None:
    clip, out = tmp_path / "noise.mp4", tmp_path / "out.json"
    clip.write_bytes(b"not a video")
    out.write_text("{}")
    assert CliRunner().invoke(app, ["measure", str(clip), "--json", str(out)]).exit_code == 2
    assert out.read_text() == "{}"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["noise.mp4", "out.json"]


def test_a_result_that_cannot_be_written_is_refused_before_the_clip_is_read(tmp_path: Path) -> None:
    clip = tmp_path / "noise.mp4"
    clip.write_bytes(b"not a video")
    code, words = _measure(clip, tmp_path / "no" / "such")
    assert code == 2
    assert words.startswith(f"There is no folder {tmp_path}/no/such.\n")
