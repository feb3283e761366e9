"""`pennyfall prove`: what the figures are worth, by simulated strokes or beside one known truth."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from pennyfall.kinematics.errors import CannotMeasure


def prove(
    measurement: Annotated[
        Path | None,
        typer.Argument(help="Measurement file: pennyfall measure CLIP --json FILE. Without it, the study."),
    ] = None,
    truth: Annotated[
        Path | None, typer.Argument(help="Truth of the clip, as beside the shipped clips.")
    ] = None,
    *,
    out: Annotated[
        Path, typer.Option(help="Folder for the study's page (proof.html) and its short form (proof.md).")
    ] = Path("pennyfall-proof"),
    strokes: Annotated[int, typer.Option(min=20, help="How many strokes to simulate.")] = 200,
    seed: Annotated[int, typer.Option(min=0, help="The same seed makes the same page.")] = 1,
    processes: Annotated[int, typer.Option(min=1, help="Strokes simulated at once.")] = 2,
    data: Annotated[
        Path | None,
        typer.Option(help="Folder with published recordings (pezzack1977.csv, dowling1985.csv)."),
    ] = None,
    world: Annotated[
        str | None,
        typer.Option(
            help="Only this world's strokes at one frame rate; their table is printed, no page made."
        ),
    ] = None,
    rate: Annotated[float, typer.Option(min=20, help="Frame rate for --world [1/s].")] = 240.0,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress and no figures.")] = False,
) -> None:
    """Prove what the figures are worth.

    Without a measurement: simulate strokes of known truth over the conditions of real filming, measure them
    like clips, and write a page with errors, coverage of the 95 % intervals, also in worlds where the tool's
    assumptions are wrong, the usual methods on the same tracks, and where the error comes from; 200 strokes
    and as many in those worlds take a few minutes.

    With a measurement and the known truth of its clip: set one beside the other, and say which intervals hold
    it.
    """
    if measurement is not None and truth is not None:
        _compare(measurement, truth)
        return
    if measurement is not None:
        raise CannotMeasure(
            f"{measurement.name} has no truth beside it.",
            fix="Give the truth file of the clip as well, or neither file for the study.",
        )
    from pennyfall.cli.proof.run import PAGE, world_lines, write_proof

    if world is not None:
        for line in world_lines(
            world, rate_hz=rate, strokes=strokes, seed=seed, processes=processes, quiet=quiet
        ):
            typer.echo(line)
        return

    summary = write_proof(out, strokes=strokes, seed=seed, processes=processes, data=data, quiet=quiet)
    if not quiet:
        typer.echo(summary)
        typer.echo(f"\n{out / PAGE} shows all of it.")


def _compare(measurement: Path, truth: Path) -> None:
    from pennyfall.cli.files.measurement import load_measurement
    from pennyfall.cli.report.tables.truth import coin_beside_truth, compare, other_clip, truth_table

    measured, known = load_measurement(measurement), _load_truth(truth)
    if (what := other_clip(measured.clip, known)) is not None:
        raise CannotMeasure(
            f"{truth.name} is not the truth of {measured.clip.file}: {what}.",
            fix=f"Give the truth file that came with {measured.clip.file}.",
        )
    typer.echo(truth_table(measured.clip.file, compare(measured, known)))
    if coin := coin_beside_truth(measured, known):
        typer.echo(coin)


def _load_truth(path: Path) -> dict[str, Any]:
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise CannotMeasure(
            f"{path.name} is not JSON ({error}).", fix="Give the truth file that came with the clip."
        ) from error
    if not isinstance(document, dict) or not {"frames", "strokes_container_clock"} <= document.keys():
        raise CannotMeasure(
            f"{path.name} holds no true strokes.", fix="Give the truth file that came with the clip."
        )
    return document
