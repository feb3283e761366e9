"""`pennyfall check`: is this clip good enough, and if not, what to change."""

from __future__ import annotations

import math
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
    from pennyfall.cli.console import refusal
    from pennyfall.cli.files.settings import settings_from
    from pennyfall.tracker.measure.check import check_clip

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
    look = check_clip(clip, settings)
    widest = max(len(one.what) for one in look.findings)
    for one in look.findings:
        typer.echo(f"{one.verdict:<4}  {one.what:<{widest}}  {one.words}")
        if one.advice:
            typer.echo(f"{'':<{widest + 8}}{one.advice}")
    if look.measurement is not None:
        typer.echo("\nGood enough to measure.")
    elif look.refusal is not None:
        typer.echo(f"\n{refusal(look.refusal)}")
    if math.isfinite(look.looked_until_s):
        typer.echo(
            f"Only the first {look.looked_until_s:.1f} s were looked at; measuring looks at all of it."
        )
    elif look.measurement is None:
        raise typer.Exit(2)
