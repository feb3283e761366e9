"""A dot is followed by its colour: to a tenth of a pixel, past its likes, with gaps where it is hidden."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from pennyfall.demo_clips.encode import write_clip
from pennyfall.demo_clips.scene import Encoding
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.decoding import Decoding
from pennyfall.tracker.clip.frame import Frame
from pennyfall.tracker.clip.reading import read_clip
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.dot.coding import repeated_places, scatter_excess
from pennyfall.tracker.follow.dot.colour import NAMES, WantedColour
from pennyfall.tracker.follow.dot.follower import DotFollower

RATE_HZ = 120.0
SIZE = (400, 160)
START = np.array([240.3, 70.6])
RED, YELLOW, WHITE = (90, 100, 200), (180, 50, 140), (215, 128, 128)
HEAD, FLOOR = (60.0, 128.0, 128.0), (95.0, 120.0, 130.0)
LIKE = np.array([110.0, 118.0])
"""Where a sticker of the same colour lies, 50 px below the dot's way."""

ByteArray = NDArray[np.uint8]
Planes = tuple[FloatArray, FloatArray, FloatArray]


def _swing(count: int) -> FloatArray:
    """Return shifts: at rest, out by 160 px and 9 px down, and back to the start, shape (count, 2) [px]."""
    phase = np.clip((np.arange(count) / count - 0.15) / 0.8, 0, 1)
    way = np.sin(np.pi * phase) ** 2
    return np.column_stack([-160 * way, 9 * way])


def _ellipse(centre: FloatArray, smear: float, radii: tuple[float, float] = (7.0, 4.5)) -> FloatArray:
    """Return the share of each pixel that a smeared ellipse covers: 4 rays a side, 5 instants."""
    share = np.zeros(SIZE[::-1])
    fine, half = 4, 24
    left, top = (np.round(centre) - half).astype(int)
    if top < -half or left < -half:
        return share
    rows, columns = (np.mgrid[0 : 2 * half * fine, 0 : 2 * half * fine] + 0.5) / fine - 0.5
    across, down = columns + left - centre[0], rows + top - centre[1]
    moments = np.linspace(-0.4, 0.4, 5) * smear if smear else np.zeros(1)
    inside = [((across - m) / radii[0]) ** 2 + (down / radii[1]) ** 2 < 1 for m in moments]
    part = cv2.resize(np.mean(inside, axis=0), (2 * half, 2 * half), interpolation=cv2.INTER_AREA)
    top, bottom = max(top, 0), min(top + 2 * half, SIZE[1])
    share[top:bottom, left : left + 2 * half] = cv2.GaussianBlur(part, (0, 0), 0.6)[: bottom - top]
    return share


