"""`pennyfall measure`: a clip in, the strokes' measurements out."""

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


def measure(
    clips: Annotated[list[Path], typer.Argument(metavar="CLIP...", help="One or more video files.")],
    *,
    json: Annotated[
        Path | None, typer.Option(help="Write the measurement file here (a folder for several clips).")
    ] = None,
    track: Annotated[
        Path | None, typer.Option(help="Write the track as CSV here (a folder for several clips).")
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(help="Draw each stroke here, .png or .svg (a folder for several clips)."),
    ] = None,
    club: Club = None,
    tag_height: TagHeight = None,
    lens: Lens = None,
    layout: Layout = None,
    ruler: Ruler = None,
    recorded_at: RecordedAt = None,
    box: FollowedBox = None,
    dot: FollowedDot = None,
    readout_ms: ReadoutMs = None,
    everything: Annotated[bool, typer.Option("--all", help="Print every figure, not eight.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No table and no progress.")] = False,
) -> None:
    """Measure the strokes in one or more clips: how each went in a sentence, and eight figures.

    On request every figure, the measurement file, the track, and a picture of each stroke.
    """
    from pennyfall.cli.commands.measuring import ClipOutputs, measure_clips
    from pennyfall.cli.files.settings import settings_from

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
    outputs = ClipOutputs.named(json=json, track=track, picture=picture, clips=clips)
    if not measure_clips(clips, settings, outputs, quiet=quiet, everything=everything):
        raise typer.Exit(2)
