"""A season in one go: every clip below a folder measured, where it is new or changed, into one table."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from pennyfall.cli.files.folder_lock import one_run_at_a_time
from pennyfall.cli.files.measurement import refuse_unwritable
from pennyfall.cli.files.table_file import refuse_without
from pennyfall.cli.season.clips import clip_places, season_clips
from pennyfall.cli.season.engines import Engine
from pennyfall.cli.season.job import Job, MeasureForSeason, Outcome, measure_for_season
from pennyfall.cli.season.journal import Journal, open_journal
from pennyfall.cli.season.tables import has_parts, sweep_parts, sweep_table, write_parts, write_strokes
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.measure.settings import Settings


@dataclass(frozen=True, kw_only=True, slots=True)
class Progress:
    """How far a season has come."""

    clips: int
    """How many there are."""
    measured: int = 0
    unchanged: int = 0
    refused: int = 0
    """In this run."""
    elapsed_s: float = 0.0

    @property
    def done(self) -> int:
        """How many clips are done with."""
        return self.measured + self.unchanged + self.refused

    @property
    def clips_a_minute(self) -> float:
        """How many of them were measured or refused in a minute."""
        return 60.0 * (self.measured + self.refused) / self.elapsed_s if self.elapsed_s > 0 else 0.0

    @property
    def left_s(self) -> float:
        """How long the rest takes, if it goes on as until now [s]."""
        return self.elapsed_s * (self.clips - self.done) / max(self.done, 1)


@dataclass(frozen=True, kw_only=True, slots=True)
class SeasonRun:
    """What a run of a season gave."""

    progress: Progress
    strokes: int
    """Strokes in the table."""
    refused: int
    """Clips in the table that were refused, now or in an earlier run."""
    gone: int
    """Clips of earlier runs that are not there any more."""
    homeless: int
    """Clips that lie in no lesson, so that it is not known whose they are."""


def run_season(
    source: str,
    out: Path,
    *,
    engine: Engine,
    settings: Settings | None = None,
    tracks: Path | None = None,
    paths: bool = False,
    progress: Callable[[Progress], None] = lambda _: None,
    measure: MeasureForSeason = measure_for_season,
) -> SeasonRun:
    """Measure what is new or changed in a season, and write its table.

    Each clip is kept as it is done, and the table is written whole at the end. Killed in between, the table
    is that of the last run, and the next run goes on where this one was.

    Parameters
    ----------
    source : str
        A folder, a text file with a clip a line, or the address of a folder in an object store.
    out : Path
        The table to write, .parquet or .csv.
    engine : Engine
        What works through the clips.
    settings : Settings, optional
        What holds for clips that lie in no lesson.
    tracks : Path, optional
        Folder for the sets of tracks and curves.
    paths : bool
        Name each clip by its path below the folder.
    progress : callable
        Told after each clip.
    measure : callable
        How a clip is measured.

    Raises
    ------
    CannotMeasure
        When there is no clip, nothing can be written, another run is at work, or the engine has gone.

    """
    refuse_without(
        "pyarrow", extra="parquet", wanted="A season's table", instead="measure the clips with --json"
    )
    if out.suffix.lower() not in (".parquet", ".csv"):
        raise CannotMeasure(
            f"A season's table cannot be written as {out.name}.", fix="Name it .parquet or .csv."
        )
    refuse_unwritable(out)
    clips = sum(1 for _ in clip_places(source))
    if clips == 0:
        raise CannotMeasure(
            f"There is no clip in {source}.", fix="Name the folder that holds the season's clips."
        )
    with season_held(out) as journal:
        run = _Run(journal, tracks, measure, Progress(clips=clips), progress)
        journal.begin()
        with closing(engine(run.jobs(source, settings or Settings(), paths=paths))) as outcomes:
            for outcome in outcomes:
                run.keep(outcome)
        journal.end()
        strokes, refused = write_strokes(journal.rows(), out)
        if tracks is not None:
            sweep_parts(tracks, journal)
        return SeasonRun(
            progress=run.progress,
            strokes=strokes,
            refused=refused,
            gone=journal.count_of_gone(),
            homeless=run.homeless,
        )


@contextmanager
def season_held(out: Path) -> Iterator[Journal]:
    """Hold a season's journal, and its lock, for the body.

    Raises
    ------
    CannotMeasure
        When another run holds them, or the place cannot be written.

    """
    with one_run_at_a_time(out.with_name(f".{out.name}.lock"), out):
        sweep_table(out)
        with open_journal(out) as journal:
            yield journal


class _Run:
    """One run: jobs out, outcomes in, in one thread."""

    def __init__(
        self,
        journal: Journal,
        tracks: Path | None,
        measure: MeasureForSeason,
        progress: Progress,
        told: Callable[[Progress], None],
    ) -> None:
        self._journal, self._tracks, self._measure, self._told = journal, tracks, measure, told
        self._began = time.monotonic()
        self._students: dict[str, str | None] = {}
        self.progress = progress
        self.homeless = 0

    def jobs(self, source: str, settings: Settings, *, paths: bool) -> Iterator[Job]:
        """Yield a job for each clip that may have to be measured; refuse at once what need not be opened."""
        for clip in season_clips(source, settings, paths=paths):
            kept = self._journal.expect(clip.key, clip.facts, clip.refused)
            if clip.refused is not None:
                self._tell(refused=1)
                continue
            student = clip.facts.get("student")
            here = self._tracks is None or kept.refused or has_parts(self._tracks, clip.key, student)
            job = Job(
                key=clip.key,
                place=clip.place,
                shown=clip.facts["clip"],
                settings=clip.settings,
                known=kept.fingerprint if here else "",
                tracks=self._tracks is not None,
                measure=self._measure,
            )
            self.homeless += student is None
            self._students[clip.key] = student
            yield job

    def keep(self, outcome: Outcome) -> None:
        """Keep an outcome: first track and curves, then what says that they are there."""
        student = self._students.pop(outcome.key)
        if outcome.unchanged:
            self._tell(unchanged=1)
            return
        if self._tracks is not None:
            write_parts(self._tracks, outcome.key, student, outcome.tables)
        self._journal.keep(outcome)
        self._tell(**{"measured" if outcome.refused is None else "refused": 1})

    def _tell(self, *, measured: int = 0, unchanged: int = 0, refused: int = 0) -> None:
        so_far = self.progress
        self.progress = replace(
            so_far,
            measured=so_far.measured + measured,
            unchanged=so_far.unchanged + unchanged,
            refused=so_far.refused + refused,
            elapsed_s=time.monotonic() - self._began,
        )
        self._told(self.progress)