def _picture(
    generator: np.random.Generator,
    carpet: FloatArray,
    shift: FloatArray,
    colour: tuple[float, float, float],
    *,
    smear: float = 0.0,
    like: bool = False,
    noise: float = 1.0,
) -> Planes:
    """Return luma and half-size chroma of a dark head with a dot, on a carpet."""
    share = _ellipse(START + shift, smear)
    head = np.zeros(SIZE[::-1])
    left, top = (START + shift - [28, 22]).astype(int)
    head[max(top, 0) : max(top + 44, 0), left : left + 56] = 1.0
    planes = []
    for k in range(3):
        base = FLOOR[k] + (carpet if k == 0 else 0.0)
        plane: FloatArray = np.full(SIZE[::-1], 1.0) * base
        if like:
            spot = _ellipse(LIKE, 0.0)
            plane = spot * colour[k] + (1 - spot) * plane
        plane = head * HEAD[k] + (1 - head) * plane
        plane = share * colour[k] + (1 - share) * plane
        if k:
            small = cv2.resize(plane, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
            plane = np.asarray(small, dtype=np.float64)
        planes.append(plane + generator.normal(0, noise * (0.6 if k else 1.0), plane.shape))
    return planes[0], planes[1], planes[2]


def _pictures(
    generator: np.random.Generator,
    shifts: FloatArray,
    colour: tuple[float, float, float],
    *,
    like: bool = False,
    smeared: bool = False,
) -> list[Planes]:
    carpet = cv2.GaussianBlur(generator.normal(0, 1, SIZE[::-1]), (0, 0), 1.5)
    carpet = 12 * carpet / carpet.std()
    steps = np.gradient(shifts[:, 0]) if smeared else np.zeros(len(shifts))
    return [
        _picture(generator, carpet, shift, colour, smear=float(step), like=like)
        for shift, step in zip(shifts, steps, strict=True)
    ]


def _bytes(plane: FloatArray) -> ByteArray:
    return np.clip(np.round(plane), 0, 255).astype(np.uint8)


def _both(blue: ByteArray, red: ByteArray) -> tuple[ByteArray, ByteArray]:
    return blue, red


def _follow(pictures: Sequence[Planes], wanted: WantedColour | Box) -> DotFollower:
    follower = DotFollower(wanted)
    for index, picture in enumerate(pictures):
        luma, blue, red = (_bytes(plane) for plane in picture)
        follower.update(Frame(index, index / RATE_HZ, luma, partial(_both, blue, red)))
    return follower


@pytest.mark.parametrize(
    ("name", "colour", "smeared"),
    [("red", RED, False), ("yellow", YELLOW, True), ("white", WHITE, True), ("#d02030", RED, True)],
)
def test_a_dot_that_comes_back_is_followed_to_a_tenth_of_a_pixel(
    generator: np.random.Generator, name: str, colour: tuple[float, float, float], smeared: bool
) -> None:
    shifts = _swing(90)
    track = _follow(_pictures(generator, shifts, colour, smeared=smeared), WantedColour.read(name)).track()
    errors = track.centre_px - (START + shifts)
    assert np.sum(~track.seen) <= 1, "at the turn two frames may show the same place"
    assert np.sqrt(np.nanmean(errors**2, axis=0)) == pytest.approx([0, 0], abs=0.1)
    scores = errors / np.sqrt(np.diagonal(track.covariance_px2, axis1=1, axis2=2))
    assert np.sqrt(np.nanmean(scores**2)) < 1.5
    assert np.all(np.isnan(track.jacobian)), "a dot tells no tilt"


def test_of_two_dots_of_one_colour_the_one_that_moves_is_the_heads(generator: np.random.Generator) -> None:
    shifts = _swing(90)
    follower = _follow(_pictures(generator, shifts, RED, like=True), WantedColour.read("red"))
    errors = follower.track().centre_px - (START + shifts)
    assert np.nanmax(np.abs(errors)) < 0.4


def test_a_hidden_dot_is_a_gap_and_its_like_is_not_taken_for_it(generator: np.random.Generator) -> None:
    shifts = _swing(90)
    pictures = _pictures(generator, shifts, RED, like=True)
    hidden = slice(40, 58)  # 150 ms, longer than a prediction serves; the swing passes its like meanwhile
    away = np.tile([0.0, -200.0], (18, 1))
    pictures[hidden] = _pictures(generator, away, RED, like=True)
    track = _follow(pictures, WantedColour.read("red")).track()
    assert not track.seen[hidden].any()
    assert np.all(np.isnan(track.centre_px[hidden]))
    assert track.seen[58 + 7 :].all(), "found within the 50 ms between two looks"
    assert track.centre_px[-1] == pytest.approx(START + shifts[-1], abs=0.3)


def test_a_dot_half_covered_is_a_gap_not_a_shifted_place(generator: np.random.Generator) -> None:
    shifts = np.zeros((20, 2))
    pictures = _pictures(generator, shifts, RED)
    middle = int(START[0])
    for luma, blue, red in pictures[10:14]:
        luma[:, :middle] = 60
        blue[:, : middle // 2] = 128
        red[:, : middle // 2] = 128
    track = _follow(pictures, WantedColour.read("red")).track()
    assert not track.seen[10:14].any()
    assert track.seen[:10].all()


def test_a_box_around_the_dot_finds_what_its_colour_finds(generator: np.random.Generator) -> None:
    shifts = _swing(60)
    pictures = _pictures(generator, shifts, YELLOW)
    box = Box(int(START[0]) - 12, int(START[1]) - 10, 26, 20)
    by_box = _follow(pictures, box).track()
    by_colour = _follow(pictures, WantedColour.read("yellow")).track()
    assert by_box.centre_px == pytest.approx(by_colour.centre_px, abs=0.1)


@pytest.mark.parametrize(("name", "colour", "rms_px"), [("white", WHITE, 0.1), ("yellow", YELLOW, 0.15)])
def test_a_dot_in_a_compressed_clip_is_followed_to_a_fraction_of_a_pixel(
    generator: np.random.Generator,
    tmp_path: Path,
    name: str,
    colour: tuple[float, float, float],
    rms_px: float,
) -> None:
    """H.264 at a rate factor of 23, a like sticker on the floor, smeared by four fifths of each step."""
    shifts = _swing(90)
    frames = [
        np.concatenate([_bytes(luma), *(_bytes(plane).reshape(-1, SIZE[0]) for plane in (blue, red))])
        for luma, blue, red in _pictures(generator, shifts, colour, like=True, smeared=True)
    ]
    clip = tmp_path / "dot.mp4"
    write_clip(clip, frames, np.arange(90) / RATE_HZ, SIZE, Encoding(crf=23))
    follower = DotFollower(WantedColour.read(name))
    for frame in Decoding(read_clip(clip)).frames():
        follower.update(frame)
    track = follower.track()
    errors = (track.centre_px - (START + shifts))[track.seen]
    assert track.seen.mean() > 0.9
    assert np.sqrt(np.mean(errors**2, axis=0)).max() < rms_px


def test_a_picture_without_the_colour_shows_no_dot(generator: np.random.Generator) -> None:
    track = _follow(_pictures(generator, np.zeros((5, 2)), RED), WantedColour.read("blue")).track()
    assert not track.seen.any()


@pytest.mark.parametrize(
    ("box", "words"),
    [(Box(390, 10, 20, 20), "not inside the picture"), (Box(10, 130, 24, 20), "no dot that stands out"),
     (Box(236, 67, 6, 6), "no dot that stands out")],
)  # fmt: skip
def test_a_box_without_a_dot_is_refused_with_a_remedy(
    generator: np.random.Generator, box: Box, words: str
) -> None:
    with pytest.raises(CannotMeasure) as refused:
        _follow(_pictures(generator, np.zeros((1, 2)), RED), box)
    assert words in refused.value.message
    assert refused.value.fix


@pytest.mark.parametrize(
    ("text", "words"),
    [("mauvish", "no colour"), ("#12", "no colour"), ("#gggggg", "no colour"), ("#303030", "any shadow")],
)
def test_a_colour_that_cannot_be_read_is_refused(text: str, words: str) -> None:
    with pytest.raises(CannotMeasure) as refused:
        WantedColour.read(text)
    assert words in refused.value.message
    assert "x,y,w,h" in refused.value.fix


def test_the_chroma_of_pure_colours_is_that_of_the_recommendation() -> None:
    """ITU-R BT.709-6, table 3: pure red has 112 steps of red difference, pure blue of blue difference."""
    assert WantedColour.read("#ff0000").chroma[1] == pytest.approx(112, abs=0.1)
    assert WantedColour.read("#0000ff").chroma[0] == pytest.approx(112, abs=0.1)
    assert all(WantedColour.read(name).bright == (name == "white") for name in NAMES)


def test_the_scatter_of_a_moving_track_is_told_from_its_motion(generator: np.random.Generator) -> None:
    """White errors of 0.3 px on a swing of 160 px, stated as 0.1 px: three times too small."""
    way = _swing(600) + generator.normal(0, 0.3, (600, 2))
    stated = np.tile(0.01 * np.eye(2), (600, 1, 1))
    assert scatter_excess(way, stated) == pytest.approx(3.0, rel=0.15)
    assert scatter_excess(_swing(600), stated) == 1.0


def test_a_place_repeated_in_motion_is_no_news_and_one_repeated_at_rest_is() -> None:
    along = np.concatenate([np.zeros(8), np.arange(1, 6), [5.0, 5.0, 5.0], np.arange(6, 10)])
    resting, stuck = repeated_places(np.column_stack([along, np.zeros_like(along)]))
    assert np.flatnonzero(resting).tolist() == [1, 2, 3, 4, 5, 6, 7]
    assert np.flatnonzero(stuck).tolist() == [13, 14, 15]
