"""The way of every clip of a page: looked at, measured, shown; and the lesson read anew after each."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from pennyfall.cli.files.lesson_file import Lesson
from pennyfall.cli.files.lesson_result import LessonResult, gather
from pennyfall.cli.files.measured_files import (
    MEASURED_FOLDER,
    MeasuredWith,
    RefusedClip,
    find_measured,
    sweep_unfinished,
)
from pennyfall.cli.files.own_rules import bands_of, rules_of
from pennyfall.cli.lesson.run import Measuring, record_and_report
from pennyfall.cli.lesson.side_by_side import ClipTask, FinishClip, measure_task
from pennyfall.cli.report.page.lesson import lesson_so_far
from pennyfall.cli.report.page.reading import read_lesson_result
from pennyfall.cli.serve.bench import Bench, Tell
from pennyfall.cli.serve.desk import Desk, Sent, clip_id
from pennyfall.cli.serve.events import EventLog
from pennyfall.cli.serve.look import ClipLook, look_at
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Measurement
from pennyfall.tracker.clip.reading import sha256_of

Step = Literal["arrived", "waiting", "measuring", "measured", "refused", "twin", "left out"]
FILES_REST_S = 2.0
"""Chosen by us: a file that grew in the last two seconds is still being copied."""
MOST_WAITED = 10
"""A file at rest that does not open may come in pieces; after so many looks it is taken, and refused."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Clip:
    """How far a clip has come."""

    name: str
    step: Step = "arrived"
    sha256: str = ""
    fingerprint: str = ""
    look: ClipLook | None = None
    result: Measurement | RefusedClip | None = None
    film: bool = False
    """Whether the annotated clips are there."""
    twin: str = ""
    """The clip whose content it has."""


