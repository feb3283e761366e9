"""`pennyfall measure`: a clip in, the strokes' measurements out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


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
    club: Annotated[Path | None, typer.Option(help="Club file (pennyfall club new).")] = None,
    tag_height: Annotated[
        float | None, typer.Option(help="Height of the head tag above the floor at address, in mm.")
    ] = None,
    lens: Annotated[Path | None, typer.Option(help="Lens file (pennyfall lens).")] = None,
    layout: Annotated[Path | None, typer.Option(help="Tag layout of your own, a JSON file.")] = None,
    ruler: Annotated[
        float | None, typer.Option(help="What the sheet's 100 mm check ruler measures, in mm.")
    ] = None,
    recorded_at: Annotated[
        float | None, typer.Option(help="True frame rate of a slow-motion clip, in frames/s.")
    ] = None,
    box: Annotated[
        str | None,
        typer.Option(help="Follow this patch of the head in place of a tag: x,y,w,h on the first frame, px."),
    ] = None,
    dot: Annotated[
        str | None,
        typer.Option(
            help="Follow a dot on the head in place of a tag: its colour (a name or #rrggbb), "
            "or a box around it: x,y,w,h on the first frame, px."
        ),
    ] = None,
    readout_ms: Annotated[
        float | None,
        typer.Option(help="Time in which the camera reads out a picture, first row to last, in ms."),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No table and no progress.")] = False,
) -> None:
    """Measure the strokes in one or more clips: table, and on request measurement file, track and picture."""
    from pennyfall.cli.measuring import ClipOutputs, measure_clips
    from pennyfall.cli.options import measure_options

    options = measure_options(
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
    if not measure_clips(clips, options, outputs, quiet=quiet):
        raise typer.Exit(2)
