"""A whole lesson in one go: measured, recorded, compared, reported."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable, Mapping
from contextlib import nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from textwrap import fill

from pennyfall.cli.files.folder_lock import folder_lock
from pennyfall.cli.files.lesson_file import CLUB_FILE, LESSON_FILE, Lesson, read_lesson
from pennyfall.cli.files.lesson_result import LessonResult
from pennyfall.cli.files.measured_files import REPORT_FILE, MeasuredWith
from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.files.own_rules import bands_of, rules_of
from pennyfall.cli.history.database import earlier_spread, open_history, record_lesson, strokes_long
from pennyfall.cli.history.earlier import earlier_lessons
from pennyfall.cli.lesson.clips import annotate_clip, films, lesson_measuring
from pennyfall.cli.lesson.measuring import Progress, measure_lesson
from pennyfall.cli.lesson.side_by_side import FinishClip, MeasureClip
from pennyfall.cli.report.page.lesson import lesson_page
from pennyfall.cli.report.page.reading import LessonReading, read_lesson_result
from pennyfall.cli.report.tables.written import Told
from pennyfall.cli.report.words import recommendation
from pennyfall.cli.report.words.evidence import lesson_sentences
from pennyfall.cli.report.words.numbers import typeset
from pennyfall.cli.report.words.scales import lesson_scales
from pennyfall.cli.report.words.still_to_film import still_to_film
from pennyfall.kinematics.lesson.reference_bands import ReferenceBand
from pennyfall.kinematics.lesson.rules import Rules
from pennyfall.kinematics.lesson.scatter import Spread

WIDEST = 100
"""Chosen by us: longer lines are hard to read."""

Measuring = Callable[[Path, Lesson], tuple[MeasureClip, MeasuredWith]]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LessonRun:
    """What a run gives."""

    result: LessonResult
    reading: LessonReading
    report: Path
    notes: tuple[str, ...] = ()
    """What was done without having been told, in sentences."""


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
        lesson, found_club = with_club_in(folder, read_lesson(folder))
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
        reading, report = record_and_report(
            folder, result, database=database, rules=rules, bands=bands, invented=invented
        )
    return LessonRun(result=result, reading=reading, report=report, notes=(found_club,) if found_club else ())


def with_club_in(folder: Path, lesson: Lesson) -> tuple[Lesson, str]:
    """Return the lesson with the club file that lies in its folder unnamed, and a sentence that says so."""
    if lesson.club is not None or not (folder / CLUB_FILE).is_file():
        return lesson, ""
    said = (
        f"{CLUB_FILE} lies in the folder and was used, though {LESSON_FILE} does not name it; where it "
        "should not be, move it away and run again."
    )
    return replace(lesson, club=CLUB_FILE), said


def record_and_report(
    folder: Path,
    result: LessonResult,
    *,
    database: Path | None,
    rules: Rules,
    bands: tuple[ReferenceBand, ...],
    invented: bool = False,
) -> tuple[LessonReading, Path]:
    """Write a measured lesson into the history, and its report into its folder; return reading and report.

    Raises
    ------
    CannotMeasure
        When the history or the report cannot be written.

    """
    earlier: Mapping[str, Spread] = {}
    since: Told | None = None
    if database is not None:
        with open_history(database) as history:
            record_lesson(history, folder, result)
            earlier = earlier_spread(history, folder, result)
            since = earlier_lessons(strokes_long(history, result.lesson.student), folder, result.lesson)
    reading = read_lesson_result(result, rules=rules, bands=bands, earlier=earlier)
    page = lesson_page(result, reading, films(folder, result), earlier=since, invented=invented)
    write_whole(folder / REPORT_FILE, page.encode())
    return reading, folder / REPORT_FILE


def verdict(result: LessonResult, reading: LessonReading) -> str:
    """Return a lesson in plain text: what was not measured, the advice, the claims, what they rest on."""
    paragraphs = [f"Not measured: {each.clip}. {each.message} {each.fix}" for each in result.refused]
    comparison = reading.comparison
    to_film = still_to_film(reading.summaries, comparison, reading.earlier)
    if comparison is None:
        alone = [f"No comparison: {reading.why_not}", to_film, lesson_scales(result, None)]
        return "\n".join(_wrapped([*paragraphs, *filter(None, alone)]))
    found = comparison.recommendation
    paragraphs.append(f"{recommendation.verdict(found)}: {recommendation.because(comparison)}.")
    scales = lesson_scales(result, comparison)
    claims = [f"- {each.text}" for each in lesson_sentences(comparison) if each.claim]
    changes = [f"Would change this: {each}" for each in recommendation.would_change(found)]
    left_out = recommendation.practice_left_out(comparison)
    return "\n".join(
        _wrapped(
            [*paragraphs, *filter(None, [to_film, scales]), *claims, *filter(None, [left_out]), *changes]
        )
    )


def _wrapped(paragraphs: Iterable[str]) -> list[str]:
    columns = min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns)
    return [fill(typeset(each), columns, subsequent_indent="  ") for each in paragraphs]
