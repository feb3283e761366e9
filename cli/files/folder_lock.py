"""One run at a time on a lesson folder, by a lock that dies with its process."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from pennyfall.kinematics.errors import CannotMeasure

LOCK_FILE = ".lesson.lock"


@contextmanager
def folder_lock(folder: Path) -> Iterator[None]:
    """Hold the folder's lock for the body.

    The system releases the lock when the process ends in whatever way, so a killed run leaves nothing to
    clear up; the empty file itself may stay.

    Raises
    ------
    CannotMeasure
        When another run holds it, or the folder is not there or cannot be written.

    """
    if not folder.is_dir():
        raise CannotMeasure(
            f"There is no folder {folder}.", fix="Name the folder that holds the lesson's clips."
        )
    lock = FileLock(folder / LOCK_FILE, blocking=False)
    try:
        lock.acquire()
    except Timeout:
        raise CannotMeasure(
            f"Another run is working on {folder} at this moment.",
            fix="Wait until it has finished, then run again: what it measured is kept.",
        ) from None
    except OSError as error:
        raise CannotMeasure(
            f"{folder} cannot be written ({error.strerror}).",
            fix="Name a lesson folder that may be written.",
        ) from error
    try:
        yield
    finally:
        lock.release()
