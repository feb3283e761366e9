"""The columns of a season's table, against the measurement they come from."""

from __future__ import annotations

import dataclasses

import numpy as np

from pennyfall.cli.report.data_columns import arrow_schema
from pennyfall.cli.season.columns import STROKES, stroke_rows
from pennyfall.kinematics.values import Estimate
from tests.cli.lesson_strokes import stroke as made_stroke
from tests.cli.synthetic import measurement

NAMES = [each.name for each in STROKES]


def _let_go() -> list[dict[str, object]]:
    return stroke_rows(measurement(made_stroke("let go", 12.0, np.random.default_rng(1))))


def test_every_estimate_of_a_stroke_and_of_its_coin_is_a_column_with_its_deviation_behind_it() -> None:
    stroke = made_stroke("let go", 12.0, np.random.default_rng(1))
    assert stroke.loose_object is not None
    for prefix, values in (("", stroke), ("coin_", stroke.loose_object)):
        for each in dataclasses.fields(values):
            if isinstance(getattr(values, each.name), Estimate):
                name = each.name if each.name == "peak_friction_demand" else f"{prefix}{each.name}"
                assert NAMES[NAMES.index(name) + 1] == f"{name}_sd"


def test_rows_hold_the_measurement_under_the_columns_names_and_no_others() -> None:
    (row,) = _let_go()
    measured = made_stroke("let go", 12.0, np.random.default_rng(1))
    assert set(row) < set(NAMES)
    assert (row["impact_s"], row["impact_s_sd"]) == (measured.impact_s.value, measured.impact_s.sd)
    assert (row["coin_slip_low_s"], row["coin_slip_high_s"]) == measured.loose_object.slip_s  # type: ignore[union-attr]
    assert row["cautions"] == " ".join(each.code for each in measurement().warnings)


def test_names_stand_once_and_each_field_tells_its_unit_and_meaning() -> None:
    assert len(set(NAMES)) == len(NAMES)
    told = {field.name: field.metadata for field in arrow_schema(STROKES)}
    assert told["impact_speed_mps_sd"][b"unit"] == b"m/s"
    assert all(field[b"meaning"] for field in told.values())
