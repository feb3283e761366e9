"""`pennyfall club`: write or check a club file."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated

import typer

from pennyfall.calibration.club import HEAD_ENTRIES, SHELF_ENTRIES, Entry, club_of, club_toml, load_club
from pennyfall.cli.files.measurement import write_whole
from pennyfall.kinematics.errors import CannotMeasure

DRAWING = r"""
The head rests on the floor as at address, seen from the side.

                                 tag        face
                              =========      | - - - - - -
                          +------------------+         ^
                        E |                  |         |
        |<--- C --->|     |                  |         A       target -->
      D |_       ==coin== |                  |         |
        +-----------------+ - - -            |         |
        |                     B              |         |
        +------------------------------------+         v
      ~~~~~~~~~~~~~~~~~~~~~~~ floor ~~~~~~~~~~~~~~~~~~~~~~~~
"""
"""The letters stand before the questions they belong to."""

LETTERS = {
    "tag_height_mm": "A",
    "floor_height_mm": "B",
    "edge_distance_mm": "C",
    "lip_height_mm": "D",
    "cavity_depth_mm": "E",
}

MM = {"mm": 1.0, "cm": 10.0, "in": 25.4}

club = typer.Typer(
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
    no_args_is_help=True,
    help="Write or check a club file.",
)


@club.command("new")
def new(
    file: Annotated[Path, typer.Argument(help="Club file to write.")] = Path("club.toml"),
    *,
    tag_height: Annotated[float | None, typer.Option(help="Floor to the tag at address [mm].")] = None,
    tag_height_sd: Annotated[float | None, typer.Option(help="How far that may be off [mm].")] = None,
    tag_size: Annotated[float | None, typer.Option(help="Side of the tag's black square [mm].")] = None,
    floor_height: Annotated[float | None, typer.Option(help="Room's floor to the coin's floor [mm].")] = None,
    edge_distance: Annotated[float | None, typer.Option(help="Coin's middle to the rear edge [mm].")] = None,
    lip_height: Annotated[float | None, typer.Option(help="Lip along the rear edge [mm].")] = None,
    cavity_depth: Annotated[
        float | None, typer.Option(help="Wall toward the face [mm]; 0 for a flat top.")
    ] = None,
    front_room: Annotated[float | None, typer.Option(help="Coin's room toward the face [mm].")] = None,
    coin_from_tag: Annotated[
        float | None, typer.Option(help="Tag's middle to the coin's middle [mm]; below zero behind it.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace a file of that name.")] = False,
) -> None:
    """Write a club file, asking for each value; with --tag-height it asks nothing."""
    if file.exists() and not overwrite:
        raise CannotMeasure(
            f"{file} is there already.", fix="Give another name, or --overwrite to replace it."
        )
    given = {
        "tag_height_mm": tag_height,
        "tag_height_sd_mm": tag_height_sd,
        "tag_size_mm": tag_size,
        "floor_height_mm": floor_height,
        "edge_distance_mm": edge_distance,
        "lip_height_mm": lip_height,
        "cavity_depth_mm": cavity_depth,
        "front_room_mm": front_room,
        "coin_from_tag_mm": coin_from_tag,
    }
    asking = tag_height is None
    if asking:
        typer.echo(DRAWING)
        typer.echo(
            "Give millimetres, or the unit with the number (3 cm); leave a line empty to leave it out."
        )
    head = _values(HEAD_ENTRIES, given, asking=asking)
    shelf_given = any(given[entry.key] is not None for entry in SHELF_ENTRIES)
    asking_shelf = asking and (shelf_given or typer.confirm("Will a coin lie on this head?", default=True))
    shelf = _values(SHELF_ENTRIES, given, asking=asking_shelf) if asking_shelf or shelf_given else None
    write_whole(file, club_toml(club_of(head, shelf)).encode())
    typer.echo(f"Wrote {file}.")


@club.command("check")
def check(file: Annotated[Path, typer.Argument(help="Club file to read.")]) -> None:
    """Read a club file and show what it says, with what is assumed where it says nothing."""
    typer.echo(club_toml(load_club(file)), nl=False)


def _values(entries: tuple[Entry, ...], given: dict[str, float | None], *, asking: bool) -> dict[str, float]:
    values = {}
    for entry in entries:
        value = given[entry.key]
        if value is not None:
            values[entry.key] = entry.checked(value)
        elif asking and (answer := _asked(entry)) is not None:
            values[entry.key] = answer
    return values


def _asked(entry: Entry) -> float | None:
    """Ask until the answer is possible; None when it is left out."""
    needed = entry.key == "tag_height_mm"
    letter = f"{LETTERS[entry.key]}: " if entry.key in LETTERS else ""
    left_out = "" if entry.assumed is None else f" (empty: {entry.assumed:g})"
    while True:
        answer = typer.prompt(f"{letter}{entry.words} [mm]{left_out}", default="", show_default=False)
        if not answer.strip():
            if not needed:
                return None
            typer.echo("  This is the one line that is needed: without it there is nothing to write.")
            continue
        try:
            return entry.checked(_number(answer))
        except CannotMeasure as error:
            typer.echo(f"  {error.message} {error.fix}")


def _number(answer: str) -> float | str:
    """Return an answer such as '30', '30,3 mm' or '1.2 in' in millimetres, or as it is where it is none."""
    match = re.fullmatch(r"([-+]?\d*[.,]?\d+)\s*(mm|cm|in)?", answer.strip().lower())
    return float(match[1].replace(",", ".")) * MM[match[2] or "mm"] if match else answer
