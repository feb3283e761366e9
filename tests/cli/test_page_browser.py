"""The page driven in a browser against a process of its own: phones and laptop, light and dark."""

from __future__ import annotations

import http.server
import os
import re
import signal
import socket
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page

from tests.cli.browser import CHROMIUM, Heard, chromium, listen, wait_until
from tests.cli.lesson_strokes import write_clip
from tests.cli.quick_page import Running, clip_number, running_page, wait_for
from tests.cli.test_report_page_browser import write_film
from tests.cli.wire import Wire

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed"),
]

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
LAPTOP = {"viewport": {"width": 1280, "height": 900}}
MEASURED = "document.querySelectorAll('.clip[data-step=measured][data-film]').length >= "
WITHIN_RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("served")


@pytest.fixture(scope="module")
def film(base: Path) -> str:
    write_film(base / "film.mp4", 40)
    return str(base / "film.mp4")


@pytest.fixture(scope="module")
def served(base: Path, film: str) -> Iterator[Running]:
    with running_page(base / "lesson", PENNYFALL_TEST_FILM=film, PENNYFALL_TEST_WORK_S="0.4") as running:
        yield running


@contextmanager
def tab(
    browser: Browser,
    address: str,
    device: Mapping[str, Any],
    *,
    expected: str = "^$",
    **options: Any,  # noqa: ANN401 - what playwright takes
) -> Iterator[tuple[Page, BrowserContext]]:
    """Open a page as a new device; at its end nothing was complained of, and nothing asked from elsewhere."""
    context = browser.new_context(**device, **options)
    page = context.new_page()
    heard: Heard = listen(page)
    page.goto(address)
    try:
        yield page, context
    finally:
        context.close()
    origin = address.partition("/in/")[0]
    assert [each for each in heard.complaints if not re.search(expected, each)] == []
    assert [each for each in heard.requests if not each.startswith((origin, "blob:", "data:"))] == []


def clips(base: Path, *shapes: str, size: int = 0) -> list[str]:
    """Write made-up clips, padded to a size."""
    paths = []
    for shape in shapes:
        seed = next(_seeds)
        path = base / f"IMG_{seed:04}.MOV"
        write_clip(path, shape, 6.0, seed)
        path.write_text(path.read_text().ljust(size))
        paths.append(str(path))
    return paths


_seeds = iter(range(1, 10_000))


def violations(page: Page) -> list[str]:
    found = Axe().run(page, options=WITHIN_RULES).response["violations"]
    return [f"{each['id']}: {node['html']}" for each in found for node in each["nodes"]]


def network(context: BrowserContext, page: Page, upload_per_s: int, *, cut: bool = False) -> None:
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    limits = {"offline": cut, "latency": 0, "downloadThroughput": -1, "uploadThroughput": upload_per_s}
    session.send("Network.emulateNetworkConditions", limits)


def wait_for_film(page: Page, of: str) -> None:
    """Wait until the film of the stroke that `of` shows is there, not one that was shown before it."""
    film = "document.getElementById('film')"
    wait_until(page, f"{film}.src.endsWith(document.querySelector('{of}').dataset.show)")
    wait_until(page, f"{film}.readyState >= 2 && !{film}.hidden")


def step_of(page: Page) -> str:
    return str(page.evaluate("document.querySelector('.clip .step')?.textContent ?? ''"))


def test_a_phone_sees_its_clip_uploading_measuring_and_then_its_stroke(
    browser: Browser, served: Running, base: Path
) -> None:
    with tab(browser, served.phone, PHONE) as (page, context):
        assert page.url == served.phone.partition("/in/")[0] + "/", "the token is gone from the address"
        network(context, page, 2_000_000)
        page.set_input_files("#picker", clips(base, "let go", "let go", size=1_500_000))
        seen = set()
        end_s = time.monotonic() + 60
        while not page.evaluate(MEASURED + "2") and time.monotonic() < end_s:
            steps = page.evaluate("[...document.querySelectorAll('.clip .step')].map((e) => e.textContent)")
            seen |= {each.partition(",")[0] for each in steps}
            page.wait_for_timeout(15)
        assert {"waiting to be sent", "uploading", "measuring", "measured"} <= seen
        assert "Still pushes a little into the ball" in page.inner_text("#figures")
        assert "±" in page.inner_text(".four")
        # The second clip's film, once it is there, is shown in place of the first's.
        wait_until(page, "document.querySelectorAll('.clip[data-film]').length >= 2")
        page.wait_for_timeout(500)
        wait_for_film(page, of="[data-show][aria-pressed=true]")
        page.click("#play")
        wait_until(page, "document.getElementById('film').currentTime > 0.3")
        assert "ms from impact" in page.inner_text("#reading")
        assert page.locator("#cursor").count() == 1


