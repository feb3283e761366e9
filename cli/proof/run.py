"""From the command to the page: the study is run, judged and written."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pennyfall.cli.console import progress_bar
from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.proof.page import proof_page
from pennyfall.cli.proof.published import Result, published_results
from pennyfall.cli.proof.study import Outcome, plan, run_study
from pennyfall.cli.proof.summary import summary_lines

PAGE = "proof.html"
SUMMARY = "proof.md"


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
    with progress_bar("simulated strokes", quiet=quiet) as advance:
        outcomes = run_study(plan(strokes, seed), processes=processes, progress=advance)
    return write_outcomes(folder, outcomes, published, strokes=strokes, seed=seed)


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
