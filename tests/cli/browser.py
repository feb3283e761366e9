"""The system's Chromium, headless, through playwright: tabs with all they asked for and complained about."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))),
    None,
)
WAIT_S = 30.0
FLAGS = ("--disable-gpu", "--disable-background-networking", "--autoplay-policy=no-user-gesture-required")


@dataclass(frozen=True, kw_only=True, slots=True)
class Heard:
    """What a tab asked for and complained about."""

    requests: list[str] = field(default_factory=list)
    """Addresses asked for."""
    complaints: list[str] = field(default_factory=list)
    """Errors and warnings on the console, and uncaught exceptions."""


@contextmanager
def chromium() -> Iterator[Browser]:
    """Start the browser with a profile of its own."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, chromium_sandbox=False, args=list(FLAGS)
        )
        try:
            yield browser
        finally:
            browser.close()


def listen(page: Page) -> Heard:
    """Note from now on what a tab asks for and complains about."""
    heard = Heard()

    def on_console(message: ConsoleMessage) -> None:
        if message.type in ("error", "warning", "assert"):
            heard.complaints.append(message.text)

    page.on("request", lambda request: heard.requests.append(request.url))
    page.on("pageerror", lambda error: heard.complaints.append(str(error)))
    page.on("console", on_console)
    return heard


def wait_until(page: Page, condition: str) -> None:
    """Wait until a script gives true; playwright's own waiting needs `eval`, which a strict page forbids."""
    end_s = time.monotonic() + WAIT_S
    while not page.evaluate(condition):
        if time.monotonic() > end_s:
            raise TimeoutError(condition)
        page.wait_for_timeout(20)
