from __future__ import annotations

import numpy as np
import pytest

from pennyfall.calibration.layout import tag_bits
from pennyfall.tracker.marks.pattern import TagPattern
from pennyfall.tracker.marks.registration import Registration, register, rendered_patch
from pennyfall.tracker.marks.resting import LINEAR_RANGE_PX, RestingPattern

PATTERN = TagPattern(tag_bits(7), side_m=0.024, border_m=0.003)
SLANTED = np.array([[1100.0, 60.0, 100.0], [80.0, -900.0, 90.0], [0.05, 0.10, 1.0]])


def picture(shift_px: tuple[float, float], generator: np.random.Generator | None = None) -> np.ndarray:
    step = np.eye(3)
    step[:2, 2] = shift_px
    homography = step @ SLANTED
    texture = PATTERN.rendered(homography[:2, :2], 0.7, np.zeros(2))
    drawn, _ = rendered_patch(texture, homography, half_px=60)
    column, row = (round(float(value)) for value in homography[:2, 2])
    luma = np.full((240, 240), 210.0)
    luma[row - 60 : row + 61, column - 60 : column + 61] = 20 + 190 * drawn
    noise = 0.0 if generator is None else generator.normal(0, 2.0, luma.shape)
    return np.clip(np.rint(luma + noise), 0, 255).astype(np.uint8)


def iterated(luma: np.ndarray) -> Registration:
    texture = PATTERN.rendered(SLANTED[:2, :2], 0.7, np.zeros(2))
    found = register(luma, SLANTED, texture, stretch_sd=0.02)
    assert found is not None
    return found


def resting() -> RestingPattern:
    linear = iterated(picture((0.0, 0.0))).linear
    assert linear is not None
    return RestingPattern(linear)


@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.08, -0.05), (-0.03, 0.11)])
def test_one_product_lands_where_the_iterated_registration_does(shift: tuple[float, float]) -> None:
    quick, full = resting().register(picture(shift)), iterated(picture(shift))
    assert quick is not None
    assert quick.centre_px == pytest.approx(full.centre_px, abs=0.004)
    assert quick.centre_px - iterated(picture((0.0, 0.0))).centre_px == pytest.approx(shift, abs=0.01)


def test_its_covariance_and_correlation_are_those_of_the_iterated_registration(
    generator: np.random.Generator,
) -> None:
    luma = picture((0.02, 0.03), generator)
    quick, full = resting().register(luma), iterated(luma)
    assert quick is not None
    assert np.sqrt(np.diag(quick.covariance)) == pytest.approx(np.sqrt(np.diag(full.covariance)), rel=0.15)
    assert quick.correlation == pytest.approx(full.correlation, abs=0.01)


def test_it_passes_a_change_of_light_and_is_silent_about_a_tag_that_moved_on() -> None:
    darker = (picture((0.05, 0.0)) * 0.7 + 10).astype(np.uint8)
    quick = resting().register(darker)
    assert quick is not None
    assert quick.centre_px == pytest.approx(iterated(darker).centre_px, abs=0.01)
    assert resting().register(picture((4 * LINEAR_RANGE_PX, 0.0))) is None
