"""Options that several commands share: what a coach tells beside a clip."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Club = Annotated[Path | None, typer.Option(help="Club file (pennyfall club new).")]
TagHeight = Annotated[
    float | None, typer.Option(help="Height of the head tag above the floor at address, in mm.")
]
Lens = Annotated[Path | None, typer.Option(help="Lens file (pennyfall lens).")]
Layout = Annotated[Path | None, typer.Option(help="Tag layout of your own, a JSON file.")]
Ruler = Annotated[float | None, typer.Option(help="What the sheet's 100 mm check ruler measures, in mm.")]
RecordedAt = Annotated[float | None, typer.Option(help="True frame rate of a slow-motion clip, in frames/s.")]
FollowedBox = Annotated[
    str | None,
    typer.Option(help="Follow this patch of the head in place of a tag: x,y,w,h on the first frame, px."),
]
FollowedDot = Annotated[
    str | None,
    typer.Option(
        help="Follow a dot on the head in place of a tag: its colour (a name or #rrggbb), "
        "or a box around it: x,y,w,h on the first frame, px."
    ),
]
ReadoutMs = Annotated[
    float | None,
    typer.Option(help="Time in which the camera reads out a picture, first row to last, in ms."),
]
