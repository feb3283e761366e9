"""A clip on its way in: streamed to disk, whole or not at all."""

from __future__ import annotations

import asyncio
import os
import shutil
from collections.abc import AsyncIterator
from pathlib import Path

MB = 1_000_000
LARGEST_CLIP = 2_000 * MB
"""Chosen by us: a minute of 4K at 240 frames a second; a stroke takes a fiftieth."""
FREE_LEFT = 500 * MB
"""Chosen by us: what stays free on the disk, for the report and for the laptop itself."""
IDLE_S = 30.0
"""Chosen by us: a phone that sends nothing for so long was locked or has left."""
PART = ".part"


class CannotTake(Exception):  # noqa: N818 - reads as the sentence it raises
    """A clip that was not taken, with the status to answer and a sentence for the phone."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status
        self.words = words


async def take_in(body: AsyncIterator[bytes], place: Path, *, idle_s: float = IDLE_S) -> None:
    """Write what comes to a file beside `place`, then rename it; whatever fails, nothing is left.

    Raises
    ------
    CannotTake
        When the disk is nearly full, or nothing comes for too long.

    """
    part = place.with_name(f".{place.name}{PART}")
    try:
        with part.open("wb") as stream:
            unchecked = MB
            chunks = aiter(body)
            while True:
                try:
                    chunk = await asyncio.wait_for(anext(chunks), idle_s)
                except StopAsyncIteration:
                    break
                unchecked += len(chunk)
                if unchecked >= MB:
                    unchecked = 0
                    if shutil.disk_usage(place.parent).free < FREE_LEFT:
                        raise CannotTake(
                            507, "The laptop's disk is full. Free some space there; then send again."
                        )
                stream.write(chunk)
            stream.flush()
            await asyncio.to_thread(os.fsync, stream.fileno())
        if not part.stat().st_size:
            raise CannotTake(400, "The clip is empty. Pick it again.")
        part.replace(place)
    except TimeoutError:
        raise CannotTake(408, "Nothing came for half a minute. Keep the page open; it sends again.") from None
    except OSError as error:
        raise CannotTake(
            507, f"The laptop cannot write it ({error.strerror}). Free some space there."
        ) from error
    finally:
        part.unlink(missing_ok=True)


def sweep_parts(folder: Path, *written: str) -> None:
    """Remove what a page that was killed left of clips half sent, and of its own files half written."""
    for pattern in (f".*{PART}", *(f".{name}.*" for name in written)):
        for part in folder.glob(pattern):
            part.unlink(missing_ok=True)
