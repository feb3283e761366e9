"""The files derived from each clip: where they lie, which are still valid, and how they are written.

The measurement file is written last, so a clip counts as measured only when everything else is there.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pennyfall.cli.files.measurement import from_document, to_document, write_whole
from pennyfall.cli.files.track import track_bytes
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Measurement

if TYPE_CHECKING:
    import pandas as pd

    from pennyfall.tracker.clip.album import Album

MEASURED_FOLDER = "measured"
REPORT_FILE = "report.html"


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MeasuredClip:
    """What measuring one clip gives."""

    measurement: Measurement
    track: pd.DataFrame
    """The track, one line a frame; the columns t_s, u_px and v_px place the head in the picture."""
    album: Album
    """Small pictures of it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RefusedClip:
    """A clip that could not be measured, and what to do about it."""

    clip: str
    message: str
    fix: str
    setting: str = ""
    """Which setting the remedy is about, as `CannotMeasure` has it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasuredWith:
    """Everything besides the clip's content that its measurement depends on."""

    options: Mapping[str, Any]
    """The measuring options as plain values, the content of files they name included."""
    version: str
    """The software's version."""
    boxes: Mapping[str, str] = field(default_factory=dict)
    """What holds for one clip alone: where its head is on the first frame, by the clip's name."""

    def fingerprint(self, clip_sha256: str, clip: str) -> str:
        """Return the name of 'this clip measured this way'."""
        own = {"box": self.boxes[clip]} if clip in self.boxes else {}
        text = json.dumps([clip_sha256, self.version, {**self.options, **own}], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()


def measurement_path(folder: Path, clip: str) -> Path:
    """Return where the measurement file of a clip lies."""
    return _derived(folder, clip, ".json")


def track_path(folder: Path, clip: str) -> Path:
    """Return where the track of a clip lies."""
    return _derived(folder, clip, ".track.csv")


def annotated_path(folder: Path, clip: str, stroke: int) -> Path:
    """Return where the annotated clip of one stroke lies."""
    return _derived(folder, clip, f".stroke-{stroke}.mp4")


def picture_path(folder: Path, clip: str) -> Path:
    """Return where the small picture of a clip lies."""
    return _derived(folder, clip, ".png")


def _derived(folder: Path, clip: str, ending: str) -> Path:
    """Return where what was derived from a clip lies; one in a sub-folder keeps that in its name."""
    return folder / MEASURED_FOLDER / f"{clip.replace('/', '--')}{ending}"


def derived_files(folder: Path) -> tuple[Path, ...]:
    """Return every file in a lesson folder that was derived from its clips."""
    inside = folder / MEASURED_FOLDER
    found = sorted(path for path in inside.iterdir() if path.is_file()) if inside.is_dir() else []
    report = folder / REPORT_FILE
    return (*found, *([report] if report.is_file() else []))


def sweep_unfinished(folder: Path) -> int:
    """Remove what a killed run left half written (names beginning with a dot); return how many files."""
    inside = folder / MEASURED_FOLDER
    left = [*inside.glob(".*"), *folder.glob(f".{REPORT_FILE}.*")] if inside.is_dir() else []
    for path in left:
        path.unlink(missing_ok=True)
    return len(left)


def keep_measured(folder: Path, clip: str, measured: MeasuredClip, fingerprint: str) -> None:
    """Write a clip's track and then its measurement file.

    Raises
    ------
    CannotMeasure
        When the disk is full or the place cannot be written.

    """
    write_whole(track_path(folder, clip), track_bytes(measured.track))
    document = to_document(measured.measurement)
    _write_json(measurement_path(folder, clip), {**document, "fingerprint": fingerprint})


def keep_refused(folder: Path, refused: RefusedClip, fingerprint: str) -> None:
    """Write down that a clip cannot be measured, so that it is not tried again unchanged."""
    said = {"message": refused.message, "fix": refused.fix}
    if refused.setting:
        said["setting"] = refused.setting
    _write_json(measurement_path(folder, refused.clip), {"refused": said, "fingerprint": fingerprint})


def find_measured(folder: Path, clip: str, fingerprint: str) -> Measurement | RefusedClip | None:
    """Return the kept result of a clip measured in just this way, or None when it has to be measured."""
    try:
        document = json.loads(measurement_path(folder, clip).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None  # absent, or damaged from outside: measure again
    if not isinstance(document, dict) or document.get("fingerprint") != fingerprint:
        return None
    if "refused" in document:
        return RefusedClip(clip=clip, **document["refused"])
    try:
        return from_document(document)
    except CannotMeasure:
        return None


def _write_json(path: Path, document: Mapping[str, Any]) -> None:
    write_whole(path, json.dumps(document, indent=1, allow_nan=False).encode() + b"\n")
