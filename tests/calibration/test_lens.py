"""The lens and its file: scaling, refusals, round trip."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pennyfall.calibration.lens import Lens, lens_text, load_lens
from pennyfall.kinematics.errors import CannotMeasure


def a_lens(**changes: Any) -> Lens:  # noqa: ANN401
    values: dict[str, Any] = {
        "matrix": np.array([[1600.0, 0, 961.2], [0, 1602.0, 538.7], [0, 0, 1]]),
        "distortion": np.array([0.08, -0.2, 0.0005, -0.0003, 0.1]),
        "width_px": 1920,
        "height_px": 1080,
        "rms_px": 0.21,
        "focal_sd_px": 1.3,
    }
    return Lens(**(values | changes))


def a_document(**changes: Any) -> dict[str, Any]:  # noqa: ANN401
    document: dict[str, Any] = json.loads(lens_text(a_lens()))
    return document | changes


def written(tmp_path: Path, document: Any) -> Path:  # noqa: ANN401
    path = tmp_path / "lens.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
    return path


def test_a_lens_file_gives_back_the_lens_it_was_made_of(tmp_path: Path) -> None:
    lens = a_lens()
    again = load_lens(written(tmp_path, lens_text(lens)))
    assert np.array_equal(again.matrix, lens.matrix)
    assert np.array_equal(again.distortion, lens.distortion)
    assert (again.width_px, again.height_px) == (1920, 1080)
    assert (again.rms_px, again.focal_sd_px) == (0.21, 1.3)


@given(factor=st.integers(1, 8), point=st.tuples(*[st.floats(-0.4, 0.4)] * 2))
def test_a_resized_lens_sees_the_same_point_at_the_resized_place(
    factor: int, point: tuple[float, float]
) -> None:
    """Pixel (u, v) of a picture shrunk by `factor` covers pixels factor * (u + 1/2) - 1/2 of the original."""
    lens = a_lens()
    small = lens.resized(1920 // factor, 1080 // factor)
    ray = np.array([[*point, 1.0]])

    def seen(one: Lens) -> np.ndarray[Any, Any]:
        pixels, _ = cv2.projectPoints(ray, np.zeros(3), np.zeros(3), one.matrix, one.distortion)
        return np.asarray(pixels).ravel()

    size = np.array([1920, 1080])
    shrink = np.array([small.width_px, small.height_px]) / size
    assert seen(small) == pytest.approx((seen(lens) + 0.5) * shrink - 0.5, abs=1e-6)


def test_resizing_scales_the_errors_too() -> None:
    half = a_lens().resized(960, 540)
    assert half.rms_px == pytest.approx(0.105)
    assert half.focal_sd_px == pytest.approx(0.65)
    assert half.focal_px == pytest.approx(800.5)


@pytest.mark.parametrize("size", [(1080, 1920), (1440, 1080), (1920, 1440)])
def test_a_picture_of_another_shape_is_refused(size: tuple[int, int]) -> None:
    with pytest.raises(CannotMeasure, match=f"{size[0]} x {size[1]} px, have another shape") as caught:
        a_lens().resized(*size)
    assert "in the mode" in caught.value.fix


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"focal_px": [0, 1600]}, "focal length of 0 x 1600 px"),
        ({"focal_px": [-1600, -1600]}, "focal length"),
        ({"focal_px": [1600, 1600, 1]}, "2 numbers for focal_px"),
        ({"focal_px": [1600, 1750]}, "differ"),
        ({"focal_px": [1e9, 1e9]}, "focal length"),
        ({"focal_px": ["a", 1600]}, "not a number"),
        ({"focal_px": [float("nan"), 1600]}, "not a finite number"),
        ({"rms_px": float("inf")}, "not a finite number"),
        ({"rms_px": -0.1}, "below zero"),
        ({"rms_px": None}, "None for rms_px, not a number"),
        ({"focal_sd_px": True}, "not a number"),
        ({"centre_px": [1920.5, 500]}, r"centre \(1920, 500\) px lies outside"),
        ({"centre_px": [900, -1]}, "lies outside the picture"),
        ({"distortion_k1_k2_p1_p2_k3": [0.1, 0, 0, 0]}, "5 numbers"),
        ({"distortion_k1_k2_p1_p2_k3": [500, 0, 0, 0, 0]}, "distortion coefficient of 500"),
        ({"width_px": 0}, "0 x 1080 px does not exist"),
        ({"width_px": 1920.5}, "not a whole number"),
        ({"height_px": -1080}, "does not exist"),
        ({"schema": "pennyfall.measurement/1"}, "not a lens file of version 1"),
    ],
)
def test_an_impossible_lens_file_is_refused(tmp_path: Path, changes: dict[str, Any], why: str) -> None:
    with pytest.raises(CannotMeasure, match=why) as caught:
        load_lens(written(tmp_path, a_document(**changes)))
    assert "pennyfall lens CLIP" in caught.value.fix


@pytest.mark.parametrize("text", ["", "{", "[]", "7", "\x00"])
def test_a_file_of_another_kind_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(CannotMeasure, match="not a lens file"):
        load_lens(written(tmp_path, text))


def test_a_missing_lens_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(CannotMeasure, match=r"nowhere\.json cannot be read"):
        load_lens(tmp_path / "nowhere.json")


def test_a_lens_of_the_wrong_shape_is_a_programmers_mistake() -> None:
    with pytest.raises(ValueError, match="shape"):
        a_lens(distortion=np.zeros(4))
    with pytest.raises(ValueError, match="skew"):
        a_lens(matrix=np.array([[1600.0, 5, 961.2], [0, 1602.0, 538.7], [0, 0, 1]]))
