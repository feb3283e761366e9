"""What one condition at one putt length looks like."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pennyfall.kinematics.lesson.profile_comparison import ProfileBand, profile_band
from pennyfall.kinematics.lesson.reference_bands import ReferenceBand, Standing
from pennyfall.kinematics.lesson.rules import ComparedQuantity, Rules
from pennyfall.kinematics.lesson.scatter import Scatter, scatter
from pennyfall.kinematics.lesson.stroke_table import StrokeTable
from pennyfall.kinematics.values import Estimate


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
