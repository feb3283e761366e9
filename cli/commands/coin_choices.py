"""Options that several commands share: which coin lies on what."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

CoinName = Annotated[str, typer.Option("--coin", help="Which coin, such as us-quarter, euro-1, uk-5-pence.")]
Surface = Annotated[
    str | None,
    typer.Option(help="What it lies on: coated, plated, bare-stainless, bare-mild-steel, bare-aluminium."),
]
StaticFriction = Annotated[
    tuple[float, float] | None,
    typer.Option(metavar="LOW HIGH", help="Static friction, instead of a surface."),
]
KineticShare = Annotated[float | None, typer.Option(help="Kinetic over static friction, at most 1.")]
Edge = Annotated[float | None, typer.Option(help="Coin's middle to the rear edge of its floor, in mm.")]
Lip = Annotated[float | None, typer.Option(help="Height of a lip along the rear edge, in mm.")]
Frictions = Annotated[Path | None, typer.Option(help="File that keeps each coin's friction on each putter.")]