def test_two_phones_at_once_see_their_own_and_the_coach_sees_both(
    browser: Browser, served: Running, base: Path
) -> None:
    with (
        tab(browser, served.coach, LAPTOP) as (coach, _),
        tab(browser, served.phone, PHONE) as (one, _),
        tab(browser, served.phone, PHONE) as (two, _),
    ):
        before = coach.locator("#clips .clip").count()
        one.set_input_files("#picker", clips(base, "let go", "kept on"))
        two.set_input_files("#picker", clips(base, "kept on"))
        wait_until(one, MEASURED + "2")
        wait_until(two, MEASURED + "1")
        wait_until(coach, MEASURED + str(before + 3))
        assert one.locator("#clips .clip").count() == 2
        assert two.locator("#clips .clip").count() == 1


def test_a_cut_network_is_told_and_the_upload_goes_through_afterwards(
    browser: Browser, served: Running, base: Path
) -> None:
    broken = "ERR_(CONNECTION|INCOMPLETE_CHUNKED|EMPTY_RESPONSE|SOCKET)"
    port = int(served.phone.split("/")[2].partition(":")[2])
    with Wire(port) as wire:
        address = served.phone.replace(f":{port}/", f":{wire.port}/")
        with tab(browser, address, PHONE, expected=broken) as (page, context):
            network(context, page, 500_000)
            page.set_input_files("#picker", clips(base, "let go", size=2_000_000))
            wait_until(page, "/uploading, [1-9]/.test(document.querySelector('.clip .step').textContent)")
            wire.cut()
            wait_until(page, "/line broke/.test(document.querySelector('.clip .step').textContent)")
            wait_until(page, "!document.getElementById('line-lost').hidden")
            wire.mend()
            wait_until(page, MEASURED + "1")
            wait_until(page, "document.getElementById('line-lost').hidden")
            assert page.locator("#clips .clip").count() == 1


def test_a_stroke_seen_before_its_film_is_there_gets_the_film(
    browser: Browser, base: Path, film: str
) -> None:
    with (
        running_page(base / "filmed", PENNYFALL_TEST_FILM=film, PENNYFALL_TEST_FILM_S="1.5") as running,
        tab(browser, running.coach, LAPTOP) as (page, _),
    ):
        page.set_input_files("#picker", clips(base, "let go", "kept on"))
        wait_until(page, "document.querySelectorAll('.clip[data-step=measured]').length == 2")
        assert page.is_visible("#figures h2"), "figures come first"
        for row in page.locator("[data-show]").all():
            row.click()
        wait_until(page, MEASURED + "2")
        for row in page.locator("[data-show]").all():
            row.click()
            wait_for_film(page, of="[data-show][aria-pressed=true]")
            assert page.is_visible("#film")


def free_port() -> int:
    with socket.socket() as asking:
        asking.bind(("127.0.0.1", 0))
        return int(asking.getsockname()[1])


@pytest.mark.slow
def test_a_page_killed_in_an_upload_and_started_again_goes_on_by_itself(
    browser: Browser, base: Path, film: str
) -> None:
    settings = {"PENNYFALL_TEST_PORT": str(free_port()), "PENNYFALL_TEST_FILM": film}
    refused = "ERR_(CONNECTION|INCOMPLETE_CHUNKED|EMPTY_RESPONSE|SOCKET)"
    with (
        running_page(base / "killed", **settings) as first,
        tab(browser, first.phone, PHONE, expected=refused) as (page, context),
    ):
        page.set_input_files("#picker", clips(base, "let go"))
        wait_until(page, MEASURED + "1")
        network(context, page, 500_000)
        page.set_input_files("#picker", clips(base, "kept on", size=2_000_000))
        wait_until(page, "/uploading, [1-9]/.test(document.querySelector('.clip .step').textContent)")
        first.process.kill()
        first.process.wait()
        assert len(list((base / "killed").glob(".*.part"))) == 1
        network(context, page, 50_000_000)
        with running_page(base / "killed", **settings) as again:
            assert again.phone == first.phone, "a kept token at a fixed port"
            wait_until(page, MEASURED + "2")
            assert not list((base / "killed").glob(".*.part"))


