"""A whole lesson in one go: measured, recorded, compared, reported."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

from pennyfall.cli.files.folder_lock import folder_lock
from pennyfall.cli.files.lesson_file import Lesson, read_lesson
from pennyfall.cli.files.lesson_result import LessonResult
from pennyfall.cli.files.measured_files import REPORT_FILE, MeasuredWith
from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.files.own_rules import bands_of, rules_of
from pennyfall.cli.history.database import open_history, record_lesson
from pennyfall.cli.lesson.clips import annotate_clip, films, lesson_measuring
from pennyfall.cli.lesson.gathering import Progress, measure_lesson
from pennyfall.cli.lesson.measuring import FinishClip, MeasureClip
from pennyfall.cli.report.page.lesson import lesson_page
from pennyfall.cli.report.page.reading import LessonReading, read_lesson_result

Measuring = Callable[[Path, Lesson], tuple[MeasureClip, MeasuredWith]]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LessonRun:
    """What a run gives."""

    result: LessonResult
    reading: LessonReading
    report: Path


def run_lesson(
    folder: Path,
    *,
    database: Path | None,
    processes: int | None = None,
    progress: Progress = lambda _clip, _done, _all: None,
    measuring: Measuring = lesson_measuring,
    finish: FinishClip = annotate_clip,
    invented: bool = False,
) -> LessonRun:
    """Measure what is new in a lesson folder, record the lesson, compare it, and write its report.

    Everything is written whole, in this order: each clip's results as soon as it is measured, the history in
    one transaction, the report. Killed in between, the next run goes on where this one was.

    Parameters
    ----------
    folder : Path
        The lesson's folder.
    database : Path or None
        The history; None keeps none.
    processes : int, optional
        Clips measured at once; default: one a core.
    progress : callable
        Told after each clip.
    measuring, finish : callables
        How clips are measured, and what else is made of each.
    invented : bool
        Say in the report that the lesson is a made-up demonstration.

    Raises
    ------
    CannotMeasure
        When the folder or the database cannot be used, another run is working on them, or nothing could be
        measured.

    """
    with folder_lock(folder):
        lesson = read_lesson(folder)
        rules, bands = rules_of(folder), bands_of(folder)
        measure, measured_with = measuring(folder, lesson)
        # Opened first: what is wrong with rules or database is said before minutes of measuring, not after.
        with open_history(database) if database is not None else nullcontext():
            pass
        result = measure_lesson(
            folder,
            lesson,
            measure=measure,
            finish=finish,
            measured_with=measured_with,
            processes=processes,
            progress=progress,
        )
        if database is not None:
            with open_history(database) as history:
                record_lesson(history, folder, result)
        reading = read_lesson_result(result, rules=rules, bands=bands)
        page = lesson_page(result, reading, films(folder, result), invented=invented)
        write_whole(folder / REPORT_FILE, page.encode())
    return LessonRun(result=result, reading=reading, report=folder / REPORT_FILE)
