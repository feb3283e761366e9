"""The report driven in a browser: strokes, clips and cursor go together; it prints on two pages."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import av
import numpy as np
import pytest
from playwright.sync_api import Browser, Page

from pennyfall.cli.files.lesson_result import LessonResult, LessonStroke
from pennyfall.cli.report.page.drawings import stroke_id
from pennyfall.cli.report.page.lesson import Film
from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.words.numbers import typeset
from pennyfall.kinematics.values import CoinOutcome, StrokeMeasures
from tests.cli.browser import CHROMIUM, chromium, listen, wait_until
from tests.cli.test_report_page import made_lesson, page_of

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed"),
]

Strokes = list[LessonStroke]
SLOW, FROM_S, FRAMES, RATE = 4.0, 0.65, 420, 60
"""The test films play 7 s, that is 1.75 s of the stroke."""


def write_film(path: Path, shade: int) -> None:
    """Write an MP4 whose grey grows with time, so that a test sees which instant is on the screen."""
    with av.open(str(path), "w", options={"movflags": "faststart"}) as container:
        stream = container.add_stream("libx264", rate=RATE)
        stream.width, stream.height, stream.pix_fmt = 160, 90, "yuv420p"
        stream.options = {"profile": "main", "g": "30", "bf": "0", "crf": "20"}
        for k in range(FRAMES):
            frame = np.full((90, 160, 3), shade, dtype=np.uint8)
            frame[:, : round(160 * k / FRAMES)] = 255 - shade
            container.mux(stream.encode(av.VideoFrame.from_ndarray(frame, format="rgb24")))
        container.mux(stream.encode(None))


@pytest.fixture(scope="module")
def lesson(tmp_path_factory: pytest.TempPathFactory) -> LessonResult:
    return made_lesson(tmp_path_factory.mktemp("lesson"))


@pytest.fixture(scope="module")
def strokes(lesson: LessonResult) -> Strokes:
    return [each for condition in lesson.conditions for each in condition.strokes]


@pytest.fixture(scope="module")
def report(lesson: LessonResult, strokes: Strokes, tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("report")
    films = {}
    for k, each in enumerate(strokes):
        if k < 4:
            write_film(base / "film.mp4", 20 + 20 * k)
        if k != 5:  # one stroke has no clip
            films[stroke_id(each)] = Film(mp4=(base / "film.mp4").read_bytes(), from_s=FROM_S, slow=SLOW)
    path = base / "report.html"
    path.write_text(page_of(lesson, films))
    return path


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture
def page(browser: Browser, report: Path) -> Iterator[Page]:
    tab = browser.new_page(viewport={"width": 1280, "height": 900})
    heard = listen(tab)
    tab.goto(report.resolve().as_uri())
    settled(tab)
    yield tab
    tab.close()
    assert heard.complaints == []
    assert [each for each in heard.requests if not each.startswith(("file:", "blob:", "data:"))] == []
    assert sum(each.startswith("file:") for each in heard.requests) == 1


def cursor_s(page: Page) -> float:
    """Return the time in the stroke at which the cursor stands, from where it is drawn."""
    found = page.evaluate(
        "(() => { const d = JSON.parse(document.getElementById('data').textContent);"
        "const zero = d[document.querySelector('input[name=stroke]:checked').value].zero;"
        "const first = Math.min(...Object.values(d).map((e) => e.pieces[0].t[0] - e.zero));"
        "const last = Math.max(...Object.values(d).map((e) => e.pieces.at(-1).t.at(-1) - e.zero));"
        "const x = Number(document.getElementById('cursor').getAttribute('x1'));"
        "return zero + first + (x - 30) / 320 * (last - first); })()"
    )
    return float(found)


def film_s(page: Page) -> float:
    """Return the time in the stroke that the clip shows."""
    return FROM_S + float(page.evaluate("document.getElementById('film').currentTime")) / SLOW


def name(page: Page) -> str:
    return str(page.evaluate("document.getElementById('player-name').textContent"))


def printed_height(page: Page, what: str) -> float:
    """Return how high all that matches is on paper [CSS px]."""
    page.emulate_media(media="print")
    return float(
        page.evaluate(
            f"[...document.querySelectorAll({what!r})]"
            ".reduce((sum, each) => sum + each.getBoundingClientRect().height, 0)"
        )
    )


def settled(page: Page) -> None:
    wait_until(
        page, "!document.getElementById('film').seeking && document.getElementById('film').readyState >= 2"
    )


def test_choosing_a_stroke_shows_its_clip_and_its_curve(page: Page) -> None:
    before = (
        page.evaluate("document.getElementById('film').src"),
        page.evaluate("document.getElementById('curve').innerHTML"),
    )
    page.locator("#choices label").nth(4).click()
    settled(page)
    assert name(page) == "coin kept on, 12 ft, stroke 2"
    assert page.evaluate("document.getElementById('film').src") != before[0]
    assert page.evaluate("document.getElementById('curve').innerHTML") != before[1]
    assert page.evaluate("document.getElementById('film').videoWidth") == 160


def test_clicking_a_dot_in_a_drawing_chooses_its_stroke(page: Page) -> None:
    wanted = page.evaluate("document.querySelector('.figures.three .dot:nth-of-type(1)').dataset.stroke")
    page.locator(".dot").last.click()
    chosen = page.evaluate("document.querySelector('input[name=stroke]:checked').value")
    assert chosen == page.evaluate("[...document.querySelectorAll('.dot')].reverse()[0].dataset.stroke")
    assert chosen != wanted
    assert page.evaluate("document.querySelectorAll('.dot.chosen').length") >= 1


def test_the_cursor_follows_the_playing_clip(page: Page) -> None:
    page.evaluate("document.getElementById('play').click()")
    started = film_s(page)
    wait_until(page, f"document.getElementById('film').currentTime > {(started - FROM_S) * SLOW + 0.4}")
    assert page.evaluate("document.getElementById('play').textContent") == "Pause"
    both = page.evaluate(
        "new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done("
        "[document.getElementById('film').currentTime, Number(document.getElementById('scrub').value)]))))"
    )
    assert FROM_S + both[0] / SLOW == pytest.approx(both[1], abs=0.02)
    page.evaluate("document.getElementById('play').click()")
    assert page.evaluate("document.getElementById('film').paused")
    assert cursor_s(page) > started


def test_the_curve_is_two_pieces_with_no_line_joining_them_at_impact(page: Page) -> None:
    """The strokes here reach impact at more than twice what the head keeps after it: the step is plain."""
    page.locator("#choices label").nth(4).click()
    drawn = page.evaluate(
        "[...document.querySelectorAll('#curve path.line')].map((e) => e.getAttribute('d'))"
    )
    assert len(drawn) == 2
    ends = []
    for path in drawn:
        points = np.array([each.split() for each in path[1:].split("L")], dtype=float)
        steep = (np.diff(points[:, 0]) < 0.3) & (np.abs(np.diff(points[:, 1])) > 5)
        assert not steep.any()
        ends.append((points[0], points[-1]))
    (_, left), (right, _) = ends
    assert left[0] == pytest.approx(right[0], abs=0.1)
    assert abs(left[1] - right[1]) > 30


@pytest.mark.parametrize("by", ["scrub", "click"])
def test_the_cursor_on_impact_reads_what_is_reported(page: Page, strokes: Strokes, by: str) -> None:
    """The left limit, the head's own acceleration as the ball meets it; after it the ball has braked it."""
    for number in (0, 3, 4, 11):
        measures = strokes[number].measures
        page.locator("#choices label").nth(number).click()
        if by == "click":
            place = page.locator("#curve line.event").nth(2).bounding_box()
            assert place is not None
            page.mouse.click(place["x"] + place["width"] / 2 + 1, place["y"] + place["height"] / 2)
        else:
            page.evaluate(
                "(() => { const s = document.getElementById('scrub');"
                f"s.value = {measures.impact_s.value}; s.dispatchEvent(new Event('input')); }})()"
            )
        reported = quantity("acceleration_at_impact_mps2").text(measures.acceleration_at_impact_mps2)
        said = page.evaluate("document.getElementById('reading').textContent")
        assert said == typeset(f"at impact, {reported} m/s²"), number
        bead = float(page.evaluate("document.getElementById('bead').getAttribute('cy')"))
        left_piece = page.evaluate("document.querySelector('#curve path.line').getAttribute('d')")
        assert bead == pytest.approx(float(left_piece.split()[-1]), abs=0.1)


