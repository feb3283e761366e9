"""From a clip to its measurement: the one path that every command and every lesson takes."""

from __future__ import annotations

import importlib
import threading
from collections.abc import Callable
from pathlib import Path

from pennyfall.tracker.clip.reading import Clip
from pennyfall.tracker.follow.clip_pass import follow_clip
from pennyfall.tracker.measure.measured import ClipResult
from pennyfall.tracker.measure.refusals import refuse_mirrored, refuse_unusable
from pennyfall.tracker.measure.settings import Settings

Progress = Callable[[float], None]


def measure_clip(path: Path, settings: Settings, *, progress: Progress | None = None) -> ClipResult:
    """Measure every stroke in a clip.

    Parameters
    ----------
    path : Path
        The video file.
    settings : Settings
        What the coach told beside the clip.
    progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    CannotMeasure
        When the clip cannot be read, sheet or head cannot be found, or no whole stroke is in it.

    """
    clip = Clip(path, recorded_at_hz=settings.recorded_at_hz)
    promised = clip.header.frames_promised

    def followed_to(index: int, _time_s: float) -> None:
        if index == 0:
            threading.Thread(target=_load_what_follows).start()
        if progress is not None:
            progress((index + 1) / promised if promised > index else 1.0)

    followed = follow_clip(
        clip, settings.tags, lens=settings.lens, box=settings.box, dot=settings.dot, progress=followed_to
    )
    if followed.pose is None:
        from pennyfall.tracker.measure.no_sheet import by_head_tag

        refuse_mirrored(path, settings.tags)
        followed = by_head_tag(followed, clip, stated_height=settings.stated_height, lens=settings.lens)
    refuse_unusable(path.name, followed, method=settings.method)
    from pennyfall.tracker.measure.from_followed import measure_followed

    return measure_followed(clip, followed, settings)


def _load_what_follows() -> None:
    """Load what is needed after the last frame, while the frames are decoded: most of a second saved.

    Not before the first frame, which takes long: loading and measuring would take turns, nothing decoding.
    """
    for module in ("pennyfall.tracker.measure.from_followed", "pennyfall.cli.files.measurement"):
        importlib.import_module(module)
