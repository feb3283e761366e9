"""The terminal table shows every estimate in field units with its 95 % half-width."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from pennyfall.cli.report.quantities import GROUPS, STROKE_GROUPS, quantity, rounded_pair
from pennyfall.cli.report.tables.stroke import WIDTH, measurement_table
from pennyfall.kinematics.lesson.rules import COMPARABLE
from pennyfall.kinematics.values import Caution, Estimate, StrokeMeasures
from tests.cli.synthetic import measurement, plateau_stroke


def _row(table: str, label: str) -> str:
    return next(line for line in table.splitlines() if line.strip().startswith(label))


@pytest.mark.parametrize(
    ("name", "estimate", "text"),
    [
        ("backswing_s", Estimate(0.65, 0.009), "650 ± 18"),  # 1.96 x 9 ms = 17.6 ms
        ("backswing_length_m", Estimate(0.2486, 0.0009), "24.86 ± 0.18"),
        ("impact_speed_mps", Estimate(1.5, 0.005), "150.0 ± 1.0"),
        ("head_tilt_range_rad", Estimate(math.pi / 8, 0.01), "22.5 ± 1.1"),  # 0.01 rad = 0.573 deg
        ("peak_acceleration_share", Estimate(0.3, 0.06), "30 ± 12"),
        ("speed_lost_share", Estimate.missing(), "–"),
    ],
)
def test_a_quantity_is_printed_in_its_field_unit(name: str, estimate: Estimate, text: str) -> None:
    assert quantity(name).text(estimate) == text


def test_one_standard_gravity_is_printed_as_one_g() -> None:
    in_g = next(each for group in GROUPS for each in group.quantities if each.unit == "g")
    assert in_g.text(Estimate(9.80665, 0.0)) == "1"  # 3rd CGPM, 1901


@pytest.mark.parametrize(
    ("half_width", "text"),
    [(0.827, "0.8"), (0.367, "0.4"), (0.354, "0.35"), (0.119, "0.12"), (0.957, "1.0"), (18.2, "18")],
)
def test_half_widths_keep_the_digits_of_the_published_rounding_rule(half_width: float, text: str) -> None:
    """Particle Data Group, introduction 5.3 (from memory): 0.827 to 0.8, 0.367 to 0.4, 0.119 to 0.12."""
    assert rounded_pair(1.0, half_width)[1] == text


def test_every_estimate_of_a_stroke_has_a_row() -> None:
    shown = {each.name for group in STROKE_GROUPS for each in group.quantities}
    estimates = {each.name for each in dataclasses.fields(StrokeMeasures) if each.type == "Estimate"}
    # The peak's clip time is shown by its place in the forward swing.
    assert estimates - shown == {"peak_acceleration_s"}


def test_whatever_a_lesson_can_compare_has_a_label_and_a_meaning() -> None:
    for name in COMPARABLE:
        assert quantity(name).label
        assert quantity(name).meaning


def test_the_table_never_gets_wider_than_a_terminal_of_100_columns() -> None:
    strokes = [plateau_stroke(number=number, takeaway_s=100.0 * number) for number in range(1, 8)]
    caution = Caution("long", "a very long warning " * 20)
    table = measurement_table(measurement(*strokes, warnings=(caution,)))
    assert max(len(line) for line in table.splitlines()) <= WIDTH
    for number in range(1, 8):
        assert f"stroke {number}" in table


def test_what_could_not_be_measured_is_a_dash_and_not_a_zero() -> None:
    stroke = dataclasses.replace(plateau_stroke(), finish_s=Estimate.missing(), loose_object=None)
    table = measurement_table(measurement(stroke))
    assert _row(table, "finish").split() == ["finish", "s", "–"]
    assert "nan" not in table
    assert "Loose coin" not in table


def test_from_three_strokes_on_their_scatter_is_shown() -> None:
    speeds = (1.4, 1.5, 1.6)
    strokes = [plateau_stroke(number=1 + k, impact_speed_mps=speed) for k, speed in enumerate(speeds)]
    table = measurement_table(measurement(*strokes))
    block = table[table.index("All 3 strokes") :]
    at_impact = [line for line in block.splitlines() if line.strip().startswith("at impact")][1]
    assert at_impact.split()[-2:] == ["150", "10"]  # sd of 140, 150, 160 is 10
    assert np.std([140, 150, 160], ddof=1) == 10
    assert "All 2 strokes" not in measurement_table(measurement(*strokes[:2]))


def test_warnings_stand_at_the_end() -> None:
    caution = Caution("short-clip", "The clip ends 40 ms after impact.")
    table = measurement_table(measurement(plateau_stroke(), warnings=(caution,)))
    assert table.splitlines()[-1] == "Warning: The clip ends 40 ms after impact."


def test_the_coin_is_told_as_bands_from_impact_and_from_the_ball() -> None:
    stroke = plateau_stroke(takeaway_s=1.2)  # impact at 2.17 s; slips 1.78 to 1.91 s
    table = measurement_table(measurement(stroke))
    assert _row(table, "slips").endswith("-390 to -260")
    assert _row(table, "lands").endswith("-15.0 to -8.0")
