"""The proof in short, as text: for the terminal, and for RESULTS.md beside this module."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.metadata import version

from pennyfall.cli.proof.comparison import COMPARED
from pennyfall.cli.proof.published import Result
from pennyfall.cli.proof.scores import at_rate, rivals, scores
from pennyfall.cli.proof.study import Outcome
from pennyfall.cli.proof.tables import field_text
from pennyfall.cli.report.quantities import quantity

SHOWN_RATES_HZ = (240.0, 60.0)
RIVALS_RATE_HZ = 240.0
SHOWN = COMPARED[:4]


TITLE = "# What the figures are worth"


def summary_lines(outcomes: Sequence[Outcome], published: Sequence[Result], *, command: str) -> list[str]:
    """Return the study's figures as lines of a Markdown document, which says by which command it was made."""
    by_rate = {rate: scores(found) for rate in SHOWN_RATES_HZ if (found := at_rate(outcomes, rate))}
    strokes = " and ".join(
        f"{max(each.strokes for each in found)} strokes at {rate:.0f} frames/s"
        for rate, found in by_rate.items()
    )
    heads = [f"{what}, {rate:.0f} Hz" for rate in by_rate for what in ("RMS error", "truth inside ±")]
    lines = [
        TITLE,
        "",
        f"Made by `{command}`, pennyfall {version('pennyfall')}: {strokes}.",
        "",
        f"| figure | {' | '.join(heads)} |",
        f"| --- |{' ---: |' * len(heads)}",
    ]
    for rows in zip(*by_rate.values(), strict=True):
        cells = [
            cell
            for each in rows
            for cell in (field_text(each.name, each.rms), f"{100 * each.coverage:.1f} %")
        ]
        lines.append(f"| {quantity(rows[0].name).label} | {' | '.join(cells)} |")
    table = rivals(at_rate(outcomes, RIVALS_RATE_HZ))
    if table:
        heads = [quantity(name).label for name in SHOWN]
        lines += [
            "",
            f"| RMS error at {RIVALS_RATE_HZ:.0f} Hz | setting | {' | '.join(heads)} |",
            f"| --- | --- |{' ---: |' * len(SHOWN)}",
        ]
        for each in (table[0], *(one for one in table if one.setting.startswith("best"))):
            cells = [field_text(name, value) for name, value in zip(SHOWN, each.rms, strict=False)]
            lines.append(f"| {each.name} | {each.setting} | {' | '.join(cells)} |")
    if published:
        methods = list(published[0].rms)
        lines += [
            "",
            f"| RMS error [rad/s²] | {' | '.join(methods)} | published |",
            f"| --- |{' ---: |' * len(methods)} --- |",
        ]
        lines += [
            f"| {each.recording.title} ({each.recording.source}) | "
            f"{' | '.join(f'{each.rms[method]:.2f}' for method in methods)} | {each.recording.published} |"
            for each in published
        ]
    return lines
