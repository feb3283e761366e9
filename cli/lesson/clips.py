"""How the clips of a lesson are measured and annotated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from pennyfall.cli.files.lesson_file import FILE_KEYS, SETTINGS_KEYS, Lesson
from pennyfall.cli.files.lesson_result import LessonResult
from pennyfall.cli.files.measured_files import (
    MeasuredClip,
    MeasuredWith,
    annotated_path,
    measurement_path,
    track_path,
)
from pennyfall.cli.files.measurement import load_measurement, refuse_unwritable
from pennyfall.cli.files.settings import settings_from
from pennyfall.cli.files.track import track_table
from pennyfall.cli.lesson.side_by_side import MeasureClip
from pennyfall.cli.report.film.annotate import (
    Look,
    annotate_stroke,
    decoded_pictures,
    shown_from_s,
    shown_span_s,
)
from pennyfall.cli.report.film.overlay import HeadPath
from pennyfall.cli.report.page.drawings import stroke_id
from pennyfall.cli.report.page.lesson import Film
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.clip.album import Album
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.measure.clip import measure_clip
from pennyfall.tracker.measure.settings import Settings

PAGE_LOOK = Look(height_px=360, slow=4.0, strip=False, quality=28)
"""Chosen by us: twelve strokes make a page of some ten megabytes, small enough for a message; the page draws
its own acceleration curve."""


def lesson_measuring(folder: Path, lesson: Lesson) -> tuple[MeasureClip, MeasuredWith]:
    """Return the function that measures the lesson's clips, and what its results depend on.

    Raises
    ------
    CannotMeasure
        When a file the lesson names cannot be used.

    """
    settings, boxes = lesson_settings(folder, lesson)
    stated = {key: getattr(lesson, key) for key in SETTINGS_KEYS}
    paths = _files_named(folder, lesson)
    contents = {key: path.read_text(encoding="utf-8") for key, path in paths.items()}
    said = {key: value for key, value in stated.items() if value is not None}
    # the tag's height stands there stated or not, as it always has: what is measured stays measured
    options = {"tag_height_mm": None, **said, **contents}
    measured_with = MeasuredWith(options=options, version=version("pennyfall"), boxes=lesson.boxes)
    return partial(measure_for_lesson, settings, boxes), measured_with


def lesson_settings(folder: Path, lesson: Lesson) -> tuple[Settings, dict[Path, Box]]:
    """Return the settings that hold for all clips of a lesson, and the boxes of single ones by their path.

    Raises
    ------
    CannotMeasure
        When a file the lesson names cannot be used.

    """
    stated = {key: getattr(lesson, key) for key in SETTINGS_KEYS}
    settings = settings_from(**stated | _files_named(folder, lesson))
    return settings, {folder / clip: Box.read(box) for clip, box in lesson.boxes.items()}


def boxed(settings: Settings, box: Box | None) -> Settings:
    """Return the settings of a clip; a box of its own goes before what all share."""
    return settings if box is None else replace(settings, box=box, dot=None)


def _files_named(folder: Path, lesson: Lesson) -> dict[str, Path]:
    named = {key: getattr(lesson, key) for key in FILE_KEYS}
    return {key: folder / Path(path).expanduser() for key, path in named.items() if path is not None}


def measure_for_lesson(settings: Settings, boxes: Mapping[Path, Box], path: Path) -> MeasuredClip:
    """Measure one clip, and keep of it what the report shows; a box of its own goes before what all share."""
    album = Album(PAGE_LOOK.height_px)
    measured = measure_clip(path, boxed(settings, boxes.get(path)), album=album)
    return MeasuredClip(measurement=measured.measurement, track=track_table(measured), album=album)


def annotate_clip(folder: Path, clip: str, measured: MeasuredClip) -> None:
    """Write the annotated clip of each stroke, as the report shows it."""
    facts, path = measured.measurement.clip, HeadPath.of_track(measured.track)
    for stroke in measured.measurement.strokes:
        out = annotated_path(folder, clip, stroke.number)
        pictures = measured.album.between(*shown_span_s(stroke))
        annotate_stroke(pictures, facts, stroke, path, out, PAGE_LOOK)


def share_clip(folder: Path, clip: str, stroke: int, out: Path, *, slow: float) -> None:
    """Write the annotated clip of one stroke at full size, to show or send.

    Raises
    ------
    CannotMeasure
        When the clip has not been measured, has no such stroke, or cannot be written.

    """
    if out.suffix.lower() != ".mp4":
        raise CannotMeasure(f"An annotated clip cannot be written as {out.name}.", fix="Name it .mp4.")
    refuse_unwritable(out)
    measurement = load_measurement(measurement_path(folder, clip))
    wanted = next((each for each in measurement.strokes if each.number == stroke), None)
    if wanted is None:
        raise CannotMeasure(
            f"{clip} has no stroke {stroke}; it has {len(measurement.strokes)}.",
            fix="Name one of them by --stroke.",
        )
    look = Look(slow=slow)
    pictures = decoded_pictures(folder / clip, measurement.clip, wanted, look)
    if not annotate_stroke(pictures, measurement.clip, wanted, kept_path(folder, clip), out, look):
        raise CannotMeasure(
            f"No frame of stroke {stroke} of {clip} can be shown.",
            fix="Copy the clip from the phone once more.",
        )


def films(folder: Path, result: LessonResult) -> dict[str, Film]:
    """Return the annotated clips of a lesson, by stroke id; a stroke whose clip is not there is left out."""
    found = {}
    for condition in result.conditions:
        for stroke in condition.strokes:
            path = annotated_path(folder, stroke.clip, stroke.measures.number)
            if path.is_file():
                from_s = shown_from_s(stroke.measures, kept_path(folder, stroke.clip))
                found[stroke_id(stroke)] = Film(mp4=path.read_bytes(), from_s=from_s, slow=PAGE_LOOK.slow)
    return found


def kept_path(folder: Path, clip: str) -> HeadPath:
    """Return where the head of a measured clip is in its picture."""
    return HeadPath.of_track(pd.read_csv(track_path(folder, clip), usecols=["t_s", "u_px", "v_px"]))
