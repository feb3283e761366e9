"""The PDF rasterised by an independent renderer (MuPDF) and read by OpenCV's tag detector."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

import cv2
import numpy as np
import pymupdf
import pytest
from numpy.typing import NDArray

from pennyfall.calibration.board import charuco_board
from pennyfall.calibration.board_views import charuco_finder
from pennyfall.calibration.page import Paper
from pennyfall.calibration.sheet_pdf import sheet_pdf
from tests.cli.help_texts import ROOT

DPI = 400
PX_PER_MM = DPI / 25.4
PAPERS: list[Paper] = ["a4", "letter"]
SIZE_MM = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
"""ISO 216; ANSI/ASME Y14.1 size A."""
TOLERANCE_MM = 0.1


open_pdf: Any = pymupdf.open  # its annotations are incomplete


@cache
def document(paper: Paper) -> Any:  # noqa: ANN401
    return open_pdf(stream=sheet_pdf(paper, board=True))


@cache
def raster(paper: Paper, number: int) -> NDArray[np.uint8]:
    pixmap = document(paper)[number].get_pixmap(dpi=DPI, colorspace=pymupdf.csGRAY)
    return np.frombuffer(pixmap.samples, dtype=np.uint8).reshape(pixmap.height, pixmap.width)


@cache
def tags_mm(paper: Paper, number: int) -> list[tuple[int, NDArray[np.float64]]]:
    """Return ids and corners in millimetres from the page's middle, y up, top left first."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.adaptiveThreshWinSizeMax = 53
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), parameters)
    corners, ids, _ = detector.detectMarkers(raster(paper, number))
    width, height = SIZE_MM[paper]
    found: list[tuple[int, NDArray[np.float64]]] = []
    for tag_id, four in zip([] if ids is None else np.ravel(ids), corners, strict=True):
        millimetres = (four[0].astype(np.float64) + 0.5) / PX_PER_MM
        from_middle = np.column_stack([millimetres[:, 0] - width / 2, height / 2 - millimetres[:, 1]])
        found.append((int(tag_id), from_middle.astype(np.float64)))
    return found


@pytest.mark.parametrize("paper", PAPERS)
def test_the_pages_have_the_papers_size(paper: Paper) -> None:
    for page in document(paper):
        assert np.array([page.rect.width, page.rect.height]) * 25.4 / 72 == pytest.approx(
            SIZE_MM[paper], abs=0.01
        )


@pytest.mark.parametrize("paper", PAPERS)
def test_the_sheets_tags_are_found_where_they_belong(paper: Paper) -> None:
    found = dict(tags_mm(paper, 0))
    assert sorted(found) == [0, 1, 2, 3]
    for tag_id, (x, y) in {0: (-100, 60), 1: (100, 60), 2: (100, -60), 3: (-100, -60)}.items():
        expected = [(x - 25, y + 25), (x + 25, y + 25), (x + 25, y - 25), (x - 25, y - 25)]
        assert found[tag_id] == pytest.approx(np.array(expected), abs=TOLERANCE_MM)


@pytest.mark.parametrize("paper", PAPERS)
def test_sizes_and_centre_distances_are_true_to_a_tenth_of_a_millimetre(paper: Paper) -> None:
    found = dict(tags_mm(paper, 0))
    centre = {tag_id: corners.mean(axis=0) for tag_id, corners in found.items()}
    for left, right in ((0, 1), (3, 2)):
        assert np.linalg.norm(centre[right] - centre[left]) == pytest.approx(200, abs=TOLERANCE_MM)
    for upper, lower in ((0, 3), (1, 2)):
        assert np.linalg.norm(centre[upper] - centre[lower]) == pytest.approx(120, abs=TOLERANCE_MM)
    for corners in found.values():
        sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
        assert sides == pytest.approx(np.full(4, 50.0), abs=TOLERANCE_MM)


@pytest.mark.parametrize("paper", PAPERS)
def test_the_check_ruler_measures_100_mm(paper: Paper) -> None:
    """Between the tags, a row through the long ticks only holds eleven strokes: one each centimetre."""
    page = raster(paper, 0)
    middle = page.shape[1] // 2
    reach = round(70 * PX_PER_MM)
    best = evenly_ticked(page[:, middle - reach : middle + reach], 11)
    assert best, "no row shows eleven evenly spaced ticks"
    assert best == pytest.approx(np.full(len(best), 100.0), abs=TOLERANCE_MM)


