"""From a clip to its measurement: the six stages in order, the one path that everything takes."""

from __future__ import annotations

import importlib
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from pennyfall.tracker.clip.album import Album
from pennyfall.tracker.clip.reading import read_clip
from pennyfall.tracker.measure.seen import Progress, Seen, follow
from pennyfall.tracker.measure.settings import Settings

if TYPE_CHECKING:  # loading what comes after the last frame takes as long as decoding a short clip
    from pennyfall.tracker.measure.measured import Measured


def measure_clip(
    path: Path, settings: Settings, *, album: Album | None = None, progress: Progress | None = None
) -> Measured:
    """Measure every stroke in a clip.

    Parameters
    ----------
    path : Path
        The video file.
    settings : Settings
        What was stated beside the clip.
    album : Album, optional
        Gets a small copy of every picture, for what is shown of the clip later.
    progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    CannotMeasure
        When the clip cannot be read, sheet or head cannot be found, or no whole stroke is in it.

    """
    return measure_seen(see_clip(path, settings, album=album, progress=progress), settings)


def see_clip(
    path: Path, settings: Settings, *, album: Album | None = None, progress: Progress | None = None
) -> Seen:
    """Read a clip and follow what is in its pictures: the stages that need the film.

    Raises
    ------
    CannotMeasure
        When the clip cannot be read.

    """
    loading = threading.Thread(target=_load_what_follows)

    def followed_to(share: float) -> None:
        # Not before the first frame, which takes long: both would take turns, nothing decoding, 0.3 s more.
        if loading.ident is None:
            loading.start()
        if progress is not None:
            progress(share)

    reading = read_clip(path, recorded_at_hz=settings.recorded_at_hz)
    return follow(reading, settings, album=album, progress=followed_to)


def measure_seen(seen: Seen, settings: Settings) -> Measured:
    """Measure the strokes of a clip that was followed to its end: the stages that need numbers only.

    Raises
    ------
    CannotMeasure
        When sheet or head was not found, no whole stroke was, or the times cannot be true.

    """
    from pennyfall.tracker.measure.measured import measures
    from pennyfall.tracker.measure.motion import smooth
    from pennyfall.tracker.measure.placed import place
    from pennyfall.tracker.measure.timed import on_true_times

    placed = place(on_true_times(seen, settings), settings)
    return measures(smooth(placed), placed, settings)


def _load_what_follows() -> None:
    """Load what is needed after the last frame, while the frames are decoded: most of a second saved."""
    for module in ("pennyfall.tracker.follow.shaft", "pennyfall.tracker.measure.measured"):
        importlib.import_module(module)
