"""`pennyfall coin`: where a loose coin leaves the head and lands."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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
    with_settings,
)

if TYPE_CHECKING:
    from pennyfall.tracker.measure.settings import Settings


@with_settings
def coin(
    source: Annotated[
        Path, typer.Argument(metavar="CLIP|MEASUREMENT.json", help="A video file, or a measurement file.")
    ],
    *,
    stroke: Annotated[
        int | None, typer.Option(help="Number of the stroke in the clip; all where not given.")
    ] = None,
    coin_name: CoinName = "us-quarter",
    surface: Surface = None,
    friction: StaticFriction = None,
    kinetic_share: KineticShare = None,
    edge: Edge = None,
    lip: Lip = None,
    floor: Annotated[float | None, typer.Option(help="Height of the coin's floor, in mm.")] = None,
    wall: Annotated[
        float | None, typer.Option(help="Height of the wall toward the face, in mm; 0 is a flat top.")
    ] = None,
    from_tag: Annotated[
        float | None,
        typer.Option(help="Tag's middle to the coin's middle, in mm; negative when the coin lies behind it."),
    ] = None,
    coin_landed: Annotated[
        float | None,
        typer.Option(help="Where the coin lay afterwards, in cm from the ball; negative is behind it."),
    ] = None,
    frictions: Frictions = None,
    forget: Annotated[
        bool, typer.Option("--forget", help="Take this coin's friction out of that file first.")
    ] = False,
    picture: Annotated[
        Path | None, typer.Option(help="Draw the stroke and its coin here (.png, .svg).")
    ] = None,
    json: Annotated[
        Path | None, typer.Option(help="Write the measurement file with the coin's part here.")
    ] = None,
    club: Club = None,
    settings: Settings,
) -> None:
    """Predict where a loose coin leaves the head and lands; infer its friction from where it did."""
    from pennyfall.cli.coin.predicting import CoinOutputs, predict_coins
    from pennyfall.cli.coin.setup import coin_setup
    from pennyfall.cli.files.frictions import forget_friction, kept_name

    if forget:
        typer.echo(forget_friction(frictions, kept_name(club, coin_name)))
    setup = coin_setup(
        coin=coin_name,
        club=club,
        surface=surface,
        friction=friction,
        kinetic_share=kinetic_share,
        frictions=frictions,
        edge_mm=edge,
        lip_mm=lip,
        floor_mm=floor,
        wall_mm=wall,
        from_tag_mm=from_tag,
    )
    outputs = CoinOutputs(picture=picture, json=json, frictions=frictions, kept_as=kept_name(club, coin_name))
    predict_coins(source, setup, settings, outputs, number=stroke, landed_cm=coin_landed)