@pytest.mark.parametrize("paper", PAPERS)
def test_inches_stand_beside_the_millimetres(paper: Paper) -> None:
    """Five long ticks, one each inch, on the ruler; every size and distance in both units, alike to 7 %."""
    page = raster(paper, 0)
    middle = page.shape[1] // 2
    reach = round(60 * PX_PER_MM)
    best = evenly_ticked(page[:, middle - reach : middle + reach], 5)
    assert best, "no row shows five evenly spaced ticks"
    assert best == pytest.approx(np.full(len(best), 4 * 25.4), abs=TOLERANCE_MM)
    words = " ".join(" ".join(document(paper)[number].get_text() for number in (0, 1)).split())
    pairs = re.findall(r"([\d.]+)(?: to ([\d.]+))? (mm|cm|m) \(?([\d.]+)(?: to ([\d.]+))? (in|ft)\b", words)
    assert len(pairs) == 4 + 4  # the head tags' sizes, the distances
    for low, high, metric, low_inch, high_inch, inch in pairs:
        ratio = {"mm": 0.001, "cm": 0.01, "m": 1.0}[metric] / {"in": 0.0254, "ft": 0.3048}[inch]
        assert float(low_inch) == pytest.approx(float(low) * ratio, rel=0.07)
        assert float(high_inch or 0) == pytest.approx(float(high or 0) * ratio, rel=0.07)


def evenly_ticked(rows: NDArray[np.uint8], count: int) -> list[float]:
    """Return the length from first to last stroke of each row with so many thin, even strokes [mm]."""
    found: list[float] = []
    for row in rows:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], (row < 128).astype(int), [0]])))
        strokes = edges.reshape(-1, 2)
        if len(strokes) == count and np.diff(strokes, axis=1).max() < 1.0 * PX_PER_MM:
            middles = strokes.mean(axis=1) / PX_PER_MM
            if np.ptp(np.diff(middles)) < 0.2:
                found.append(middles[-1] - middles[0])
    return found


@pytest.mark.parametrize("paper", PAPERS)
def test_each_tag_has_its_number_beside_it_and_in_the_drawing(paper: Paper) -> None:
    width, height = SIZE_MM[paper]
    places: dict[str, list[NDArray[np.float64]]] = {}
    for x0, y0, x1, y1, word, *_ in document(paper)[0].get_text("words"):
        if re.fullmatch(r"\[\d\]", word):
            place = np.array([x0 + x1, -(y0 + y1)]) / 2 * 25.4 / 72 + np.array([-width, height]) / 2
            places.setdefault(word, []).append(place)
    drawn = {word: min(each, key=np.linalg.norm) for word, each in places.items()}
    middle = np.mean(list(drawn.values()), axis=0)
    for tag_id, corners in tags_mm(paper, 0):
        centre = corners.mean(axis=0)
        beside = min(places[f"[{tag_id}]"], key=lambda place: np.linalg.norm(place - centre))
        assert np.linalg.norm(beside - centre) < 45
        assert (np.sign(drawn[f"[{tag_id}]"] - middle) == np.sign(centre)).all(), "as on the sheet itself"
    assert sorted(places) == ["[0]", "[1]", "[2]", "[3]"]
    assert {len(each) for each in places.values()} == {2}


def test_the_sheet_gives_the_distances_of_the_readme() -> None:
    words = " ".join(document("a4")[0].get_text().split())
    drawing = (ROOT / "README.md").read_text(encoding="utf-8").partition("FROM ABOVE")[2].partition("```")[0]
    distances = re.findall(r"[\d.]+ to [\d.]+ c?m\b", drawing)
    assert len(distances) == 3
    for distance in distances:
        assert distance in words


@pytest.mark.parametrize("paper", PAPERS)
def test_the_tags_stand_clear_of_the_papers_edge_and_of_all_ink(paper: Paper) -> None:
    """White for a cell's width (50 / 6 mm) all round; 14.7 mm to the edge is all US Letter's width leaves."""
    page = raster(paper, 0)
    width, height = SIZE_MM[paper]
    for _, corners in tags_mm(paper, 0):
        assert width / 2 - np.abs(corners[:, 0]).max() > 14.6
        assert height / 2 - np.abs(corners[:, 1]).max() > 15
        left, top = corners[:, 0].min() + width / 2, height / 2 - corners[:, 1].max()
        outer = slice_mm(page, left - 8.3, top - 8.3, 50 + 16.6)
        ring = outer.copy()
        inset = round(8.0 * PX_PER_MM)
        ring[inset:-inset, inset:-inset] = 255
        assert ring.min() == 255


