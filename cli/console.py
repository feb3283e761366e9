"""The progress line of a long command: on the error stream, on a terminal only."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

BAR_CELLS = 30
REDRAW_S = 0.1
"""Chosen by us: ten times a second looks smooth and costs nothing beside the decoding."""

Advance = Callable[[float], None]
"""Tells the bar how much is done, as a share from 0 to 1."""


@contextmanager
def progress_bar(label: str, *, quiet: bool = False) -> Iterator[Advance]:
    """Show a bar while the body runs; it is wiped afterwards, so that only results stay on the screen.

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
    stream = sys.stderr
    if quiet or not stream.isatty():
        yield lambda _share: None
        return
    last_drawn_s = -REDRAW_S

    def advance(share: float) -> None:
        nonlocal last_drawn_s
        now_s = time.monotonic()
        if now_s - last_drawn_s < REDRAW_S:
            return
        last_drawn_s = now_s
        full = round(BAR_CELLS * min(max(share, 0.0), 1.0))
        stream.write(f"\r{label} [{'=' * full}{' ' * (BAR_CELLS - full)}] {100 * share:3.0f} %")
        stream.flush()

    try:
        yield advance
    finally:
        stream.write("\r\x1b[K")  # back to the start of the line, and clear it
        stream.flush()
