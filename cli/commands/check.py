"""`pennyfall check`: is this clip good enough, and if not, what to change."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pennyfall.cli.commands.clip_options import (
    Club,
    FollowedBox,
    FollowedDot,
    Layout,
    Lens,
    ReadoutMs,
    RecordedAt,
    Ruler,
    TagHeight,
)


def check(
    clip: Annotated[Path, typer.Argument(help="Video file.")],
    *,
    club: Club = None,
    tag_height: TagHeight = None,
    lens: Lens = None,
    layout: Layout = None,
    ruler: Ruler = None,
    recorded_at: RecordedAt = None,
    box: FollowedBox = None,
    dot: FollowedDot = None,
    readout_ms: ReadoutMs = None,
) -> None:
    """Say within ten seconds whether a clip can be measured; exit code 2 when it cannot."""
    from pennyfall.cli.files.settings import settings_from
    from pennyfall.tracker.measure.check import check_clip, usable

    settings = settings_from(
        club=club,
        tag_height_mm=tag_height,
        lens=lens,
        layout=layout,
        ruler_mm=ruler,
        recorded_at_hz=recorded_at,
        readout_ms=readout_ms,
        box=box,
        dot=dot,
    )
    findings = check_clip(clip, settings)
    widest = max(len(one.what) for one in findings)
    for one in findings:
        typer.echo(f"{one.verdict:<4}  {one.what:<{widest}}  {one.words}")
        if one.advice:
            typer.echo(f"{'':<{widest + 8}}{one.advice}")
    good = usable(findings)
    typer.echo("\nGood enough to measure." if good else "\nNot good enough: change what is marked bad.")
    if not good:
        raise typer.Exit(2)
