"""The report of a lesson: what it says, and that it holds everything itself."""

from __future__ import annotations

import dataclasses
import json
import re
from html.parser import HTMLParser
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from pennyfall.cli.files.lesson_file import Condition, Lesson
from pennyfall.cli.files.lesson_result import LessonResult, LessonStroke, MeasuredCondition
from pennyfall.cli.files.measured_files import RefusedClip
from pennyfall.cli.lesson.run import verdict
from pennyfall.cli.report.page.drawings import stroke_id
from pennyfall.cli.report.page.lesson import Film, lesson_page
from pennyfall.cli.report.page.reading import read_lesson_result
from pennyfall.cli.report.page.svg import PlotArea, element, ticks
from pennyfall.cli.report.palette import INKS, PAPER_DARK, PAPER_LIGHT
from pennyfall.cli.report.words.evidence import lesson_sentences
from pennyfall.cli.report.words.numbers import typeset
from pennyfall.kinematics.lesson.reference_bands import standard_reference_bands
from pennyfall.kinematics.values import CoinOutcome, FloatArray
from tests.cli.lesson_strokes import lesson_folder, stroke
from tests.cli.synthetic import by_sheet


def made_lesson(
    tmp_path: Path, *, strokes: int = 3, names: tuple[str, ...] = ("let go", "kept on")
) -> LessonResult:
    lesson = lesson_folder(tmp_path / "made", strokes=strokes)
    generator = np.random.default_rng(5)
    conditions = []
    for putt_ft in (12.0, 6.0):
        for name in names:
            clips = tuple(f"{name}-{putt_ft:g}-{take}.mp4" for take in range(strokes))
            shape = name if name in ("let go", "kept on") else "let go"
            conditions.append(
                MeasuredCondition(
                    condition=Condition(name=f"coin {name}", putt_ft=putt_ft, clips=clips),
                    strokes=tuple(
                        LessonStroke(
                            clip=clip,
                            clip_sha256=clip,
                            calibration=by_sheet(),
                            measures=stroke(shape, putt_ft, generator),
                        )
                        for clip in clips
                    ),
                )
            )
    lesson = dataclasses.replace(lesson, conditions=tuple(each.condition for each in conditions))
    return LessonResult(lesson=lesson, conditions=tuple(conditions), refused=())


def page_of(result: LessonResult, films: dict[str, Film] | None = None) -> str:
    return lesson_page(result, read_lesson_result(result), films or {})


