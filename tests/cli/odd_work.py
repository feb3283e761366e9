"""Work for the page's processes that ends well, badly, or not at all."""

from __future__ import annotations

import os
import time
from collections.abc import Callable


def greet(tell: Callable[[object], None], name: str) -> str:
    """Say something on the way, and end well."""
    tell("at work")
    return f"hello {name}"


def hang(_tell: object) -> None:
    """Take longer than anybody waits."""
    time.sleep(60)


def die(_tell: object) -> None:
    """End the process."""
    os._exit(1)


def stumble(_tell: object) -> None:
    """Show a defect."""
    raise KeyError("a defect")
