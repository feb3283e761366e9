"""The command line's entry point: names every command, imports only the one that is called."""

from __future__ import annotations

import contextlib
import os
import sys
import traceback
from importlib import import_module
from io import TextIOWrapper
from typing import Annotated, Any

import typer
from typer.core import TyperGroup
from typer.main import get_command

from pennyfall.cli.console import refusal
from pennyfall.kinematics.errors import CannotMeasure

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
"""The smoother's matrices are small: sharing them out over threads cost a measured second of a clip's ten."""

EXIT_DEFECT = 1
EXIT_CANNOT_MEASURE = 2
EXIT_STOPPED = 130
"""As every shell has it, and typer: stopped by Ctrl-C."""

COMMANDS = {
    "measure": "Measure the strokes in a clip.",
    "check": "Say whether a clip can be measured, and how well.",
    "sheet": "Write the floor sheet and the head tags as a PDF.",
    "lens": "Make a lens file from a clip of a board.",
    "club": "Write or check a club file.",
    "demo": "Measure the shipped clips and set them beside their truth.",
    "coin": "Predict where a loose coin leaves the head and lands.",
    "plan": "Say at which putt lengths the coin leaves by itself.",
    "lesson": "Measure a lesson and compare its conditions.",
    "season": "Measure thousands of clips into one table.",
    "serve": "Open a page to which phones send their clips.",
    "history": "Keep lessons and follow a student over weeks.",
    "prove": "Prove what the figures are worth.",
}
"""Each command's line in the overview. Command `name` is the function (or the `typer.Typer`, where it has
commands of its own) called `name` in the module `commands/name.py`."""


class LazyCommands(TyperGroup):
    """The group of all commands; a command's module is imported when the command is called, not before."""

    def list_commands(self, ctx: typer.Context) -> list[str]:  # type: ignore[override]
        """Return the names in the order of the overview."""
        return list(COMMANDS)

    def get_command(self, ctx: typer.Context, cmd_name: str) -> Any:  # type: ignore[override]  # noqa: ANN401
        """Import one command, or return None when there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        found = getattr(import_module(f"pennyfall.cli.commands.{cmd_name}"), cmd_name)
        return get_command(found if isinstance(found, typer.Typer) else _alone(found, cmd_name))

    def format_commands(self, ctx: typer.Context, formatter: Any) -> None:  # type: ignore[override]  # noqa: ANN401
        """Write the overview without importing any command."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def invoke(self, ctx: typer.Context) -> Any:  # type: ignore[override]  # noqa: ANN401
        """Run the command; turn what went wrong into words and an exit code, here and nowhere else."""
        debug = bool(ctx.params.get("debug"))
        try:
            return super().invoke(ctx)
        except (typer.Exit, typer.Abort, typer.TyperException, BrokenPipeError):
            raise  # typer's own endings: help shown, usage error (exit code 2), reader gone
        except CannotMeasure as error:
            _explain(refusal(error), debug=debug)
            raise typer.Exit(EXIT_CANNOT_MEASURE) from None
        except OSError as error:
            _explain(f"{error.filename or 'A file'}: {error.strerror or error}.", debug=debug)
            raise typer.Exit(EXIT_CANNOT_MEASURE) from None
        except Exception as error:  # noqa: BLE001 - the last resort: a coach sees a sentence, no traceback
            _explain(
                f"A defect in pennyfall stopped this command ({type(error).__name__}: {error}).\n"
                "Run it again as 'pennyfall --debug ...' and send the text to whoever looks after pennyfall.",
                debug=debug,
            )
            raise typer.Exit(EXIT_DEFECT) from None


app = typer.Typer(
    cls=LazyCommands,
    name="pennyfall",
    rich_markup_mode=None,  # plain text: importing rich would double the time to --help, 0.18 s in all
    pretty_exceptions_enable=False,
    add_completion=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version  # brings the parser of e-mails, which no other command needs

        typer.echo(f"pennyfall {version('pennyfall')}")
        raise typer.Exit


@app.callback()
def options(
    *,
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback when something fails.")] = False,
    show_version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Turn a phone clip of a putting stroke into measurements a coach can stake a lesson on."""


def main() -> None:
    """Run the command line, and leave at once: to take half of scipy apart again takes a quarter second."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):  # a Windows pipe has no minus sign: better a '?' than nothing
            stream.reconfigure(errors="replace")
    try:
        app(prog_name="pennyfall")
    except SystemExit as ending:
        if not isinstance(ending.code, int) or ending.code == EXIT_STOPPED:
            raise  # what a stopped command still holds is given back on the usual way out
        with contextlib.suppress(BrokenPipeError):  # the reader has gone, and had all it wanted
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(ending.code)


def _alone(function: Any, name: str) -> typer.Typer:  # noqa: ANN401
    single = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False, add_completion=False)
    single.command(name)(function)
    return single


def _explain(words: str, *, debug: bool) -> None:
    if debug:
        traceback.print_exc(file=sys.stderr)
    typer.echo(words, err=True)
