"""The quantities a history follows, as people read them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from pennyfall.cli.report.page.tables import label
from pennyfall.cli.report.quantities import GROUPS
from pennyfall.kinematics.lesson.rules import standard_rules


@dataclass(frozen=True, kw_only=True, slots=True)
class Followed:
    """One quantity with its presentation."""

    label: str
    """Name with the unit, complete in itself."""
    factor: float
    """Units shown in one SI unit."""


@cache
def followed(name: str) -> Followed:
    """Return how a quantity of the measurement file is shown: as in a lesson, or with its group's title."""
    for each in standard_rules().quantities:
        if each.name == name:
            return Followed(label=label(each), factor=each.factor)
    for group in GROUPS:
        for shown in group.quantities:
            if shown.name == name:
                title = group.title.partition(" (")[0]
                return Followed(label=f"{title}: {shown.label}, {shown.unit}", factor=shown.factor)
    return Followed(label=f"{name}, SI", factor=1.0)
