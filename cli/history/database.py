"""The history database: students by code, their lessons, conditions and strokes, in one SQLite file."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import pandas as pd

from pennyfall.cli.files.lesson_result import LessonResult
from pennyfall.cli.history.schema import migrate, transaction
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.lesson.scatter import Spread
from pennyfall.kinematics.values import Estimate, StrokeMeasures

BUSY_S = 20.0
"""Chosen by us: another run's write takes milliseconds, so twenty seconds mean that something is stuck."""

_STROKES = """
    SELECT lesson.student, lesson.date, lesson.folder, lesson.hand, lesson.green_speed_ft,
           condition.name AS condition, condition.putt_ft, stroke.clip, stroke.number AS stroke,
           stroke.clip_sha256, stroke.scale_rel_sd, stroke.scale_source,
           measure.quantity, measure.value, measure.sd
    FROM measure
    JOIN stroke ON stroke.id = measure.stroke
    JOIN condition ON condition.id = stroke.condition
    JOIN lesson ON lesson.id = condition.lesson
    WHERE :student IS NULL OR lesson.student = :student
    ORDER BY lesson.student, lesson.date, lesson.id, condition.id, stroke.id, measure.quantity
"""


def default_database() -> Path:
    """Return the usual place of the history database (the platform's folder for user data)."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local"))
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "pennyfall" / "history.sqlite"


@contextmanager
def open_history(path: Path, *, must_exist: bool = False) -> Iterator[sqlite3.Connection]:
    """Open the history database at its newest version; statements commit by themselves.

    Parameters
    ----------
    path : Path
        The database file; made when it does not exist.
    must_exist : bool
        Refuse to make a new one, for commands that only read.

    Raises
    ------
    CannotMeasure
        When it is no database of ours, is newer than this software, is held by another run, or the disk is
        full. The file is then as it was.

    """
    if must_exist and not path.is_file():
        raise CannotMeasure(
            f"There is no history database at {path}.",
            fix="Run a lesson first (pennyfall lesson run FOLDER), or name the database with --database.",
        )
    with database_in_words(path):
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotMeasure(
                f"{path.parent} cannot be made ({error.strerror or error}).", fix="Name another --database."
            ) from error
        connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
        try:
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute(
                "PRAGMA secure_delete = ON"
            )  # what is deleted is overwritten, not only unlinked
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            migrate(connection)
            yield connection
        finally:
            connection.close()


def record_lesson(connection: sqlite3.Connection, folder: Path, result: LessonResult) -> None:
    """Write a lesson's strokes, replacing what was recorded of the same folder, in one transaction."""
    lesson = result.lesson
    place = str(folder.resolve())
    with transaction(connection):
        connection.execute("DELETE FROM lesson WHERE folder = ?", (place,))
        connection.execute("INSERT OR IGNORE INTO student VALUES (?)", (lesson.student,))
        lesson_id = connection.execute(
            "INSERT INTO lesson (student, folder, date, hand, green_speed_ft) VALUES (?, ?, ?, ?, ?)",
            (lesson.student, place, lesson.date.isoformat(), lesson.hand, lesson.green_speed_ft),
        ).lastrowid
        for measured in result.conditions:
            condition_id = connection.execute(
                "INSERT INTO condition (lesson, name, putt_ft) VALUES (?, ?, ?)",
                (lesson_id, measured.condition.name, measured.condition.putt_ft),
            ).lastrowid
            for stroke in measured.strokes:
                stroke_id = connection.execute(
                    "INSERT INTO stroke (condition, clip, clip_sha256, number, scale_rel_sd, scale_source) "
                    "VALUES (?, ?, ?, ?, ?, ?)",
                    (
                        condition_id,
                        stroke.clip,
                        stroke.clip_sha256,
                        stroke.measures.number,
                        stroke.calibration.scale_rel_sd,
                        stroke.calibration.source,
                    ),
                ).lastrowid
                connection.executemany(
                    "INSERT INTO measure VALUES (?, ?, ?, ?)",
                    [
                        (stroke_id, name, estimate.value, estimate.sd if math.isfinite(estimate.sd) else None)
                        for name, estimate in estimates(stroke.measures).items()
                    ],
                )
        connection.execute("DELETE FROM student WHERE code NOT IN (SELECT student FROM lesson)")


def students(connection: sqlite3.Connection) -> pd.DataFrame:
    """Return one row a student: code, number of lessons and strokes, first and last date."""
    return pd.read_sql_query(
        """
        SELECT lesson.student, COUNT(DISTINCT lesson.id) AS lessons, COUNT(stroke.id) AS strokes,
               MIN(lesson.date) AS first, MAX(lesson.date) AS last
        FROM lesson
        LEFT JOIN condition ON condition.lesson = lesson.id
        LEFT JOIN stroke ON stroke.condition = condition.id
        GROUP BY lesson.student ORDER BY lesson.student
        """,
        connection,
    )


def strokes_long(connection: sqlite3.Connection, student: str | None = None) -> pd.DataFrame:
    """Return one row a measured quantity of every stroke (of one student, or of all), in SI units."""
    rows = pd.read_sql_query(_STROKES, connection, params={"student": student})
    return rows.astype({"value": float, "sd": float})  # a column of nothing but NULL comes back as objects


def known_student(connection: sqlite3.Connection, student: str) -> str:
    """Return a student's code as the history writes it, whatever the case it is asked in.

    Raises
    ------
    CannotMeasure
        When the database holds nothing of this student.

    """
    known: list[str] = [code for (code,) in connection.execute("SELECT code FROM student ORDER BY code")]
    found = [code for code in known if code == student] or [
        code for code in known if code.casefold() == student.casefold()
    ]
    if not found:
        raise CannotMeasure(
            f"The history holds no student '{student}'.",
            fix=f"Known are: {', '.join(known)}." if known else "It is still empty: run a lesson first.",
        )
    return found[0]


