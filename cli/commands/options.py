"""Options that several commands share: what a coach tells beside a clip, and which coin lies on what."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Annotated, Any, get_type_hints

import typer

Club = Annotated[Path | None, typer.Option(help="Club file (pennyfall club new).")]
CoinName = Annotated[str, typer.Option("--coin", help="Which coin, such as us-quarter, us-dime, euro-1.")]
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

CLIP_OPTIONS = {
    "club": Club,
    "tag_height_mm": Annotated[
        float | None,
        typer.Option("--tag-height", help="Height of the head tag above the floor at address, in mm."),
    ],
    "lens": Annotated[Path | None, typer.Option(help="Lens file (pennyfall lens).")],
    "layout": Annotated[Path | None, typer.Option(help="Tag layout of your own, a JSON file.")],
    "ruler_mm": Annotated[
        float | None, typer.Option("--ruler", help="What the sheet's 100 mm check ruler measures, in mm.")
    ],
    "recorded_at_hz": Annotated[
        float | None,
        typer.Option("--recorded-at", help="True frame rate of a slow-motion clip, in frames/s."),
    ],
    "box": Annotated[
        str | None,
        typer.Option(
            help="Where the head is on the first frame, x,y,w,h in px: names it where it is not found by "
            "itself; beside a sheet, this patch of it is followed."
        ),
    ],
    "dot": Annotated[
        str | None,
        typer.Option(
            help="Follow a dot on the head, with a sheet by the ball: the dot's colour (a name or #rrggbb), "
            "or a box around it: x,y,w,h on the first frame, px."
        ),
    ],
    "readout_ms": Annotated[
        float | None,
        typer.Option(help="Time in which the camera reads out a picture, first row to last, in ms."),
    ],
}
"""The options of a clip, under the names that `settings_from` gives what they state."""


def with_settings(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options of a clip in place of its parameter `settings`, which gets what they say.

    An option that the command names itself goes to both.
    """
    own = inspect.signature(command).parameters
    # `Settings` is loaded by the command that is called, not by its help.
    kinds = get_type_hints(command, localns={"Settings": object}, include_extras=True)
    shown = []
    for name, parameter in own.items():
        if name != "settings":
            shown.append(parameter.replace(annotation=kinds[name]))
            continue
        shown += [
            inspect.Parameter(each, inspect.Parameter.KEYWORD_ONLY, default=None, annotation=kind)
            for each, kind in CLIP_OPTIONS.items()
            if each not in own
        ]

    @wraps(command)
    def called(**given: Any) -> None:  # noqa: ANN401 - what each option holds is typer's to say
        from pennyfall.cli.files.settings import settings_from

        settings = settings_from(**{name: given[name] for name in CLIP_OPTIONS})
        command(**{name: value for name, value in given.items() if name in own}, settings=settings)

    called.__signature__ = inspect.Signature(shown)  # type: ignore[attr-defined]
    called.__annotations__ = {each.name: each.annotation for each in shown}
    return called
