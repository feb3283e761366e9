"""What the outcomes add up to: errors and coverage, efficiency, alternatives, the budget of errors."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pennyfall.cli.proof.alternatives import METHODS, Method
from pennyfall.cli.proof.comparison import COMPARED, CUT, true_values
from pennyfall.cli.proof.conditions import SOURCES
from pennyfall.cli.proof.study import Outcome
from pennyfall.cli.proof.trials import GIVEN, QUANTITIES
from pennyfall.cli.proof.worlds import PUBLISHED
from pennyfall.kinematics.values import INTERVAL_SDS, FloatArray

AT_IMPACT = {"peak_speed_after_impact_s": 0.0, "peak_acceleration_share": 1.0}
"""Places of a peak that is the impact itself: nothing lies beyond, so strokes that have it there and are
measured to have it there score nothing for them."""
METHOD = "method"
"""What the smoothing itself leaves: its assumptions about how a stroke moves."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Score:
    """One quantity at one frame rate."""

    name: str
    strokes: int
    bias: float
    rms: float
    held: int
    """How many 95 % intervals held the truth."""
    half_width: float
    """Median half-width of the 95 % interval."""
    mean_z: float
    rms_z: float
    """Mean and root mean square of the error over its stated standard deviation."""
    over_state_bound: float
    """Mean square error over the state model's mean bound, on the strokes that have one; NaN where the
    quantity has none."""

    @property
    def coverage(self) -> float:
        """Share of intervals that held the truth; NaN where no stroke counts."""
        return self.held / self.strokes if self.strokes else math.nan

    @property
    def coverage_interval(self) -> tuple[float, float]:
        """Return the 95 % interval of the coverage (Wilson 1927, J. Am. Stat. Assoc. 22:209-212)."""
        z, n, p = INTERVAL_SDS, self.strokes, self.coverage
        if n == 0:
            return math.nan, math.nan
        middle = (p + z**2 / (2 * n)) / (1 + z**2 / n)
        reach = z / (1 + z**2 / n) * math.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
        return middle - reach, middle + reach


@dataclass(frozen=True, kw_only=True, slots=True)
class Rival:
    """One method on the same tracks: root mean square error of each compared quantity."""

    name: str
    setting: str
    """How it was set, in words."""
    rms: tuple[float, ...]
    """In the order of `COMPARED`."""


@dataclass(frozen=True, kw_only=True, slots=True)
class BudgetRow:
    """Where one quantity's error comes from, as standard uncertainties."""

    name: str
    total: float
    """Root mean square error of the strokes looked at."""
    parts: dict[str, float]
    """Standard uncertainty that each source contributes, largest first."""


def at_rate(outcomes: Sequence[Outcome], rate_hz: float, world: str = PUBLISHED.name) -> list[Outcome]:
    """Return the measured outcomes of one frame rate in one world."""
    here = [each for each in outcomes if each.rate_hz == rate_hz and each.world == world]
    return [each for each in here if each.found is not None]


def score(outcomes: Sequence[Outcome], name: str) -> Score:
    """Return the score of one quantity over the outcomes of one rate."""
    error = np.array([each.error(name) for each in outcomes])
    sd = np.array([each.found[name].sd for each in outcomes if each.found is not None])
    truth = np.array([each.truth[name] for each in outcomes if each.found is not None])
    known = np.isfinite(error)
    if name in AT_IMPACT:
        known &= ~(np.isclose(truth, AT_IMPACT[name]) & np.isclose(truth + error, AT_IMPACT[name]))
    error, sd = error[known], sd[known]
    return Score(
        name=name,
        strokes=len(error),
        bias=float(np.mean(error)) if len(error) else math.nan,
        rms=_rms(error),
        held=int(np.sum(np.abs(error) <= INTERVAL_SDS * sd + 1e-12)),
        half_width=float(INTERVAL_SDS * np.median(sd)) if len(sd) else math.nan,
        mean_z=float(np.mean(error / sd)) if len(error) else math.nan,
        rms_z=_rms(error / sd),
        over_state_bound=_over_state_bound(outcomes, name),
    )


