"""One run at a time on a lesson folder, by an advisory lock that dies with its process."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pennyfall.kinematics.errors import CannotMeasure

LOCK_FILE = ".lesson.lock"


@contextmanager
def folder_lock(folder: Path) -> Iterator[None]:
    """Hold the folder's lock for the body.

    The kernel releases the lock when the process ends in whatever way, so a killed run leaves nothing to
    clear up; the empty file itself stays.

    Raises
    ------
    CannotMeasure
        When another run holds it, or the folder cannot be written.

    """
    try:
        handle = os.open(folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise CannotMeasure(
            f"{folder} cannot be written ({error.strerror}).",
            fix="Name a lesson folder that exists and may be written.",
        ) from error
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise CannotMeasure(
                f"Another run is working on {folder} at this moment.",
                fix="Wait until it has finished, then run again: what it measured is kept.",
            ) from None
        yield
    finally:
        os.close(handle)
