"""What every command shows on the error stream: progress, on a terminal only, and refusals."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from subprocess import list2cmdline

import typer

from pennyfall.kinematics.errors import CannotMeasure

Advance = Callable[[float], None]
"""Tells the bar how much is done, as a share from 0 to 1."""


OPTIONS = {
    "coin_landed": "--coin-landed",
    "dot": "--dot",
    "length": "--length",
    "mark": "--dot or --box",
    "box": "--box",
    "pattern": "--pattern",
    "readout": "--readout-ms",
    "recorded_at": "--recorded-at",
}
"""How each setting that a refusal's remedy may be about is given on the command line."""


@contextmanager
def progress_bar(label: str, *, quiet: bool = False) -> Iterator[Advance]:
    """Show a bar while the body runs.

    Parameters
    ----------
    label : str
        What is being worked on, such as the clip's name.
    quiet : bool
        Draw nothing (as when the error stream is no terminal).

    Yields
    ------
    Advance
        Call it with the share done, 0 to 1, as often as you like.

    """
    hidden = quiet or not sys.stderr.isatty()
    with typer.progressbar(length=100, label=label, hidden=hidden, file=sys.stderr) as bar:
        yield lambda share: bar.update(max(0, round(100 * share) - bar.pos))


def refusal(error: CannotMeasure) -> str:
    """Return what cannot be measured, its remedy, and the option by which it is given."""
    option = f" ({OPTIONS[error.setting]})" if error.setting else ""
    return f"{error.message}\n{error.fix}{option}"


def typed(path: Path) -> str:
    """Return a path as it has to be typed in a shell: in quotes where it has spaces."""
    return list2cmdline([str(path)]) if os.name == "nt" else shlex.quote(str(path))