def test_scrubbing_the_curve_moves_the_clip_to_the_same_instant(page: Page) -> None:
    for share in (0.3, 0.62, 0.9):
        scrub_and_compare(page, share)


def scrub_and_compare(page: Page, share: float) -> None:
    """Click on the curve at a share of its width, and hold the clip's instant against it."""
    box = page.evaluate(
        "(() => { const e = document.getElementById('curve');"
        "e.scrollIntoView({block: 'center', behavior: 'instant'});"
        "const b = e.getBoundingClientRect(); return [b.x, b.y, b.width, b.height]; })()"
    )
    x = box[0] + box[2] * (30 + 320 * share) / 360
    page.mouse.click(x, box[1] + box[3] / 2)
    settled(page)
    low, high = page.evaluate(
        "(() => { const d = Object.values(JSON.parse(document.getElementById('data').textContent));"
        "return [d[0].zero + Math.min(...d.map((e) => e.pieces[0].t[0] - e.zero)),"
        "d[0].zero + Math.max(...d.map((e) => e.pieces.at(-1).t.at(-1) - e.zero))]; })()"
    )
    wanted = low + share * (high - low)
    assert cursor_s(page) == pytest.approx(wanted, abs=0.01)
    assert film_s(page) == pytest.approx(wanted, abs=0.01)
    # What is on the screen is that instant: the light part of the test film has grown to it.
    lit = page.evaluate(
        "(() => { const f = document.getElementById('film'), c = document.createElement('canvas');"
        "c.width = 160; c.height = 90; const g = c.getContext('2d'); g.drawImage(f, 0, 0);"
        "const row = g.getImageData(0, 45, 160, 1).data; let n = 0;"
        "for (let k = 0; k < 160; k++) n += row[4 * k] > 128; return n; })()"
    )
    assert lit / 160 == pytest.approx((wanted - FROM_S) * SLOW * RATE / FRAMES, abs=0.02)


