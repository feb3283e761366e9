"""The journal of a season: every clip and what came of it, kept clip by clip in one SQLite file."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from pennyfall.cli.history.database import database_in_words
from pennyfall.cli.report.data_columns import columns_of
from pennyfall.cli.season.job import Outcome
from pennyfall.kinematics.errors import CannotMeasure

FACTS = tuple(each.name for each in columns_of("clip") if each.name != "clip_sha256")
ENDED_SO = ("clip_sha256", *(each.name for each in columns_of("ending")))

_TABLES = """
    CREATE TABLE IF NOT EXISTS clip (
        key TEXT PRIMARY KEY,
        run INTEGER NOT NULL,
        clip TEXT NOT NULL,
        student TEXT,
        date TEXT,
        hand TEXT,
        green_speed_ft REAL,
        condition TEXT,
        putt_ft REAL,
        barred TEXT,
        barred_remedy TEXT,
        clip_sha256 TEXT,
        fingerprint TEXT NOT NULL DEFAULT '',
        refused TEXT,
        remedy TEXT,
        software_version TEXT,
        strokes TEXT
    );
    CREATE INDEX IF NOT EXISTS clip_of_content ON clip (clip_sha256);
    CREATE INDEX IF NOT EXISTS clip_in_order ON clip (student, date, clip, clip_sha256, key);
    CREATE TABLE IF NOT EXISTS ended (run INTEGER NOT NULL);
    INSERT INTO ended SELECT 0 WHERE NOT EXISTS (SELECT 1 FROM ended)
"""
"""`run` is the last run that found the clip, `ended` the last whole one; `barred` says why a clip need not be
opened, and `strokes` is NULL until it was worked on."""

_FOUND = "run >= (SELECT run FROM ended)"
"""A clip that has gone from the folder leaves the table; should it come back, it is not measured again."""

_IN_ORDER = f"""
    WITH ranked AS (
        SELECT key, ROW_NUMBER() OVER (
            PARTITION BY coalesce(clip_sha256, key)
            ORDER BY condition IS NULL, student IS NULL, student, date, clip, key
        ) AS copy
        FROM clip WHERE {_FOUND} AND (strokes IS NOT NULL OR barred IS NOT NULL)
            AND (:without IS NULL OR student IS NOT :without)
    )
    SELECT clip.*, ranked.copy FROM clip JOIN ranked ON ranked.key = clip.key
    ORDER BY clip.student, clip.date, clip.clip, clip.clip_sha256, clip.key
"""

COPY = "The same clip lies elsewhere in the season, too: it is counted there, and only once."
COPY_REMEDY = "Remove one of the two: counted twice, noise looks like evidence."


def journal_path(out: Path) -> Path:
    """Return where the journal of a season's table lies."""
    return out.with_name(f"{out.name}.journal")


@contextmanager
def open_journal(out: Path) -> Iterator[Journal]:
    """Open the journal of a season's table, made when there is none; hold the season's lock around it.

    Raises
    ------
    CannotMeasure
        When it cannot be used, or the disk is full. What was kept until then stays kept.

    """
    path = journal_path(out)
    with database_in_words(path, "season's journal", "--out", "the season is then measured anew"):
        connection = sqlite3.connect(path, isolation_level=None)
        try:
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA locking_mode = EXCLUSIVE")  # so that it may lie in a shared folder
            connection.execute("PRAGMA secure_delete = ON")  # what is deleted is overwritten
            connection.execute("PRAGMA journal_mode = WAL")
            # a killed process loses nothing; a power cut may cost the last clips, measured again then
            connection.execute("PRAGMA synchronous = NORMAL")
            for statement in _TABLES.split(";"):
                connection.execute(statement)
            yield Journal(connection)
        finally:
            connection.close()


class Kept(NamedTuple):
    """What is kept of a clip."""

    fingerprint: str
    """Of its content and settings when it was measured; empty for nothing."""
    refused: bool


