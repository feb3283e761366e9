"""What happened, numbered: a page that lost its line asks for what it missed."""

from __future__ import annotations

import asyncio
import secrets
from collections import deque
from collections.abc import AsyncIterator
from dataclasses import dataclass
from itertools import islice

import anyio

MOST_KEPT = 2000
"""Chosen by us: a day's lesson; who missed more is told to ask for everything."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Event:
    """One thing that is new."""

    kind: str
    """A clip, the lesson, or all: whoever hears it asks for that anew."""
    of: str = ""
    """Which clip."""
    sender: str = ""
    """Whose it is; empty where it is nobody's."""


class EventLog:
    """Numbered events; several may listen, each from where it was."""

    def __init__(self) -> None:
        self._run = secrets.token_hex(4)  # numbers of an earlier run mean nothing
        self._kept: deque[Event] = deque(maxlen=MOST_KEPT)
        self._told = 0
        self._news = asyncio.Event()
        self._closed = False

    @property
    def now(self) -> str:
        """The name of the last event."""
        return f"{self._run}-{self._told}"

    def tell(self, kind: str, of: str = "", sender: str = "") -> None:
        """Note an event and wake who listens."""
        self._kept.append(Event(kind=kind, of=of, sender=sender))
        self._told += 1
        self._news.set()
        self._news = asyncio.Event()

    async def close_at(self, ending: anyio.Event) -> None:
        """Let everybody who listens go once the page ends."""
        await ending.wait()
        self._closed = True
        self._news.set()

    async def since(self, name: str) -> AsyncIterator[tuple[str, Event]]:
        """Yield name and event of everything after the event called `name`, until the page ends."""
        run, _, number = name.partition("-")
        seen = int(number) if run == self._run and number.isdigit() else -1
        while not self._closed:
            news = self._news
            missed = self._told - seen
            if seen < 0 or not 0 <= missed <= len(self._kept):
                seen = self._told
                yield self.now, Event(kind="all")
            for event in (
                list(islice(self._kept, len(self._kept) - missed, None)) if seen < self._told else ()
            ):
                seen += 1
                yield f"{self._run}-{seen}", event
            if seen == self._told:
                await news.wait()
