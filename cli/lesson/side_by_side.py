"""The clips of a lesson measured side by side over the cores, each kept as soon as it is done."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import cv2

from pennyfall.cli.files.measured_files import MeasuredClip, RefusedClip, keep_measured, keep_refused
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Measurement

T = TypeVar("T")
R = TypeVar("R")

LESSON_LINES = {
    "dot": "dot",
    "mark": "dot or box",
    "readout": "readout_ms",
    "recorded_at": "recorded_at_hz",
}
"""The lines of the lesson file that give what a refusal's remedy may be about."""

MeasureClip = Callable[[Path], MeasuredClip]
"""Measures one clip. It is sent to other processes, so it has to be a function of a module (or a partial of
one)."""
FinishClip = Callable[[Path, str, MeasuredClip], None]
"""Makes what else is derived from a measured clip (folder, clip, what was measured)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ClipTask:
    """One clip that has to be measured."""

    folder: Path
    clip: str
    fingerprint: str
    measure: MeasureClip
    finish: FinishClip


@dataclass(frozen=True, kw_only=True, slots=True)
class Ended:
    """How a task ended; exceptions with keyword-only arguments do not survive the way between processes."""

    clip: str
    stopped: tuple[str, str] | None = None


def measure_side_by_side(tasks: Sequence[ClipTask], *, processes: int | None = None) -> Iterator[str]:
    """Measure clips over the cores and keep each result; yield each clip's name when it is done.

    A clip that cannot be measured is kept as refused and does not disturb the others.

    Parameters
    ----------
    tasks : sequence of ClipTask
    processes : int, optional
        How many at once; default: one a core.

    Raises
    ------
    CannotMeasure
        When results cannot be written (a full disk), or a measuring process was ended from outside. What was
        measured until then is kept.

    """
    if not tasks:
        return
    workers = min(processes or os.cpu_count() or 1, len(tasks))
    if workers == 1:
        for task in tasks:
            yield _clip_of(measure_task(task))
        return
    yield from map(_clip_of, side_by_side(measure_task, tasks, workers))


def side_by_side(run: Callable[[T], R], tasks: Sequence[T], workers: int) -> Iterator[R]:
    """Run a function of a module on each task in processes of their own; yield what it returns, as it comes.

    Stopped by Ctrl-C, or by whoever takes the results, it ends the processes at once.

    Raises
    ------
    CannotMeasure
        When a process was ended from outside.

    """
    pickle.dumps(tasks)  # a pool that cannot send its tasks hangs instead of failing
    with ProcessPoolExecutor(
        max_workers=workers, mp_context=multiprocessing.get_context("spawn"), initializer=settle_worker
    ) as pool:
        with interrupts_ignored():  # the workers inherit it: on Ctrl-C this process alone decides
            waiting = [pool.submit(run, task) for task in tasks]
        try:
            for future in as_completed(waiting):
                yield future.result()
        except BrokenProcessPool:
            raise CannotMeasure(
                "A measuring process was ended from outside, perhaps because the memory was full.",
                fix="Run again with --processes 1: what was measured until now is kept.",
            ) from None
        except BaseException:  # above all Ctrl-C: without this what was begun would be worked to its end
            pool.shutdown(wait=False, cancel_futures=True)
            for worker in multiprocessing.active_children():
                worker.kill()
                worker.join()
            raise


@contextmanager
def interrupts_ignored() -> Iterator[None]:
    """Let processes that are started in the body leave Ctrl-C to this one."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def line_of(setting: str) -> str:
    """Return the line of the lesson file by which a setting is given."""
    return f" ({LESSON_LINES[setting]} in the lesson file)" if setting in LESSON_LINES else ""


def measure_task(task: ClipTask, measured_so: Callable[[Measurement], None] = lambda _: None) -> Ended:
    """Measure one clip and keep what comes of it; tell the figures before the film is made."""
    try:
        measured = task.measure(task.folder / task.clip)
    except CannotMeasure as error:
        refused = RefusedClip(
            clip=task.clip,
            message=error.message,
            fix=f"{error.fix}{line_of(error.setting)}",
            setting=error.setting,
        )
        return _kept(task, lambda: keep_refused(task.folder, refused, task.fingerprint))
    measured_so(measured.measurement)

    def keep() -> None:
        task.finish(task.folder, task.clip, measured)
        keep_measured(task.folder, task.clip, measured, task.fingerprint)

    return _kept(task, keep)


def _kept(task: ClipTask, keep: Callable[[], None]) -> Ended:
    """Write the results; failing to write them is no fault of the clip and stops the run."""
    try:
        keep()
    except CannotMeasure as error:
        return Ended(clip=task.clip, stopped=(error.message, error.fix))
    return Ended(clip=task.clip)


def _clip_of(ended: Ended) -> str:
    if ended.stopped is not None:
        message, fix = ended.stopped
        raise CannotMeasure(message, fix=f"{fix} Then run again: what was measured until now is kept.")
    return ended.clip


def settle_worker() -> None:
    """Give each process one core, and let it end when the run that started it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # for systems on which it is not inherited
    cv2.setNumThreads(1)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    """End this process when its parent was killed: a pool's workers otherwise wait for work forever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
