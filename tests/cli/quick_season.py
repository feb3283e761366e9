"""A season without cameras, as functions and as a process of its own that a test may kill.

``python -m tests.cli.quick_season FOLDER OUT.parquet [ADDRESS]`` runs it, on two processes or on a cluster.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterable
from pathlib import Path

import pandas as pd

from pennyfall.cli.season.engines import Engine, Outcomes, on_cluster, on_this_machine
from pennyfall.cli.season.job import Job, measure_job
from pennyfall.cli.season.run import Progress, SeasonRun, run_season
from pennyfall.kinematics.values import Measurement
from pennyfall.tracker.measure.settings import Settings
from tests.cli.lesson_strokes import measure_quickly, write_clip

DEADLY = b"deadly"
"""A clip of this content ends the process that measures it."""


def measure_made_up(path: Path, settings: Settings) -> tuple[Measurement, pd.DataFrame]:
    """Measure a made-up clip."""
    if path.read_bytes() == DEADLY:
        os.kill(os.getpid(), signal.SIGKILL)
    measured = measure_quickly(path)
    return measured.measurement, measured.track


def in_turn(jobs: Iterable[Job]) -> Outcomes:
    """Work through jobs in this process."""
    yield from map(measure_job, jobs)


def quick_season(
    folder: Path | str,
    out: Path,
    *,
    engine: Engine = in_turn,
    tracks: Path | None = None,
    paths: bool = False,
    settings: Settings | None = None,
    told: list[Progress] | None = None,
) -> SeasonRun:
    """Run a season of made-up clips, unless told otherwise in this process."""
    kept: list[Progress] = [] if told is None else told
    return run_season(
        str(folder),
        out,
        engine=engine,
        tracks=tracks,
        paths=paths,
        settings=settings,
        measure=measure_made_up,
        progress=kept.append,
    )


def loose_clips(folder: Path, count: int) -> None:
    """Write made-up clips that lie in no lesson."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(1, count + 1):
        shape = "let go" if number % 2 else "kept on"
        write_clip(folder / f"coin-{shape.replace(' ', '-')}-12ft-{number}.mp4", shape, 12.0, number)


class _Said(list[Progress]):
    """Says each clip's end as it comes."""

    def append(self, progress: Progress) -> None:
        print(progress.done, progress.measured, flush=True)  # noqa: T201 - who kills this process reads it


if __name__ == "__main__":
    quick_season(
        sys.argv[1],
        Path(sys.argv[2]),
        engine=on_cluster(sys.argv[3]) if len(sys.argv) > 3 else on_this_machine(2),
        told=_Said(),
    )
