"""The shipped clips: where their files are."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from pennyfall.demo_clips.larch import SCENES
from pennyfall.demo_clips.record import truth_path


@dataclass(frozen=True, slots=True)
class DemoClip:
    """A shipped clip with its exact truth."""

    name: str
    """Its name, such as 'larch-240-early'."""
    path: Path
    """The MP4 file."""
    truth: Path
    """The JSON document beside it; read it with `pennyfall.demo_clips.truth.load_truth`."""


def clip_folder() -> Path:
    """Return the folder that holds the clips."""
    return Path(str(resources.files("pennyfall.demo_clips")))


def shipped_clips() -> tuple[DemoClip, ...]:
    """Return every shipped clip that is there, in the order of the scenes."""
    paths = [clip_folder() / f"{name}.mp4" for name in SCENES]
    return tuple(DemoClip(path.stem, path, truth_path(path)) for path in paths if path.exists())
