"""Commands run in a process of their own under a watchdog, so that a crash or a hang is an outcome."""

from __future__ import annotations

import contextlib
import multiprocessing
import resource
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from types import TracebackType
from typing import Self

from typer.testing import CliRunner


@dataclass(frozen=True, slots=True)
class Ending:
    """How a command ended."""

    code: int | None
    """Exit code; None after a crash or a hang."""
    words: str
    """What it said on stderr, or 'crashed' or 'hung'."""
    memory_mb: float
    """Peak memory of the process that ran it, over all commands it has run so far."""


class WatchedCommands:
    """Runs commands one after the other in one process, renewed after a crash or a hang."""

    def __init__(self) -> None:
        self._start()

    def run(self, arguments: list[str], *, limit_s: float) -> Ending:
        """Run a command, or end it when it takes longer than `limit_s`."""
        self._pipe.send(arguments)
        try:
            if self._pipe.poll(limit_s):
                ending: Ending = self._pipe.recv()
                return ending
            words = "hung"
        except EOFError:
            words = "crashed"
        self._stop()
        self._start()
        return Ending(None, words, 0.0)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop()

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()

    def _stop(self) -> None:
        self._process.kill()
        self._process.join()
        self._pipe.close()


def _serve(pipe: Connection) -> None:
    from pennyfall.cli.app import app

    runner = CliRunner()
    while True:
        result = runner.invoke(app, pipe.recv())
        pipe.send(Ending(result.exit_code, result.stderr + str(result.exception or ""), _peak_memory_mb()))


def _peak_memory_mb() -> float:
    """Return this process's own peak; the resource module's starts at that of the process it sprang from."""
    with contextlib.suppress(OSError):
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return float(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
