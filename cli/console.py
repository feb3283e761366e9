"""The progress line of a long command: on the error stream, on a terminal only."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import typer

Advance = Callable[[float], None]
"""Tells the bar how much is done, as a share from 0 to 1."""


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
