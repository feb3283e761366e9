"""The picture of a stroke: what is drawn where, how well it reads, and that it is always the same."""

from __future__ import annotations

import dataclasses
from typing import Literal
from xml.etree import ElementTree

import cv2
import matplotlib.colors
import numpy as np
import pytest

from pennyfall.cli.report.palette import ACCENT, FORWARD_TINT, INK, QUIET
from pennyfall.cli.report.pictures.stroke import Frames, draw_stroke, stroke_picture
from pennyfall.kinematics.values import Estimate
from tests.cli.synthetic import plateau_stroke


@pytest.fixture
def frames(generator: np.random.Generator) -> Frames:
    """Return luma frames, the last in colour; there is none at the finish."""
    return {
        "address": generator.integers(0, 256, (90, 160), dtype=np.uint8),
        "top": generator.integers(0, 256, (90, 160), dtype=np.uint8),
        "impact": generator.integers(0, 256, (90, 160, 3), dtype=np.uint8),
    }


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_same_stroke_gives_the_same_bytes(kind: Literal["png", "svg"], frames: Frames) -> None:
    first, second = (
        stroke_picture(plateau_stroke(), title="larch", frames=frames, kind=kind) for _ in range(2)
    )
    assert first == second
    assert b"<dc:date>" not in first


def test_a_picture_is_1200_pixels_wide_with_and_without_frames(frames: Frames) -> None:
    heights = []
    for given in (frames, None):
        content = stroke_picture(plateau_stroke(), title="larch", frames=given)
        image = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)
        assert image is not None
        assert image.shape[1] == 1200
        heights.append(image.shape[0])
    assert heights[0] > heights[1]


@pytest.mark.parametrize(("before_impact_s", "figures"), [(0.0, 1), (0.1, 2)])
def test_a_peak_at_impact_is_written_once(before_impact_s: float, figures: int) -> None:
    stroke = plateau_stroke()
    peak = Estimate(stroke.impact_s.value - before_impact_s, 0.001)
    figure = draw_stroke(dataclasses.replace(stroke, peak_acceleration_s=peak), title="larch", frames={})
    written = [text for axes in figure.axes for text in axes.texts if text.get_color() == ACCENT]
    assert len(written) == figures


def test_no_curve_is_drawn_across_impact() -> None:
    figure = draw_stroke(plateau_stroke(), title="larch", frames={})
    curves = [line for axes in figure.axes for line in axes.lines if len(line.get_xdata()) > 10]  # type: ignore[arg-type]
    assert len(curves) == 6
    for line in curves:
        time_ms = np.asarray(line.get_xdata(), dtype=float)
        assert time_ms.max() <= 1e-9 or time_ms.min() > 0


def test_the_band_is_the_95_percent_interval_of_the_acceleration() -> None:
    stroke = plateau_stroke()
    figure = draw_stroke(stroke, title="larch", frames={})
    (acceleration,) = (axes for axes in figure.axes if axes.get_title(loc="left").startswith("Acceleration"))
    corners = acceleration.collections[0].get_paths()[0].vertices
    assert isinstance(corners, np.ndarray)
    profile = stroke.profile
    k = 40
    time_ms = 1e3 * (profile.t_s[k] - stroke.impact_s.value)
    at_k = corners[np.isclose(corners[:, 0], time_ms)][:, 1]
    assert at_k.max() - at_k.min() == pytest.approx(2 * 1.959964 * profile.a_sd_mps2[k], rel=1e-6)


def test_an_event_that_was_not_measured_is_not_drawn(frames: Frames) -> None:
    stroke = dataclasses.replace(
        plateau_stroke(), finish_s=Estimate.missing(), takeaway_s=Estimate.missing(), practice=True
    )
    figure = draw_stroke(stroke, title="larch", frames=frames)
    words = {text.get_text() for axes in figure.axes for text in axes.texts}
    assert {"top", "pass"} <= words
    assert not {"takeaway", "finish", "impact"} & words
    assert "no frame" in words
    assert b"PNG" in stroke_picture(stroke, title="larch", frames=frames)[:8]


def test_the_frames_are_not_changed_and_a_tall_clip_fits(frames: Frames) -> None:
    tall = {"top": np.full((1920, 1080), 80, np.uint8)}
    copy = {name: frame.copy() for name, frame in frames.items()}
    stroke_picture(plateau_stroke(), title="larch", frames=frames)
    assert all(np.array_equal(copy[name], frames[name]) for name in copy)
    figure = draw_stroke(plateau_stroke(), title="larch", frames=tall)  # type: ignore[arg-type]
    assert figure.get_figheight() < 10


def test_type_is_readable_on_a_phone() -> None:
    """At 400 px wide a capital letter of 11 point type is about 8 px high: chosen by us as the least."""
    figure = draw_stroke(plateau_stroke(), title="larch", frames={})
    px_per_point = 400 / figure.get_figwidth() / 72
    texts = [*figure.texts, *(text for axes in figure.axes for text in axes.texts)]
    assert min(float(text.get_fontsize()) for text in texts) * px_per_point > 8


@pytest.mark.parametrize("colour", [INK, QUIET, ACCENT])
@pytest.mark.parametrize("paper", ["#ffffff", FORWARD_TINT])
def test_every_colour_has_the_contrast_of_readable_text(colour: str, paper: str) -> None:
    """WCAG 2.1, success criterion 1.4.3: at least 4.5 for text."""
    contrast = (_luminance(paper) + 0.05) / (_luminance(colour) + 0.05)
    assert contrast >= 4.5


def test_the_accent_and_the_ink_differ_in_lightness_so_grey_print_keeps_them_apart() -> None:
    """CIE 1976 L* from relative luminance; 20 units apart, chosen by us."""
    assert abs(_lightness(ACCENT) - _lightness(INK)) > 20


def test_a_clip_name_with_marks_of_html_or_formulas_is_drawn_as_it_is() -> None:
    content = stroke_picture(plateau_stroke(), title="larch <b> $x_ & co", kind="svg")
    assert ElementTree.fromstring(content).tag == "{http://www.w3.org/2000/svg}svg"


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1 definition."""
    rgb = np.array(matplotlib.colors.to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def _lightness(colour: str) -> float:
    return float(116 * np.cbrt(_luminance(colour)) - 16)
