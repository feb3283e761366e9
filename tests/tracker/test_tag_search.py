"""A tag too small to decode is found by its pattern, where the camera says how large it must look."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pennyfall.calibration.attitude import projection_gradient, tag_axes
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.layout import tag_bits
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.follow.tag.search import search_tag
from pennyfall.tracker.marks.decoding import TagFinder
from pennyfall.tracker.marks.pattern import TagPattern
from tests.calibration.scenes import camera_over_floor
from tests.tracker.pictures import draw_tag

SIZE = (400, 240)
SIDE_M, HEIGHT_M = 0.024, 0.027
CAMERA = camera_over_floor(place=(0.0, -0.75, 0.8), look=(0.0, 0.0, 0.0), focal_px=540.0, size=SIZE)
"""The tag is about 12 x 9 px: cells of 2 x 1.5 px."""


def _homography(camera: Camera, point: FloatArray, turn_rad: float) -> FloatArray:
    """Return a level tag's homography, with its perspective."""
    axes = tag_axes(np.array([turn_rad]), np.zeros(1), np.zeros(1))[0]
    columns = camera.matrix @ np.column_stack(
        [
            camera.rotation @ axes[:, 0],
            camera.rotation @ axes[:, 1],
            camera.rotation @ point + camera.translation,
        ]
    )
    return np.asarray(columns / columns[2, 2], dtype=np.float64)


def _picture(homography: FloatArray | None, generator: np.random.Generator, tag_id: int = 7) -> LumaFrame:
    rough = cv2.GaussianBlur(generator.normal(0, 1, SIZE[::-1]), (0, 0), 1.2)
    carpet = np.asarray(105 + 8 * rough / rough.std(), dtype=np.float64)
    if homography is None:
        return np.clip(np.round(carpet), 0, 255).astype(np.uint8)
    tag = draw_tag(homography, size=SIZE, tag_id=tag_id, side_m=SIDE_M).astype(np.float64)
    half = SIDE_M / 2 + 0.004
    corners = homography @ np.array([[-half, half, half, -half], [half, half, -half, -half], [1, 1, 1, 1]])
    paper = np.zeros(SIZE[::-1], np.uint8)
    cv2.fillConvexPoly(paper, np.round(corners[:2] / corners[2]).T.astype(np.int32), 1)
    luma = np.where(paper > 0, tag, carpet)
    blurred = np.asarray(cv2.GaussianBlur(luma, (0, 0), 0.5), dtype=np.float64)
    luma = blurred + generator.normal(0, 1.0, luma.shape)
    return np.clip(np.round(luma), 0, 255).astype(np.uint8)


PATTERN = TagPattern(tag_bits(7), side_m=SIDE_M, border_m=0.003)


@pytest.mark.parametrize(
    ("place", "turn_deg"), [((-0.06, 0.02), 0.0), ((0.11, -0.09), 8.0), ((-0.13, 0.13), 94.0)]
)
def test_a_tag_that_does_not_decode_is_found_by_its_pattern(
    generator: np.random.Generator, place: tuple[float, float], turn_deg: float
) -> None:
    point = np.array([*place, HEIGHT_M])
    homography = _homography(CAMERA, point, np.deg2rad(turn_deg))
    luma = _picture(homography, generator)
    side_px = np.sqrt(abs(np.linalg.det(projection_gradient(CAMERA, point[None])[0][:, :2]))) * SIDE_M
    assert side_px < 13
    assert TagFinder("DICT_4X4_50").find(luma) == {}, "too small to decode"
    found = search_tag(luma, CAMERA, PATTERN, 0.6, HEIGHT_M)
    assert found is not None
    assert found.centre_px == pytest.approx(CAMERA.project(point[None])[0], abs=0.35)


def test_a_small_blurred_tag_decodes_in_the_enlarged_picture(generator: np.random.Generator) -> None:
    """Cells of 3.6 by 2.9 px, blurred by a pixel: as of the demo lesson's head tag where no sheet is seen."""
    camera = camera_over_floor(place=(0.0, -0.75, 0.8), look=(0.0, 0.0, 0.0), focal_px=1000.0, size=SIZE)
    finder, read = TagFinder("DICT_4X4_50"), 0
    for _ in range(24):
        point = np.array([*generator.uniform(-0.05, 0.05, 2), HEIGHT_M])
        luma = _picture(_homography(camera, point, generator.uniform(-0.05, 0.05)), generator)
        luma = np.asarray(cv2.GaussianBlur(luma, (0, 0), 1.0), dtype=np.uint8)
        corners = finder.find(luma, scale=2).get(7)
        if corners is not None:
            read += 1
            assert corners.mean(axis=0) == pytest.approx(camera.project(point[None])[0], abs=0.5)
    assert read >= 21


def test_a_carpet_and_another_tag_are_not_taken_for_it(generator: np.random.Generator) -> None:
    for _ in range(3):
        assert search_tag(_picture(None, generator), CAMERA, PATTERN, 0.6, HEIGHT_M) is None
    homography = _homography(CAMERA, np.array([0.0, 0.05, HEIGHT_M]), 0.0)
    other = _picture(homography, generator, tag_id=23)
    assert search_tag(other, CAMERA, PATTERN, 0.6, HEIGHT_M) is None
