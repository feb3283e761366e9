"""Standing processes that work for the page, warm before the first clip comes."""

from __future__ import annotations

import asyncio
import multiprocessing
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from importlib import import_module
from multiprocessing.connection import Connection
from typing import Any

from pennyfall.cli.lesson.side_by_side import settle_worker
from pennyfall.kinematics.errors import CannotMeasure

Tell = Callable[[Any], None]
Work = Callable[..., Any]
"""A function of a module: gets `tell`, by which it says what it has so far, and its arguments."""

WARM = (
    "pennyfall.tracker.measure.measured",
    "pennyfall.cli.lesson.clips",
    "pennyfall.cli.report.page.reading",
)
"""What working on a clip or a lesson needs loaded: most of a second."""

TIME_LIMIT_S = 600.0
"""Chosen by us: the longest clip that is taken at all takes a slow laptop less; a hostile one is ended."""


class ProcessEnded(CannotMeasure):
    """The process that worked on something was ended, by that or from outside."""


class Bench:
    """A number of places, each a process that does one thing after the other.

    What does not end in time, or ends its process, is answered by `CannotMeasure`, and the place is manned
    anew; nothing that a film does reaches the page's own process.
    """

    def __init__(self, places: int, *, time_limit_s: float = TIME_LIMIT_S) -> None:
        self._time_limit_s = time_limit_s
        self._all = [Place() for _ in range(places)]
        self._free: asyncio.Queue[Place] = asyncio.Queue()
        for place in self._all:
            self._free.put_nowait(place)
        self._waiters = ThreadPoolExecutor(places, "bench")

    async def run(
        self,
        work: Work,
        *arguments: object,
        tell: Tell | None = None,
        begun: Callable[[], None] | None = None,
    ) -> Any:  # noqa: ANN401 - whatever the work returns
        """Do a piece of work at the next free place; `begun` and `tell` are called in the event loop.

        Raises
        ------
        CannotMeasure
            When the work does, takes too long, or ends its process.

        """
        loop = asyncio.get_running_loop()
        place = await self._free.get()
        try:
            if begun is not None:
                begun()

            def said(what: object) -> None:
                if tell is not None:
                    loop.call_soon_threadsafe(tell, what)

            job = self._waiters.submit(place.do, work, arguments, said, self._time_limit_s)
        except BaseException:
            self._free.put_nowait(place)
            raise

        def free(_job: object) -> None:  # not before the place is done, even where nobody waits any more
            with suppress(RuntimeError):  # the loop has ended
                loop.call_soon_threadsafe(self._free.put_nowait, place)

        job.add_done_callback(free)
        return await asyncio.wrap_future(job)

    def close(self) -> None:
        """End all processes at once."""
        for place in self._all:
            place.end()
        self._waiters.shutdown(wait=False, cancel_futures=True)


class Place:
    """One process and the line to it; manned anew where it was ended or ran out of time."""

    def __init__(self, warm: Sequence[str] = WARM) -> None:
        self._warm_with = tuple(warm)
        self._man()

    def _man(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._line, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs, self._warm_with), daemon=True)
        self._process.start()
        theirs.close()
        self._ended = self._warm = False

    def end(self) -> None:
        """End the process at once."""
        self._ended = True
        self._process.kill()
        self._process.join()

    def do(
        self, work: Work, arguments: Sequence[object], said: Tell, time_limit_s: float | None = None
    ) -> Any:  # noqa: ANN401 - whatever the work returns
        """Do a piece of work and return what it returns.

        Raises
        ------
        CannotMeasure
            When the work does or takes too long; `ProcessEnded` when its process was ended.

        """
        ended: type[CannotMeasure] = CannotMeasure
        try:
            if not self._warm:
                self._warm = bool(self._line.recv())  # loading is not what the limit is about
            self._line.send((work, arguments))
            while self._line.poll(time_limit_s):
                kind, value = self._line.recv()
                if kind == "said":
                    said(value)
                elif kind == "refused":
                    raise CannotMeasure(value[0], fix=value[1], setting=value[2])
                elif kind == "broke":
                    raise CannotMeasure(
                        f"A defect in pennyfall stopped this ({value}).",
                        fix="Keep the clip, and send it to whoever looks after pennyfall.",
                    )
                else:
                    return value
            message = f"It could not be worked through in {time_limit_s or 0:.0f} s."
        except (EOFError, BrokenPipeError, ConnectionResetError):
            message = "The process that worked on it was ended, perhaps because the memory was full."
            ended = ProcessEnded
        if not self._ended:
            self.end()
            self._line.close()
            self._man()
        raise ended(message, fix="Send a shorter clip, or film again.")


def _serve(line: Connection, warm: Sequence[str]) -> None:
    settle_worker()
    for module in warm:
        import_module(module)
    line.send(True)
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            work, arguments = line.recv()
            try:
                line.send(("done", work(lambda said: line.send(("said", said)), *arguments)))
            except CannotMeasure as error:
                line.send(("refused", (error.message, error.fix, error.setting)))
            except Exception as error:  # noqa: BLE001 - the page goes on, whatever one clip does
                line.send(("broke", f"{type(error).__name__}: {error}"))
