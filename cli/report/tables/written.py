"""A table and what is told, as printed: words and written numbers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One row: what it is about, and its cells."""

    label: str
    cells: tuple[str, ...]
    marked: bool = False
    """Whether it stands out; the table's words say what for."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """A table with its words."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    note: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """Something told in sentences, with the tables behind them."""

    sentences: tuple[str, ...]
    tables: tuple[Table, ...]
