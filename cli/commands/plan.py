"""`pennyfall plan`: at which putt lengths the coin leaves by itself, and how far the ball rolls."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


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
    coin: Annotated[str, typer.Option(help="Which coin, such as us-quarter, euro-1.")] = "us-quarter",
    surface: Annotated[
        str | None,
        typer.Option(
            help="What it lies on: coated, plated, bare-stainless, bare-mild-steel, bare-aluminium."
        ),
    ] = None,
    friction: Annotated[
        tuple[float, float] | None,
        typer.Option(metavar="LOW HIGH", help="Static friction, instead of a surface."),
    ] = None,
    kinetic_share: Annotated[
        float | None, typer.Option(help="Kinetic over static friction, at most 1.")
    ] = None,
    frictions: Annotated[
        Path | None, typer.Option(help="File that keeps each coin's friction on each putter.")
    ] = None,
    club: Annotated[Path | None, typer.Option(help="Club file, for the coin's shelf.")] = None,
    edge: Annotated[
        float | None, typer.Option(help="Coin's middle to the rear edge of its floor, in mm.")
    ] = None,
    lip: Annotated[float | None, typer.Option(help="Height of a lip along the rear edge, in mm.")] = None,
    picture: Annotated[Path | None, typer.Option(help="Draw the plan here (.png, .svg).")] = None,
) -> None:
    """Say at which putt lengths the coin leaves in the transition by itself, for one student."""
    from pennyfall.cli.coin_memory import kept_name
    from pennyfall.cli.coin_options import coin_setup
    from pennyfall.cli.planning import tell_plan

    setup = coin_setup(
        coin=coin,
        club=club,
        surface=surface,
        friction=friction,
        kinetic_share=kinetic_share,
        kept=kept_name(club.stem if club is not None else "any putter", coin),
        frictions=frictions,
        edge_mm=edge,
        lip_mm=lip,
    )
    tell_plan(
        measurements,
        setup,
        lengths=length or [],
        stimp_ft=stimp,
        grade_percent=grade,
        hole=hole,
        picture=picture,
    )
