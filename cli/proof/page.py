"""The proof as one HTML page that holds everything and asks the network for nothing."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.metadata import version
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pennyfall.cli.proof.comparison import COMPARED, CUT
from pennyfall.cli.proof.conditions import SOURCES
from pennyfall.cli.proof.drawings import (
    SHAPES,
    budget_drawing,
    budget_legend,
    coverage_drawing,
    example_drawing,
)
from pennyfall.cli.proof.published import Result
from pennyfall.cli.proof.scores import BudgetRow, Score, at_rate, budget, rivals, scores
from pennyfall.cli.proof.study import DETAILED_RATES_HZ, RATES_HZ, Outcome
from pennyfall.cli.proof.tables import (
    budget_table,
    coverage_table,
    field_text,
    published_table,
    rival_table,
    worlds_table,
)
from pennyfall.cli.proof.trials import QUANTITIES
from pennyfall.cli.proof.worlds import PUBLISHED
from pennyfall.cli.report.page.svg import mark
from pennyfall.cli.report.palette import INKS, PAPER_DARK, PAPER_LIGHT

HEADLINE_RATE_HZ = 240.0


def proof_page(outcomes: Sequence[Outcome], published: Sequence[Result], *, seed: int, command: str) -> str:
    """Return the page of a study.

    Parameters
    ----------
    outcomes : sequence of Outcome
        What the study gave.
    published : sequence of Result
        Published recordings; empty where they were not given.
    seed : int
        Seed of the study, for the example.
    command : str
        The command that makes this page again.

    """
    environment = Environment(
        loader=PackageLoader("pennyfall.cli", "proof"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    by_rate = {rate: scores(found) for rate in RATES_HZ if (found := at_rate(outcomes, rate))}
    budgets = {rate: budget_rows(outcomes, rate) for rate in DETAILED_RATES_HZ}
    budgets = {rate: rows for rate, rows in budgets.items() if rows}
    return environment.get_template("proof_page.html.j2").render(
        headline=headline(by_rate),
        said=sentences(outcomes, by_rate),
        version=version("pennyfall"),
        strokes=len(outcomes),
        worlds=worlds_table(outcomes),
        seed=seed,
        command=command,
        rates=[(number, f"{rate:.0f}") for number, rate in enumerate(by_rate)],
        marks=[mark(shape, 0, 0, 3.4, class_=f"dot c{number}") for number, shape in enumerate(SHAPES)],
        coverage_drawing=coverage_drawing(by_rate),
        coverage=[coverage_table(rate, found, _missed(outcomes, rate)) for rate, found in by_rate.items()],
        example=example_drawing(seed, HEADLINE_RATE_HZ),
        rivals=[
            rival_table(rate, rows, _compared(outcomes, rate))
            for rate in DETAILED_RATES_HZ
            if (rows := rivals(at_rate(outcomes, rate)))
        ],
        published=published_table(published) if published else None,
        budgets=[
            (f"{rate:.0f}", budget_drawing(rows), budget_table(rate, rows, _budgeted(outcomes, rate)))
            for rate, rows in budgets.items()
        ],
        budget_legend=budget_legend(next(iter(budgets.values()))) if budgets else [],
        sources=list(SOURCES.items()),
        style=Markup(_style()),
    )


def headline(by_rate: dict[float, list[Score]]) -> str:
    """Return the verdict of the study in one sentence."""
    best = by_rate.get(HEADLINE_RATE_HZ) or next(iter(by_rate.values()))
    shares = sorted(each.coverage for each in best)
    strokes = max(each.strokes for each in best)
    return (
        f"Of {strokes} simulated strokes at 240 frames/s, {100 * shares[0]:.0f} to {100 * shares[-1]:.0f} % "
        "of the 95 % intervals hold the truth, quantity by quantity"
    )


def sentences(outcomes: Sequence[Outcome], by_rate: dict[float, list[Score]]) -> list[str]:
    """Return what else a coach and a sceptic want to know first."""
    said = []
    for rate in DETAILED_RATES_HZ:
        table = rivals(at_rate(outcomes, rate))
        if not table:
            continue
        ours, others = (
            table[0].rms[0],
            [each for each in table[1:] if "best" in each.setting and CUT not in each.name],
        )
        best = min(others, key=lambda each: each.rms[0])
        (overall,) = (each for each in by_rate[rate] if each.name == COMPARED[0])
        said.append(
            f"Acceleration at impact at {rate:.0f} frames/s: RMS error "
            f"{field_text(COMPARED[0], overall.rms)} over all {overall.strokes} strokes. On the "
            f"{_compared(outcomes, rate)} of them that the usual ways were given as well: "
            f"{field_text(COMPARED[0], ours)} here, {field_text(COMPARED[0], best.rms[0])} for the best of "
            f"those ways ({best.name}, at the setting that serves it best)."
        )
    return said


def budget_rows(outcomes: Sequence[Outcome], rate_hz: float) -> list[BudgetRow]:
    """Return the budget of every quantity at one frame rate; empty where none was asked for."""
    found = at_rate(outcomes, rate_hz)
    return [row for name in QUANTITIES if (row := budget(found, name)) is not None]


def _missed(outcomes: Sequence[Outcome], rate_hz: float) -> int:
    here = [each for each in outcomes if each.rate_hz == rate_hz and each.world == PUBLISHED.name]
    return sum(each.found is None for each in here)


def _compared(outcomes: Sequence[Outcome], rate_hz: float) -> int:
    return sum(each.alternatives is not None for each in at_rate(outcomes, rate_hz))


def _budgeted(outcomes: Sequence[Outcome], rate_hz: float) -> int:
    return sum(bool(each.redrawn) for each in at_rate(outcomes, rate_hz))


def _style() -> str:
    text = (files("pennyfall.cli") / "proof" / "proof_page.css").read_text(encoding="utf-8")
    light = "".join(f"--c{number}:{each.light};" for number, each in enumerate(INKS))
    dark = "".join(f"--c{number}:{each.dark};" for number, each in enumerate(INKS))
    text = text.replace("@@light@@", f"--paper:{PAPER_LIGHT};{light}")
    return text.replace("@@dark@@", f"--paper:{PAPER_DARK};{dark}")
