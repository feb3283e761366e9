"""The data dictionary: what each column of a table for other programs holds, written with it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import pandas as pd

from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.files.table_file import csv_bytes, table_bytes
from pennyfall.cli.report.quantities import COIN_GROUP, STROKE_GROUPS, Quantity

UNIT_OF_ENDING = {
    "_mps2": "m/s²",
    "_mps": "m/s",
    "_m": "m",
    "_s": "s",
    "_ms": "ms",
    "_hz": "Hz",
    "_rad": "rad",
    "_deg": "deg",
    "_px": "px",
    "_ft": "ft",
}
"""How a column's name tells its unit, here as in the code."""
SD = "_sd"
"""Ending of the column beside a quantity that holds its standard deviation."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Column:
    """One column of a table for other programs."""

    name: str
    unit: str
    """SI unit; '1' for a plain number, empty for a text."""
    label: str
    meaning: str
    source: str
    """Where the value comes from, such as a place in the measurement file."""


def unit_of(name: str, plain: str = "") -> str:
    """Return the unit that a column's name tells, `plain` where it tells none."""
    return next((unit for ending, unit in UNIT_OF_ENDING.items() if name.endswith(ending)), plain)


@cache
def stroke_columns() -> Mapping[str, Column]:
    """Return every column that a table of strokes may hold, by name, quantities last."""
    found: dict[str, Column] = {}
    for each in _stated("column"):
        found |= _with_sd(each) if each.source.endswith(".value") else {each.name: each}
    for group, place in (*((group, "") for group in STROKE_GROUPS), (COIN_GROUP, "loose_object.")):
        for quantity in group.quantities:
            if quantity.name not in found:  # peak acceleration is shown in two units and kept in one
                found |= _with_sd(_measured(quantity, place))
    return found


@cache
def track_columns() -> Mapping[str, Column]:
    """Return the columns of a track, by name."""
    return {each.name: each for each in _stated("track")}


def dictionary(columns: Iterable[Column]) -> pd.DataFrame:
    """Return one row a column: column, unit, label, meaning, source."""
    rows = pd.DataFrame([asdict(each) for each in columns])
    return rows.rename(columns={"name": "column"})


def write_strokes(table: pd.DataFrame, path: Path) -> Path:
    """Write a table of strokes, and beside it its data dictionary, whose place is returned.

    Parameters
    ----------
    table : DataFrame
        One row a stroke, all of its columns in `stroke_columns`.
    path : Path
        Where to, .csv or .parquet.

    Raises
    ------
    CannotMeasure
        When the name ends otherwise, Parquet is wanted without its package, or the place cannot be written.

    """
    known = stroke_columns()
    beside = path.with_name(f"{path.stem}.columns.csv")
    content = table_bytes(table, path)
    write_whole(beside, csv_bytes(dictionary(known[name] for name in table.columns)))
    write_whole(path, content)
    return beside


def _stated(kind: str) -> list[Column]:
    text = resources.files("pennyfall.cli.report").joinpath("quantities.toml").read_text(encoding="utf-8")
    stated: list[dict[str, Any]] = tomllib.loads(text)[kind]
    return [Column(**{"unit": unit_of(each["name"]), **each}) for each in stated]


def _measured(quantity: Quantity, place: str) -> Column:
    return Column(
        name=quantity.name,
        unit=unit_of(quantity.name, "1"),
        label=quantity.label,
        meaning=quantity.meaning,
        source=f"measurement file: strokes[].{place}{quantity.name}.value",
    )


def _with_sd(value: Column) -> dict[str, Column]:
    sd = Column(
        name=value.name + SD,
        unit=value.unit,
        label=f"{value.label}, standard deviation",
        meaning=f"one standard deviation of `{value.name}`",
        source=f"{value.source.removesuffix('value')}sd",
    )
    return {value.name: value, sd.name: sd}
