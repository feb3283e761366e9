"""Headless Chromium over its DevTools protocol: open a page, run script in it, press, print, picture it."""

from __future__ import annotations

import base64
import json
import shutil
import subprocess
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from websockets.sync.client import ClientConnection, connect

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))),
    None,
)
WAIT_S = 30.0
A4_IN, LETTER_IN = (8.27, 11.69), (8.5, 11.0)


class Page:
    """One tab, with everything it asked for and complained about."""

    def __init__(self, socket: ClientConnection) -> None:
        self._socket = socket
        self._number = 0
        self.requests: list[str] = []
        """Addresses asked for."""
        self.complaints: list[str] = []
        """Errors and warnings on the console, and uncaught exceptions."""
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.send(f"{domain}.enable")

    def send(self, method: str, **parameters: Any) -> dict[str, Any]:  # noqa: ANN401 - protocol values
        """Send one command and return its result."""
        self._number += 1
        self._socket.send(json.dumps({"id": self._number, "method": method, "params": parameters}))
        while True:
            message = json.loads(self._socket.recv(timeout=WAIT_S))
            if message.get("id") == self._number:
                if "error" in message:
                    raise RuntimeError(f"{method}: {message['error']['message']}")
                result: dict[str, Any] = message["result"]
                return result
            self._note(message)

    def open(self, path: Path) -> None:
        """Open a file and wait until it has loaded."""
        self.send("Page.navigate", url=path.resolve().as_uri())
        self.wait_for("document.readyState === 'complete'")

    def run(self, script: str) -> Any:  # noqa: ANN401 - whatever the script gives
        """Run script in the page, wait for its promise, and return its value."""
        answer = self.send(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True, userGesture=True
        )
        if "exceptionDetails" in answer:
            raise RuntimeError(str(answer["exceptionDetails"]))
        return answer["result"].get("value")

    def wait_for(self, condition: str) -> None:
        """Wait until a script gives true."""
        end_s = time.monotonic() + WAIT_S
        while not self.run(condition):
            if time.monotonic() > end_s:
                raise TimeoutError(condition)
            time.sleep(0.02)

    def size(self, width: int, height: int, *, dark: bool = False, scale: float = 1.0) -> None:
        """Set the window and whether the reader prefers dark pages."""
        self.send("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=scale,
                  mobile=width < 600)  # fmt: skip
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.send("Emulation.setEmulatedMedia", features=[scheme])

    def click(self, script: str) -> None:
        """Click with the mouse in the middle of the element that a script gives."""
        x, y = self.run(
            f"(() => {{ const e = {script}; e.scrollIntoView({{block: 'center', behavior: 'instant'}});"
            "const b = e.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; })()"
        )
        for kind in ("mousePressed", "mouseReleased"):
            self.send("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def press(self, key: str, code: int) -> None:
        """Press a key; `code` is its Windows virtual key code, which the protocol asks for."""
        text = {"text": key} if len(key) == 1 else {}
        for kind in ("keyDown", "keyUp"):
            self.send(
                "Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code, **text
            )

    def picture(self, path: Path, *, whole: bool = True) -> None:
        """Write a picture of the page."""
        answer = self.send("Page.captureScreenshot", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(answer["data"]))

    def pdf(self, paper_in: tuple[float, float]) -> bytes:
        """Return the page printed; its own style sets the margins."""
        width_in, height_in = paper_in
        answer = self.send(
            "Page.printToPDF", paperWidth=width_in, paperHeight=height_in, printBackground=True
        )
        return base64.b64decode(answer["data"])

    def _note(self, message: dict[str, Any]) -> None:
        method, what = message.get("method"), message.get("params", {})
        if method == "Network.requestWillBeSent":
            self.requests.append(what["request"]["url"])
        elif method == "Runtime.exceptionThrown":
            self.complaints.append(str(what["exceptionDetails"]))
        elif method == "Runtime.consoleAPICalled" and what["type"] in ("error", "warning", "assert"):
            self.complaints.append(str(what["args"]))
        elif method == "Log.entryAdded" and what["entry"]["level"] in ("error", "warning"):
            self.complaints.append(what["entry"]["text"])


@contextmanager
def chromium() -> Iterator[Page]:
    """Start the browser with a profile of its own and give its first tab."""
    if CHROMIUM is None:
        raise FileNotFoundError("chromium")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        process = subprocess.Popen(
            [
                CHROMIUM,
                "--headless=new",
                "--no-sandbox",
                "--disable-gpu",
                "--no-first-run",
                "--disable-background-networking",
                "--autoplay-policy=no-user-gesture-required",
                "--remote-debugging-port=0",
                f"--user-data-dir={profile}",
                "about:blank",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            with connect(_first_tab(Path(profile)), max_size=None, open_timeout=WAIT_S) as socket:
                yield Page(socket)
        finally:
            process.kill()
            process.wait()


def _first_tab(profile: Path) -> str:
    end_s = time.monotonic() + WAIT_S
    while time.monotonic() < end_s:
        port_file = profile / "DevToolsActivePort"
        if port_file.is_file() and port_file.read_text():
            port = port_file.read_text().split()[0]
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/json", timeout=WAIT_S) as answer:
                for tab in json.load(answer):
                    if tab["type"] == "page":
                        return str(tab["webSocketDebuggerUrl"])
        time.sleep(0.05)
    raise TimeoutError("the browser did not start")
