"""A resting sheet is watched cheaply; a bumped phone is noticed, measured, and told from a shadow."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.layout import STANDARD_SHEET, tag_bits
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.follow.clip_pass import moved_camera
from pennyfall.tracker.follow.sheet import RestingSheet, SheetFinder, SheetSight, SheetWatch, ShiftGauge
from pennyfall.tracker.marks.decoding import TagFinder
from tests.calibration.scenes import camera_over_floor

SIZE = (640, 360)
RAYS = 2
CAMERA = camera_over_floor(place=(0.0, -0.55, 0.6), look=(0.0, 0.0, 0.0), focal_px=700.0, size=SIZE)


def _sheet_picture(camera: Camera, generator: np.random.Generator, *, noise: float = 1.0) -> LumaFrame:
    """Return a picture of the standard sheet on a grey floor: rays averaged, blurred a little."""
    offsets = (np.arange(RAYS) + 0.5) / RAYS - 0.5
    light = np.zeros(SIZE[::-1])
    rotation = np.column_stack([camera.rotation[:, 0], camera.rotation[:, 1], camera.translation])
    inverse = np.linalg.inv(camera.matrix @ rotation)
    columns, rows = np.meshgrid(np.arange(SIZE[0], dtype=np.float64), np.arange(SIZE[1], dtype=np.float64))
    for down in offsets:
        for across in offsets:
            plane = inverse @ np.stack([columns + across, rows + down, np.ones_like(rows)]).reshape(3, -1)
            light += _shade(plane[0] / plane[2], plane[1] / plane[2]).reshape(SIZE[::-1])
    luma = 230 * (cv2.GaussianBlur(light / RAYS**2, (0, 0), 0.4)) ** (1 / 2.2)
    return np.clip(np.round(luma + generator.normal(0, noise, luma.shape)), 0, 255).astype(np.uint8)


def _shade(x: FloatArray, y: FloatArray) -> FloatArray:
    shade = np.where((np.abs(x) < 0.148) & (np.abs(y) < 0.105), 1.0, 0.25)
    for tag_id in STANDARD_SHEET.ids:
        left, top = STANDARD_SHEET.corners[tag_id][0, :2]
        bits = tag_bits(tag_id)
        cell = 0.050 / len(bits)
        column, row = np.floor((x - left) / cell).astype(int), np.floor((top - y) / cell).astype(int)
        inside = (column >= 0) & (column < len(bits)) & (row >= 0) & (row < len(bits))
        cells = bits[np.clip(row, 0, len(bits) - 1), np.clip(column, 0, len(bits) - 1)]
        shade = np.where(inside, np.where(cells == 1, 1.0, 0.05), shade)
    return np.asarray(shade, dtype=np.float64)


def _turned(camera: Camera, pixels: float) -> Camera:
    """Return the camera turned about its upright axis by so many pixels at the picture's middle."""
    angle = pixels / float(camera.matrix[0, 0])
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
    return Camera(
        matrix=camera.matrix,
        distortion=camera.distortion,
        rotation=turn @ camera.rotation,
        translation=turn @ camera.translation,
    )


def _watch(luma: LumaFrame) -> tuple[SheetWatch, SheetSight]:
    finder, tags = SheetFinder(STANDARD_SHEET), TagFinder(STANDARD_SHEET.dictionary)
    sight = finder.place(luma, tags.find(luma))
    assert set(sight.homographies) == set(STANDARD_SHEET.ids)
    return SheetWatch(finder, tags, luma, sight), sight


@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.2, -0.1), (-0.45, 0.3)])
def test_a_shift_below_a_pixel_is_measured_to_a_few_hundredths(
    generator: np.random.Generator, shift: tuple[float, float]
) -> None:
    rough = cv2.GaussianBlur(generator.normal(0, 1, (80, 80)), (0, 0), 2.5)
    picture = 120 + 40 * rough / rough.std()
    move = np.array([[1, 0, shift[0]], [0, 1, shift[1]]], dtype=np.float64)
    moved = cv2.warpAffine(picture, move, (80, 80), flags=cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REFLECT)
    gauge = ShiftGauge(np.round(picture).astype(np.uint8), np.array([40.0, 40.0]), 20)
    seen = np.clip(0.9 * moved + 6 + generator.normal(0, 1, moved.shape), 0, 255)  # dimmer, and noisy
    assert gauge.shift(np.round(seen).astype(np.uint8)) == pytest.approx(shift, abs=0.04)


