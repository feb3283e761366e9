"""What one condition at one putt length looks like."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from pennyfall.kinematics.lesson.profile_comparison import ProfileBand, profile_band
from pennyfall.kinematics.lesson.reference_bands import ReferenceBand, Standing
from pennyfall.kinematics.lesson.rules import ComparedQuantity, Rules
from pennyfall.kinematics.lesson.scatter import Scatter, scatter
from pennyfall.kinematics.lesson.stroke_table import StrokeTable
from pennyfall.kinematics.values import INTERVAL_SDS, Estimate


@dataclass(frozen=True, kw_only=True, slots=True)
class QuantitySummary:
    """One quantity over the strokes of one condition at one putt length."""

    quantity: ComparedQuantity
    scatter: Scatter
    band: ReferenceBand | None
    """Reference band at this putt length, if there is one that is on."""
    standing: Standing | None
    """Where the interval of the mean lies in that band."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ConditionSummary:
    """One condition at one putt length."""

    condition: str
    putt_length_m: float
    strokes: int
    quantities: tuple[QuantitySummary, ...]
    profile: ProfileBand

    def quantity(self, name: str) -> QuantitySummary:
        """Return the summary of the quantity called `name`."""
        return next(each for each in self.quantities if each.quantity.name == name)


@dataclass(frozen=True, kw_only=True, slots=True)
class ConditionMean:
    """One condition over the putt lengths that all conditions share."""

    condition: str
    putt_lengths_m: tuple[float, ...]
    strokes: int
    means: Mapping[str, Estimate]
    """Mean of each quantity, each putt length alike; 1.96 standard deviations are its 95 % half-width."""


def condition_means(table: StrokeTable, rules: Rules) -> tuple[ConditionMean, ...]:
    """Return each condition's means over the putt lengths that all have; over its own where none is shared.

    Notes
    -----
    Over k lengths of n_l strokes the mean of the means has variance sum s_l^2 / n_l / k^2 with sum (n_l - 1)
    degrees of freedom, each s_l no less than the strokes are measured with, and the scales' part on top.
    """
    names = tuple(dict.fromkeys(table.condition))
    shared = set.intersection(*(set(table.lengths_m(each)) for each in names)) if names else set()
    found = []
    for name in names:
        lengths = tuple(each for each in table.lengths_m(name) if each in shared or not shared)
        mine = table.only(table.rows(name) & np.isin(table.putt_length_m, lengths))
        scale = mine.scale_sd_of_mean()
        found.append(
            ConditionMean(
                condition=name,
                putt_lengths_m=lengths,
                strokes=len(mine.condition),
                means={
                    quantity.name: _mean(mine, column, float(scale[column]))
                    for column, quantity in enumerate(rules.quantities)
                },
            )
        )
    return tuple(found)


def _mean(table: StrokeTable, column: int, scale_sd: float) -> Estimate:
    means, variance, df = [], 0.0, 0
    for length in np.unique(table.putt_length_m):
        rows = (table.putt_length_m == length) & np.isfinite(table.values[:, column])
        values, noise = table.values[rows, column], np.nan_to_num(table.sds[rows, column])
        if not len(values):
            return Estimate.missing()
        means.append(float(values.mean()))
        own = float(values.var(ddof=1)) if len(values) > 1 else 0.0
        variance += max(own, float(np.mean(noise**2))) / len(values)
        df += len(values) - 1
    by_scatter = float(special.stdtrit(df, 0.975)) if df else INTERVAL_SDS
    half_width = np.hypot(by_scatter * np.sqrt(variance) / len(means), INTERVAL_SDS * scale_sd)
    return Estimate(float(np.mean(means)), float(half_width) / INTERVAL_SDS)


def condition_summary(
    table: StrokeTable, condition: str, length: float, rules: Rules, bands: Sequence[ReferenceBand]
) -> ConditionSummary:
    """Summarise the strokes of a condition at one putt length [m]."""
    rows = table.rows(condition, length)
    shared = table.only(rows).scale_sd_of_mean()
    quantities = []
    for column, quantity in enumerate(rules.quantities):
        spread = scatter(
            [
                Estimate(v, sd)
                for v, sd in zip(table.values[rows, column], table.sds[rows, column], strict=True)
            ],
            shared_sd=float(shared[column]),
        )
        band = next((each for each in bands if each.applies_to(quantity.name, length)), None)
        quantities.append(
            QuantitySummary(
                quantity=quantity,
                scatter=spread,
                band=band,
                standing=band.standing(spread.mean_interval) if band else None,
            )
        )
    return ConditionSummary(
        condition=condition,
        putt_length_m=length,
        strokes=int(rows.sum()),
        quantities=tuple(quantities),
        profile=profile_band(table, condition, length),
    )