def test_the_keyboard_alone_chooses_scrubs_and_plays(page: Page) -> None:
    page.evaluate("document.querySelector('input[name=stroke]').focus()")
    page.keyboard.press("ArrowRight")
    settled(page)
    assert name(page) == "coin let go, 12 ft, stroke 2"
    page.evaluate("document.getElementById('scrub').focus()")
    before = cursor_s(page)
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    settled(page)
    assert cursor_s(page) > before
    assert film_s(page) == pytest.approx(cursor_s(page), abs=0.01)
    page.keyboard.press(" ")
    wait_until(page, "!document.getElementById('film').paused")


def test_everything_that_reacts_can_be_reached_with_the_tab_key(page: Page) -> None:
    reached = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate(
                "document.activeElement.id || document.activeElement.name || document.activeElement.tagName"
            )
        )
    assert {"stroke", "scrub", "play", "speed", "SUMMARY"} <= reached


def test_all_strokes_are_drawn_on_one_scale(page: Page) -> None:
    """The zero line and impact stand at one place, whichever stroke is chosen."""
    seen = set()
    for number in (0, 4, 9):
        page.locator("#choices label").nth(number).click()
        zero, impact = page.evaluate(
            "[document.querySelector('#curve .zero').getAttribute('y1'),"
            "document.querySelectorAll('#curve line.event')[2].getAttribute('x1')]"
        )
        seen.add((round(float(zero), 1), round(float(impact), 1)))
    assert len(seen) == 1


def test_the_coins_words_keep_clear_of_the_curve(page: Page) -> None:
    """At none of the strokes does the curve run through what is said of the coin."""
    words = met = 0
    for stroke in page.query_selector_all("input[name=stroke]"):
        page.evaluate(
            "each => { each.checked = true; each.dispatchEvent(new Event('change', {bubbles: true})); }",
            stroke,
        )
        found = page.evaluate(
            "(() => { const said = [...document.querySelectorAll('#curve text')]"
            ".filter((each) => each.textContent.startsWith('coin')).map((each) => each.getBBox());"
            "const lines = [...document.querySelectorAll('#curve .line')];"
            "const inside = (box) => lines.some((line) => { for (let k = 0; k <= 200; k++) {"
            "const p = line.getPointAtLength(line.getTotalLength() * k / 200);"
            "if (p.x > box.x && p.x < box.x + box.width && p.y > box.y && p.y < box.y + box.height)"
            "return true; } return false; }); return [said.length, said.filter(inside).length]; })()"
        )
        words, met = words + found[0], met + found[1]
    assert words > 3
    assert met == 0


