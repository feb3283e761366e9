"""The strokes of a lesson as one table: condition, putt length, and every quantity looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.lesson.rules import ComparedQuantity, measured
from pennyfall.kinematics.lesson.set_ups import SetUp, SetUps, SharedScale, is_scaled, shared_scale
from pennyfall.kinematics.values import (
    BoolArray,
    FloatArray,
    IntArray,
    StrokeMeasures,
    freeze_arrays,
    frozen_array,
)

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
    """Standard deviations of the measurement, but for the scale's, which strokes share, shape (n, q), SI."""
    scaled: BoolArray
    """Which of the quantities grow with the scale, shape (q,)."""
    set_up: IntArray
    """Set-up of each stroke, shape (n,)."""
    scale_rel_sd: FloatArray
    """Relative standard deviation of its scale, shape (n,) [-]."""
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

    def shared_scale(self, is_first: BoolArray) -> SharedScale:
        """Return what the scales' errors add to a difference of conditions, in every quantity."""
        return self._shared_scale(self.values, self.scaled, is_first)

    def scale_sd_of_mean(self) -> FloatArray:
        """Return what the scales' errors add to the mean of all strokes here, shape (q,)."""
        known = np.isfinite(self.values)
        parts = [
            np.sqrt(np.mean(self.scale_rel_sd[mine] ** 2))
            * np.where(known & mine[:, None], self.values, 0.0).sum(axis=0)
            for mine in (self.set_up == each for each in np.unique(self.set_up))
        ]
        total = np.linalg.norm(parts, axis=0) * self.scaled
        of_mean: FloatArray = total / np.maximum(known.sum(axis=0), 1)
        return of_mean

    def shared_profile_scale(self, is_first: BoolArray) -> SharedScale:
        """Return what they add to a difference of acceleration profiles, at every phase."""
        curves = self.acceleration_mps2
        return self._shared_scale(curves, np.ones(curves.shape[1], dtype=np.bool_), is_first)

    def _shared_scale(self, values: FloatArray, scaled: BoolArray, is_first: BoolArray) -> SharedScale:
        return shared_scale(
            values,
            scaled,
            is_first=is_first,
            stratum=self.putt_length_m,
            set_up=self.set_up,
            scale_rel_sd=self.scale_rel_sd,
        )

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
            scaled=self.scaled,
            set_up=self.set_up[rows],
            scale_rel_sd=self.scale_rel_sd[rows],
            acceleration_mps2=self.acceleration_mps2[rows],
            acceleration_sd_mps2=self.acceleration_sd_mps2[rows],
        )


def stroke_table(
    strokes: Strokes, quantities: Sequence[ComparedQuantity], set_ups: SetUps | None = None
) -> StrokeTable:
    """Return the table of all strokes; where some were made with a ball, practice strokes are left out.

    Parameters
    ----------
    strokes : mapping
        Condition, putt length [m], strokes.
    quantities : sequence of ComparedQuantity
        The columns.
    set_ups : mapping, optional
        The set-up of each stroke, in the same order; without it all are of one, whose scale is known.

    """
    listed = [
        (condition, length, stroke, set_ups[condition][length][place] if set_ups else SetUp(0, 0.0))
        for condition, lengths in strokes.items()
        for length, made in lengths.items()
        for place, stroke in enumerate(made)
    ]
    with_ball = [each for each in listed if not each[2].practice]
    left_out = len(listed) - len(with_ball) if with_ball else 0
    listed = with_ball or listed
    estimates = [[measured(stroke, each.name) for each in quantities] for _, _, stroke, _ in listed]
    shape = len(listed), len(quantities)  # also where there is no stroke
    profiles = np.array([aligned_acceleration(stroke) for _, _, stroke, _ in listed]).reshape(
        -1, 2, len(PHASE)
    )
    values = np.array([[each.value for each in row] for row in estimates], dtype=np.float64).reshape(shape)
    sds = np.array([[each.sd for each in row] for row in estimates], dtype=np.float64).reshape(shape)
    scaled = is_scaled([each.name for each in quantities])
    scale_rel_sd = np.array([each.scale_rel_sd for *_, each in listed], dtype=np.float64)
    return StrokeTable(
        condition=tuple(each[0] for each in listed),
        putt_length_m=np.array([each[1] for each in listed], dtype=np.float64),
        values=values,
        sds=_own(sds, values, scale_rel_sd[:, None] * scaled),
        scaled=scaled,
        set_up=np.array([each.number for *_, each in listed], dtype=np.int64),
        scale_rel_sd=scale_rel_sd,
        acceleration_mps2=profiles[:, 0],
        acceleration_sd_mps2=_own(profiles[:, 1], profiles[:, 0], scale_rel_sd[:, None]),
        practice_left_out=left_out,
    )


def _own(sds: FloatArray, values: FloatArray, rel_sd: FloatArray) -> FloatArray:
    """Return what is left of the standard deviations without the scale's part in them."""
    shared = np.where(rel_sd > 0, rel_sd * np.nan_to_num(values), 0.0)
    own: FloatArray = np.sqrt(np.maximum(sds**2 - shared**2, 0.0))
    return own


NODES_A_PART = 101
"""One node for each percent of the backswing and of the forward swing."""
PHASE = frozen_array(np.linspace(0.0, 2.0, 2 * NODES_A_PART - 1))
"""Phase of each node, shape (201,): 0 takeaway, 1 top of the backswing, 2 impact; linear in time between."""


def aligned_acceleration(stroke: StrokeMeasures) -> tuple[FloatArray, FloatArray]:
    """Return acceleration and its standard deviation at `PHASE`, shape (201,) each [m/s^2].

    All NaN where an event is unknown or the profile does not reach from takeaway to impact. Each part of the
    stroke is stretched linearly between its landmarks (landmark registration: Ramsay and Silverman 2005,
    Functional Data Analysis, 2nd ed., section 7.3); the values are not scaled. The last node is the left
    limit at impact as measured; samples from half a frame before impact on are not used, since the one that
    stands a microsecond after impact belongs to a head that the ball has already slowed.
    """
    profile = stroke.profile
    landmarks = np.array([stroke.takeaway_s.value, stroke.top_s.value, stroke.impact_s.value])
    frame_s = float(np.median(np.diff(profile.t_s)))
    before = profile.t_s < landmarks[2] - frame_s / 2
    missing = np.full_like(PHASE, np.nan)
    if not np.all(np.diff(landmarks) > 0) or before.sum() < 2:  # also where a landmark is NaN
        return missing, missing.copy()
    t, a, sd = profile.t_s[before], profile.a_mps2[before], profile.a_sd_mps2[before]
    if t[0] > landmarks[0] + frame_s or t[-1] < landmarks[2] - 2 * frame_s:
        return missing, missing.copy()
    if stroke.acceleration_at_impact_mps2.known:
        t = np.append(t, landmarks[2])
        a = np.append(a, stroke.acceleration_at_impact_mps2.value)
        sd = np.append(sd, stroke.acceleration_at_impact_mps2.sd)
    node_s = np.interp(PHASE, [0.0, 1.0, 2.0], landmarks)
    return np.interp(node_s, t, a), np.interp(node_s, t, sd)
