"""`pennyfall plan`: at which putt lengths the coin leaves by itself, and how far the ball rolls."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pennyfall.cli.commands.options import (
    Club,
    CoinName,
    Edge,
    Frictions,
    KineticShare,
    Lip,
    StaticFriction,
    Surface,
)


def plan(
    measurements: Annotated[
        list[Path],
        typer.Argument(metavar="MEASUREMENT.json...", help="Measurement files of one student's strokes."),
    ],
    *,
    length: Annotated[
        list[str] | None,
        typer.Option(
            help="Length of each file's putts, such as 10ft or 3m, once for each file, in order; "
            "where not given, as far as its ball rolls."
        ),
    ] = None,
    stimp: Annotated[float, typer.Option(help="Green speed, the Stimpmeter reading in feet.")] = 10.0,
    grade: Annotated[float, typer.Option(help="Grade along the putt in per cent; negative downhill.")] = 0.0,
    hole: Annotated[
        str | None, typer.Option(help="Distance of the hole, such as 10ft or 3m, to say how the balls roll.")
    ] = None,
    coin_name: CoinName = "us-quarter",
    surface: Surface = None,
    friction: StaticFriction = None,
    kinetic_share: KineticShare = None,
    frictions: Frictions = None,
    club: Club = None,
    edge: Edge = None,
    lip: Lip = None,
    picture: Annotated[Path | None, typer.Option(help="Draw the plan here (.png, .svg).")] = None,
) -> None:
    """Say at which putt lengths the coin leaves in the transition by itself, for one student."""
    from pennyfall.cli.coin.planning import plan_drill
    from pennyfall.cli.coin.setup import coin_setup

    setup = coin_setup(
        coin=coin_name,
        club=club,
        surface=surface,
        friction=friction,
        kinetic_share=kinetic_share,
        frictions=frictions,
        edge_mm=edge,
        lip_mm=lip,
    )
    plan_drill(
        measurements,
        setup,
        lengths=length or [],
        stimp_ft=stimp,
        grade_percent=grade,
        hole=hole,
        picture=picture,
    )
