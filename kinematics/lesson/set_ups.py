"""What strokes of one set-up share: an error of scale, which no number of strokes averages out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.lesson.stratified_difference import StratifiedDifference
from pennyfall.kinematics.values import (
    INTERVAL_SDS,
    BoolArray,
    CalibrationFacts,
    FloatArray,
    IntArray,
    freeze_arrays,
)

SCALED_ENDINGS = ("_m", "_mps", "_mps2")
"""Quantities in metres grow with the scale; times, ratios and shares know nothing of it."""

SHIFTED_DRAWS = 9_999
"""Chosen by us, as for the arrangements: a p of 0.05 is known to about 0.002."""


@dataclass(frozen=True, slots=True)
class SetUp:
    """Phone, sheet and tag as they stood while a stroke was filmed."""

    number: int
    """The same for strokes between which nothing was moved."""
    scale_rel_sd: float
    """Relative standard deviation of its scale [-]."""


SetUps = Mapping[str, Mapping[float, Sequence[SetUp]]]
"""Condition, then putt length [m], then the set-up of each of its strokes."""


SAME_PLACE_M = 0.15
"""Chosen by us: the ball, from which a camera's place is told, is laid down again within a hand's breadth."""


def set_ups_of(calibrations: Sequence[CalibrationFacts]) -> tuple[SetUp, ...]:
    """Return the set-up of each clip: one for those between which neither phone nor sheet was moved.

    They are told apart by what gave the scale, the lens and the tag's height, and by where the camera stood,
    as far as that is known.
    """
    seen: list[CalibrationFacts] = []
    found = []
    for facts in calibrations:
        number = next((k for k, other in enumerate(seen) if _same_set_up(facts, other)), len(seen))
        if number == len(seen):
            seen.append(facts)
        found.append(SetUp(number, facts.scale_rel_sd))
    return tuple(found)


def _same_set_up(one: CalibrationFacts, other: CalibrationFacts) -> bool:
    if (one.source, one.focal_source, one.tag_height_source) != (
        other.source,
        other.focal_source,
        other.tag_height_source,
    ):
        return False
    here, there = np.array(one.camera_position_m), np.array(other.camera_position_m)
    doubt_m = INTERVAL_SDS * max(one.scale_rel_sd, other.scale_rel_sd) * float(np.linalg.norm(there))
    return float(np.linalg.norm(here - there)) < SAME_PLACE_M + doubt_m


def is_scaled(names: Sequence[str]) -> BoolArray:
    """Return which quantities, by their names in the measurement file, grow with the scale, shape (q,)."""
    return np.array([name.endswith(SCALED_ENDINGS) for name in names], dtype=np.bool_)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SharedScale:
    """How the scales' errors reach the difference of two conditions; see `shared_scale`."""

    of_difference: FloatArray
    """Standard deviation that they add to second mean minus first, shape (q,), unit of the quantity."""
    of_sum: FloatArray
    """The same for second mean plus first, shape (q,)."""
    null: FloatArray
    """What each scale's error, in standard deviations, shifts the difference by where the conditions are
    alike, shape (set-ups, q)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @property
    def shifts(self) -> bool:
        """Whether the conditions could look different by their scales alone."""
        return bool(np.any(self.null))


def shared_scale(
    values: FloatArray,
    scaled: BoolArray,
    *,
    is_first: BoolArray,
    stratum: FloatArray,
    set_up: IntArray,
    scale_rel_sd: FloatArray,
) -> SharedScale:
    """Return what the errors of the scales add to a stratified difference.

    Parameters
    ----------
    values : FloatArray
        Values of the strokes, shape (n, q); NaN where not measured.
    scaled : BoolArray
        Which of the quantities grow with the scale, shape (q,).
    is_first : BoolArray
        Whether each stroke is the first condition's, shape (n,).
    stratum : FloatArray
        Putt length of each stroke, shape (n,) [m].
    set_up : IntArray
        Set-up of each stroke, shape (n,).
    scale_rel_sd : FloatArray
        Relative standard deviation of its scale, shape (n,) [-].

    Notes ----- A stroke of set-up k reads v (1 + e_k), with e_k of standard deviation s_k and the same for
    all of its strokes. The difference of `stratified_difference`, sum_l w_l (mean2_l - mean1_l) / sum_l w_l,
    then moves by sum_k c_k e_k, where c_k is that same sum over the strokes of set-up k alone. Filmed in one
    set-up, the error is e times the difference itself; filmed in two, each mean keeps its own. Where the
    conditions are alike every stroke of a stratum has the stratum's mean, and what is left of c_k is how
    differently the two conditions are shared out over the set-ups: nothing at all in one set-up.

    """
    numbers = np.unique(set_up)
    rel = np.array([np.sqrt(np.mean(scale_rel_sd[set_up == each] ** 2)) for each in numbers])
    known = np.isfinite(values)
    filled = np.where(known, values, 0.0)
    second, first, null = (np.zeros((len(numbers), values.shape[1])) for _ in range(3))
    weights = np.zeros(values.shape[1])
    for each in np.unique(stratum):
        rows = stratum == each
        ours, theirs = (rows & is_first)[:, None] & known, (rows & ~is_first)[:, None] & known
        n1, n2 = ours.sum(axis=0), theirs.sum(axis=0)
        n1, n2 = np.maximum(n1, 1), np.maximum(n2, 1)
        w = n1 * n2 / (n1 + n2)
        mean = filled[rows].sum(axis=0) / np.maximum(known[rows].sum(axis=0), 1)
        weights = weights + w
        for k, number in enumerate(numbers):
            here = (set_up == number)[:, None]
            second[k] += w * (filled * (theirs & here)).sum(axis=0) / n2
            first[k] += w * (filled * (ours & here)).sum(axis=0) / n1
            null[k] += w * mean * ((theirs & here).sum(axis=0) / n2 - (ours & here).sum(axis=0) / n1)
    by_sd = rel[:, None] * scaled / weights
    return SharedScale(
        of_difference=np.linalg.norm(by_sd * (second - first), axis=0),
        of_sum=np.linalg.norm(by_sd * (second + first), axis=0),
        null=by_sd * np.where(np.abs(null) > 1e-12 * (np.abs(first) + np.abs(second)), null, 0.0),
    )


def statistics(
    every: StratifiedDifference, observed: StratifiedDifference, shared: SharedScale, *, seed: int
) -> tuple[FloatArray, FloatArray]:
    """Return the statistics of conditions that are alike, and that of the strokes as they were made.

    Parameters
    ----------
    every : StratifiedDifference
        Under every arrangement of the strokes.
    observed : StratifiedDifference
        Under the one they were made in.
    shared : SharedScale
        What the scales' errors do to the difference.
    seed : int
        Of the draws.

    Returns
    -------
    FloatArray
        Dealt out anew and filmed by scales that err anew, shape (r, q); without any shift those of the
        arrangements alone.
    FloatArray
        Observed, shape (q,).

    Notes ----- The difference over the standard error with the scales' part in it, so that all quantities
    stay on one scale: what a vague scale does to lengths must not drown what times tell.

    """
    if not shared.shifts:
        return every.t, observed.t[0]
    common = np.linalg.norm(shared.null, axis=0)
    generator = np.random.default_rng(seed)
    rows = np.arange(max(SHIFTED_DRAWS, len(every.se))) % len(every.se)
    moved = every.difference[rows] + generator.standard_normal((len(rows), len(shared.null))) @ shared.null
    made = _over(observed.difference, np.hypot(observed.se, common))
    return np.vstack([made, _over(moved, np.hypot(every.se[rows], common))]), made[0]


def _over(difference: FloatArray, se: FloatArray) -> FloatArray:
    return np.divide(difference, se, out=np.zeros_like(se), where=se > 0)
