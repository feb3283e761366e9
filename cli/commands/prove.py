"""`pennyfall prove`: a measurement beside a known truth."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from pennyfall.cli.document import load_measurement
from pennyfall.cli.report.truth_table import compare, truth_table
from pennyfall.kinematics.errors import CannotMeasure


def prove(
    measurement: Annotated[
        Path, typer.Argument(help="Measurement file: pennyfall measure CLIP --json FILE.")
    ],
    truth: Annotated[Path, typer.Argument(help="Truth of the clip, as beside the shipped clips.")],
) -> None:
    """Set a measurement beside the known truth of its clip, and say which intervals hold it."""
    measured = load_measurement(measurement)
    typer.echo(truth_table(measured.clip.file, compare(measured, _load_truth(truth))))


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
