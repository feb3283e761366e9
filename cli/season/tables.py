"""A season's data sets: the table of strokes written whole, and the tracks and curves in parts by student."""

from __future__ import annotations

import datetime as dt
import os
import shutil
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import IO, Any

from pennyfall.cli.files.measurement import beside, write_whole
from pennyfall.cli.files.table_file import csv_bytes
from pennyfall.cli.report.data_columns import arrow_schema, dictionary
from pennyfall.cli.season.columns import STROKES
from pennyfall.cli.season.journal import Journal
from pennyfall.kinematics.errors import CannotMeasure

ROWS_AT_A_TIME = 10_000
"""Chosen by us: some twenty megabytes in memory, and a group of rows that is read quickly."""

SETS = ("tracks", "curves")
"""The sets of one file a clip: frame by frame as the track file has it, and each stroke's smoothed curve."""

NO_STUDENT = "unknown"
"""Stands for the code of clips that lie in no lesson; it has no digit, so that it is nobody's code."""


def write_strokes(rows: Iterable[Mapping[str, Any]], out: Path) -> tuple[int, int]:
    """Write the table, whole or not at all and never whole in memory, and what its columns mean beside it.

    Returns
    -------
    tuple of int
        How many strokes and how many refused clips it holds.

    Raises
    ------
    CannotMeasure
        When the place cannot be written.

    """
    import pyarrow as pa

    write_whole(out.with_name(f"{out.stem}.columns.csv"), csv_bytes(dictionary(STROKES)))
    schema, strokes, all_rows, waiting = arrow_schema(STROKES), 0, 0, iter(rows)
    with beside(out) as temporary:
        with temporary.open("xb") as stream:
            with _writer(stream, schema, out) as writer:
                while batch := [_dated(each) for each in islice(waiting, ROWS_AT_A_TIME)]:
                    writer.write_table(pa.Table.from_pylist(batch, schema=schema))
                    all_rows += len(batch)
                    strokes += sum("stroke" in each for each in batch)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.replace(out.resolve())
    return strokes, all_rows - strokes


def _writer(stream: IO[bytes], schema: Any, out: Path) -> Any:  # noqa: ANN401 - pyarrow has no types
    from pyarrow import csv, parquet

    if out.suffix.lower() == ".csv":
        return csv.CSVWriter(stream, schema)
    return parquet.ParquetWriter(stream, schema, compression="zstd")


def _dated(row: Mapping[str, Any]) -> dict[str, Any]:
    return {**row, "date": None if row["date"] is None else dt.date.fromisoformat(row["date"])}


def write_parts(folder: Path, key: str, student: str | None, tables: Mapping[str, bytes]) -> None:
    """Write a clip's track and curves into their sets.

    Raises
    ------
    CannotMeasure
        When the place cannot be written.

    """
    for name, content in tables.items():
        path = _part(folder, name, key, student)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotMeasure(
                f"{path.parent} cannot be made ({error.strerror or error}).", fix="Name another folder."
            ) from error
        write_whole(path, content)


def has_parts(folder: Path, key: str, student: str | None) -> bool:
    """Tell whether a clip's track and curves are there."""
    return all(_part(folder, name, key, student).is_file() for name in SETS)


def sweep_parts(folder: Path, journal: Journal) -> None:
    """Remove what a killed run left half written, and parts of clips that have gone or changed hands."""
    for path in _all_parts(folder):
        student = path.parent.name.partition("=")[2]
        if not journal.is_student_of(path.stem, None if student == NO_STUDENT else student):
            path.unlink(missing_ok=True)


def sweep_table(out: Path) -> None:
    """Remove what a killed run left half written beside the table."""
    for path in out.parent.glob(f".{out.name}.????????"):
        path.unlink(missing_ok=True)


def remove_student_parts(folder: Path, student: str) -> list[Path]:
    """Remove a student's tracks and curves; return the folders that were removed."""
    doomed = [
        each
        for name in SETS
        for each in (folder / name).glob("student=*")
        if each.name.partition("=")[2].casefold() == student.casefold()
    ]
    for each in doomed:
        shutil.rmtree(each)
    return doomed


def _part(folder: Path, name: str, key: str, student: str | None) -> Path:
    return folder / name / f"student={student or NO_STUDENT}" / f"{key}.parquet"


def _all_parts(folder: Path) -> Iterator[Path]:
    for name in SETS:
        yield from (folder / name).glob("student=*/*")
        yield from (folder / name).glob("student=*/.*")