def test_a_patch_that_is_covered_tells_no_shift(generator: np.random.Generator) -> None:
    picture = np.clip(generator.normal(120, 40, (80, 80)), 0, 255).astype(np.uint8)
    gauge = ShiftGauge(picture, np.array([40.0, 40.0]), 20)
    assert np.all(np.isnan(gauge.shift(np.full((80, 80), 60, np.uint8))))


def test_a_resting_sheet_is_never_called_moved(generator: np.random.Generator) -> None:
    watch, _ = _watch(_sheet_picture(CAMERA, generator))
    for index in range(1, 6):
        watch.update(index, _sheet_picture(CAMERA, generator))
    assert watch.moved_frames == {}
    assert watch.lost_frames == []


def test_a_resting_sheet_is_placed_by_products_as_by_registration(generator: np.random.Generator) -> None:
    finder, tags = SheetFinder(STANDARD_SHEET), TagFinder(STANDARD_SHEET.dictionary)
    first = _sheet_picture(CAMERA, generator)
    sight = finder.place(first, tags.find(first))
    resting = RestingSheet(finder, sight)
    for _ in range(4):
        later = _sheet_picture(CAMERA, generator)
        iterated = finder.follow(later, sight)
        np.testing.assert_allclose(resting.place(later).pixels, iterated.pixels, atol=0.01)


@pytest.mark.parametrize("pixels", [0.8, 6.0, 45.0])
def test_a_bumped_phone_is_noticed_and_its_new_place_measured(
    generator: np.random.Generator, pixels: float
) -> None:
    watch, sight = _watch(_sheet_picture(CAMERA, generator))
    bumped = _turned(CAMERA, pixels)
    watch.update(1, _sheet_picture(CAMERA, generator))
    watch.update(2, _sheet_picture(bumped, generator))
    assert set(watch.moved_frames) == {2}
    assert watch.lost_frames == []
    moved = moved_camera(CAMERA, watch.moved_frames[2])
    points = np.array([[0.0, 0.1, 0.0], [0.2, 0.0, 0.0], [-0.2, 0.05, 0.0]])
    assert moved.project(points) == pytest.approx(bumped.project(points), abs=0.25)
    assert moved.centre == pytest.approx(CAMERA.centre, abs=0.003), "turned, not carried"
    assert sight.homographies.keys() == watch.moved_frames[2].homographies.keys()


def test_a_phone_set_back_is_at_rest_again(generator: np.random.Generator) -> None:
    watch, _ = _watch(_sheet_picture(CAMERA, generator))
    watch.update(1, _sheet_picture(_turned(CAMERA, 3.0), generator))
    watch.update(2, _sheet_picture(CAMERA, generator))
    assert set(watch.moved_frames) == {1}


def test_a_foot_on_two_tags_is_no_bump(generator: np.random.Generator) -> None:
    luma = _sheet_picture(CAMERA, generator)
    watch, _ = _watch(luma)
    covered = _sheet_picture(CAMERA, generator)
    for tag_id in (0, 3):
        low, high = (
            CAMERA.project(STANDARD_SHEET.corners[tag_id]).min(axis=0).astype(int) - 3,
            CAMERA.project(STANDARD_SHEET.corners[tag_id]).max(axis=0).astype(int) + 3,
        )
        covered[low[1] : high[1], low[0] : high[0]] = 40
    watch.update(1, covered)
    assert watch.moved_frames == {}
    assert watch.lost_frames == []


def test_a_sheet_that_is_gone_is_said_to_be_lost(generator: np.random.Generator) -> None:
    watch, _ = _watch(_sheet_picture(CAMERA, generator))
    watch.update(1, np.clip(generator.normal(90, 5, SIZE[::-1]), 0, 255).astype(np.uint8))
    assert watch.lost_frames == [1]
    assert watch.moved_frames == {}
