"""From the command to the page and its short form: the study is run, judged and written."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

from pennyfall.cli.console import progress_bar
from pennyfall.cli.files.measurement import refuse_unwritable, write_whole
from pennyfall.cli.proof.comparison import COMPARED
from pennyfall.cli.proof.page import proof_page
from pennyfall.cli.proof.published import Result, published_results
from pennyfall.cli.proof.scores import at_rate, rivals, scores
from pennyfall.cli.proof.study import Outcome, plan, run_study, world_job
from pennyfall.cli.proof.tables import field_text, worlds_table
from pennyfall.cli.proof.worlds import world_named
from pennyfall.cli.report.quantities import quantity

PAGE = "proof.html"
SUMMARY = "proof.md"

SHOWN_RATES_HZ = (240.0, 60.0)
RIVALS_RATE_HZ = 240.0
SHOWN = COMPARED[:4]
TITLE = "# What the figures are worth"


def write_proof(
    folder: Path, *, strokes: int, seed: int, processes: int, data: Path | None, quiet: bool
) -> str:
    """Run the study, write its page and its summary into a folder, and return the summary.

    Parameters
    ----------
    folder : Path
        Made when not there.
    strokes : int
        How many, over all frame rates.
    seed : int
        The same seed gives the same page.
    processes : int
        How many strokes at once.
    data : Path or None
        Folder with the published recordings.
    quiet : bool
        Show no progress.

    """
    # First, so that a folder without them is told before the long part.
    published: Sequence[Result] = published_results(data) if data is not None else ()
    folder.mkdir(parents=True, exist_ok=True)
    refuse_unwritable(folder / PAGE, folder / SUMMARY)
    with progress_bar("simulated strokes", quiet=quiet) as advance:
        outcomes = run_study(plan(strokes, seed), processes=processes, progress=advance)
    return write_outcomes(folder, outcomes, published, strokes=strokes, seed=seed)


def world_lines(
    world: str, *, rate_hz: float, strokes: int, seed: int, processes: int, quiet: bool
) -> list[str]:
    """Return how the intervals of every quantity held in one world at one frame rate, as a Markdown table.

    Parameters
    ----------
    world : str
        Name of one of `WORLDS`.
    rate_hz : float
        Frame rate [1/s].
    strokes, seed : int
        How many strokes, drawn from what seed.
    processes : int
        How many strokes at once.
    quiet : bool
        Show no progress.

    Raises
    ------
    CannotMeasure
        When there is no world of that name.

    """
    world_named(world)
    jobs = [world_job(world, seed, rate_hz, number) for number in range(strokes)]
    with progress_bar("simulated strokes", quiet=quiet) as advance:
        outcomes = run_study(jobs, processes=processes, progress=advance)
    found = at_rate(outcomes, rate_hz, world)
    lines = [
        f"| {world}, {rate_hz:.0f} frames/s, {len(found)} of {strokes} strokes found "
        "| truth inside ± | mean z | RMS z | RMS error | median ± | strokes |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for each in scores(found):
        cells = (
            f"{100 * each.coverage:.0f} %",
            f"{each.mean_z:+.2f}",
            f"{each.rms_z:.2f}",
            field_text(each.name, each.rms),
            field_text(each.name, each.half_width),
            str(each.strokes),
        )
        lines.append(f"| {quantity(each.name).label} | {' | '.join(cells)} |")
    return lines


def write_outcomes(
    folder: Path, outcomes: Sequence[Outcome], published: Sequence[Result], *, strokes: int, seed: int
) -> str:
    """Write page and summary of a study that has been run; return the summary."""
    command = f"pennyfall prove --strokes {strokes} --seed {seed}"
    if published:
        command += " --data FOLDER"
    folder.mkdir(parents=True, exist_ok=True)
    page = proof_page(outcomes, published, seed=seed, command=command)
    summary = "\n".join(summary_lines(outcomes, published, command=command))
    write_whole(folder / PAGE, page.encode("utf-8"))
    write_whole(folder / SUMMARY, (summary + "\n").encode("utf-8"))
    return summary


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
    worlds = worlds_table(outcomes)
    if worlds is not None:
        lines += [
            "",
            f"| {worlds.title} | {' | '.join(worlds.columns)} |",
            f"| --- |{' ---: |' * len(worlds.columns)}",
            *(f"| {each.label} | {' | '.join(each.cells)} |" for each in worlds.rows),
            "",
            worlds.note,
        ]
    table = rivals(at_rate(outcomes, RIVALS_RATE_HZ))
    if table:
        heads = [quantity(name).label for name in SHOWN]
        compared = sum(each.alternatives is not None for each in at_rate(outcomes, RIVALS_RATE_HZ))
        lines += [
            "",
            f"| RMS error at {RIVALS_RATE_HZ:.0f} Hz, {compared} of the strokes | setting "
            f"| {' | '.join(heads)} |",
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
