"""The guide to the commands: every `--help` text, in the order of the overview, and how to renew it.

Renew it with ``python -m tests.cli.help_texts``.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer
from typer.main import get_command
from typer.testing import CliRunner

from pennyfall.cli.app import app

ROOT = Path(__file__).resolve().parents[2]
GUIDE = ROOT / "cli" / "COMMANDS.md"
HEAD = """\
# Commands

What each command says when it is asked for `--help`.

A command that cannot measure says what is wrong and what to do, and ends with exit code 2, as does a wrong
option. Exit code 1 is a defect of pennyfall: run the command again as `pennyfall --debug ...` for its
traceback. Files are written whole or not at all. Where a clip was filmed is never read, printed or stored.
"""


def commands() -> list[str]:
    """Return every command as it is typed, those of the groups included."""
    return ["pennyfall", *_below(get_command(app), "pennyfall")]


def help_text(command: str) -> str:
    """Return what a command says when asked for help, on a terminal of 80 columns."""
    result = CliRunner().invoke(app, [*command.split()[1:], "--help"], prog_name="pennyfall")
    if result.exit_code != 0:
        raise ValueError(f"'{command} --help' failed: {result.output}")
    return result.stdout.rstrip() + "\n"


def guide() -> str:
    """Return the guide as it should be."""
    return "\n".join([HEAD, *(f"## {each}\n\n```text\n{help_text(each)}```\n" for each in commands())])


def _below(group: Any, name: str) -> Iterator[str]:  # noqa: ANN401 - typer hides the types of its groups
    context = typer.Context(group)
    for each in group.list_commands(context):
        yield f"{name} {each}"
        command = group.get_command(context, each)
        if hasattr(command, "list_commands"):
            yield from _below(command, f"{name} {each}")


if __name__ == "__main__":
    GUIDE.write_text(guide(), encoding="utf-8")
