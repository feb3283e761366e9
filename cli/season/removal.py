"""A student deleted from every season that the history notes, and from the history."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from pennyfall.cli.files.lesson_file import LESSON_FILE, read_lesson_file
from pennyfall.cli.history.database import NotedSeason, known_student, noted_seasons
from pennyfall.cli.history.removal import Removal, delete_student
from pennyfall.cli.season.clips import is_address
from pennyfall.cli.season.journal import journal_path
from pennyfall.cli.season.run import season_held
from pennyfall.cli.season.tables import remove_student_parts, write_strokes
from pennyfall.kinematics.errors import CannotMeasure


def forget_student(connection: sqlite3.Connection, student: str, *, with_clips: bool = False) -> Removal:
    """Remove a student from the history, its lessons' derived files, and every season's data.

    Seasons go first: they are found by the history. A killed run can be repeated.

    Parameters
    ----------
    connection : sqlite3.Connection
        The history.
    student : str
        The student's code.
    with_clips : bool
        Remove the clips and the lesson files, too.

    Raises
    ------
    CannotMeasure
        When neither the history nor a season knows the student, or a run is at work on what has to go.

    """
    seasons = noted_seasons(connection)
    files: list[Path] = []
    left: list[str] = []
    for season in seasons:
        removed, words = _forget_in(season, student)
        files += removed
        left += words
    folders = [folder for season in seasons for folder in _lessons_below(season.source, student)]
    try:
        removal = delete_student(connection, student, with_clips=with_clips, elsewhere=folders)
    except CannotMeasure:
        if not files:
            raise
        removal = Removal(student=student, lessons=0, strokes=0, files=(), left=())
    return replace(removal, files=(*files, *removal.files), left=(*removal.left, *left))


def known_anywhere(connection: sqlite3.Connection, student: str) -> str:
    """Return a student's code as the history or a season writes it, whatever the case it is asked in.

    Raises
    ------
    CannotMeasure
        When neither knows the student.

    """
    for season in noted_seasons(connection):
        if journal_path(season.out).is_file():
            with season_held(season.out) as journal:
                if (known := journal.student(student)) is not None:
                    return known
    return known_student(connection, student)


def _forget_in(season: NotedSeason, student: str) -> tuple[list[Path], list[str]]:
    """Remove a student from one season; return what was removed or written anew, and what was left."""
    removed = remove_student_parts(season.tracks, student) if season.tracks is not None else []
    if not journal_path(season.out).is_file():
        return removed, [f"{season.out}: its journal has gone: look for the table and copies yourself."]
    with season_held(season.out) as journal:
        known = journal.student(student)
        if known is None:
            return removed, []
        write_strokes(journal.rows(without=known), season.out)
        journal.forget(known)  # last: while it knows the student, a killed run can be repeated
    words = f"{season.source}: clips of {known} that are still there are measured again by the next season."
    return [season.out, journal_path(season.out), *removed], [words]


def _lessons_below(source: str, student: str) -> Iterator[Path]:
    """Yield the folders below a season's that hold a lesson of the student."""
    if is_address(source) or not Path(source).is_dir():
        return
    for path in sorted(Path(source).rglob(LESSON_FILE)):
        try:
            owner = read_lesson_file(path.parent).student
        except CannotMeasure:
            continue  # whose it is cannot be read: its clips were refused, too
        if owner.casefold() == student.casefold():
            yield path.parent