class Journal:
    """What is known of each clip; a run of the season is begun, tells clip after clip, and is ended."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def begin(self) -> None:
        """Begin a run; nothing is lost of the last."""
        (ended,) = self._one("SELECT run FROM ended")
        self._run = ended + 1
        self._connection.execute("BEGIN")

    def expect(self, key: str, facts: dict[str, Any], barred: CannotMeasure | None = None) -> Kept:
        """Note a clip that was found; return what is kept of it.

        Of one that is barred nothing else is changed: whose it was and what was measured stays known.
        """
        told = {"barred": barred and barred.message, "barred_remedy": barred and barred.fix}
        values = {"key": key, "run": self._run, **told, **{name: facts.get(name) for name in FACTS}}
        renewed = [name for name in values if name not in FACTS or barred is None]
        self._connection.execute(
            f"INSERT INTO clip ({', '.join(values)}) VALUES ({', '.join(f':{name}' for name in values)}) "
            f"ON CONFLICT (key) DO UPDATE SET {', '.join(f'{name} = :{name}' for name in renewed)}",
            values,
        )
        return Kept(*self._one("SELECT fingerprint, refused IS NOT NULL FROM clip WHERE key = ?", key))

    def keep(self, outcome: Outcome) -> None:
        """Keep what came of a clip, for good.

        Where a clip could not be got at, and nothing says that it has changed, what was measured of it stays.
        """
        self._connection.execute(
            "UPDATE clip SET clip_sha256 = :sha256, fingerprint = :fingerprint, refused = :refused, "
            "remedy = :remedy, software_version = :version, strokes = :strokes "
            "WHERE key = :key AND (:fingerprint <> '' OR fingerprint = '' OR clip_sha256 <> :sha256)",
            {
                "key": outcome.key,
                "sha256": outcome.sha256,
                "fingerprint": outcome.fingerprint,
                "refused": outcome.refused,
                "remedy": outcome.remedy,
                "version": outcome.version,
                "strokes": json.dumps(outcome.strokes, allow_nan=False),
            },
        )
        self._connection.execute("COMMIT")
        self._connection.execute("BEGIN")

    def end(self) -> None:
        """End a run in which every clip was found and worked on."""
        self._connection.execute("UPDATE ended SET run = ?", (self._run,))
        self._connection.execute("COMMIT")

    def rows(self, *, without: str | None = None) -> Iterator[dict[str, Any]]:
        """Yield the rows of the season's table: by student, day and clip, whatever the order of measuring.

        Where clips have one content, all but the first are refused. One student may be left out.
        """
        for clip in self._connection.execute(_IN_ORDER, {"without": without}):
            row = {name: clip[name] for name in (*FACTS, *ENDED_SO)}
            if clip["barred"] is not None:
                yield row | {"refused": clip["barred"], "remedy": clip["barred_remedy"]}
            elif clip["refused"] is not None:
                yield row
            elif clip["copy"] > 1:
                yield row | {"refused": COPY, "remedy": COPY_REMEDY}
            else:
                yield from (row | stroke for stroke in json.loads(clip["strokes"]))

    def count_of_gone(self) -> int:
        """Return how many clips of earlier runs are not there any more."""
        (count,) = self._one(f"SELECT COUNT(*) FROM clip WHERE NOT {_FOUND}")
        return int(count)

    def is_student_of(self, key: str, student: str | None) -> bool:
        """Tell whether a clip was found in the last run, and is this student's."""
        return (
            self._one(f"SELECT 1 FROM clip WHERE key = ? AND student IS ? AND {_FOUND}", key, student)
            is not None
        )

    def student(self, code: str) -> str | None:
        """Return a student's code as it stands here, whatever the case it is asked in, or None."""
        codes = self._connection.execute("SELECT DISTINCT student FROM clip WHERE student IS NOT NULL")
        return next((known for (known,) in codes if known.casefold() == code.casefold()), None)

    def forget(self, student: str) -> int:
        """Remove everything about a student, and return of how many clips that was."""
        gone = self._connection.execute("DELETE FROM clip WHERE student = ?", (student,)).rowcount
        self._connection.execute("VACUUM")
        self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # the log still holds the rows otherwise
        return gone

    def _one(self, statement: str, *values: object) -> Any:  # noqa: ANN401 - a row, or None
        return self._connection.execute(statement, values).fetchone()
