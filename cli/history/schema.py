"""The history database's tables, as numbered steps that any older file is taken through."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from pennyfall.kinematics.errors import CannotMeasure

MIGRATIONS = (
    """
    CREATE TABLE student (
        code TEXT PRIMARY KEY
    ) WITHOUT ROWID;
    CREATE TABLE lesson (
        id INTEGER PRIMARY KEY,
        student TEXT NOT NULL REFERENCES student (code) ON DELETE CASCADE,
        folder TEXT NOT NULL UNIQUE,
        date TEXT NOT NULL,
        hand TEXT NOT NULL CHECK (hand IN ('right', 'left')),
        green_speed_ft REAL NOT NULL CHECK (green_speed_ft > 0)
    );
    CREATE INDEX lesson_of_student ON lesson (student, date);
    CREATE TABLE condition (
        id INTEGER PRIMARY KEY,
        lesson INTEGER NOT NULL REFERENCES lesson (id) ON DELETE CASCADE,
        name TEXT NOT NULL,
        putt_ft REAL NOT NULL CHECK (putt_ft > 0),
        UNIQUE (lesson, name, putt_ft)
    );
    CREATE TABLE stroke (
        id INTEGER PRIMARY KEY,
        condition INTEGER NOT NULL REFERENCES condition (id) ON DELETE CASCADE,
        clip TEXT NOT NULL,
        clip_sha256 TEXT NOT NULL,
        number INTEGER NOT NULL,
        UNIQUE (condition, clip, number)
    );
    CREATE TABLE measure (
        stroke INTEGER NOT NULL REFERENCES stroke (id) ON DELETE CASCADE,
        quantity TEXT NOT NULL,
        value REAL NOT NULL,
        sd REAL,
        PRIMARY KEY (stroke, quantity)
    ) WITHOUT ROWID;
    """,
    """
    ALTER TABLE stroke ADD COLUMN scale_rel_sd REAL NOT NULL DEFAULT 0;
    ALTER TABLE stroke ADD COLUMN scale_source TEXT NOT NULL DEFAULT ''
    """,
    """
    INSERT OR IGNORE INTO student SELECT upper(code) FROM student
        WHERE code GLOB '*[0-9]*' AND code NOT GLOB '*[^-_.0-9A-Za-z]*';
    UPDATE lesson SET student = upper(student)
        WHERE student GLOB '*[0-9]*' AND student NOT GLOB '*[^-_.0-9A-Za-z]*';
    DELETE FROM student WHERE code NOT IN (SELECT student FROM lesson);
    CREATE TABLE clips_left (
        folder TEXT PRIMARY KEY
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE season (
        out TEXT NOT NULL,
        source TEXT NOT NULL,
        tracks TEXT NOT NULL,
        PRIMARY KEY (out, source, tracks)
    ) WITHOUT ROWID
    """,
)
"""Step n takes a database from version n to n + 1. A released step is never changed; a new one is added."""


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Run the body as one transaction: all of it is kept, or nothing."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        if connection.in_transaction:  # a full disk may have rolled it back already
            connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def migrate(connection: sqlite3.Connection, migrations: Sequence[str] = MIGRATIONS) -> None:
    """Bring a database to the newest version, in one transaction.

    Raises
    ------
    CannotMeasure
        When the database was written by a newer version of pennyfall.

    """
    with transaction(connection):
        (found,) = connection.execute("PRAGMA user_version").fetchone()
        if found > len(migrations):
            raise CannotMeasure(
                f"The history database has version {found}; this pennyfall knows versions up to "
                f"{len(migrations)}.",
                fix="Install the newest pennyfall, or name another --database. Nothing was changed.",
            )
        for step in migrations[found:]:
            for statement in step.split(";"):
                connection.execute(statement)
        if found < len(migrations):
            connection.execute(f"PRAGMA user_version = {len(migrations)}")