def slice_mm(page: NDArray[np.uint8], left: float, top: float, side: float) -> NDArray[np.uint8]:
    row, column, size = (round(value * PX_PER_MM) for value in (top, left, side))
    return page[row : row + size, column : column + size]


@pytest.mark.parametrize("paper", PAPERS)
def test_the_head_tags_have_their_sizes_and_a_white_border(paper: Paper) -> None:
    page = raster(paper, 1)
    width, height = SIZE_MM[paper]
    sides = []
    for tag_id, corners in tags_mm(paper, 1):
        assert tag_id == 7
        assert corners[0, 1] > corners[3, 1], "upright on the page"
        four = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
        assert np.ptp(four) < TOLERANCE_MM
        side = float(four.mean())
        sides.append(side)
        left, top = corners[0, 0] + width / 2, height / 2 - corners[0, 1]
        ring = slice_mm(page, left - 2.2, top - 2.2, side + 4.4).copy()
        inset = round(2.0 * PX_PER_MM)
        ring[inset:-inset, inset:-inset] = 255
        assert ring.min() == 255, "the mark toward the face leaves the inner half of the border white"
    expected = [16, 16, 16, 20, 20, 24, 24, 32, 32]  # two of each, and the one on the drawn head
    assert sorted(sides) == pytest.approx(expected, abs=TOLERANCE_MM)


@pytest.mark.parametrize("paper", PAPERS)
def test_the_lens_board_is_found_whole_and_at_scale(paper: Paper) -> None:
    view = charuco_finder(charuco_board())(raster(paper, 2))
    assert view is not None
    assert len(view.pixels) == 9 * 6
    grid = view.pixels.reshape(6, 9, 2) / PX_PER_MM
    assert np.linalg.norm(np.diff(grid, axis=1), axis=2) == pytest.approx(
        np.full((6, 8), 25.0), abs=TOLERANCE_MM
    )
    assert np.linalg.norm(np.diff(grid, axis=0), axis=2) == pytest.approx(
        np.full((5, 9), 25.0), abs=TOLERANCE_MM
    )


@pytest.mark.parametrize("paper", PAPERS)
def test_a_board_left_in_view_is_never_taken_for_the_sheet(paper: Paper) -> None:
    assert tags_mm(paper, 2) == []


@pytest.mark.parametrize("paper", PAPERS)
def test_everything_is_vector_with_its_fonts_inside(paper: Paper) -> None:
    for page in document(paper):
        assert page.get_images() == []
        assert page.get_fonts(), "the words are words"
        for font in page.get_fonts():
            assert document(paper).extract_font(font[0])[3], "embedded"


@pytest.mark.parametrize("paper", PAPERS)
def test_viewers_are_told_not_to_scale(paper: Paper) -> None:
    catalog = document(paper).pdf_catalog()
    assert document(paper).xref_get_key(catalog, "ViewerPreferences/PrintScaling") == ("name", "/None")
    assert not document(paper).is_repaired


def test_the_pages_say_how_to_print_and_what_to_mind() -> None:
    words = " ".join(document("a4")[0].get_text().split())
    for phrase in (
        "Print at 100 %",
        "TO THE TARGET",
        "tape its edges down",
        "Clear the swing area",
        "before filming and before sharing",
        "guardian",
        "Stop on pain",
    ):
        assert phrase in words
    second = document("a4")[1].get_text()
    assert "Print at 100 %" in second
    assert "off before a round: local rules" in second


@pytest.mark.parametrize("paper", PAPERS)
def test_no_word_comes_nearer_to_the_papers_edge_than_a_printer_reaches(paper: Paper) -> None:
    """5 mm, the usual unprintable margin."""
    margin_pt = 5 * 72 / 25.4
    for page in document(paper):
        for x0, y0, x1, y1, word, *_ in page.get_text("words"):
            inside = margin_pt < x0 < x1 < page.rect.width - margin_pt
            assert inside and margin_pt < y0 < y1 < page.rect.height - margin_pt, word  # noqa: PT018


def test_the_board_is_a_page_only_on_demand() -> None:
    assert len(open_pdf(stream=sheet_pdf("a4"))) == 2
    assert len(document("a4")) == 3


def test_the_same_paper_gives_the_same_bytes() -> None:
    assert sheet_pdf("letter") == sheet_pdf("letter")
