"""A lesson run without cameras, as a function and as a process of its own that a test may kill.

``python -m tests.cli.quick_lesson FOLDER DATABASE`` runs it.
"""

from __future__ import annotations

import sys
from pathlib import Path

from pennyfall.cli.files.lesson_file import Lesson
from pennyfall.cli.files.measured_files import MeasuredClip, MeasuredWith, annotated_path
from pennyfall.cli.lesson.run import LessonRun, run_lesson
from pennyfall.cli.lesson.side_by_side import MeasureClip
from tests.cli.lesson_strokes import MEASURED_WITH, measure_quickly


def quick_measuring(folder: Path, lesson: Lesson) -> tuple[MeasureClip, MeasuredWith]:
    """Return how the made-up clips are measured."""
    return measure_quickly, MEASURED_WITH


def finish_quickly(folder: Path, clip: str, measured: MeasuredClip) -> None:
    """Leave a file where the annotated clip would be."""
    annotated_path(folder, clip, 1).write_bytes(b"film of " + clip.encode())


def quick_run(
    folder: Path, *, database: Path | None, processes: int | None = 1, **others: object
) -> LessonRun:
    """Run a lesson of made-up clips, unless told in this process: starting another takes longer than they."""
    return run_lesson(
        folder,
        database=database,
        processes=processes or 1,
        measuring=quick_measuring,
        finish=finish_quickly,
    )


if __name__ == "__main__":
    quick_run(Path(sys.argv[1]), database=Path(sys.argv[2]), processes=2)
