"""The picture of a stroke: what is drawn where, how well it reads, and that it is always the same."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Literal
from xml.etree import ElementTree

import cv2
import matplotlib.colors
import numpy as np
import pytest
from matplotlib.figure import Figure
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.cli.report.palette import ACCENT, FORWARD_TINT, INK, QUIET
from pennyfall.cli.report.pictures.stroke import Frames, Pictured, draw_strokes, strokes_picture
from pennyfall.cli.report.stroke_words import stroke_sentence
from pennyfall.cli.report.words.numbers import NO_BREAK_SPACE
from pennyfall.demo_clips.clips import clip_folder
from pennyfall.kinematics.values import Estimate, StrokeMeasures
from tests.cli.synthetic import plateau_stroke


@pytest.fixture
def frames(generator: np.random.Generator) -> Frames:
    """Return luma frames, the last in colour; there is none at the finish."""
    return {
        "address": generator.integers(0, 256, (90, 160), dtype=np.uint8),
        "top": generator.integers(0, 256, (90, 160), dtype=np.uint8),
        "impact": generator.integers(0, 256, (90, 160, 3), dtype=np.uint8),
    }


def _drawn(stroke: StrokeMeasures, frames: Frames | None = None) -> Figure:
    return draw_strokes([Pictured(stroke=stroke, frames=frames or {})], file="larch")


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_same_stroke_gives_the_same_bytes(kind: Literal["png", "svg"], frames: Frames) -> None:
    first, second = (
        strokes_picture([Pictured(stroke=plateau_stroke(), frames=frames)], file="larch", kind=kind)
        for _ in range(2)
    )
    assert first == second
    assert b"<dc:date>" not in first


def test_a_picture_is_1200_pixels_wide_with_and_without_frames(frames: Frames) -> None:
    heights = []
    for given in (frames, {}):
        content = strokes_picture([Pictured(stroke=plateau_stroke(), frames=given)], file="larch")
        image = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)
        assert image is not None
        assert image.shape[1] == 1200
        heights.append(image.shape[0])
    assert heights[0] > heights[1]


@pytest.mark.parametrize(("before_impact_s", "figures"), [(0.0, 1), (0.1, 2)])
def test_a_peak_at_impact_is_written_once(before_impact_s: float, figures: int) -> None:
    stroke = plateau_stroke()
    peak = Estimate(stroke.impact_s.value - before_impact_s, 0.001)
    figure = _drawn(dataclasses.replace(stroke, peak_acceleration_s=peak))
    written = [text for axes in figure.axes for text in axes.texts if text.get_color() == ACCENT]
    assert len(written) == figures


@pytest.mark.parametrize("peak_before_s", [0.3, 0.1, 0.03])
def test_what_is_said_of_the_peak_stands_before_impact_and_of_the_ending_after_it(
    peak_before_s: float,
) -> None:
    stroke = plateau_stroke()
    peak = Estimate(stroke.impact_s.value - peak_before_s, 0.01)
    figure = _drawn(
        dataclasses.replace(
            stroke,
            peak_acceleration_s=peak,
            peak_acceleration_share=Estimate(0.3, 0.15),
            acceleration_before_impact_mps2=Estimate(2.5, 0.2),
        )
    )
    acceleration = next(axes for axes in figure.axes if "Acceleration" in axes.get_title(loc="left"))
    at_peak, at_end = (text for text in acceleration.texts if text.get_color() == ACCENT and text.get_text())
    impact_px = acceleration.transData.transform((0, 0))[0]
    assert "first two thirds" in at_peak.get_text().replace("\n", " ")
    assert at_peak.get_window_extent().x1 <= impact_px
    assert at_end.get_text().replace("\n", " ").startswith("still pushes into the ball")
    assert impact_px <= at_end.get_window_extent().x0
    assert at_end.get_window_extent().x1 <= acceleration.bbox.x1


def test_a_pictures_title_is_the_strokes_sentence_and_the_files_name_is_small() -> None:
    figure = _drawn(plateau_stroke())
    file, title, *_ = figure.texts
    said = title.get_text().replace("\n", " ").replace(NO_BREAK_SPACE, " ")
    assert said == stroke_sentence(plateau_stroke())
    assert file.get_text() == "larch"
    assert float(file.get_fontsize()) < float(title.get_fontsize())


def test_strokes_in_one_picture_share_their_scales_and_each_has_its_four_moments(frames: Frames) -> None:
    strokes = [plateau_stroke(), plateau_stroke(number=2, takeaway_s=5.0, impact_speed_mps=2.2)]
    figure = draw_strokes([Pictured(stroke=each, frames=frames) for each in strokes], file="larch")
    curves = [axes for axes in figure.axes if "Acceleration" in axes.get_title(loc="left")]
    assert len(curves) == 2
    assert curves[0].get_ylim() == curves[1].get_ylim()
    assert curves[0].get_xlim() == curves[1].get_xlim()
    moments = [axes.get_title(loc="left") for axes in figure.axes]
    assert [moments.count(each) for each in ("address", "top", "impact", "finish")] == [2, 2, 2, 2]


@pytest.mark.slow
@pytest.mark.clip
def test_the_strokes_of_a_clip_come_in_one_picture_and_more_than_fit_in_further_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pennyfall.cli.report.pictures.stroke.MOST_STROKES", 2)
    clip = str(clip_folder() / "larch-120-three.mp4")
    result = CliRunner().invoke(app, ["measure", clip, "--picture", str(tmp_path / "a.png")])
    assert result.exit_code == 0, result.output
    first, second = (cv2.imread(str(tmp_path / name)) for name in ("a.png", "a-2.png"))
    assert first is not None
    assert second is not None
    assert first.shape[0] > second.shape[0]
    assert not (tmp_path / "a-3.png").exists()


def test_no_curve_is_drawn_across_impact() -> None:
    figure = _drawn(plateau_stroke())
    curves = [line for axes in figure.axes for line in axes.lines if len(line.get_xdata()) > 10]  # type: ignore[arg-type]
    assert len(curves) == 6
    for line in curves:
        time_ms = np.asarray(line.get_xdata(), dtype=float)
        assert time_ms.max() <= 1e-9 or time_ms.min() > 0


def test_the_band_is_the_95_percent_interval_of_the_acceleration() -> None:
    stroke = plateau_stroke()
    figure = _drawn(stroke)
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
    figure = _drawn(stroke, frames)
    words = {text.get_text() for axes in figure.axes for text in axes.texts}
    assert {"top", "pass"} <= words
    assert not {"takeaway", "finish", "impact"} & words
    assert "no frame" in words
    assert b"PNG" in strokes_picture([Pictured(stroke=stroke, frames=frames)], file="larch")[:8]


def test_the_frames_are_not_changed_and_a_tall_clip_fits(frames: Frames) -> None:
    tall = {"top": np.full((1920, 1080), 80, np.uint8)}
    copy = {name: frame.copy() for name, frame in frames.items()}
    strokes_picture([Pictured(stroke=plateau_stroke(), frames=frames)], file="larch")
    assert all(np.array_equal(copy[name], frames[name]) for name in copy)
    figure = _drawn(plateau_stroke(), tall)  # type: ignore[arg-type]
    assert figure.get_figheight() < 10


def test_type_is_readable_on_a_phone() -> None:
    """At 400 px wide a capital letter of 11 point type is about 8 px high: chosen by us as the least."""
    figure = _drawn(plateau_stroke())
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
    content = strokes_picture(
        [Pictured(stroke=plateau_stroke(), frames={})], file="larch <b> $x_ & co", kind="svg"
    )
    assert ElementTree.fromstring(content).tag == "{http://www.w3.org/2000/svg}svg"


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1 definition."""
    rgb = np.array(matplotlib.colors.to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def _lightness(colour: str) -> float:
    return float(116 * np.cbrt(_luminance(colour)) - 16)
