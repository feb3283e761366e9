"""The data dictionary: what each column of a table for other programs holds, written with it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal

import pandas as pd

from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.files.table_file import csv_bytes, table_bytes
from pennyfall.cli.report.quantities import COIN_GROUP, STROKE_GROUPS, quantity

Kind = Literal["text", "date", "whole", "yes or no", "number"]

SD = "_sd"
"""Ending of the column behind a quantity that holds its standard deviation."""
SI_UNITS = {
    "mps2": "m/s²",
    "mps": "m/s",
    "rad": "rad",
    "hz": "Hz",
    "px": "px",
    "ft": "ft",
    "m": "m",
    "s": "s",
}
"""By the last part of a name, as the code has it."""
_ARROW = {"text": "string", "date": "date32", "whole": "int32", "yes or no": "bool_", "number": "float64"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Column:
    """One column of a table for other programs."""

    name: str
    kind: Kind
    label: str
    meaning: str
    source: str
    """Where the value comes from, such as a place in the measurement file."""

    @property
    def unit(self) -> str:
        """Its unit, as its name says; '1' for a plain number, empty for what is none."""
        if self.kind not in ("number", "whole"):
            return ""
        return SI_UNITS.get(self.name.removesuffix(SD).rpartition("_")[2], "1")


def columns_of(group: str) -> tuple[Column, ...]:
    """Return the columns of a group in the table of quantities, in order."""
    return _stated()[group]


@cache
def quantity_columns() -> tuple[Column, ...]:
    """Return a column for each quantity of a stroke and one for its standard deviation, in reading order."""
    names = dict.fromkeys(each.name for group in STROKE_GROUPS for each in group.quantities)
    shown = [column for name in names for column in _quantity(name)]
    return (*shown, *columns_of("unshown"))


@cache
def coin_columns() -> tuple[Column, ...]:
    """Return the loose coin's columns."""
    demand = [column for each in COIN_GROUP.quantities for column in _quantity(each.name, "loose_object.")]
    return (*demand, *columns_of("coin"))


@cache
def stroke_columns() -> Mapping[str, Column]:
    """Return every column that a table of strokes may hold, by name."""
    return {
        each.name: each
        for each in (
            *columns_of("clip"),
            *columns_of("history"),
            *columns_of("stroke"),
            *quantity_columns(),
            *coin_columns(),
            *columns_of("measuring"),
            *columns_of("ending"),
        )
    }


def dictionary(columns: Iterable[Column]) -> pd.DataFrame:
    """Return one row a column: column, unit, label, meaning, source."""
    rows = [(each.name, each.unit, each.label, each.meaning, each.source) for each in columns]
    return pd.DataFrame(rows, columns=["column", "unit", "label", "meaning", "source"])


def arrow_schema(columns: Iterable[Column]) -> Any:  # noqa: ANN401 - a pyarrow.Schema; pyarrow is an extra
    """Return the schema of a table in Parquet; each field keeps unit and meaning beside it."""
    import pyarrow as pa

    return pa.schema(
        [
            pa.field(
                each.name,
                getattr(pa, _ARROW[each.kind])(),
                metadata={"unit": each.unit, "label": each.label, "meaning": each.meaning},
            )
            for each in columns
        ]
    )


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
    columns = [stroke_columns()[name] for name in table.columns]
    beside = path.with_name(f"{path.stem}.columns.csv")
    content = table_bytes(table, path, lambda: arrow_schema(columns))
    write_whole(beside, csv_bytes(dictionary(columns)))
    write_whole(path, content)
    return beside


def _quantity(name: str, place: str = "") -> tuple[Column, Column]:
    what = quantity(name)
    source = f"measurement file: strokes[].{place}{name}"
    return _estimate(name, label=what.label, meaning=what.meaning, source=source)


@cache
def _stated() -> Mapping[str, tuple[Column, ...]]:
    text = resources.files("pennyfall.cli.report").joinpath("quantities.toml").read_text(encoding="utf-8")
    groups = tomllib.loads(text)["columns"]
    return {
        group["of"]: tuple(column for each in group["column"] for column in _expanded(**each))
        for group in groups
    }


def _expanded(name: str, kind: str = "number", **words: str) -> Iterator[Column]:
    """Yield the columns of an entry: one, two of an estimate, two of a band."""
    if kind == "estimate":
        yield from _estimate(name, **words)
    elif kind == "band":
        stem, _, unit = name.rpartition("_")
        for place, end in enumerate(("low", "high")):
            yield Column(
                name=f"{stem}_{end}_{unit}",
                kind="number",
                label=f"{words['label']}, {end}",
                meaning=f"{words['meaning']}; the {end} end of its band",
                source=f"{words['source']}[{place}]",
            )
    else:
        yield Column(name=name, kind=kind, **words)  # type: ignore[arg-type] # checked by a test


def _estimate(name: str, *, label: str, meaning: str, source: str) -> tuple[Column, Column]:
    return (
        Column(name=name, kind="number", label=label, meaning=meaning, source=f"{source}.value"),
        Column(
            name=f"{name}{SD}",
            kind="number",
            label=f"{label}, standard deviation",
            meaning=f"one standard deviation of `{name}`",
            source=f"{source}.sd",
        ),
    )
