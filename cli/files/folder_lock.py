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
    with one_run_at_a_time(folder / LOCK_FILE, folder):
        yield


@contextmanager
def one_run_at_a_time(lock_file: Path, worked_on: Path) -> Iterator[None]:
    """Hold a lock for the body, by a file beside what is worked on.

    Raises
    ------
    CannotMeasure
        When another run holds it, or the place cannot be written.

    """
    lock = FileLock(lock_file, blocking=False)
    try:
        lock.acquire()
    except Timeout:
        raise CannotMeasure(
            f"Another run is working on {worked_on} at this moment.",
            fix="Wait until it has finished, then run again: what it measured is kept.",
        ) from None
    except OSError as error:
        raise CannotMeasure(
            f"{lock_file.parent} cannot be written ({error.strerror}).",
            fix="Name a folder that may be written.",
        ) from error
    try:
        yield
    finally:
        lock.release()
