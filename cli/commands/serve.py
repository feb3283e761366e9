"""`pennyfall serve`: a page on the laptop to which phones send their clips."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from pennyfall.cli.serve.server import Opened


def serve(
    folder: Annotated[
        Path | None,
        typer.Argument(
            metavar="FOLDER", help="The lesson's folder, made when not there; default: by today's date."
        ),
    ] = None,
    *,
    address: Annotated[
        str | None, typer.Option(help="This laptop's address on the phones' network; default: the likeliest.")
    ] = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port of the page; 0 takes a free one.")] = 8723,
    database: Annotated[
        Path | None, typer.Option(help="History database; default: the usual place for user data.")
    ] = None,
    no_history: Annotated[bool, typer.Option("--no-history", help="Record nothing in the history.")] = False,
    processes: Annotated[
        int | None, typer.Option(min=1, help="Clips measured at once; default: one a core.")
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Do not open the page here.")] = False,
) -> None:
    """Open a lesson's page here and to phones on the same network: they send clips, all see the strokes.

    A phone scans the code on the page. What is sent lies in the folder, as do clips copied there by cable;
    `pennyfall lesson run` goes on from it. Ctrl-C ends the page, and nothing is lost. Whoever shares the
    network can listen in: use codes, no names. Film and share only with consent, a guardian's for minors.
    """
    import datetime as dt

    from pennyfall.cli.history.database import default_database
    from pennyfall.cli.serve.server import serve as serve_page

    serve_page(
        folder or Path(f"lesson-{dt.datetime.now().astimezone():%Y-%m-%d}"),
        address=address,
        port=port,
        database=None if no_history else database or default_database(),
        processes=processes,
        browse=not no_browser,
        opened=_say,
    )


def _say(opened: Opened) -> None:
    from pennyfall.cli.serve.server import code_lines

    typer.echo(code_lines(opened.phones[0]))
    typer.echo(f"For phones, by this code: {opened.phones[0]}")
    for other in opened.phones[1:]:
        typer.echo(f"If that does not open: {other}")
    typer.echo(f"For this laptop: {opened.coach}")
    typer.echo("A phone that cannot reach it: many guest networks keep devices apart; use a phone's hotspot.")
    typer.echo("Ctrl-C ends the page.")
