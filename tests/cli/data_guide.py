"""The data dictionary, from the one table of quantities, and how to renew it.

Renew it with ``python -m tests.cli.data_guide``.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from textwrap import fill

from pennyfall.cli.files.c3d_file import CHANNELS, HOW_MADE
from pennyfall.cli.report.data_columns import Column, columns_of, stroke_columns

GUIDE = Path(__file__).resolve().parents[2] / "cli" / "DATA.md"
HEAD = """\
# Data for other programs

What each column holds. Units stand in the names: `_s` seconds, `_m` metres, `_mps` and `_mps2` metres a
second and a second squared, `_rad` radians, `_px` pixels, `_ft` feet; a name without one is a plain
number (1) or a text. CSV and Parquet have the same columns, and the table of strokes is written with its
part of this dictionary beside it (`strokes.parquet` with `strokes.columns.csv`). What could not be
measured is empty in CSV, null in Parquet, never zero. Along the target line positive is toward the
target. [EXAMPLE_SEASON.md](EXAMPLE_SEASON.md) compares two versions of a drill over many students in such
a table.

The words are those of `cli/report/quantities.toml`.
"""
COLUMNS = """\
| column | unit | label | meaning | source |
| --- | :-: | --- | --- | --- |
"""
LABORATORY = fill(
    "`pennyfall measure CLIP --c3d track.c3d` (extra `c3d`) writes points in mm, HEAD and a BALL for each "
    "ball, x along the target line and z up. The format knows one rate and no times of frames. "
    f"{HOW_MADE} What is missing has the residual -1, all else 0, which means 'processed'. The group EVENT "
    "has takeaway, top, impact and finish of every stroke (its number is the context), PENNYFALL their "
    "standard deviations (EVENT_SD_S), the clip's content and the relative standard deviation of its scale "
    "(SCALE_REL_SD). Channels, at the same rate:",
    110,
)
C3D = f"""\
## The same for a motion laboratory

{LABORATORY}

| channel | unit | meaning |
| --- | :-: | --- |
"""


def guide() -> str:
    """Return the guide as it should be."""
    return "\n".join(
        [
            HEAD,
            _section("The strokes", stroke_columns().values()),
            _section("A track", columns_of("track")),
            _section("A stroke's curve", columns_of("curve")),
            C3D + "".join(f"| {name} | {unit} | {meaning} |\n" for name, (unit, meaning) in CHANNELS.items()),
        ]
    )


def _section(title: str, columns: Iterable[Column]) -> str:
    rows = [
        f"| `{each.name}` | {each.unit} | {each.label} | {each.meaning} | {each.source} |\n"
        for each in columns
    ]
    return f"## {title}\n\n{COLUMNS}{''.join(rows)}"


if __name__ == "__main__":
    GUIDE.write_text(guide(), encoding="utf-8")
