"""The history as a table for other programs: one row a stroke, CSV or Parquet, SI units."""

from __future__ import annotations

from importlib.util import find_spec
from io import BytesIO
from pathlib import Path

import pandas as pd

from pennyfall.cli.files.measurement import write_whole
from pennyfall.kinematics.errors import CannotMeasure

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
]


def one_row_a_stroke(strokes: pd.DataFrame) -> pd.DataFrame:
    """Return a wide table: for each quantity a column of its name and one with `_sd` behind it."""
    by_quantity = strokes.set_index([*STROKE_COLUMNS, "quantity"]).unstack("quantity")  # noqa: PD010 - every cell stands once
    names = by_quantity["value"].columns
    columns = {name: by_quantity["value"][name] for name in names}
    columns |= {f"{name}_sd": by_quantity["sd"][name] for name in names}
    ordered = [each for name in names for each in (name, f"{name}_sd")]
    return pd.DataFrame(columns)[ordered].reset_index()


def export(strokes: pd.DataFrame, path: Path) -> int:
    """Write the strokes to a CSV or Parquet file (told by its suffix), and return how many.

    Raises
    ------
    CannotMeasure
        When the suffix is another, or Parquet is wanted and pyarrow is not installed.

    """
    wide = one_row_a_stroke(strokes)
    suffix = path.suffix.lower()
    if suffix == ".csv":
        content = wide.to_csv(index=False, lineterminator="\n").encode()
    elif suffix == ".parquet":
        content = _parquet(wide)
    else:
        raise CannotMeasure(
            f"'{path.name}' is neither a CSV nor a Parquet file.", fix="Let its name end in .csv or .parquet."
        )
    write_whole(path, content)
    return len(wide)


def _parquet(table: pd.DataFrame) -> bytes:
    if find_spec("pyarrow") is None:
        raise CannotMeasure(
            "Writing Parquet needs the package pyarrow, which is not installed.",
            fix="In pennyfall's own folder run: pip install '.[parquet]' (the name alone may be "
            "another's), or export to a .csv file.",
        )
    buffer = BytesIO()
    table.to_parquet(buffer, engine="pyarrow", index=False)
    return buffer.getvalue()
