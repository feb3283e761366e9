"""`pennyfall check`: is this clip good enough, and if not, what to change."""

from __future__ import annotations

import math
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pennyfall.cli.commands.options import with_settings

if TYPE_CHECKING:
    from pennyfall.tracker.measure.settings import Settings

WIDTH = 80


@with_settings
def check(
    clip: Annotated[Path, typer.Argument(help="Video file.")],
    *,
    settings: Settings,
) -> None:
    """Say within ten seconds whether a clip can be measured; exit code 2 when it cannot.

    Nothing has to be printed for it: what a sheet and a tag would add is said.
    """
    from pennyfall.cli.console import refusal
    from pennyfall.tracker.measure.check import check_clip

    look = check_clip(clip, settings)
    widest = max(len(one.what) for one in look.findings)
    for one in look.findings:
        indent = " " * (widest + 8)
        lead = f"{one.verdict:<4}  {one.what:<{widest}}  "
        typer.echo(textwrap.fill(one.words, WIDTH, initial_indent=lead, subsequent_indent=indent))
        if one.advice:
            typer.echo(textwrap.fill(one.advice, WIDTH, initial_indent=indent, subsequent_indent=indent))
    if look.measurement is not None:
        typer.echo("\nGood enough to measure.")
    elif look.refusal is not None and math.isnan(look.looked_until_s):
        typer.echo(f"\n{refusal(look.refusal)}")
    if math.isfinite(look.looked_until_s):
        typer.echo(
            f"Only the first {look.looked_until_s:.1f} s were looked at; measuring looks at all of it."
        )
    elif look.measurement is None:
        raise typer.Exit(2)
