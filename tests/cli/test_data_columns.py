"""The data dictionary says of every column what the program puts there."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pandas as pd
import pytest

from pennyfall.cli.files.measurement import to_document
from pennyfall.cli.files.track import COLUMNS
from pennyfall.cli.history.export import STROKE_COLUMNS, one_row_a_stroke
from pennyfall.cli.report.data_columns import SD, Kind, columns_of, stroke_columns, write_strokes
from pennyfall.cli.report.quantities import GROUPS
from pennyfall.cli.season.columns import stroke_rows
from pennyfall.kinematics.values import Profile, StrokeMeasures
from tests.cli import data_guide
from tests.cli.lesson_strokes import stroke as made_stroke
from tests.cli.synthetic import measurement

FIELD_UNITS = {
    "s": "s", "ms": "s", "cm": "m", "cm/s": "m/s", "m/s²": "m/s²", "g": "m/s²", "%": "1", "deg": "rad",
    ": 1": "1", "-": "1",
}  # fmt: skip
"""The SI unit of each field unit (SI Brochure, 9th edition, tables 2 to 4 and 8)."""


def test_the_guide_to_the_data_says_what_the_table_of_quantities_says() -> None:
    renew = "renew it with: python -m tests.cli.data_guide"
    assert data_guide.GUIDE.read_text(encoding="utf-8") == data_guide.guide(), renew


def test_every_column_that_is_written_is_explained() -> None:
    assert tuple(each.name for each in columns_of("track")) == COLUMNS
    estimates = {each.name for each in dataclasses.fields(StrokeMeasures) if each.type == "Estimate"}
    assert {each.name for each in columns_of("curve")} == {each.name for each in dataclasses.fields(Profile)}
    assert {*STROKE_COLUMNS, *estimates, *(name + SD for name in estimates)} <= set(stroke_columns())


def test_every_column_has_a_known_kind_and_all_its_words() -> None:
    for each in (*stroke_columns().values(), *columns_of("track")):
        assert each.kind in get_args(Kind)
        assert each.label
        assert each.meaning
        assert each.source


def test_a_columns_unit_is_the_si_unit_of_what_people_read() -> None:
    for quantity in (each for group in GROUPS for each in group.quantities):
        assert stroke_columns()[quantity.name].unit == FIELD_UNITS[quantity.unit], quantity.name


def test_a_columns_source_in_the_measurement_file_holds_what_the_season_puts_there() -> None:
    measured = measurement(made_stroke("let go", 12.0, np.random.default_rng(1)))
    document = to_document(measured)
    (row,) = stroke_rows(measured)
    for name, value in row.items():
        kind, _, path = stroke_columns()[name].source.partition(": ")
        assert kind == "measurement file", name
        if name != "cautions":
            found = at(document, path)
            assert value == found or (found is None and math.isnan(value)), name


def at(document: Any, path: str) -> Any:  # noqa: ANN401 - whatever lies there
    """Return what lies at a path such as strokes[].slip_s[1]; empty brackets stand for the first."""
    for step in path.split("."):
        name, _, place = step.removesuffix("]").partition("[")
        document = document[name]
        if "[" in step:
            document = document[int(place or 0)]
    return document


@pytest.mark.parametrize("name", ["strokes.csv", "strokes.parquet"])
def test_a_table_and_its_dictionary_read_back_alike_from_both_formats(tmp_path: Path, name: str) -> None:
    rows = [
        ("S-01", "2026-03-14", "a", "right", 10.0, "kept on", 12.0, f"{clip}.mp4", 1, "0a", 0.01, "sheet",
         quantity, value, 0.1)
        for clip, quantity, value in (("x", "tempo_ratio", 2.0), ("y", "backswing_s", 1 / 3))
    ]  # fmt: skip
    wide = one_row_a_stroke(pd.DataFrame(rows, columns=[*STROKE_COLUMNS, "quantity", "value", "sd"]))
    beside = write_strokes(wide, tmp_path / name)
    path = tmp_path / name
    table = pd.read_csv(path) if name.endswith("csv") else pd.read_parquet(path)
    assert table.pop("date").astype(str).tolist() == wide.pop("date").astype(str).tolist()
    pd.testing.assert_frame_equal(table, wide, check_dtype=False, check_exact=True)
    assert table["backswing_s"].isna().tolist() == [True, False], "not measured is missing, not zero"
    explained = pd.read_csv(beside)
    assert list(explained["column"].drop(1)) == list(table.columns)
    assert explained[["label", "meaning", "source"]].notna().all(axis=None)