def test_nothing_is_read_without_a_sign(page: Page) -> None:
    page.evaluate(
        "(() => { const s = document.getElementById('scrub'); s.value = s.min;"
        "s.dispatchEvent(new Event('input', {bubbles: true})); })()"
    )
    read = str(page.evaluate("document.getElementById('reading').textContent"))
    assert read.endswith(" ms from impact, 0.0 m/s²"), read


def test_two_strokes_stand_side_by_side_in_step(page: Page, strokes: Strokes) -> None:
    """Both clips show the instant that is equally long before impact, at rest and while they play."""
    first, second = strokes[0], strokes[8]
    page.locator("#beside").select_option(stroke_id(second))
    wait_until(page, "document.getElementById('other').readyState >= 2")
    assert name(page) == "coin let go, 12 ft, stroke 1; dashed: coin let go, 6 ft, stroke 3"
    assert page.evaluate("document.querySelectorAll('#curve path.beside').length") == 2
    before_s = 0.12
    page.evaluate(
        "(() => { const s = document.getElementById('scrub');"
        f"s.value = {first.measures.impact_s.value - before_s}; s.dispatchEvent(new Event('input')); }})()"
    )
    settled(page)
    wait_until(page, "!document.getElementById('other').seeking")
    other_s = FROM_S + page.evaluate("document.getElementById('other').currentTime") / SLOW
    assert other_s - second.measures.impact_s.value == pytest.approx(-before_s, abs=0.005)
    assert film_s(page) - first.measures.impact_s.value == pytest.approx(-before_s, abs=0.005)
    page.evaluate("document.getElementById('play').click()")
    started = page.evaluate("document.getElementById('film').currentTime")
    wait_until(page, f"document.getElementById('film').currentTime > {started + 0.4}")
    both = page.evaluate(
        "[document.getElementById('film').currentTime, document.getElementById('other').currentTime]"
    )
    apart = (both[1] - both[0]) / SLOW - (second.measures.impact_s.value - first.measures.impact_s.value)
    assert apart == pytest.approx(0.0, abs=0.04)
    page.evaluate("document.getElementById('play').click()")
    page.locator("#beside").select_option("")
    assert page.evaluate("document.getElementById('other').hidden")


def test_a_stroke_without_a_clip_still_has_its_curve_and_cursor(page: Page) -> None:
    page.locator("#choices label").nth(5).click()
    assert page.evaluate("document.getElementById('film').hidden")
    assert not page.evaluate("document.getElementById('no-film').hidden")
    page.evaluate(
        "const s = document.getElementById('scrub'); s.value = 1.4; s.dispatchEvent(new Event('input'))"
    )
    assert cursor_s(page) == pytest.approx(1.4, abs=0.01)


def test_the_speed_is_what_it_says(page: Page) -> None:
    for chosen, rate in (("8", 0.5), ("4", 1.0), ("1", 4.0)):
        page.evaluate(
            f"(() => {{ const s = document.getElementById('speed'); s.value = '{chosen}';"
            "s.dispatchEvent(new Event('change')); })()"
        )
        assert page.evaluate("document.getElementById('film').playbackRate") == rate


def test_nothing_sticks_out_at_any_width(page: Page) -> None:
    for width, dark in product((320, 390, 768, 1280), (False, True)):
        page.set_viewport_size({"width": width, "height": 844})
        page.emulate_media(color_scheme="dark" if dark else "light")
        inside = page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        assert inside, width
        paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert paper == ("rgb(18, 24, 28)" if dark else "rgb(251, 250, 247)")
        small = page.evaluate(
            "[...document.querySelectorAll('button, select, .choices span')]"
            ".map((e) => e.getBoundingClientRect()).filter((e) => e.height < 44 || e.width < 44).length"
        )
        assert small == 0, f"a finger needs 44 CSS pixels (WCAG 2.1, 2.5.5), {width} px wide"


