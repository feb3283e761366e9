"""`pennyfall measure`: a clip in, the strokes' measurements out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pennyfall.cli.commands.options import with_settings

if TYPE_CHECKING:
    from pennyfall.tracker.measure.settings import Settings


@with_settings
def measure(
    clips: Annotated[list[Path], typer.Argument(metavar="CLIP...", help="One or more video files.")],
    *,
    json: Annotated[
        Path | None, typer.Option(help="Write the measurement file here (a folder for several clips).")
    ] = None,
    track: Annotated[
        Path | None, typer.Option(help="Write the track as CSV here (a folder for several clips).")
    ] = None,
    c3d: Annotated[
        Path | None,
        typer.Option(help="Write the track as C3D here, on even times (a folder for several clips)."),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(help="Draw each stroke here, .png or .svg (a folder for several clips)."),
    ] = None,
    settings: Settings,
    everything: Annotated[bool, typer.Option("--all", help="Print every figure, not eight.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No table and no progress.")] = False,
) -> None:
    """Measure the strokes in one or more clips: how each went in a sentence, and eight figures.

    Nothing has to be printed: ball and shaft are enough. On request every figure, the measurement file, the
    track, and a picture of each stroke.
    """
    from pennyfall.cli.commands.measuring import ClipOutputs, measure_clips

    outputs = ClipOutputs.named(json=json, track=track, c3d=c3d, picture=picture, clips=clips)
    if not measure_clips(clips, settings, outputs, quiet=quiet, everything=everything):
        raise typer.Exit(2)