def test_the_coach_sorts_by_a_tap_and_the_verdict_grows_to_the_report(
    browser: Browser, base: Path, film: str
) -> None:
    with (
        running_page(base / "sorted", PENNYFALL_TEST_FILM=film) as running,
        tab(browser, running.coach, LAPTOP) as (coach, _),
        tab(browser, running.phone, PHONE) as (phone, _),
    ):
        coach.fill("input[name=student]", "S-01")
        coach.click("text=Keep")
        coach.fill("#now input[name=name]", "coin let go")
        coach.fill("#now input[name=length]", "6")
        coach.click("#now .another button")
        wait_until(coach, "/Now filming: coin let go, 6 ft/.test(document.body.textContent)")
        phone.set_input_files("#picker", clips(base, *["let go"] * 5))
        wait_until(coach, "/Still to film/.test(document.getElementById('so-far').textContent)")
        wait_until(coach, MEASURED + "5")
        coach.fill("#now input[name=name]", "coin kept on")
        coach.fill("#now input[name=length]", "6")
        coach.click("#now .another button")
        wait_until(coach, "/Now filming: coin kept on/.test(document.body.textContent)")
        phone.set_input_files("#picker", clips(base, *["kept on"] * 5))
        wait_until(coach, MEASURED + "10")
        wait_until(coach, "/Prescribe coin let go/.test(document.getElementById('so-far').textContent)")
        coach.select_option("#beside", index=7)
        wait_until(coach, "document.querySelectorAll('#curve .beside').length > 0")
        wait_until(coach, "!document.getElementById('other').hidden")
        coach.click("text=Write the report")
        coach.wait_for_url("**/report")
        wait_until(coach, "document.getElementById('film').readyState >= 2")
        assert coach.inner_text("#verdict-title").startswith("Prescribe coin let go")


@pytest.mark.parametrize("scheme", ["light", pytest.param("dark", marks=pytest.mark.slow)])
def test_every_state_can_be_read_by_everybody(browser: Browser, base: Path, film: str, scheme: str) -> None:
    """Axe finds nothing on any page in any state, at phone and laptop size."""
    folder = base / f"read-{scheme}"
    unreal = "400 .Bad Request"  # a made-up clip has no first picture
    with (
        running_page(folder, PENNYFALL_TEST_FILM=film, PENNYFALL_TEST_WORK_S="1") as running,
        tab(browser, running.coach, LAPTOP, expected=unreal, color_scheme=scheme) as (coach, _),
        tab(browser, running.phone, PHONE, expected=unreal, color_scheme=scheme) as (phone, context),
    ):
        found = {"empty": violations(coach) + violations(phone)}
        coach.fill("#now input[name=name]", "coin let go")
        coach.fill("#now input[name=length]", "6")
        coach.click("#now .another button")
        network(context, phone, 400_000)
        phone.set_input_files("#picker", clips(base, "let go", size=600_000))
        wait_until(phone, "/uploading/.test(document.querySelector('.clip .step').textContent)")
        found["uploading"] = violations(phone)
        network(context, phone, 50_000_000)
        broken = base / "broken.mov"
        broken.write_bytes(b"no film")
        phone.set_input_files("#picker", [*clips(base, "kept on"), str(broken)])
        wait_until(phone, "document.querySelector('.clip progress:not([value])') !== null")
        found["measuring"] = violations(coach) + violations(phone)
        wait_until(coach, MEASURED + "2")
        wait_until(coach, "document.querySelector('[data-step=refused]') !== null")
        wait_until(coach, "/Mean of 2 strokes/.test(document.getElementById('so-far').textContent)")
        wait_until(phone, MEASURED + "2")
        for each in coach.locator("details:not([open]) > summary").all():
            if each.is_visible():
                each.click()
        found["measured"] = violations(coach) + violations(phone)
        origin = running.coach.partition("/in/")[0]
        wanted = coach.evaluate("document.querySelector('.clip').dataset.clip")
        for path in ("/alone", f"/clips/{wanted}/head"):
            phone.goto(origin + path)
            found[path] = violations(phone)
            coach.goto(origin + path)
            found[path] += violations(coach)
    assert {state: wrong for state, wrong in found.items() if wrong} == {}


