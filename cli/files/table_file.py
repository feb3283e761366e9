"""Tables for other programs: CSV or Parquet, told by the file's suffix; what is missing is empty or null."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pennyfall.kinematics.errors import CannotMeasure

if TYPE_CHECKING:
    import pandas as pd


def table_bytes(table: pd.DataFrame, path: Path, schema: Callable[[], Any]) -> bytes:
    """Return a table as the content of a CSV or Parquet file of that name.

    Parameters
    ----------
    table : DataFrame
        The table.
    path : Path
        Where it will be written, .csv or .parquet.
    schema : callable
        Returns the pyarrow.Schema for Parquet; asked only where pyarrow is there.

    Raises
    ------
    CannotMeasure
        When the suffix is another, or Parquet is wanted and pyarrow is not installed.

    """
    suffix = path.suffix.lower()
    if suffix == ".csv":
        return csv_bytes(table)
    if suffix == ".parquet":
        return parquet_bytes(table, schema)
    raise CannotMeasure(
        f"'{path.name}' is neither a CSV nor a Parquet file.", fix="Let its name end in .csv or .parquet."
    )


def csv_bytes(table: pd.DataFrame, *, digits: int | None = None) -> bytes:
    """Return a table as the content of a CSV file, every number to its last digit or to so many."""
    form = None if digits is None else f"%.{digits}g"
    return table.to_csv(index=False, float_format=form, lineterminator="\n").encode()


def parquet_bytes(table: pd.DataFrame, schema: Callable[[], Any]) -> bytes:
    """Return a table as the content of a Parquet file of a schema.

    Raises
    ------
    CannotMeasure
        When pyarrow is not installed.

    """
    refuse_without("pyarrow", extra="parquet", wanted="Writing Parquet", instead="export to a .csv file")
    buffer = BytesIO()
    table.to_parquet(buffer, engine="pyarrow", index=False, schema=schema())
    return buffer.getvalue()


def refuse_without(package: str, *, extra: str, wanted: str, instead: str) -> None:
    """Refuse what needs a package of an extra that is not installed.

    Raises
    ------
    CannotMeasure
        When the package is not there.

    """
    if find_spec(package) is None:
        raise CannotMeasure(
            f"{wanted} needs the package {package}, which is not installed.",
            fix=f"In pennyfall's own folder run: pip install '.[{extra}]' (the name alone may be "
            f"another's), or {instead}.",
        )