def test_it_prints_on_two_pages(page: Page) -> None:
    for paper in ("A4", "Letter"):
        assert pages_in(page.pdf(format=paper, print_background=True)) == 2, paper


def test_the_folded_changes_are_printed_too(page: Page) -> None:
    assert page.evaluate("document.querySelectorAll('.printed:not([open]) li').length") > 2
    assert printed_height(page, ".printed:not([open]) li") > 30


def test_a_lesson_without_a_claim_prints_no_heading_over_nothing(browser: Browser, tmp_path: Path) -> None:
    result = made_lesson(tmp_path, strokes=4, names=("let go", "no coin"))
    (tmp_path / "report.html").write_text(page_of(result))
    tab = browser.new_page()
    tab.goto((tmp_path / "report.html").resolve().as_uri())
    assert tab.evaluate("document.getElementById('claims-title').textContent") == "What was looked at"
    assert printed_height(tab, "#claims-title") == 0
    assert pages_in(tab.pdf(format="A4", print_background=True)) == 2
    tab.close()


def test_a_lesson_of_three_conditions_prints_on_two_pages(browser: Browser, tmp_path: Path) -> None:
    result = made_lesson(tmp_path, strokes=5, names=("let go", "kept on", "no coin"))
    (tmp_path / "report.html").write_text(page_of(result))
    tab = browser.new_page()
    tab.goto((tmp_path / "report.html").resolve().as_uri())
    for paper in ("A4", "Letter"):
        assert pages_in(tab.pdf(format=paper, print_background=True)) == 2, paper
    tab.close()


LONG_NAMES = ("let go from the very top, eyes closed and the left hand low on the grip", "kept on")
TEXTS_ASTRAY = """(() => {
  const astray = [];
  for (const chart of document.querySelectorAll("svg.chart")) {
    const frame = chart.getBoundingClientRect();
    const texts = [...chart.querySelectorAll("text")].map((e) => [e.textContent, e.getBoundingClientRect()]);
    for (const [words, box] of texts)
      if (box.left < frame.left - 1 || box.right > frame.right + 1
          || box.top < frame.top - 1 || box.bottom > frame.bottom + 1)
        astray.push(words + " leaves its drawing");
    texts.forEach(([words, one], k) => texts.slice(k + 1).forEach(([others, other]) => {
      if (one.left < other.right - 1 && other.left < one.right - 1
          && one.top < other.bottom - 4 && other.top < one.bottom - 4)
        astray.push(words + " meets " + others);
    }));
  }
  return astray; })()"""


def test_no_text_of_a_drawing_leaves_it_or_meets_another(browser: Browser, tmp_path: Path) -> None:
    result = made_lesson(tmp_path, strokes=12, names=LONG_NAMES)
    doubtful = tuple(
        dataclasses.replace(
            condition,
            strokes=tuple(
                dataclasses.replace(each, measures=fated(each.measures, k % 3))
                for k, each in enumerate(condition.strokes)
            ),
        )
        for condition in result.conditions
    )
    (tmp_path / "report.html").write_text(page_of(dataclasses.replace(result, conditions=doubtful)))
    tab = browser.new_page()
    tab.goto((tmp_path / "report.html").resolve().as_uri())
    for width, number in product((320, 1280), (0, 2)):
        tab.set_viewport_size({"width": width, "height": 844})
        tab.locator("#choices label").nth(number).click()
        assert "\n".join(tab.evaluate(TEXTS_ASTRAY)) == "", width
    tab.close()


def fated(measures: StrokeMeasures, fate: int) -> StrokeMeasures:
    """Return a stroke whose coin leaves at the finish, may leave, or stays on."""
    late_s = float(measures.profile.t_s[-1])
    coin = measures.loose_object
    assert coin is not None
    outcomes: tuple[CoinOutcome, ...] = ("leaves", "either", "stays on")
    lands = None if fate == 2 else (-0.15, -0.08)
    leaves = None if fate == 2 else (late_s - 0.02, late_s)
    changed = dataclasses.replace(coin, outcome=outcomes[fate], leave_s=leaves, landing_x_m=lands)
    return dataclasses.replace(measures, loose_object=changed)


def pages_in(pdf: bytes) -> int:
    """Count the page objects; Chromium writes them uncompressed."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))