def test_everything_is_reached_by_the_keyboard(browser: Browser, served: Running, base: Path) -> None:
    with tab(browser, served.coach, LAPTOP) as (page, _):
        page.set_input_files("#picker", clips(base, "let go"))
        wait_until(page, MEASURED + "1")
        reached = set()
        for _ in range(60):
            page.keyboard.press("Tab")
            reached.add(
                page.evaluate(
                    "(() => { const e = document.activeElement; return e.id || e.dataset.show && 'stroke' || "
                    "e.name || e.textContent.trim(); })()"
                )
            )
        assert {"picker", "play", "scrub", "speed", "beside", "stroke", "follow"} <= reached
        page.focus("[data-show]")
        page.keyboard.press("Enter")
        wait_until(page, "document.querySelector('[data-show]').ariaPressed === 'true'")


def test_a_form_on_another_page_changes_nothing(browser: Browser, served: Running, base: Path) -> None:
    """Another port of the same address is the same site: the cookie goes along, the origin tells."""
    target = served.coach.partition("/in/")[0] + "/now"
    wicked = (
        f'<form method=post action="{target}"><input name=name value=stolen></form>'
        "<script>document.forms[0].submit()</script>"
    )

    class Elsewhere(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(wicked.encode())

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    with http.server.HTTPServer(("127.0.0.1", 0), Elsewhere) as elsewhere:
        threading.Thread(target=elsewhere.serve_forever, daemon=True).start()
        context = browser.new_context()
        page = context.new_page()
        page.goto(served.coach)
        with page.expect_response(target) as answered:
            page.goto(f"http://127.0.0.1:{elsewhere.server_port}/")
        assert answered.value.status == 403
        assert "cookie" in answered.value.request.all_headers(), "the browser did send who the coach is"
        context.close()
        elsewhere.shutdown()
    assert "stolen" not in (base / "lesson" / "page.json").read_text()


def test_without_script_the_page_shows_all_and_its_forms_work(
    browser: Browser, served: Running, base: Path
) -> None:
    with tab(browser, served.coach, LAPTOP, java_script_enabled=False) as (page, _):
        page.fill("#now input[name=name]", "by hand")
        page.fill("#now input[name=length]", "8")
        page.click("#now .another button")
        assert "Now filming: by hand, 8 ft" in page.inner_text("#now")
        assert page.locator("#clips .clip").count() >= 1


@pytest.mark.skipif(os.name != "posix", reason="sends a signal")
def test_one_interrupt_ends_a_page_that_is_open_and_measuring_within_moments_and_silently(
    browser: Browser, base: Path
) -> None:
    gone = "ERR_(CONNECTION|INCOMPLETE_CHUNKED|EMPTY_RESPONSE|SOCKET)"
    with (
        running_page(base / "stopped", PENNYFALL_TEST_WORK_S="20") as running,
        tab(browser, running.phone, PHONE, expected=gone) as (page, _),
    ):
        page.set_input_files("#picker", clips(base, "let go"))
        wait_until(page, "document.querySelector('[data-step=measuring]') !== null")
        started_s = time.monotonic()
        running.process.send_signal(signal.SIGINT)
        _, words = running.process.communicate(timeout=30)
        assert time.monotonic() - started_s < 5
        assert words == ""


def test_a_phone_that_leaves_in_the_middle_leaves_nothing_and_no_traceback(base: Path) -> None:
    with ExitStack() as stack:
        running = stack.enter_context(running_page(base / "left"))
        client = stack.enter_context(running.client(running.phone))
        host = running.phone.split("/")[2]
        cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
        head = (
            f"PUT /clips/{clip_number(1)} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
            f"Cookie: {cookie}\r\nContent-Length: 1000000\r\n\r\n"
        )
        with socket.create_connection(("127.0.0.1", int(host.partition(":")[2]))) as line:
            line.sendall(head.encode() + b"x" * 500_000)
            wait_for(lambda: len(list((base / "left").glob(".*.part"))) == 1)
        wait_for(lambda: not list((base / "left").glob(".*.part")))
        assert client.get("/").status_code == 200
        assert not list((base / "left").glob("*.mp4"))
        running.process.send_signal(signal.SIGINT)
        _, words = running.process.communicate(timeout=30)
        assert words == ""