class Line:
    """Takes clips as they come, and tells an event at every step."""

    def __init__(
        self, desk: Desk, log: EventLog, measuring: Measuring, finish: FinishClip, places: int | None
    ) -> None:
        self.desk = desk
        self.log = log
        self.clips: dict[str, Clip] = {}
        self.so_far: dict[str, Any] | None = None
        """What the lesson says, as the template wants it."""
        self.why_not = "No stroke is sorted and measured yet."
        self._measuring = measuring
        self._finish = finish
        self._places = places or os.cpu_count() or 1
        self._bench: Bench | None = None
        self._clerk: Bench | None = None
        self._ways: dict[str, asyncio.Task[None]] = {}
        self._works: dict[str, asyncio.Future[None]] = {}
        self._stated: MeasuredWith | None = None
        self._due = asyncio.Event()
        self._hashing = asyncio.Semaphore(1)
        self._standing: list[asyncio.Task[None]] = []

    def start(self) -> None:
        """Man the places, go on with what the folder holds, and watch it."""
        (self.desk.folder / MEASURED_FOLDER).mkdir(exist_ok=True)
        sweep_unfinished(self.desk.folder)
        self._bench, self._clerk = Bench(self._places), Bench(1)
        sorted_ones: set[str] = set()
        with suppress(CannotMeasure):  # a lesson file spoilt by hand is told by the page
            sorted_ones.update(self.desk.lesson.clips)
        # Those of the lesson first: of two that are one film it is the other that counts as a copy.
        for clip in sorted(self.desk.clips, key=lambda each: each not in sorted_ones):
            self.take(clip)
        self._standing = [asyncio.create_task(each) for each in (self._watch(), self._read())]

    def stop(self) -> None:
        """End everything at once; what was measured is kept, what was begun is begun anew next time."""
        for task in (*self._standing, *self._ways.values()):
            task.cancel()
        for bench in filter(None, (self._bench, self._clerk)):
            bench.close()
        sweep_unfinished(self.desk.folder)

    def take(self, clip: str) -> None:
        """Send a clip on its way, from the start where it was on it already."""
        if clip in self._ways:
            self._ways[clip].cancel()
        self._ways[clip] = asyncio.create_task(self._follow(clip))

    def forget(self, clip: str) -> None:
        """Stop with a clip that is no more."""
        if clip in self._ways:
            self._ways.pop(clip).cancel()
        if self.clips.pop(clip, None) is not None:
            self._told(clip)

    def delete(self, clip: str) -> None:
        """Remove a clip for good.

        Raises
        ------
        CannotMeasure
            When it is being measured: what comes of it would be left.

        """
        if clip in self.clips and self.clips[clip].step in ("waiting", "measuring"):
            raise CannotMeasure(
                "It is being measured at this moment.", fix="Wait until it is, then delete it."
            )
        self.forget(clip)
        self.desk.delete(clip)

    def changed(self, clip: str) -> None:
        """Tell that a clip, and with it the lesson, is to be shown anew."""
        self._told(clip)
        self._due.set()

    def by_content(self, sha256: str) -> str | None:
        """Return the clip that holds this content."""
        return next(
            (each.name for each in self.clips.values() if each.sha256 == sha256 and not each.twin), None
        )

    async def ask_clerk(self, work: Callable[..., Any], *arguments: object) -> Any:  # noqa: ANN401
        """Have something done that takes time but no film.

        Raises
        ------
        CannotMeasure
            When it cannot be done.

        """
        assert self._clerk is not None
        return await self._clerk.run(work, *arguments)

    async def report(self, database: Path | None) -> None:
        """Write the lesson's report and record the lesson, as a run of it does.

        Raises
        ------
        CannotMeasure
            When a clip of the lesson is still on its way, or there is nothing to report.

        """
        lesson = self.desk.lesson
        open_ones = [clip for clip in lesson.clips if not self._prints.get(clip)]
        if open_ones:
            raise CannotMeasure(
                f"{len(open_ones)} clip{'s are' if len(open_ones) > 1 else ' is'} still being measured.",
                fix="Wait a moment, then ask again.",
            )
        await self.ask_clerk(report_of, self.desk.folder, lesson, self._prints, database)

    @property
    def _prints(self) -> dict[str, str]:
        """Fingerprints of what is measured, film and all, or refused."""
        done = (each for each in self.clips.values() if each.step in ("measured", "refused"))
        return {each.name: each.fingerprint for each in done if each.film or each.step == "refused"}

    async def _follow(self, clip: str) -> None:
        path = self.desk.folder / clip
        try:
            self._now(clip, step="arrived", twin="", film=False)
            async with self._hashing:
                sha = await asyncio.to_thread(sha256_of, path)
            twin = self.by_content(sha)
            if twin not in (None, clip):
                return self._now(clip, step="twin", twin=twin or "")
            self._now(clip, sha256=sha)
            self.desk.settle(clip)
            await asyncio.gather(self._look(clip, path), self._measure(clip, sha))
        except CannotMeasure as error:
            said = RefusedClip(clip=clip, message=error.message, fix=error.fix, setting=error.setting)
            self._now(clip, step="refused", result=said)
        except FileNotFoundError:
            self.forget(clip)

    async def _measure(self, clip: str, sha: str) -> None:
        lesson = self.desk.lesson
        measure, measured_with = self._measuring(self.desk.folder, lesson)
        print_ = measured_with.fingerprint(sha, clip)
        left_out = bool(self.desk.notes.clips.get(clip_id(clip), Sent()).left_out)
        kept = await asyncio.to_thread(find_measured, self.desk.folder, clip, print_)
        if kept is None and left_out:
            self._now(clip, step="left out", fingerprint=print_)
        elif kept is None:
            self._now(clip, step="waiting", fingerprint=print_)
            task = ClipTask(
                folder=self.desk.folder, clip=clip, fingerprint=print_, measure=measure, finish=self._finish
            )
            await self._at_a_place(task)
            kept = await asyncio.to_thread(find_measured, self.desk.folder, clip, print_)
        if kept is not None:
            step: Step = "refused" if isinstance(kept, RefusedClip) else "measured"
            self._now(clip, step=step, result=kept, film=step == "measured", fingerprint=print_)
            self._due.set()

    async def _at_a_place(self, task: ClipTask) -> None:
        """Measure a clip where a place is free, and never twice at once."""
        assert self._bench is not None
        clip = task.clip
        if clip in self._works and not self._works[clip].done():
            await asyncio.wait([self._works[clip]])

        def now(**changes: Any) -> None:  # noqa: ANN401
            if self.clips[clip].fingerprint == task.fingerprint:
                self._now(clip, **changes)

        work = self._bench.run(
            work_on,
            task,
            tell=lambda measured: now(step="measured", result=measured),
            begun=lambda: now(step="measuring"),
        )
        self._works[clip] = asyncio.ensure_future(work)
        self._works[clip].add_done_callback(lambda done: done.cancelled() or done.exception())  # heard by all
        await asyncio.shield(self._works[clip])

    async def _look(self, clip: str, path: Path) -> None:
        with suppress(CannotMeasure):  # measuring says the same in a moment
            look = await self.ask_clerk(look_at, path, self.desk.lesson.recorded_at_hz)
            self._now(clip, look=look)

    def _now(self, clip: str, **changes: Any) -> None:  # noqa: ANN401
        self.clips[clip] = replace(self.clips.get(clip) or Clip(name=clip), **changes)
        self._told(clip)

    def _told(self, clip: str) -> None:
        sent = self.desk.notes.clips.get(clip_id(clip), Sent())
        self.log.tell("clip", clip_id(clip), sent.sender)

    async def _read(self) -> None:
        """Read the lesson anew whenever something has changed, one reading at a time."""
        while True:
            await self._due.wait()
            self._due.clear()
            try:
                self.so_far = await self.ask_clerk(
                    read_so_far, self.desk.folder, self.desk.lesson, self._prints
                )
            except CannotMeasure as error:
                self.so_far, self.why_not = None, f"{error.message} {error.fix}"
            self.log.tell("lesson")

    async def _watch(self) -> None:
        """Take files that come by cable or a synced folder, once they rest and open."""
        known = {clip: _size_and_time(self.desk.folder / clip) for clip in self.clips}
        known |= {clip: _size_and_time(self.desk.folder / clip) for clip in self._ways}
        resting: dict[str, tuple[tuple[int, int], int]] = {}
        while True:
            await asyncio.sleep(FILES_REST_S)
            self._take_again_by_what_is_stated()
            found = {clip: _size_and_time(self.desk.folder / clip) for clip in self.desk.clips}
            for clip in set(self._ways) - set(found):
                self.forget(clip)
                self._due.set()
            for clip, state in found.items():
                if clip in self._ways and known.setdefault(clip, state) == state:
                    continue
                before, times = resting.get(clip, (state, 0))
                resting[clip] = (state, times + 1 if before == state else 0)
                if times and before == state and (times > MOST_WAITED or await self._opens(clip)):
                    known[clip] = state
                    del resting[clip]
                    self.take(clip)

    def _take_again_by_what_is_stated(self) -> None:
        """Measure by what lesson and club file state now: the coach may write it there by hand."""
        with suppress(CannotMeasure):
            stated = replace(self._measuring(self.desk.folder, self.desk.lesson)[1], boxes={})
            if self._stated not in (None, stated):
                for clip in self.desk.clips:
                    self.take(clip)
            self._stated = stated

    async def _opens(self, clip: str) -> bool:
        try:
            await self.ask_clerk(look_at, self.desk.folder / clip, None)
        except CannotMeasure:
            return False
        return True


