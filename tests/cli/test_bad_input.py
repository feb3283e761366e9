"""Every way a clip can be unusable ends in a sentence and a remedy, or is measured and says what is missing.

The clips are cut out of, or painted over, a shipped clip of known truth.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.demo_clips.clips import clip_folder
from pennyfall.demo_clips.encode import write_clip
from pennyfall.demo_clips.record import truth_path
from pennyfall.demo_clips.scene import Encoding
from pennyfall.demo_clips.truth import load_truth

pytestmark = pytest.mark.clip

SOURCE = clip_folder() / "larch-60.mp4"
SIZE, RATE_HZ = (1280, 720), 60.0
Picture = NDArray[np.uint8]
Paint = Callable[[Picture, int], None]
DARK = (60, 128, 128)


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    return load_truth(truth_path(SOURCE))


@pytest.fixture(scope="module")
def pictures() -> list[Picture]:
    """Return the clip's frames as planar 4:2:0, shape (rows * 3 / 2, columns) each."""
    with av.open(str(SOURCE)) as container:
        return [
            np.asarray(frame.to_ndarray(format="yuv420p"), dtype=np.uint8)
            for frame in container.decode(video=0)
        ]


def _fill(
    picture: Picture, left: int, top: int, right: int, bottom: int, colour: tuple[int, int, int]
) -> None:
    """Paint a rectangle on even pixels over a planar picture."""
    width, height = SIZE
    picture[top:bottom, left:right] = colour[0]
    for number, value in enumerate(colour[1:]):
        plane = picture[height:].reshape(2, height // 2, width // 2)[number]
        plane[top // 2 : bottom // 2, left // 2 : right // 2] = value


def _around(points: Any, margin: int) -> tuple[int, int, int, int]:  # noqa: ANN401 - part of a JSON document
    place = np.atleast_2d(np.array(points, dtype=np.float64))
    low, high = (
        np.floor(place.min(axis=0) - margin).astype(int),
        np.ceil(place.max(axis=0) + margin).astype(int),
    )
    return int(low[0]) & ~1, int(low[1]) & ~1, (int(high[0]) + 1) & ~1, (int(high[1]) + 1) & ~1


def _made(
    path: Path,
    pictures: list[Picture],
    frames: range,
    paint: Paint | None = None,
    columns: slice = slice(None),
) -> Path:
    """Write some frames of the clip, painted over, cut to some columns (even ones)."""
    made = []
    for index in frames:
        picture = pictures[index].copy()
        if paint is not None:
            paint(picture, index)
        if columns != slice(None):
            half = picture[SIZE[1] :].reshape(2, SIZE[1] // 2, SIZE[0] // 2)
            narrow = slice(columns.start // 2, None)
            luma = picture[: SIZE[1], columns]
            picture = np.concatenate([luma, half[:, :, narrow].reshape(-1, luma.shape[1])])
        made.append(np.ascontiguousarray(picture))
    size = (made[0].shape[1], SIZE[1])
    write_clip(path, made, np.arange(len(made)) / RATE_HZ, size, Encoding(crf=18, preset="ultrafast"))
    return path


def _refused(clip: Path, *options: str) -> tuple[str, str]:
    """Return the message and the remedy with which measuring a clip ends."""
    out = clip.with_suffix(".json")
    result = CliRunner().invoke(app, ["measure", str(clip), "--json", str(out), "--quiet", *options])
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    assert not out.exists(), "no file is left behind"
    message, remedy = result.stderr.strip().split("\n")
    return message, remedy


def _measured(clip: Path) -> dict[str, Any]:
    out = clip.with_suffix(".json")
    result = CliRunner().invoke(app, ["measure", str(clip), "--json", str(out), "--quiet"])
    assert result.exit_code == 0, result.output
    document: dict[str, Any] = json.loads(out.read_text())
    return document


def _codes(document: dict[str, Any]) -> set[str]:
    return {warning["code"] for warning in document["warnings"]}


def test_what_is_no_video_is_to_be_filmed_again(tmp_path: Path) -> None:
    clip = tmp_path / "notes.mp4"
    clip.write_text("Wednesday, the Larch Room: S-01 kept the coin on.\n" * 40)
    message, remedy = _refused(clip)
    assert message.startswith("notes.mp4 cannot be read as a video (")
    assert remedy == "Film again, or copy the clip from the phone once more, as the original file."


def test_sound_alone_is_no_clip(tmp_path: Path) -> None:
    clip = tmp_path / "sound.mp4"
    with av.open(str(clip), "w") as container:
        stream = container.add_stream("aac", rate=48000, layout="mono")
        block = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        block.sample_rate = 48000
        container.mux(stream.encode(block))
        container.mux(stream.encode(None))
    message, remedy = _refused(clip)
    assert message == "sound.mp4 holds no video stream."
    assert remedy == "Give the clip itself, not its sound."


def test_one_frame_is_no_moving_picture(tmp_path: Path, pictures: list[Picture]) -> None:
    clip = tmp_path / "still.mp4"
    with av.open(str(clip), "w") as container:
        stream = container.add_stream("libx264", rate=60)
        stream.width, stream.height, stream.pix_fmt = *SIZE, "yuv420p"
        container.mux(stream.encode(av.VideoFrame.from_ndarray(pictures[0], format="yuv420p")))
        container.mux(stream.encode(None))
    message, remedy = _refused(clip)
    assert message == "still.mp4 holds one frame that can be used; a stroke needs a moving picture."
    assert remedy.startswith("Film a video of the whole stroke")


@pytest.mark.parametrize("spoilt", [2, 3])
def test_a_clip_with_next_to_no_sound_frame_is_refused_alike_whether_two_are_left_or_none(
    tmp_path: Path, pictures: list[Picture], spoilt: int
) -> None:
    """Of three key frames in 42 frames, 20 apart, two or three are overwritten in their middle."""
    clip = tmp_path / "spoilt.mp4"
    with av.open(str(clip), "w") as container:
        stream = container.add_stream("libx264", rate=60)
        stream.width, stream.height, stream.pix_fmt = *SIZE, "yuv420p"
        stream.options = {"g": "20", "bf": "0", "preset": "ultrafast", "sc_threshold": "0"}
        for picture in pictures[:42]:
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="yuv420p")))
        container.mux(stream.encode(None))
    with av.open(str(clip)) as container:
        packets = [each for each in container.demux(video=0) if each.is_keyframe and each.size]
        keys = [(each.pos or 0, each.size) for each in packets]
    content = bytearray(clip.read_bytes())
    for first, size in keys[:spoilt]:
        content[first + size // 3 : first + size // 2] = bytes(size // 2 - size // 3)
    clip.write_bytes(content)
    assert len(keys) == 3
    message, remedy = _refused(clip)
    assert message.startswith("Next to no frame of spoilt.mp4 can be decoded")
    assert remedy.startswith("Film again")


def test_a_header_without_a_frame_is_no_clip(tmp_path: Path) -> None:
    """The header promises 136 frames, the copy ended before the first."""
    whole, clip = SOURCE.read_bytes(), tmp_path / "header.mp4"
    clip.write_bytes(whole[: whole.index(b"mdat") + 8])
    message, remedy = _refused(clip)
    assert message.startswith(("Next to no frame of header.mp4 can be decoded", "header.mp4 holds no frame"))
    assert remedy.startswith("Film")


def test_a_clip_cut_off_in_the_copying_is_refused_or_says_it_is_damaged(
    tmp_path: Path, pictures: list[Picture]
) -> None:
    whole = SOURCE.read_bytes()
    early, late = tmp_path / "early.mp4", tmp_path / "late.mp4"
    early.write_bytes(whole[: len(whole) // 2])
    message, remedy = _refused(early)
    assert message.startswith("early.mp4 was not copied whole: the last 50 % of the file are missing")
    assert remedy == "Copy the clip from the phone once more."
    late.write_bytes(whole[: int(0.97 * len(whole))])
    document = _measured(late)
    assert "file-cut-short" in _codes(document)
    assert document["clip"]["frames"] < len(pictures)


def test_a_floor_without_sheet_and_tag_is_refused(tmp_path: Path, generator: np.random.Generator) -> None:
    noise = [generator.integers(60, 120, (SIZE[1] * 3 // 2, SIZE[0]), dtype=np.uint8) for _ in range(3)]
    message, remedy = _refused(_made(tmp_path / "floor.mp4", noise * 4, range(12)))
    assert message == "Neither a ball nor a tag of the printed sheet is found in floor.mp4."
    assert remedy.startswith("Film the ball at rest and then the whole stroke")


def _without_tag(truth: dict[str, Any]) -> Paint:
    corners = truth["frames"]["head_marker_corners_px"]

    def paint(picture: Picture, index: int) -> None:
        _fill(picture, *_around(corners[index], 10), DARK)

    return paint


def test_a_head_without_a_tag_beside_which_no_shaft_moves_is_refused(
    tmp_path: Path, pictures: list[Picture], truth: dict[str, Any]
) -> None:
    clip = _made(tmp_path / "bare.mp4", pictures, range(24), _without_tag(truth))
    message, remedy = _refused(clip)
    assert message.startswith("The sheet is found in bare.mp4, but no tag on the putter head, and no shaft")
    assert remedy.startswith("Stick the head tag flat on top of the head")
    assert "--dot" in remedy
    assert "--box" in remedy


def test_a_tag_seen_in_too_few_frames_is_refused_with_the_share(
    tmp_path: Path, pictures: list[Picture], truth: dict[str, Any]
) -> None:
    hide = _without_tag(truth)

    def paint(picture: Picture, index: int) -> None:
        if index >= 12:
            hide(picture, index)

    message, remedy = _refused(_made(tmp_path / "rare.mp4", pictures, range(60), paint))
    assert message == "The head tag is seen in 20 % of the frames of rare.mp4."
    assert "brighter light" in remedy
    assert "whole stroke in the picture" in remedy


def test_without_its_ball_the_stroke_is_measured_and_what_is_missing_is_said(
    tmp_path: Path, pictures: list[Picture], truth: dict[str, Any]
) -> None:
    balls, still = truth["frames"]["ball_centre_px"], pictures[0].copy()

    def paint(picture: Picture, index: int) -> None:
        if balls[index] is None:
            return
        left, top, right, bottom = _around(balls[index], 26)
        if right >= SIZE[0] or left < 0:
            return
        floor = still[bottom + 60 : 2 * bottom - top + 60, left:right]  # carpet from below the ball
        colour = int(np.median(floor)) if floor.size else 90
        _fill(picture, left, top, right, bottom, (colour, 128, 128))

    document = _measured(_made(tmp_path / "ballless.mp4", pictures, range(len(pictures)), paint))
    stroke = document["strokes"][0]
    assert stroke["ball_speed_mps"]["value"] is None
    assert stroke["impact_source"] != "ball"
    assert {"no-ball"} <= _codes(document)
    told = next(one["message"] for one in document["warnings"] if one["code"] == "no-ball")
    assert "ball speed is not measured" in told
    true = truth["strokes_container_clock"][0]
    assert stroke["top_s"]["value"] == pytest.approx(true["top_s"], abs=0.01)
    assert stroke["backswing_length_m"]["value"] == pytest.approx(true["backswing_length_m"], rel=0.05)


def test_a_stroke_cut_off_at_the_start_or_the_end_is_refused(
    tmp_path: Path, pictures: list[Picture], truth: dict[str, Any]
) -> None:
    true = truth["strokes_container_clock"][0]
    top, impact = (round(true[name] * RATE_HZ) for name in ("top_s", "impact_s"))
    message, remedy = _refused(_made(tmp_path / "late.mp4", pictures, range(top - 12, len(pictures))))
    assert "starts after the backswing began" in message
    assert "cm" in message
    assert remedy.startswith("Start filming a second before the stroke")
    message, remedy = _refused(_made(tmp_path / "early.mp4", pictures, range(impact - 5)))
    assert "ends before the stroke reached the ball" in message
    assert remedy.startswith("Film on for a second")


def test_a_stroke_that_leaves_the_frame_says_so(tmp_path: Path, pictures: list[Picture]) -> None:
    """The left 450 columns are cut away, and with them the last third of the backswing."""
    message, remedy = _refused(
        _made(tmp_path / "narrow.mp4", pictures, range(len(pictures)), columns=slice(450, None))
    )
    assert message.startswith("The head leaves the picture of narrow.mp4 on its left side at 0.9")
    assert remedy.startswith("Step back or turn the phone sideways")


def test_an_impossible_lens_file_is_refused(tmp_path: Path) -> None:
    lens = tmp_path / "lens.json"
    lens.write_text(json.dumps({"schema": "pennyfall.lens/1", "width_px": 1280, "height_px": 720}))
    message, remedy = _refused_with(tmp_path, lens)
    assert message == "The lens file needs 2 numbers for focal_px."
    assert remedy == "Make the lens file again with: pennyfall lens CLIP --out lens.json"


def _refused_with(folder: Path, lens: Path) -> tuple[str, str]:
    out = folder / "out.json"
    result = CliRunner().invoke(
        app, ["measure", str(SOURCE), "--lens", str(lens), "--json", str(out), "--quiet"]
    )
    assert result.exit_code == 2, result.output
    assert not out.exists()
    message, remedy = result.stderr.strip().split("\n")
    return message, remedy


@pytest.mark.parametrize("option", ["--json", "--track", "--picture"])
def test_an_output_that_cannot_be_written_is_refused_before_measuring(tmp_path: Path, option: str) -> None:
    for place, message, remedy in (
        (
            tmp_path / "no" / "such.png",
            f"There is no folder {tmp_path / 'no'}.",
            "Make it first, or name another.",
        ),
        (tmp_path, f"{tmp_path} is a folder.", "Name a file, such as stroke.json."),
    ):
        result = CliRunner().invoke(app, ["measure", str(SOURCE), option, str(place), "--quiet"])
        assert result.exit_code == 2
        assert result.stderr.split("\n")[:2] == [message, remedy]


def test_a_clip_that_cannot_be_followed_does_not_keep_the_next_from_its_track(tmp_path: Path) -> None:
    unreadable = tmp_path / "notes.mp4"
    unreadable.write_text("no video", encoding="utf-8")
    tracks = tmp_path / "tracks"
    result = CliRunner().invoke(app, ["measure", str(unreadable), str(SOURCE), "--track", str(tracks)])
    assert result.exit_code == 2
    assert "notes.mp4 cannot be read as a video" in result.stderr
    assert [each.name for each in tracks.iterdir()] == ["larch-60.csv"]
