"""The `--help` texts in the guides: what stands there, what it should be, and how to renew it.

Renew all of them with ``python -m tests.cli.help_texts``.
"""

from __future__ import annotations

import re
from pathlib import Path

from typer.testing import CliRunner

from pennyfall.cli.app import app

ROOT = Path(__file__).resolve().parents[2]
GUIDES = (ROOT / "README.md", ROOT / "DEVELOPERS.md")
BLOCK = re.compile(r"<!-- help: (?P<command>pennyfall[^>]*?) -->\n```text\n(?P<text>.*?)```", re.DOTALL)


def blocks(guide: str) -> dict[str, str]:
    """Return the help texts a guide shows, by command."""
    return {found["command"]: found["text"] for found in BLOCK.finditer(guide)}


def help_text(command: str) -> str:
    """Return what a command says when asked for help, on a terminal of 80 columns."""
    result = CliRunner().invoke(app, [*command.split()[1:], "--help"], prog_name="pennyfall")
    if result.exit_code != 0:
        raise ValueError(f"'{command} --help' failed: {result.output}")
    return result.stdout.rstrip() + "\n"


def renewed(guide: str) -> str:
    """Return a guide with every help text brought up to date."""
    return BLOCK.sub(
        lambda found: f"<!-- help: {found['command']} -->\n```text\n{help_text(found['command'])}```", guide
    )


if __name__ == "__main__":
    for path in GUIDES:
        path.write_text(renewed(path.read_text(encoding="utf-8")), encoding="utf-8")