def lesson_folders(connection: sqlite3.Connection, student: str) -> tuple[Path, ...]:
    """Return the folders of a student's lessons, the first lesson's first."""
    rows = connection.execute("SELECT folder FROM lesson WHERE student = ? ORDER BY date", (student,))
    return tuple(Path(folder) for (folder,) in rows.fetchall())


def earlier_spread(connection: sqlite3.Connection, folder: Path, result: LessonResult) -> dict[str, Spread]:
    """Return how much the student's strokes varied before this lesson, by quantity, over all conditions.

    A clip that this lesson holds too is left out of the earlier ones.
    """
    mine = {stroke.clip_sha256 for measured in result.conditions for stroke in measured.strokes}
    rows = strokes_long(connection, result.lesson.student)
    rows = rows[
        (rows["folder"] != str(folder.resolve()))
        & (rows["date"] <= result.lesson.date.isoformat())
        & ~rows["clip_sha256"].isin(mine)
    ]
    alike = rows.groupby(["quantity", "folder", "condition", "putt_ft"])["value"].agg(["count", "var"])
    found: dict[str, Spread] = {}
    for (name, *_), count, variance in alike[alike["count"] > 1].itertuples():
        spread = Spread(variance=float(variance), df=float(count - 1))
        found[name] = found[name].with_more(spread) if name in found else spread
    return found


class RepeatedClips(NamedTuple):
    """Clips that two lessons of a student have in common, told by their content."""

    clips: int
    first_date: dt.date
    first_folder: Path
    second_date: dt.date
    second_folder: Path


def repeated_clips(connection: sqlite3.Connection, student: str) -> tuple[RepeatedClips, ...]:
    """Return each two lessons of a student that have clips in common, the older lesson first."""
    rows = connection.execute(
        """
        SELECT COUNT(DISTINCT one.clip_sha256), first.date, first.folder, second.date, second.folder
        FROM stroke AS one
        JOIN stroke AS other ON other.clip_sha256 = one.clip_sha256
        JOIN condition AS of_one ON of_one.id = one.condition
        JOIN condition AS of_other ON of_other.id = other.condition
        JOIN lesson AS first ON first.id = of_one.lesson
        JOIN lesson AS second ON second.id = of_other.lesson
        WHERE first.student = :student AND second.student = :student
          AND (first.date, first.id) < (second.date, second.id)
        GROUP BY first.id, second.id ORDER BY first.date, second.date
        """,
        {"student": student},
    )
    return tuple(
        RepeatedClips(
            clips, dt.date.fromisoformat(first), Path(folder), dt.date.fromisoformat(second), Path(other)
        )
        for clips, first, folder, second, other in rows.fetchall()
    )


def estimates(measures: StrokeMeasures) -> dict[str, Estimate]:
    """Return every measured quantity of a stroke by its name; what could not be measured is left out."""
    found = ((each.name, getattr(measures, each.name)) for each in dataclasses.fields(measures))
    return {name: value for name, value in found if isinstance(value, Estimate) and value.known}


@contextmanager
def database_in_words(
    path: Path,
    what: str = "history database",
    option: str = "--database",
    anew: str = "running the lessons again fills a new one",
) -> Iterator[None]:
    """Turn what goes wrong with a database in the body into words.

    Parameters
    ----------
    path : Path
        Its file.
    what : str
        What a coach calls it.
    option : str
        How another place is named.
    anew : str
        What makes another of it.

    Raises
    ------
    CannotMeasure
        When it is held by another run, damaged or not to be written, or the disk is full.

    """
    try:
        yield
    except sqlite3.DatabaseError as error:
        text = str(error)
        if "locked" in text or "busy" in text:
            raise CannotMeasure(
                f"The {what} {path} has been held by another run for {BUSY_S:.0f} s.",
                fix="Wait until the other run has finished, then run again: nothing was lost.",
            ) from error
        if "full" in text or "disk I/O error" in text:
            raise CannotMeasure(
                f"The disk is full or failed: the {what} {path} was left as it was.",
                fix="Free some space and run again: what was measured is kept.",
            ) from error
        if "not a database" in text or "malformed" in text:
            raise CannotMeasure(
                f"{path} is no {what}, or it is damaged ({text}).",
                fix=f"Put back a copy, or move it away: {anew}.",
            ) from error
        if isinstance(error, sqlite3.OperationalError) and ("unable to open" in text or "readonly" in text):
            raise CannotMeasure(
                f"The {what} {path} cannot be opened for writing ({text}).",
                fix=f"Name a place that may be written with {option}.",
            ) from error
        raise


class NotedSeason(NamedTuple):
    """Where a season's data lie."""

    out: Path
    """Its table."""
    source: str
    """Folder, list or address of its clips."""
    tracks: Path | None


def note_season(connection: sqlite3.Connection, season: NotedSeason) -> None:
    """Keep where a season's data lie, so that deleting a student reaches them; earlier notes stay."""
    tracks = "" if season.tracks is None else str(season.tracks)
    connection.execute(
        "INSERT OR IGNORE INTO season VALUES (?, ?, ?)", (str(season.out), season.source, tracks)
    )


def noted_seasons(connection: sqlite3.Connection) -> tuple[NotedSeason, ...]:
    """Return every season that was noted, by the name of its table."""
    rows = connection.execute(
        "SELECT out, source, tracks FROM season ORDER BY out, source, tracks"
    ).fetchall()
    return tuple(
        NotedSeason(Path(out), source, Path(tracks) if tracks else None) for out, source, tracks in rows
    )