def _size_and_time(path: Path) -> tuple[int, int]:
    try:
        found = path.stat()
    except OSError:
        return (0, 0)
    return found.st_size, found.st_mtime_ns


def work_on(tell: Tell, task: ClipTask) -> None:
    """Measure a clip, tell its figures, then make its film.

    Raises
    ------
    CannotMeasure
        When what was measured cannot be kept.

    """
    ended = measure_task(task, tell)
    if ended.stopped is not None:
        raise CannotMeasure(ended.stopped[0], fix=ended.stopped[1])


@lru_cache(maxsize=1000)
def _kept(folder: Path, clip: str, fingerprint: str) -> Measurement | RefusedClip | None:
    return find_measured(folder, clip, fingerprint)


def _result(folder: Path, lesson: Lesson, prints: dict[str, str]) -> LessonResult:
    """Return what a lesson gives by those of its clips that are measured."""
    results = {clip: kept for clip in lesson.clips if (kept := _kept(folder, clip, prints.get(clip, "")))}
    if not results:
        raise CannotMeasure("No stroke is sorted and measured yet.", fix="Send a clip and say what it shows.")
    conditions = (
        replace(each, clips=tuple(clip for clip in each.clips if clip in results))
        for each in lesson.conditions
    )
    return gather(replace(lesson, conditions=tuple(each for each in conditions if each.clips)), results)


def read_so_far(_tell: Tell, folder: Path, lesson: Lesson, prints: dict[str, str]) -> dict[str, Any]:
    """Return what a lesson says so far, ready for the template.

    Raises
    ------
    CannotMeasure
        When no stroke of it is measured.

    """
    result = _result(folder, lesson, prints)
    return lesson_so_far(result, read_lesson_result(result, rules=rules_of(folder), bands=bands_of(folder)))


def report_of(
    _tell: Tell, folder: Path, lesson: Lesson, prints: dict[str, str], database: Path | None
) -> None:
    """Write a lesson's report into its folder, and the lesson into the history.

    Raises
    ------
    CannotMeasure
        When nothing could be measured, or something cannot be written.

    """
    result = _result(folder, lesson, prints)
    if lost := set(lesson.clips) - set(result.lesson.clips):
        raise CannotMeasure(
            f"{min(lost)} was not measured to its end.",
            fix="Leave it out, or end the page and start it again: it is tried once more.",
        )
    record_and_report(folder, result, database=database, rules=rules_of(folder), bands=bands_of(folder))
