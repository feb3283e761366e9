"""The strokes of a lesson as one table: condition, putt length, and every quantity looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.lesson.aligned_profiles import PHASE, aligned_acceleration
from pennyfall.kinematics.lesson.rules import Quantity, measured
from pennyfall.kinematics.values import BoolArray, FloatArray, StrokeMeasures, freeze_arrays

Strokes = Mapping[str, Mapping[float, Sequence[StrokeMeasures]]]
"""Condition, then putt length [m], then its strokes."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class StrokeTable:
    """One row a stroke."""

    condition: tuple[str, ...]
    """Condition of each stroke, length n."""
    putt_length_m: FloatArray
    """Putt length of each stroke, shape (n,) [m]."""
    values: FloatArray
    """Quantities, shape (n, q), SI; NaN where not measured."""
    sds: FloatArray
    """Measurement standard deviations, shape (n, q), SI."""
    acceleration_mps2: FloatArray
    """Aligned acceleration profiles, shape (n, p) [m/s^2]; rows of NaN where there is none."""
    acceleration_sd_mps2: FloatArray
    """Their standard deviations, shape (n, p) [m/s^2]."""
    practice_left_out: int = 0
    """Strokes without a ball that were left out because others were made with one."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def rows(self, condition: str, putt_length_m: float | None = None) -> BoolArray:
        """Return which strokes belong to a condition, at one putt length or all, shape (n,)."""
        mine = np.array([each == condition for each in self.condition], dtype=np.bool_)
        if putt_length_m is None:
            return mine
        both: BoolArray = mine & (self.putt_length_m == putt_length_m)
        return both

    def lengths_m(self, condition: str) -> tuple[float, ...]:
        """Return the putt lengths a condition has strokes at, shortest first."""
        return tuple(float(each) for each in np.unique(self.putt_length_m[self.rows(condition)]))

    def only(self, rows: BoolArray) -> StrokeTable:
        """Return the table of some of the strokes."""
        return StrokeTable(
            condition=tuple(each for each, kept in zip(self.condition, rows, strict=True) if kept),
            putt_length_m=self.putt_length_m[rows],
            values=self.values[rows],
            sds=self.sds[rows],
            acceleration_mps2=self.acceleration_mps2[rows],
            acceleration_sd_mps2=self.acceleration_sd_mps2[rows],
        )


def stroke_table(strokes: Strokes, quantities: Sequence[Quantity]) -> StrokeTable:
    """Return the table of all strokes; where some were made with a ball, practice strokes are left out."""
    listed = [
        (condition, length, stroke)
        for condition, lengths in strokes.items()
        for length, made in lengths.items()
        for stroke in made
    ]
    with_ball = [each for each in listed if not each[2].practice]
    left_out = len(listed) - len(with_ball) if with_ball else 0
    listed = with_ball or listed
    estimates = [[measured(stroke, each.name) for each in quantities] for _, _, stroke in listed]
    shape = len(listed), len(quantities)  # also where there is no stroke
    profiles = np.array([aligned_acceleration(stroke) for _, _, stroke in listed]).reshape(-1, 2, len(PHASE))
    return StrokeTable(
        condition=tuple(condition for condition, _, _ in listed),
        putt_length_m=np.array([length for _, length, _ in listed], dtype=np.float64),
        values=np.array([[each.value for each in row] for row in estimates], dtype=np.float64).reshape(shape),
        sds=np.array([[each.sd for each in row] for row in estimates], dtype=np.float64).reshape(shape),
        acceleration_mps2=profiles[:, 0],
        acceleration_sd_mps2=profiles[:, 1],
        practice_left_out=left_out,
    )
