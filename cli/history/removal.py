"""A student deleted completely: the rows, and the files derived from the student's clips."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pennyfall.cli.files.folder_lock import LOCK_FILE, folder_lock
from pennyfall.cli.files.lesson_file import LESSON_FILE, read_lesson_file
from pennyfall.cli.files.measured_files import MEASURED_FOLDER, derived_files
from pennyfall.cli.history.database import known_student, lesson_folders
from pennyfall.cli.history.schema import transaction
from pennyfall.kinematics.errors import CannotMeasure


@dataclass(frozen=True, kw_only=True, slots=True)
class Removal:
    """What deleting a student removed, and what it left for the coach to decide."""

    student: str
    lessons: int
    strokes: int
    files: tuple[Path, ...]
    """Files that were removed."""
    left: tuple[str, ...]
    """Sentences on what was not removed, and why."""


def delete_student(
    connection: sqlite3.Connection,
    student: str,
    *,
    with_clips: bool = False,
    elsewhere: Sequence[Path] = (),
) -> Removal:
    """Remove a student's derived files and rows; the files go first, so that a killed run can be repeated.

    Where the clips stay, their folder is noted without the student, so that they can be removed later, too.

    Parameters
    ----------
    connection : sqlite3.Connection
    student : str
        The student's code.
    with_clips : bool
        Remove the clips and the lesson file, too.
    elsewhere : sequence of Path
        Folders of the student's lessons that the history does not know.

    Raises
    ------
    CannotMeasure
        When there is no such student, or a lesson of the student is being measured.

    """
    files: list[Path] = []
    left: list[str] = []
    kept: list[Path] = []
    waiting = _clips_left(connection, student) if with_clips else ()
    try:
        student = known_student(connection, student)
    except CannotMeasure:
        if not (waiting or elsewhere):
            raise
    folders = lesson_folders(connection, student)
    for folder in dict.fromkeys((*folders, *waiting, *elsewhere)):
        reason = _not_ours(folder, student)
        if reason is not None:
            left.append(reason)
            continue
        with folder_lock(folder):
            files += _clear(folder, with_clips=with_clips)
        if with_clips:
            (folder / LOCK_FILE).unlink(missing_ok=True)
        else:
            kept.append(folder)
            left.append(
                f"{folder}: the clips and {LESSON_FILE} are still there (--delete --with-clips removes them, "
                "now or later)."
            )
    (strokes,) = connection.execute(
        "SELECT COUNT(*) FROM stroke JOIN condition ON condition.id = stroke.condition "
        "JOIN lesson ON lesson.id = condition.lesson WHERE lesson.student = ?",
        (student,),
    ).fetchone()
    with transaction(connection):
        connection.execute("DELETE FROM student WHERE code = ?", (student,))
        connection.executemany("DELETE FROM clips_left WHERE folder = ?", [(str(each),) for each in waiting])
        connection.executemany("INSERT OR IGNORE INTO clips_left VALUES (?)", [(str(each),) for each in kept])
    connection.execute("VACUUM")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # the log still holds the rows otherwise
    return Removal(
        student=student, lessons=len(folders), strokes=strokes, files=tuple(files), left=tuple(left)
    )


def removal_words(removal: Removal) -> str:
    """Return what was removed and what was left, a line each."""
    lines = [
        f"Removed of {removal.student}: {removal.lessons} lessons with {removal.strokes} strokes from the "
        f"history, and {len(removal.files)} files:",
        *(f"  {path}" for path in removal.files),
    ]
    if removal.left:
        lines += ["Not removed:", *(f"  {each}" for each in removal.left)]
    lines.append("Tables exported before, and copies elsewhere, are not known here: remove them yourself.")
    return "\n".join(lines)


def _clips_left(connection: sqlite3.Connection, student: str) -> tuple[Path, ...]:
    """Return the folders of deleted lessons that still hold this student's clips."""
    noted = [Path(folder) for (folder,) in connection.execute("SELECT folder FROM clips_left").fetchall()]
    return tuple(each for each in noted if _not_ours(each, student) is None)


def _not_ours(folder: Path, student: str) -> str | None:
    """Return why a folder's files must not be touched, or None."""
    if not folder.is_dir():
        return f"{folder} is no longer there: look for copies yourself."
    try:
        owner = read_lesson_file(folder).student
    except CannotMeasure as error:
        return f"{folder} was left alone: whose lesson it is cannot be read ({error.message})"
    return (
        None
        if owner.casefold() == student.casefold()
        else f"{folder} was left alone: it now holds a lesson of {owner}."
    )


def _clear(folder: Path, *, with_clips: bool) -> list[Path]:
    doomed = list(derived_files(folder))
    if with_clips:
        doomed += [*(folder / clip for clip in read_lesson_file(folder).clips), folder / LESSON_FILE]
    for path in doomed:
        path.unlink(missing_ok=True)
    inside = folder / MEASURED_FOLDER
    if inside.is_dir() and not any(inside.iterdir()):
        inside.rmdir()
    return doomed
