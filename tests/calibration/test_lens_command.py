"""`pennyfall lens`: from a clip or pictures to a lens file."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from typer.testing import CliRunner

from pennyfall.calibration.lens import load_lens
from pennyfall.cli.app import app
from tests.calibration.lens_scenes import SIZE, board_picture, poses

runner = CliRunner()


def write_clip(path: Path, pictures: list[NDArray[np.uint8]], *, each: int) -> None:
    """Write each picture `each` times over, as a board shown from one side after the other."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=Fraction(30))
        stream.width, stream.height = SIZE
        stream.pix_fmt = "yuv420p"
        stream.options = {"crf": "18", "preset": "ultrafast"}
        for picture in pictures:
            for _ in range(each):
                frame = av.VideoFrame.from_ndarray(picture, format="gray").reformat(format="yuv420p")
                container.mux(stream.encode(frame))
        container.mux(stream.encode())


@pytest.fixture(scope="module")
def pictures() -> list[NDArray[np.uint8]]:
    """Eight pictures of the printed board through a lens of exactly 1000 px."""
    return [board_picture(*pose) for pose in poses(np.random.default_rng(7), 8)]


def test_a_clip_of_the_board_gives_the_lens(tmp_path: Path, pictures: list[NDArray[np.uint8]]) -> None:
    clip, out = tmp_path / "board.mp4", tmp_path / "lens.json"
    write_clip(clip, pictures, each=4)
    result = runner.invoke(app, ["lens", str(clip), "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert "focal length" in result.stdout
    lens = load_lens(out)
    assert (lens.width_px, lens.height_px) == SIZE
    assert lens.focal_px == pytest.approx(1000, rel=0.004)


def test_pictures_of_the_board_give_the_lens(tmp_path: Path, pictures: list[NDArray[np.uint8]]) -> None:
    names = []
    for number, picture in enumerate(pictures):
        names.append(str(tmp_path / f"view{number}.png"))
        assert cv2.imwrite(names[-1], picture)
    out = tmp_path / "lens.json"
    result = runner.invoke(app, ["lens", *names, "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert load_lens(out).focal_px == pytest.approx(1000, rel=0.003)


@pytest.mark.footage
def test_the_published_chessboard_photographs_give_the_published_focal_length(
    tmp_path: Path, refdata: Path
) -> None:
    """OpenCV modules/python/test/test_calibration.py: fx 532.81, fy 532.93."""
    names = [str(name) for name in sorted((refdata / "opencv_chessboard").glob("*.jpg"))]
    out = tmp_path / "lens.json"
    result = runner.invoke(app, ["lens", *names, "--pattern", "9x6", "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert load_lens(out).focal_px == pytest.approx(532.87, abs=1.0)


def test_pictures_of_two_sizes_are_refused(tmp_path: Path, pictures: list[NDArray[np.uint8]]) -> None:
    large, small = str(tmp_path / "large.png"), str(tmp_path / "small.png")
    cv2.imwrite(large, pictures[0])
    cv2.imwrite(small, pictures[0][::2, ::2])
    result = runner.invoke(app, ["lens", large, small, "--out", str(tmp_path / "lens.json")])
    assert result.exit_code == 2
    assert "small.png is 640 x 360 px, the one before 1280 x 720 px" in result.stderr
    assert not (tmp_path / "lens.json").exists()


@pytest.mark.parametrize("pattern", ["9", "9x", "0x0", "9x1000", "nine by six", "-9x6"])
def test_a_pattern_that_cannot_be_is_refused(tmp_path: Path, pattern: str) -> None:
    result = runner.invoke(
        app, ["lens", "clip.mp4", f"--pattern={pattern}", "--out", str(tmp_path / "lens.json")]
    )
    assert result.exit_code == 2
    assert "four squares meet" in result.stderr


def test_pictures_without_a_board_are_refused(tmp_path: Path) -> None:
    name = tmp_path / "wall.png"
    cv2.imwrite(str(name), np.full((360, 640), 128, dtype=np.uint8))
    result = runner.invoke(app, ["lens", str(name), "--out", str(tmp_path / "lens.json")])
    assert result.exit_code == 2
    assert "found, sharp, in 0 different places" in result.stderr


@pytest.mark.parametrize("name", ["none.mp4", "none.jpg"])
def test_a_missing_file_is_named(tmp_path: Path, name: str) -> None:
    result = runner.invoke(app, ["lens", str(tmp_path / name), "--out", str(tmp_path / "lens.json")])
    assert result.exit_code == 2
    assert name in result.stderr


def test_a_file_that_is_no_picture_is_refused(tmp_path: Path) -> None:
    name = tmp_path / "words.jpg"
    name.write_text("not a picture", encoding="utf-8")
    result = runner.invoke(app, ["lens", str(name), "--out", str(tmp_path / "lens.json")])
    assert result.exit_code == 2
    assert "is no picture" in result.stderr
