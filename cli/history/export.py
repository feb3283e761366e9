"""The history as a table for other programs: one row a stroke, CSV or Parquet, units in the names."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pennyfall.cli.report.data_columns import SD, write_strokes

STROKE_COLUMNS = [
    "student",
    "date",
    "folder",
    "hand",
    "green_speed_ft",
    "condition",
    "putt_ft",
    "clip",
    "stroke",
    "clip_sha256",
    "scale_rel_sd",
    "scale_source",
]


def one_row_a_stroke(strokes: pd.DataFrame) -> pd.DataFrame:
    """Return a wide table: for each quantity a column of its name and one with `_sd` behind it."""
    by_quantity = strokes.set_index([*STROKE_COLUMNS, "quantity"]).unstack("quantity")  # noqa: PD010 - every cell stands once
    names = by_quantity["value"].columns
    columns = {name: by_quantity["value"][name] for name in names}
    columns |= {f"{name}{SD}": by_quantity["sd"][name] for name in names}
    ordered = [each for name in names for each in (name, f"{name}{SD}")]
    wide = pd.DataFrame(columns)[ordered].reset_index()
    return wide.assign(date=pd.to_datetime(wide["date"]).dt.date)


def export(strokes: pd.DataFrame, path: Path) -> int:
    """Write the strokes to a CSV or Parquet file and the meaning of its columns beside it; return how many.

    Raises
    ------
    CannotMeasure
        When the suffix is another, or Parquet is wanted and pyarrow is not installed.

    """
    wide = one_row_a_stroke(strokes)
    write_strokes(wide, path)
    return len(wide)
