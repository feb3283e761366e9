"""What a lesson looks at, and the rules by which it prescribes: data that the coach can read and change."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, dataclass, fields
from importlib import resources
from typing import Any, TypeVar

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Estimate, StrokeMeasures


@dataclass(frozen=True, kw_only=True, slots=True)
class Levels:
    """How sure a claim has to be."""

    family: float
    """Chance that a lesson without any difference makes any claim at all."""
    profile_share: float
    """Part of `family` spent on the whole-profile test; the quantities get the rest."""
    power: float
    """Wanted probability of seeing a worthwhile change; decides how many strokes are asked for."""
    fewest_strokes: int
    """Strokes a condition and putt length below which nothing is claimed."""

    @property
    def quantities(self) -> float:
        """Level of the claims about quantities."""
        return self.family * (1 - self.profile_share)

    @property
    def profile(self) -> float:
        """Level of the claim about the whole profile."""
        return self.family * self.profile_share


@dataclass(frozen=True, kw_only=True, slots=True)
class ComparedQuantity:
    """One quantity that conditions are compared in."""

    name: str
    """Name in the measurement file; those of the loose object too."""
    worthwhile: float
    """Smallest difference worth acting on, SI."""


PRESENTATION = {"label", "unit", "factor", "decimals", "says", "ratio_scale"}
"""Keys of a quantity in rules files of old, read over: how it is shown has its home elsewhere."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Rule:
    """One reason to prefer a condition: that a quantity is closer to a target."""

    name: str
    quantity: str
    """Name of the quantity."""
    target: float
    """Where the rule wants it, SI."""
    decides: bool
    """Whether it counts for the recommendation, or is only mentioned."""
    because: str
    """Why, with the source or 'common practice, no source'."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Rules:
    """Everything in a rules file."""

    levels: Levels
    quantities: tuple[ComparedQuantity, ...]
    rules: tuple[Rule, ...]

    def quantity(self, name: str) -> ComparedQuantity:
        """Return the quantity called `name`."""
        return next(each for each in self.quantities if each.name == name)


def standard_rules() -> Rules:
    """Return the rules that come with the package."""
    text = resources.files("pennyfall.kinematics.lesson").joinpath("rules.toml").read_text(encoding="utf-8")
    return rules_from(tomllib.loads(text))


def rules_from(table: Mapping[str, Any]) -> Rules:
    """Return the rules of a parsed rules file.

    Raises
    ------
    CannotMeasure
        If a key is missing, unknown or of the wrong kind, or a rule names a quantity that is not listed.

    """
    rules = Rules(
        levels=record(Levels, table.get("levels", {}), "levels"),
        quantities=tuple(
            record(ComparedQuantity, {key: each[key] for key in each if key not in PRESENTATION}, "quantity")
            for each in entries(table, "quantity")
        ),
        rules=tuple(record(Rule, each, "rule") for each in entries(table, "rule")),
    )
    levels = rules.levels
    if not (0 < levels.family < 1 and 0 <= levels.profile_share < 1 and 0 < levels.power < 1):
        raise CannotMeasure(
            "In the rules, family, profile_share and power must be shares between 0 and 1.",
            fix="Write 5 % as 0.05.",
        )
    if levels.fewest_strokes < 2:
        raise CannotMeasure(
            f"In the rules, fewest_strokes is {levels.fewest_strokes}: one stroke shows no scatter.",
            fix="Set it to 2 or more; 3 is the usual value.",
        )
    listed = {each.name for each in rules.quantities}
    for name in sorted(listed - COMPARABLE):
        raise CannotMeasure(
            f"The rules list the quantity {name!r}, which no measurement has.",
            fix=f"Use one of: {', '.join(sorted(COMPARABLE))}.",
        )
    for rule in rules.rules:
        if rule.quantity not in listed:
            raise CannotMeasure(
                f"The rule {rule.name!r} is about {rule.quantity!r}, which is not among the quantities.",
                fix="Add a [[quantity]] of that name to the rules, or correct the rule.",
            )
    return rules


def measured(stroke: StrokeMeasures, name: str) -> Estimate:
    """Return the quantity called `name` of a stroke; missing where the stroke has no loose object."""
    if name in _OF_LOOSE_OBJECT:
        of_object = stroke.loose_object
        return Estimate.missing() if of_object is None else getattr(of_object, name)
    estimate: Estimate = getattr(stroke, name)
    return estimate


_OF_LOOSE_OBJECT = {"peak_friction_demand"}
_CLIP_TIMES = {"takeaway_s", "top_s", "impact_s", "finish_s", "peak_acceleration_s"}
COMPARABLE = (
    {each.name for each in fields(StrokeMeasures) if each.type == "Estimate"} | _OF_LOOSE_OBJECT
) - _CLIP_TIMES
"""Names of the quantities that can be compared; an instant in the clip's time cannot."""

T = TypeVar("T")
_KINDS: dict[str, type | tuple[type, ...]] = {"str": str, "float": (int, float), "int": int, "bool": bool}


def entries(table: Mapping[str, Any], name: str) -> Sequence[Mapping[str, Any]]:
    """Return the [[name]] tables of a parsed TOML file."""
    found = table.get(name, [])
    if not isinstance(found, list) or not all(isinstance(each, Mapping) for each in found):
        raise CannotMeasure(f"{name!r} is not a list of tables.", fix=f"Start each one with [[{name}]].")
    return found


def record(kind: type[T], table: Mapping[str, Any], where: str) -> T:
    """Return the dataclass `kind` filled from a parsed TOML table, whose keys and kinds must fit."""
    wanted = {each.name: each for each in fields(kind)}  # type: ignore[arg-type]
    title = f"[{where}] {table.get('name', '')}".strip()
    unknown = sorted(table.keys() - wanted.keys())
    absent = sorted(name for name, each in wanted.items() if each.default is MISSING and name not in table)
    if unknown or absent:
        problem = f"does not know {unknown[0]!r}" if unknown else f"lacks {absent[0]!r}"
        raise CannotMeasure(f"{title} {problem}.", fix=f"Its keys are: {', '.join(wanted)}.")
    for name, value in table.items():
        expected = _KINDS.get(str(wanted[name].type), str)
        if not isinstance(value, expected) or (isinstance(value, bool) and expected is not bool):
            raise CannotMeasure(
                f"{title}: {name} = {value!r} is not of the right kind.",
                fix="Texts go in double quotes, numbers and true or false without.",
            )
    return kind(**table)
