"""A lesson run: measure what is new, keep it, and gather the whole lesson."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pennyfall.cli.files.lesson_file import Lesson
from pennyfall.cli.files.lesson_result import LessonResult, gather
from pennyfall.cli.files.measured_files import (
    MEASURED_FOLDER,
    MeasuredWith,
    RefusedClip,
    find_measured,
    sweep_unfinished,
)
from pennyfall.cli.lesson.side_by_side import ClipTask, FinishClip, MeasureClip, measure_side_by_side
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Measurement
from pennyfall.tracker.clip.reading import sha256_of

Progress = Callable[[str, int, int], None]
"""Told after each clip: its name, how many are done, how many there are to do."""


def measure_lesson(
    folder: Path,
    lesson: Lesson,
    *,
    measure: MeasureClip,
    finish: FinishClip,
    measured_with: MeasuredWith,
    processes: int | None = None,
    progress: Progress = lambda _clip, _done, _all: None,
) -> LessonResult:
    """Measure the clips of a lesson that are new or changed, and return all its strokes.

    Hold `folder_lock` around it. Killed at any moment, it leaves each clip either measured or not; the next
    call goes on where this one was.

    Parameters
    ----------
    folder : Path
        The lesson's folder.
    lesson : Lesson
        What its lesson file says.
    measure, finish : callables
        Measure one clip; make what else is derived from it.
    measured_with : MeasuredWith
        What the measurement depends on besides the clip.
    processes : int, optional
        Clips measured at once; default: one a core.
    progress : callable
        Told after each clip.

    Raises
    ------
    CannotMeasure
        When one clip's content stands in two places, nothing could be measured, or nothing could be written.

    """
    _make_measured_folder(folder)
    sweep_unfinished(folder)
    prints = {
        clip: measured_with.fingerprint(digest, clip) for clip, digest in _hash_clips(folder, lesson).items()
    }
    results = {clip: find_measured(folder, clip, prints[clip]) for clip in lesson.clips}
    tasks = [
        ClipTask(folder=folder, clip=clip, fingerprint=prints[clip], measure=measure, finish=finish)
        for clip, result in results.items()
        if result is None
    ]
    try:
        for done, clip in enumerate(measure_side_by_side(tasks, processes=processes), start=1):
            progress(clip, done, len(tasks))
    finally:
        sweep_unfinished(folder)  # what a worker that had to be ended left
    return gather(
        lesson, {clip: results[clip] or _just_kept(folder, clip, prints[clip]) for clip in lesson.clips}
    )


def _hash_clips(folder: Path, lesson: Lesson) -> dict[str, str]:
    hashes: dict[str, str] = {}
    first_with: dict[str, str] = {}
    for clip in lesson.clips:
        hashes[clip] = sha256_of(folder / clip)
        twin = first_with.setdefault(hashes[clip], clip)
        if twin != clip:
            raise CannotMeasure(
                f"The clips '{twin}' and '{clip}' are the same file under two names.",
                fix="Keep one of them in the lesson file: counted twice, noise looks like evidence.",
            )
    return hashes


def _just_kept(folder: Path, clip: str, fingerprint: str) -> Measurement | RefusedClip:
    kept = find_measured(folder, clip, fingerprint)
    if kept is None:
        raise CannotMeasure(
            f"The measurement of {clip} has gone from {folder / MEASURED_FOLDER} during the run.",
            fix="Run again, and leave that folder alone meanwhile.",
        )
    return kept


def _make_measured_folder(folder: Path) -> None:
    try:
        (folder / MEASURED_FOLDER).mkdir(exist_ok=True)
    except OSError as error:
        raise CannotMeasure(
            f"{folder / MEASURED_FOLDER} cannot be made ({error.strerror or error}).",
            fix="Free space on the disk, or put the lesson where you may write.",
        ) from error