def scores(outcomes: Sequence[Outcome]) -> list[Score]:
    """Return the score of every quantity over the outcomes of one rate."""
    return [score(outcomes, name) for name in QUANTITIES]


def rivals(outcomes: Sequence[Outcome]) -> list[Rival]:
    """Return ours and every alternative, by its own rule and at the one setting that serves it best.

    The best setting is that with the least error of the acceleration at impact over all strokes compared: a
    choice only possible where the truth is known.
    """
    compared = [each for each in outcomes if each.alternatives is not None]
    if not compared:
        return []
    truth = np.array([true_values(each.truth) for each in compared])
    ours = np.array([[each.error(name) for name in COMPARED] for each in compared])
    table = [Rival(name="pennyfall", setting="stops at impact", rms=_columns(ours))]
    for suffix in ("", CUT):
        for method in METHODS:
            table += _method_rivals(method, method.name + suffix, compared, truth)
    return table


def budget(outcomes: Sequence[Outcome], name: str) -> BudgetRow | None:
    """Return where a quantity's error comes from (JCGM 100:2008, 5.1, by drawing one source at a time anew).

    A source's variance is half the mean square change when it alone is drawn anew [1]_; what the sources
    leave of the mean square error is the method's.

    References
    ----------
    .. [1] M. J. W. Jansen (1999), Analysis of variance designs for model output, Comput. Phys. Commun.
       117:35-43.

    """
    drawn = [each for each in outcomes if each.redrawn]
    if not drawn:
        return None
    parts = {}
    for source in SOURCES:
        changes = [
            each.redrawn[source][name] - each.found[name].value
            for each in drawn
            if each.redrawn and each.found and source in each.redrawn
        ]
        change = np.array(changes)
        if np.isfinite(change).any():
            parts[source] = _rms(change[np.isfinite(change)]) / math.sqrt(2)
    total = _rms(np.array([each.error(name) for each in drawn]))
    left = total**2 - sum(part**2 for part in parts.values())
    parts[METHOD] = math.sqrt(max(left, 0.0))
    return BudgetRow(name=name, total=total, parts=dict(sorted(parts.items(), key=lambda part: -part[1])))


def _method_rivals(method: Method, name: str, compared: Sequence[Outcome], truth: FloatArray) -> list[Rival]:
    def errors(setting: str) -> FloatArray:
        said = [each.alternatives[name, setting] for each in compared if each.alternatives is not None]
        return np.array(said) - truth

    settings = [
        key[1] for key in (compared[0].alternatives or {}) if key[0] == name and key[1] not in ("rule", "=")
    ]
    best = min(settings, key=lambda each: _columns(errors(each))[0])
    at_best = errors(best)
    # A speed threshold is always late: at its best it is shifted by its mean lateness.
    start = COMPARED.index("takeaway_s")
    at_best[:, start] -= np.nanmean(at_best[:, start])
    chosen = np.array([each.alternatives[name, "="][0] for each in compared if each.alternatives is not None])
    rule = method.rule
    if np.isfinite(chosen).all():
        rule += f": {np.median(chosen):.3g} {method.unit} ({chosen.min():.3g} to {chosen.max():.3g})"
    return [
        Rival(name=name, setting=rule, rms=_columns(errors("rule"))),
        Rival(
            name=name,
            setting=f"best of its settings: {best} {method.unit}",
            rms=_columns(at_best),
        ),
    ]


def _over_state_bound(outcomes: Sequence[Outcome], name: str) -> float:
    pairs = [(each.error(name), each.state_bound[name]) for each in outcomes if each.state_bound is not None]
    if not pairs or name in GIVEN:
        return float("nan")
    error, limit = np.array(pairs).T
    known = np.isfinite(error) & (limit > 0)
    return (_rms(error[known]) / _rms(limit[known])) ** 2 if known.any() else float("nan")


def _columns(errors: FloatArray) -> tuple[float, ...]:
    return tuple(_rms(column[np.isfinite(column)]) for column in errors.T)


def _rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2))) if len(values) else float("nan")
