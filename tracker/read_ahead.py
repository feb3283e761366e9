"""Decoding in one thread, measuring in another: neither waits for the other's slow frames."""

from __future__ import annotations

import queue
import threading
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from typing import TypeVar

Item = TypeVar("Item")

FRAMES_AHEAD = 12
"""Chosen by us: covers the slowest frames (a search of the whole picture) at 40 MB of 1080p pictures."""

STOP_LOOK_S = 0.1
"""Chosen by us: how often a full queue looks whether anybody still reads it."""


@dataclass(frozen=True, slots=True)
class _End:
    """The last thing in the queue: why the source ended."""

    error: BaseException | None


def read_ahead(source: Iterator[Item], *, ahead: int = FRAMES_AHEAD) -> Generator[Item]:
    """Yield what the source yields, in order, produced by a thread that may run ahead of the reader.

    Parameters
    ----------
    source : Iterator
        Runs in the thread from the first item on; an exception it raises is raised here, after the items
        before it.
    ahead : int
        How many items may wait.

    """
    waiting: queue.Queue[Item | _End] = queue.Queue(maxsize=ahead)
    abandoned = threading.Event()

    def hand_over(item: Item | _End) -> bool:
        while not abandoned.is_set():
            try:
                waiting.put(item, timeout=STOP_LOOK_S)
            except queue.Full:
                continue
            return True
        return False

    def produce() -> None:
        error: BaseException | None = None
        try:
            for item in source:
                if not hand_over(item):
                    break
        except BaseException as caught:  # noqa: BLE001 - raised again by the reader
            error = caught
        hand_over(_End(error))

    worker = threading.Thread(target=produce, name="decoding", daemon=True)
    worker.start()
    try:
        while not isinstance(item := waiting.get(), _End):
            yield item
        if item.error is not None:
            raise item.error
    finally:
        abandoned.set()
        worker.join()