def text_of(page: str) -> str:
    visible = re.sub(r"<(script|style).*?</\1>", " ", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", visible).split())


class Addresses(HTMLParser):
    """Collects everything a browser might fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [
            value or "" for name, value in attrs if name in ("src", "href", "srcset", "action", "data")
        ]
        if tag not in ("meta", "link", "input", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_a_reference_band_is_drawn_and_named_only_when_the_coach_turned_it_on(tmp_path: Path) -> None:
    made = made_lesson(tmp_path)
    page = page_of(made)
    assert 'class="reference"' not in page
    assert not re.search("reference band|good putter", text_of(page))
    on = tuple(dataclasses.replace(each, on=True) for each in standard_reference_bands())
    page = lesson_page(made, read_lesson_result(made, bands=on), {})
    assert page.count('class="reference"') == 3
    assert text_of(page).count("Shaded: reference band (common practice, no source).") == 3
    long_putts = tuple(dataclasses.replace(each, putt_length_low_m=3.0) for each in on)
    page = lesson_page(made, read_lesson_result(made, bands=long_putts), {})
    assert 'class="reference"' not in page, "a band for some putts would shade the others too"


def test_the_verdict_comes_first_and_every_part_is_there_in_order(tmp_path: Path) -> None:
    page = text_of(page_of(made_lesson(tmp_path)))
    order = [
        "Lesson of 14 March 2026",
        "Prescribe coin let go",
        "Acceleration along the target line",
        "What changed, beyond the scatter",
        "Every stroke",
        "Tempo Backswing time",
        "Where the coin would land",
        "The numbers",
    ]
    places = [page.index(each) for each in order]
    assert places == sorted(places)


def test_each_version_has_its_four_figures_with_half_widths(tmp_path: Path) -> None:
    result = made_lesson(tmp_path)
    reading = read_lesson_result(result)
    page = text_of(page_of(result)).replace("\u00a0", " ")
    assert [each.condition for each in reading.means] == ["coin let go", "coin kept on"]
    for each in reading.means:
        speed = each.means["impact_speed_mps"]
        assert f"{100 * speed.value:.0f} ± {100 * 1.96 * speed.sd:.0f} cm/s As it meets" in page
    assert "with coin kept on the head still pushes into the ball, pulled hardest just before impact" in page
    assert page.count("Mean of 6 strokes at 6 ft and 12 ft.") == 2
    assert len(re.findall(r"Tempo ratio 2\.0\d ± 0\.\d+ : 1 Back to forward", page)) == 2


def test_three_changes_are_shown_those_of_the_verdict_first_and_the_others_folded(tmp_path: Path) -> None:
    result = made_lesson(tmp_path)
    page = page_of(result).replace("\u00a0", " ")
    shown = re.findall(r'<ul class="claims">(.*?)</ul>', page, re.DOTALL)[0]
    assert shown.count("<li>") == 3
    texts = [" ".join(each.split()) for each in re.findall(r"<li>(.*?) <small>", shown)]
    assert "acceleration over the last 20 ms" in texts[0]
    assert "peak acceleration moved" in texts[1]
    comparison = read_lesson_result(result).comparison
    assert comparison is not None
    claims = sum(each.claim for each in lesson_sentences(comparison))
    assert f"<summary>{claims - 3} more changes beyond the scatter</summary>" in page


def test_a_version_keeps_its_colour_in_another_order(tmp_path: Path) -> None:
    result = made_lesson(tmp_path)
    turned = dataclasses.replace(result, conditions=result.conditions[::-1])
    inks = [
        sorted(re.findall(r'class="version (c\d)" aria-label="([^"]*)"', page_of(each)))
        for each in (result, turned)
    ]
    assert inks[0] == inks[1]
    assert len({ink for ink, _ in inks[0]}) == 2


def test_both_curves_of_a_drawing_are_named(tmp_path: Path) -> None:
    page = page_of(made_lesson(tmp_path))
    named = re.findall(r'class="label strong middle c\d">([^<]*)<', page)
    assert sorted(named) == ["coin kept on"] * 2 + ["coin let go"] * 2, "two putt lengths, two versions"


def test_the_coachs_notes_stand_on_the_page_as_text(tmp_path: Path) -> None:
    result = made_lesson(tmp_path)
    assert "The coach&#39;s notes" not in page_of(result)
    assert "coach's notes" not in page_of(result)
    notes = "Shoulders lead; look at <the ball>.\n\nNext: 20 ft."
    page = page_of(dataclasses.replace(result, lesson=dataclasses.replace(result.lesson, notes=notes)))
    assert '<p class="coach">Shoulders lead; look at &lt;the ball&gt;.</p>' in page
    assert '<p class="coach">Next: 20 ft.</p>' in page


def test_the_page_asks_for_nothing_outside_itself(tmp_path: Path) -> None:
    page = page_of(made_lesson(tmp_path))
    parser = Addresses()
    parser.feed(page)
    assert parser.open == []
    assert parser.found == ["data:,"]
    assert "default-src 'none'" in page
    assert not re.search(r"url\(|@import|https?://(?!www\.w3\.org/2000/svg)", page)


def test_the_table_holds_the_numbers_of_the_comparison(tmp_path: Path) -> None:
    result = made_lesson(tmp_path)
    comparison = read_lesson_result(result).comparison
    assert comparison is not None
    page = text_of(page_of(result))
    each = comparison.pairs[0].quantity("forward_swing_s")
    low, high = (f"{1000 * end:+.0f}".replace("-", "−") for end in each.pooled.interval)
    value = f"{1000 * each.pooled.value:+.0f}".replace("-", "−")
    assert f"{value} ({low} to {high}) {1000 * each.pooled.first_mean:.0f}" in page.replace("+0 ", "0 ")
    assert f"{each.p_adjusted:.3f}" in page


def test_the_player_has_the_curve_the_events_and_the_film_of_every_stroke(tmp_path: Path) -> None:
    result = made_lesson(tmp_path)
    strokes = [each for condition in result.conditions for each in condition.strokes]
    films = {stroke_id(each): Film(mp4=each.clip.encode(), from_s=0.65, slow=4.0) for each in strokes[1:]}
    page = page_of(result, films)
    data = json.loads(re.findall(r'id="data">(.*?)</script>', page, re.DOTALL)[0])
    assert list(data) == [stroke_id(each) for each in strokes]
    for each in strokes:
        shown = data[stroke_id(each)]
        before, after = shown["pieces"]
        np.testing.assert_allclose(before["t"] + after["t"], each.measures.profile.t_s, atol=1e-5)
        np.testing.assert_allclose(before["a"] + after["a"], each.measures.profile.a_mps2, atol=1e-3)
        assert before["t"][-1] == shown["events"]["impact"]
        assert before["a"][-1] == pytest.approx(each.measures.acceleration_at_impact_mps2.value, abs=1e-3)
        assert shown["events"]["impact"] == pytest.approx(each.measures.impact_s.value, abs=1e-5)
    assert data[stroke_id(strokes[0])]["film"] is None
    assert data[stroke_id(strokes[1])]["film"] == {"from": 0.65, "slow": 4.0}
    assert page.count("data-film=") == len(strokes) - 1


def test_the_page_says_where_the_coin_may_stay_on(tmp_path: Path) -> None:
    """Where friction decides, the bar of its landing is drawn and the row says that it may stay on."""
    result = made_lesson(tmp_path)
    first = result.conditions[0]
    loose = [each.measures.loose_object for each in first.strokes]
    fates: tuple[CoinOutcome, ...] = ("leaves", "either", "stays on")
    strokes = tuple(
        dataclasses.replace(
            each,
            measures=dataclasses.replace(
                each.measures,
                loose_object=dataclasses.replace(
                    coin, outcome=fate, landing_x_m=None if fate == "stays on" else coin.landing_x_m
                ),
            ),
        )
        for each, coin, fate in zip(first.strokes, loose, fates, strict=True)
        if coin is not None
    )
    conditions = (dataclasses.replace(first, strokes=strokes), *result.conditions[1:])
    page = page_of(dataclasses.replace(result, conditions=conditions))
    assert "coin let go, 12 ft would stay on in 1 of 3, may stay on in 1 of 3" in text_of(page)
    drawn = re.findall(r'class="landing [^"]*" data-stroke="([^"]*)"', page)
    assert [each for each in drawn if each.startswith("let go-12")] == [
        stroke_id(each) for each in strokes[:2]
    ]


class Sentences(HTMLParser):
    """Collects the text of every paragraph, heading and list item, and what is said of drawings."""

    BLOCKS = ("p", "li", "h1", "h2", "small", "summary", "figcaption", "title", "noscript")

    def __init__(self) -> None:
        super().__init__()
        self.blocks: list[str] = []
        self.rest: list[str] = []
        self._open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in ("meta", "link", "input", "br"):
            self._open.append(tag)
        if tag in self.BLOCKS:
            self.blocks.append("")
        if "legend" in [value for _, value in attrs]:
            self.blocks.pop()  # the conditions' names, in the coach's own words

    def handle_endtag(self, tag: str) -> None:
        self._open.pop()

    def handle_data(self, data: str) -> None:
        if not {"script", "style"} & set(self._open):
            inside = set(self.BLOCKS) & set(self._open) and self.blocks
            (self.blocks if inside else self.rest).append((self.blocks.pop() if inside else "") + data)


@pytest.mark.parametrize("kind", ["compared", "too few strokes", "one condition", "clips refused"])
def test_every_sentence_of_the_page_begins_in_upper_case(tmp_path: Path, kind: str) -> None:
    result = made_lesson(tmp_path, strokes=1 if kind == "too few strokes" else 3)
    if kind == "one condition":
        result = dataclasses.replace(result, conditions=result.conditions[:1])
    if kind == "clips refused":
        refused = RefusedClip(clip="x.mp4", message="The sheet is hidden.", fix="Uncover it.")
        result = dataclasses.replace(result, refused=(refused,))
    parser = Sentences()
    parser.feed(page_of(result))
    blocks = [" ".join(each.split()) for each in parser.blocks if each.strip()]
    assert len(blocks) > 15
    lower = [
        each for each in blocks if each[0].islower() and each != "x.mp4: The sheet is hidden. Uncover it."
    ]
    lower += [
        each
        for each in [*blocks, *parser.rest]
        if re.search(r"[.?!][)”’]?\s+[a-z]", each.replace("x.mp4", ""))
    ]
    assert lower == []


def test_page_and_terminal_say_that_practice_strokes_were_left_out(tmp_path: Path) -> None:
    lesson = made_lesson(tmp_path)
    first, *others = lesson.conditions
    made, *rest = first.strokes
    practised = dataclasses.replace(made, measures=dataclasses.replace(made.measures, practice=True))
    first = dataclasses.replace(first, strokes=(practised, *rest))
    lesson = dataclasses.replace(lesson, conditions=(first, *others))
    told = " ".join(verdict(lesson, read_lesson_result(lesson)).split())
    for text in (text_of(page_of(lesson)), told):
        assert text.count("1 practice stroke is left out of the comparison") == 1
    assert "practice stroke" not in text_of(page_of(made_lesson(tmp_path)))


def test_a_name_with_a_colon_does_not_break_the_verdict(tmp_path: Path) -> None:
    result = made_lesson(tmp_path)
    conditions = tuple(
        dataclasses.replace(
            each,
            condition=dataclasses.replace(each.condition, name=each.condition.name.replace("coin", "coin:")),
        )
        for each in result.conditions
    )
    page = page_of(dataclasses.replace(result, conditions=conditions)).replace("\u00a0", " ")
    assert re.findall(r'<h2 id="verdict-title">(.*?)</h2>', page) == [
        "Prescribe coin: let go for putts of 6 ft and 12 ft"
    ]


def test_the_page_says_what_to_take_care_of(tmp_path: Path) -> None:
    page = text_of(page_of(made_lesson(tmp_path)))
    for phrase in (
        "Keep the swing area clear",
        "tripod out of the way",
        "Tape the sheet's edges down",
        "underfoot",
        "next stroke's way",
        "Film and share only with consent",
        "guardian",
        "off the head before a round",
        "local rules",
        "Stop on pain",
        "stays with the coach",
    ):
        assert phrase in page.replace("&#39;", "'"), phrase


def test_clips_that_could_not_be_measured_stand_at_the_top_with_their_remedy(tmp_path: Path) -> None:
    refused = RefusedClip(clip="x.mp4", message="The sheet is hidden.", fix="Uncover it.")
    page = text_of(page_of(dataclasses.replace(made_lesson(tmp_path), refused=(refused,))))
    assert page.index("1 clip could not be measured") < page.index("Prescribe")
    assert "x.mp4 : The sheet is hidden. Uncover it." in page


def test_names_with_markup_stay_text(tmp_path: Path) -> None:
    result = made_lesson(tmp_path)
    evil = "</script><img src=x onerror=alert(1)>"
    first = result.conditions[0]
    renamed = dataclasses.replace(first.condition, name=evil)
    strokes = tuple(dataclasses.replace(each, clip=f"{evil}&{k}.mp4") for k, each in enumerate(first.strokes))
    conditions = (MeasuredCondition(condition=renamed, strokes=strokes), *result.conditions[1:])
    lesson: Lesson = dataclasses.replace(result.lesson, student=evil)
    page = page_of(LessonResult(lesson=lesson, conditions=conditions, refused=()))
    assert "<img" not in page
    parser = Addresses()
    parser.feed(page)
    assert parser.found == ["data:,"]


def test_numbers_are_typeset() -> None:
    assert typeset("fell by -2.5 m/s^2 (95 %: -3 to -1.2) in S-01, 12-14") == (
        "fell by −2.5\u00a0m/s² (95\u00a0%: −3 to −1.2) in S-01, 12-14"
    )


def test_a_plot_area_maps_its_corners_to_its_corners() -> None:
    area = PlotArea(left=10, right=110, top=5, bottom=55, x_range=(-1, 1), y_range=(0, 2))
    assert (area.x(-1), area.x(1), area.y(0), area.y(2)) == (10, 110, 55, 5)
    assert (
        area.curve(np.array([-1, 0, 0.5, 1.0]), np.array([0, np.nan, 2, 0]))
        == "M10.0 55.0M85.0 5.0L110.0 55.0"
    )


def test_text_in_a_drawing_is_escaped() -> None:
    assert str(element("text", "a<b", title='"')) == '<text title="&#34;">a&lt;b</text>'


@pytest.mark.parametrize(("low", "high"), [(0, 1), (-3.2, 4.1), (640, 702), (1e-3, 2e-3), (5, 5)])
def test_ticks_are_round_few_and_inside(low: float, high: float) -> None:
    found = ticks(low, high)
    assert 1 <= len(found) <= 8
    assert all(low - 1e-9 <= each <= high + 1e-9 for each in found)


def _linear(colour: str) -> FloatArray:
    channel = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    return np.where(channel <= 0.04045, channel / 12.92, ((channel + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1


def _contrast(one: str, other: str) -> float:
    weights = np.array([0.2126, 0.7152, 0.0722])  # WCAG 2.1, relative luminance
    bright, dark = sorted((float(weights @ _linear(each)) for each in (one, other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


# Machado, Oliveira and Fernandes (2009), IEEE TVCG 15:1291-1298, severity 1.0; from memory, rows sum to one.
DICHROMACY = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""Linear sRGB to CIE XYZ (D65), IEC 61966-2-1."""


def _lab(rgb: FloatArray) -> FloatArray:
    ratio = TO_XYZ @ np.clip(rgb, 0, 1) / np.array([0.9505, 1.0, 1.089])
    # XYZ to L*a*b*, CIE 15
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("vision", ["all colours", *DICHROMACY])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_conditions_differ_for_every_kind_of_colour_vision(vision: str, theme: str) -> None:
    """Two colours 20 units of CIE L*a*b* apart are told apart at a glance.

    About 2.3 units are just noticeable (Mahy et al. 1994, from memory).
    """
    seen = np.array(DICHROMACY.get(vision, np.eye(3)))
    np.testing.assert_allclose(seen.sum(axis=1), 1, atol=1e-5)
    colours = [getattr(each, theme) for each in INKS]
    for one, other in combinations(range(len(INKS)), 2):
        apart = np.linalg.norm(_lab(seen @ _linear(colours[one])) - _lab(seen @ _linear(colours[other])))
        assert apart > 20, (one, other)


def test_every_colour_stands_out_from_its_page() -> None:
    for each in INKS:
        assert _contrast(each.light, PAPER_LIGHT) >= 4.5  # WCAG 2.1, 1.4.3 (AA)
        assert _contrast(each.dark, PAPER_DARK) >= 4.5


def test_conditions_differ_in_dash_and_mark_as_well() -> None:
    assert len({each.dash for each in INKS}) == len({each.mark for each in INKS}) == len(INKS)
