"""A held phone's pictures laid over the first."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.tracker.clip.frame import Frame, LumaFrame
from pennyfall.tracker.follow.steady import Steadier

SIZE = (960, 540)
FOCAL_PX = 800.0


def _floor(generator: np.random.Generator) -> LumaFrame:
    """Return a floor of blotches of all sizes, as carpet and grass have."""
    height, width = SIZE[1], SIZE[0]
    picture = np.full((height, width), 110.0)
    for sigma, step in ((1.5, 14), (5.0, 60), (20.0, 300)):
        picture += step * cv2.GaussianBlur(generator.standard_normal((height, width)), (0, 0), sigma)
    return np.asarray(np.clip(picture, 0, 255), dtype=np.uint8)


def _turned(
    picture: LumaFrame, turn_rad: tuple[float, float, float]
) -> tuple[LumaFrame, NDArray[np.float64]]:
    """Return the picture of a phone turned in the hand, and the homography from the first to it."""
    camera = np.array([[FOCAL_PX, 0, SIZE[0] / 2], [0, FOCAL_PX, SIZE[1] / 2], [0, 0, 1]])
    rotation, _ = cv2.Rodrigues(np.array(turn_rad))
    motion = camera @ rotation @ np.linalg.inv(camera)
    turned = cv2.warpPerspective(picture, motion, SIZE, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(turned, dtype=np.uint8), np.asarray(motion)


def test_a_phone_turned_in_the_hand_is_laid_over_its_first_picture(generator: np.random.Generator) -> None:
    first = _floor(generator)
    steadier = Steadier()
    steadier.update(Frame(0, 0.0, first))
    for index, turn in enumerate(((0.003, -0.004, 0.002), (-0.006, 0.008, -0.003)), start=1):
        shown, _ = _turned(first, turn)
        steady = steadier.update(Frame(index, index / 60, shown)).luma
        inner = (slice(40, -40), slice(40, -40))
        before = np.abs(shown[inner].astype(float) - first[inner]).mean()
        after = np.abs(steady[inner].astype(float) - first[inner]).mean()
        # Cubic and linear interpolation alone leave a tenth.
        assert after < 0.2 * before
        (across, down), _ = cv2.phaseCorrelate(
            np.asarray(steady[inner], dtype=np.float64), np.asarray(first[inner], dtype=np.float64)
        )
        assert float(np.hypot(across, down)) < 0.05
    assert steadier.held


def test_pictures_of_a_phone_at_rest_stay_as_they_are_to_the_last_bit(generator: np.random.Generator) -> None:
    floor = _floor(generator)
    steadier = Steadier()
    for index in range(40):
        noisy = np.clip(floor + 2.0 * generator.standard_normal(floor.shape), 0, 255).astype(np.uint8)
        frame = Frame(index, index / 60, noisy)
        assert steadier.update(frame) is frame
    assert not steadier.held


def test_a_club_and_legs_that_move_do_not_move_the_floor(generator: np.random.Generator) -> None:
    floor = _floor(generator)
    legs = _floor(generator)[:200, :240]
    steadier = Steadier()
    for index in range(30):
        shown = floor.copy()
        shown[:200, 300 + index : 540 + index] = legs
        frame = Frame(index, index / 60, shown)
        assert steadier.update(frame) is frame


def test_a_picture_without_anything_to_hold_on_to_is_left_alone() -> None:
    blank = np.full((SIZE[1], SIZE[0]), 120, np.uint8)
    steadier = Steadier()
    assert all((frame := Frame(k, k / 60, blank)) is steadier.update(frame) for k in range(3))


def test_grain_that_a_codec_draws_each_its_own_way_is_no_held_phone(generator: np.random.Generator) -> None:
    """A clip at rest of 1080p, 40 Mbit/s: its points strayed by 0.5 px about a middle 0.26 px off."""
    floor = _floor(generator)
    across, down = np.meshgrid(np.arange(SIZE[0], dtype=np.float32), np.arange(SIZE[1], dtype=np.float32))
    stray = [cv2.GaussianBlur(generator.standard_normal(floor.shape), (0, 0), 12.0) for _ in range(2)]
    u, v = (np.asarray(0.2 + 0.5 * each / each.std(), dtype=np.float32) for each in stray)
    steadier = Steadier()
    steadier.update(Frame(0, 0.0, floor))
    for index in range(1, 6):
        drawn = np.asarray(cv2.remap(floor, across + u, down + v, cv2.INTER_CUBIC), dtype=np.uint8)
        steadier.update(Frame(index, index / 60, drawn))
    assert not steadier.held
