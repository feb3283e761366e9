"""`pennyfall check`: is this clip good enough, and if not, what to change."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pennyfall.cli.commands.clip_options import Club, FollowedBox, FollowedDot, Layout, Lens


def check(
    clip: Annotated[Path, typer.Argument(help="Video file.")],
    *,
    club: Club = None,
    lens: Lens = None,
    layout: Layout = None,
    box: FollowedBox = None,
    dot: FollowedDot = None,
) -> None:
    """Say within ten seconds whether a clip can be measured; exit code 2 when it cannot."""
    from pennyfall.cli.check import check_clip, usable
    from pennyfall.cli.options import measure_options

    options = measure_options(club=club, lens=lens, layout=layout, box=box, dot=dot)
    findings = check_clip(clip, options.tags, lens=options.lens, box=options.box, dot=options.dot)
    widest = max(len(one.what) for one in findings)
    for one in findings:
        typer.echo(f"{one.verdict:<4}  {one.what:<{widest}}  {one.words}")
        if one.advice:
            typer.echo(f"{'':<{widest + 8}}{one.advice}")
    good = usable(findings)
    typer.echo("\nGood enough to measure." if good else "\nNot good enough: change what is marked bad.")
    if not good:
        raise typer.Exit(2)
