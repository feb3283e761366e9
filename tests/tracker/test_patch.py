"""A patch of texture is followed against its first picture: no drift, gaps where it is hidden."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pennyfall.demo_clips.clips import clip_folder
from pennyfall.demo_clips.record import truth_path
from pennyfall.demo_clips.truth import load_truth
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.decoding import Decoding
from pennyfall.tracker.clip.frame import Frame, LumaFrame
from pennyfall.tracker.clip.reading import read_clip
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.patch import PatchFollower

RATE_HZ = 120.0
BOX = Box(78, 52, 32, 20)
MIDDLE = np.array([93.5, 61.5])


def _texture(generator: np.random.Generator, shape: tuple[int, int], grain_px: float) -> FloatArray:
    rough = cv2.GaussianBlur(generator.normal(0, 1, shape), (0, 0), grain_px)
    return np.asarray(rough / rough.std(), dtype=np.float64)


def _scene(generator: np.random.Generator, shifts: FloatArray) -> list[LumaFrame]:
    """Return pictures of a bright textured head moved over a resting carpet by known shifts."""
    carpet = 70 + 8 * _texture(generator, (140, 360), 1.5)
    head = 150 + 30 * _texture(generator, (140, 360), 2.0)
    mask = np.zeros((140, 360))
    mask[44:80, 68:120] = 1.0
    pictures = []
    for across, down in shifts:
        move = np.array([[1, 0, across], [0, 1, down]], dtype=np.float64)
        moved, here = (
            cv2.warpAffine(one, move, (360, 140), flags=cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REFLECT)
            for one in (head, mask)
        )
        luma = here * moved + (1 - here) * carpet + generator.normal(0, 1.0, carpet.shape)
        pictures.append(np.clip(np.round(luma), 0, 255).astype(np.uint8))
    return pictures


def _swing(count: int) -> FloatArray:
    """Return shifts that go out and come back to the start, shape (count, 2) [px]."""
    phase = np.linspace(0, np.pi, count)
    return np.column_stack([160 * np.sin(phase) ** 2, 12.3 * np.sin(phase)])


def _follow(pictures: list[LumaFrame]) -> PatchFollower:
    follower = PatchFollower(BOX)
    for index, luma in enumerate(pictures):
        follower.update(Frame(index, index / RATE_HZ, luma))
    return follower


def test_a_patch_that_comes_back_is_where_it_was_to_a_twentieth_of_a_pixel(
    generator: np.random.Generator,
) -> None:
    shifts = _swing(120)
    track = _follow(_scene(generator, shifts)).track()
    errors = track.centre_px - (MIDDLE + shifts)
    assert track.seen.all()
    assert np.sqrt(np.mean(errors**2, axis=0)) == pytest.approx([0, 0], abs=0.05)
    assert errors[-1] == pytest.approx([0, 0], abs=0.05)
    assert np.all(np.isnan(track.jacobian)), "a patch tells no tilt"


def test_a_hidden_patch_is_a_gap_and_is_found_again(generator: np.random.Generator) -> None:
    shifts = _swing(120)
    pictures = _scene(generator, shifts)
    hidden = slice(30, 37)  # 58 ms
    for luma in pictures[hidden]:
        luma[:] = 60
    track = _follow(pictures).track()
    assert not track.seen[hidden].any()
    assert np.all(np.isnan(track.centre_px[hidden]))
    assert track.seen[37 + 6 :].all(), "found within the 50 ms between two looks"
    assert track.centre_px[-1] == pytest.approx(MIDDLE + shifts[-1], abs=0.05)


@pytest.mark.parametrize(
    ("box", "words"),
    [
        (Box(350, 10, 20, 20), "not inside the picture"),
        (Box(10, 10, 6, 20), "too small"),
        (Box(10, 10, 30, 30), "almost one shade"),
    ],
)
def test_a_box_with_nothing_to_follow_is_refused_with_a_remedy(box: Box, words: str) -> None:
    with pytest.raises(CannotMeasure) as refused:
        PatchFollower(box).update(Frame(0, 0.0, np.full((140, 360), 90, np.uint8)))
    assert words in refused.value.message
    assert refused.value.fix


@pytest.mark.parametrize("text", ["", "1,2,3", "a,b,c,d", "1,2,0,4", "1,2,3,4,5", "1.5,2,3,4"])
def test_a_box_that_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(CannotMeasure, match="is no box"):
        Box.read(text)


@pytest.mark.clip
def test_a_patch_of_a_rendered_head_follows_the_truth_within_its_stated_deviation() -> None:
    path = clip_folder() / "larch-60.mp4"
    frames = load_truth(truth_path(path))["frames"]
    truth = np.array(frames["head_centre_px"])
    corners = np.array(frames["head_marker_corners_px"])[0]
    low = np.floor(corners.min(axis=0)).astype(int)
    width, height = np.ceil(np.ptp(corners, axis=0)).astype(int)
    follower = PatchFollower(Box(int(low[0]), int(low[1]), int(width), int(height)))
    for frame in Decoding(read_clip(path)).frames():
        follower.update(frame)
    track = follower.track()
    # The box's middle is not the tag's, so displacements from the first frame are compared.
    errors = (track.centre_px - track.centre_px[0]) - (truth - truth[0])[: len(track.seen)]
    assert track.seen.mean() > 0.99
    moving = np.hypot(*np.diff(truth, axis=0).T)[: len(errors) - 1] > 1
    scores = errors[1:][moving] / np.sqrt(np.diagonal(track.covariance_px2[1:][moving], axis1=1, axis2=2))
    assert 0.3 < np.sqrt(np.nanmean(scores**2)) < 1.5
