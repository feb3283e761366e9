"""A lesson's page without cameras, in this process and as one of its own that a test may kill.

``python -m tests.cli.quick_page FOLDER DATABASE`` opens it at a free port and prints both addresses. A film
that PENNYFALL_TEST_FILM names stands for every stroke's.
"""

from __future__ import annotations

import asyncio
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any
from unittest.mock import patch

import httpx2
from starlette.applications import Starlette
from starlette.testclient import TestClient

from pennyfall.cli.files.measured_files import MeasuredClip, annotated_path
from pennyfall.cli.serve.bench import Bench, Tell, Work
from pennyfall.cli.serve.guard import Tokens
from pennyfall.cli.serve.page import page_app
from pennyfall.cli.serve.server import Opened, serve
from tests.cli.lesson_strokes import write_clip
from tests.cli.quick_lesson import quick_measuring

PROJECT = Path(__file__).resolve().parents[2]
TOKENS = Tokens(coach="c" * 22, phone="p" * 22)
HOST = "127.0.0.1:8723"


def copy_film(folder: Path, clip: str, measured: MeasuredClip) -> None:
    """Lay a film where the annotated clip would be; `PENNYFALL_TEST_FILM_S` makes it take its time."""
    time.sleep(float(os.environ.get("PENNYFALL_TEST_FILM_S", "0")))
    film, out = os.environ.get("PENNYFALL_TEST_FILM"), annotated_path(folder, clip, 1)
    if film:
        shutil.copy(film, out)
    else:
        out.write_bytes(b"film of " + clip.encode())


def quick_app(folder: Path, **others: Any) -> Starlette:  # noqa: ANN401 - what `page_app` takes
    """Return the page of a folder of made-up clips."""
    folder.mkdir(exist_ok=True)
    given = {"measure": quick_measuring, "finish": copy_film, "processes": 1, **others}
    return page_app(folder, tokens=TOKENS, **given)


def guest(client: TestClient, token: str = "") -> TestClient:
    """Return another guest of the same page, let in by a token."""
    other = TestClient(client.app, base_url=f"http://{HOST}", headers={"origin": f"http://{HOST}"})
    other.portal = client.portal  # one event loop for all guests
    if token:
        assert other.get(f"/in/{token}").status_code == 200
    return other


class BenchHere:
    """A bench whose places are threads of this process: starting others takes longer than made-up work."""

    def __init__(self, places: int) -> None:
        self._threads, self._free = ThreadPoolExecutor(places), asyncio.Semaphore(places)

    async def run(
        self,
        work: Work,
        *arguments: object,
        tell: Tell | None = None,
        begun: Callable[[], None] | None = None,
    ) -> object:
        """Do a piece of work at the next free place, as the page's own bench does."""
        loop = asyncio.get_running_loop()

        def said(what: object) -> None:
            if tell is not None:
                loop.call_soon_threadsafe(tell, what)

        async with self._free:
            if begun is not None:
                begun()
            return await loop.run_in_executor(self._threads, partial(work, said, *arguments))

    def close(self) -> None:
        """Take no more work."""
        self._threads.shutdown(wait=False, cancel_futures=True)


@contextmanager
def open_page(
    folder: Path,
    *,
    own_processes: bool = False,
    **others: Any,  # noqa: ANN401 - what `page_app` takes
) -> Iterator[TestClient]:
    """Open the page of a folder, its work done in this process unless told; yield the coach."""
    app, address = quick_app(folder, **others), f"http://{HOST}"
    with ExitStack() as stack:
        with patch("pennyfall.cli.serve.line.Bench", Bench if own_processes else BenchHere):
            coach = stack.enter_context(TestClient(app, base_url=address, headers={"origin": address}))
        assert coach.get(f"/in/{TOKENS.coach}").status_code == 200
        yield coach


def made_clip(base: Path, shape: str = "let go", putt_ft: float = 6.0, seed: int = 1) -> bytes:
    """Return the content of a made-up clip."""
    write_clip(base / "made.mov", shape, putt_ft, seed)
    content = (base / "made.mov").read_bytes()
    (base / "made.mov").unlink()
    return content


def clip_number(number: int) -> str:
    """Return the id of a clip."""
    return f"{number:016x}"


def wait_for(holds: Callable[[], bool], limit_s: float = 30.0) -> None:
    """Wait until something holds."""
    end_s = time.monotonic() + limit_s
    while not holds():
        assert time.monotonic() < end_s, "waited in vain"
        time.sleep(0.02)


@dataclass(frozen=True, kw_only=True, slots=True)
class Running:
    """A page in a process of its own."""

    process: subprocess.Popen[str]
    coach: str
    phone: str

    @contextmanager
    def client(self, address: str) -> Iterator[httpx2.Client]:
        """Lend a guest that has come in by an address."""
        base = address.partition("/in/")[0]
        with httpx2.Client(
            base_url=base, headers={"origin": base}, follow_redirects=True, timeout=60
        ) as client:
            assert client.get(address).status_code == 200
            yield client


@contextmanager
def running_page(folder: Path, **environment: str) -> Iterator[Running]:
    """Start the page of a folder in a process of its own; end it at once."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.cli.quick_page", str(folder), str(folder.with_suffix(".sqlite"))],
        cwd=PROJECT,
        env={**os.environ, **environment},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        assert process.stdout is not None
        yield Running(
            process=process, coach=process.stdout.readline().strip(), phone=process.stdout.readline().strip()
        )
    finally:
        process.kill()
        process.communicate()


def _say(opened: Opened) -> None:
    sys.stdout.write(f"{opened.coach}\n{opened.phones[0]}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    with suppress(KeyboardInterrupt):  # the command line's to tell
        serve(
            Path(sys.argv[1]),
            address="127.0.0.1",
            port=int(os.environ.get("PENNYFALL_TEST_PORT", "0")),
            database=Path(sys.argv[2]),
            processes=2,
            measuring=quick_measuring,
            finish=copy_film,
            browse=False,
            opened=_say,
        )
