"""`pennyfall sheet`: the floor sheet and the head tags as a PDF."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from pennyfall.calibration.page import forbids_scaling
from pennyfall.calibration.sheet_pdf import sheet_pdf
from pennyfall.cli.files.measurement import write_whole


class PaperName(StrEnum):
    """Papers to print on."""

    A4 = "a4"
    LETTER = "letter"


def sheet(
    *,
    paper: Annotated[PaperName, typer.Option(help="Paper to print on.")] = PaperName.A4,
    out: Annotated[Path, typer.Option(help="PDF to write.")] = Path("pennyfall-sheet.pdf"),
    board: Annotated[bool, typer.Option("--board", help="Add the board for 'pennyfall lens'.")] = False,
) -> None:
    """Write the floor sheet (page 1) and the head tags (page 2) as a PDF at true size.

    No clip needs them: they make lengths and speeds several times better known, accelerations twice as well.
    """
    pdf = sheet_pdf(paper.value, board=board)
    write_whole(out, pdf)
    typer.echo(f"Wrote {out}. Print it at 100 %, then check that the ruler on it measures 100 mm.")
    if not forbids_scaling(pdf):
        typer.echo(
            "This PDF cannot keep the printer from scaling it: choose 'actual size' yourself when you print.",
            err=True,
        )
