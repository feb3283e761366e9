"""A tag at a known place is found there, however small, smeared or noisy, with an honest covariance."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pennyfall.calibration.layout import tag_bits
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.marks.pattern import TagPattern
from pennyfall.tracker.marks.registration import Registration, plane_jacobian, register
from tests.tracker.pictures import draw_tag, slanted_homography

PATTERN = TagPattern(tag_bits(7), side_m=0.024, border_m=0.004)


def _found(
    truth: FloatArray,
    start: FloatArray,
    *,
    smear: tuple[float, float] = (0.0, 0.0),
    noise: float = 0.0,
    generator: np.random.Generator | None = None,
    stretch_sd: float = 0.1,
) -> Registration:
    picture = draw_tag(truth, size=(110, 80), smear_px=smear, noise=noise, generator=generator)
    texture = PATTERN.rendered(plane_jacobian(start)[1], 0.4, np.array(smear))
    found = register(picture, start, texture, stretch_sd=stretch_sd)
    assert found is not None
    return found


def _shifted(homography: FloatArray, shift: tuple[float, float]) -> FloatArray:
    step = np.eye(3)
    step[:2, 2] = shift
    return step @ homography


@pytest.mark.parametrize("width_px", [19.0, 29.0, 60.0])
@pytest.mark.parametrize("phase", [(0.0, 0.0), (0.25, 0.5), (0.5, 0.1), (0.8, 0.75)])
def test_the_centre_is_found_to_a_few_hundredths_of_a_pixel(
    width_px: float, phase: tuple[float, float]
) -> None:
    truth = slanted_homography(np.array([55 + phase[0], 40 + phase[1]]), width_px=width_px)
    found = _found(truth, _shifted(truth, (0.7, -0.5)))
    # A place drawn with 6 x 6 rays a pixel is itself uncertain by about 0.01 px.
    assert found.centre_px == pytest.approx(plane_jacobian(truth)[0], abs=0.03)
    assert found.correlation > 0.96


def test_a_smeared_tag_is_found_at_mid_exposure() -> None:
    truth = slanted_homography(np.array([54.3, 40.6]), width_px=29)
    found = _found(truth, _shifted(truth, (0.8, 0.3)), smear=(9.0, 1.5))
    assert found.centre_px == pytest.approx([54.3, 40.6], abs=0.06)


def test_the_size_of_a_small_tag_is_right_to_half_a_per_cent_where_decoded_corners_are_not() -> None:
    """Decoded corners of a 25 px tag under-measure its side by 1 to 5 %: see the photographs' test."""
    truth = slanted_homography(np.array([55.2, 40.4]), width_px=26)
    found = _found(truth, _shifted(truth, (0.6, 0.2)))
    ratio = np.linalg.norm(found.jacobian[:, 0]) / np.linalg.norm(plane_jacobian(truth)[1][:, 0])
    assert ratio == pytest.approx(1.0, abs=0.006)


def test_the_stated_covariance_covers_the_scatter_under_noise(generator: np.random.Generator) -> None:
    errors, sds = [], []
    for _ in range(60):
        centre = np.array([55, 40]) + generator.uniform(-0.5, 0.5, 2)
        truth = slanted_homography(centre, width_px=24)
        start = _shifted(truth, (0.5, -0.4))
        found = _found(truth, start, noise=6.0, generator=generator, stretch_sd=0.03)
        errors.append(found.centre_px - centre)
        sds.append(np.sqrt(np.diag(found.covariance)[:2]))
    ratio = np.sqrt(np.mean(np.square(errors), axis=0)) / np.mean(sds, axis=0)
    # White noise only; the stated sd allows for correlated noise of twice the variance, and for what the
    # model leaves at the paper's edge, so it is larger than white noise alone asks.
    assert np.all(ratio > 0.3)
    assert np.all(ratio < 1.15)


def test_a_pattern_outside_the_picture_is_refused() -> None:
    truth = slanted_homography(np.array([4.0, 40.0]), width_px=29)
    picture = draw_tag(truth, size=(110, 80))
    texture = PATTERN.rendered(plane_jacobian(truth)[1], 0.5, np.zeros(2))
    assert register(picture, truth, texture) is None


def test_plain_ground_is_not_taken_for_the_tag(generator: np.random.Generator) -> None:
    truth = slanted_homography(np.array([55.0, 40.0]), width_px=29)
    carpet = cv2.GaussianBlur(generator.normal(120, 40, (80, 110)), (0, 0), 1.2).astype(np.uint8)
    texture = PATTERN.rendered(plane_jacobian(truth)[1], 0.5, np.zeros(2))
    found = register(carpet, truth, texture)
    assert found is None or found.correlation < 0.5


def test_the_picture_is_left_as_it_was() -> None:
    truth = slanted_homography(np.array([55.0, 40.0]), width_px=29)
    picture = draw_tag(truth, size=(110, 80))
    before = picture.copy()
    picture.setflags(write=False)
    register(picture, truth, PATTERN.rendered(plane_jacobian(truth)[1], 0.5, np.zeros(2)))
    assert np.array_equal(picture, before)
