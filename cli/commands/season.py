"""`pennyfall season`: thousands of clips into one table."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pennyfall.cli.commands.options import with_settings

if TYPE_CHECKING:
    from pennyfall.cli.season.run import Progress, SeasonRun
    from pennyfall.tracker.measure.settings import Settings

EVERY_S = 5.0
"""Chosen by us: so often a line of progress is written where no terminal shows it in place."""


@with_settings
def season(
    source: Annotated[
        str,
        typer.Argument(metavar="FOLDER", help="Folder of clips, a list of them, or an address (s3://...)."),
    ],
    *,
    out: Annotated[Path, typer.Option(help="The table to write, .parquet or .csv.")],
    tracks: Annotated[
        Path | None, typer.Option(help="Folder for each clip's track and each stroke's curve, too.")
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Measure on a Dask cluster, by its scheduler: tcp://host:8786."),
    ] = None,
    processes: Annotated[
        int | None, typer.Option(min=1, help="Clips measured at once here; default: one a core.")
    ] = None,
    paths: Annotated[
        bool,
        typer.Option("--paths", help="Name clips by their paths, with what these tell of people and times."),
    ] = False,
    database: Annotated[
        Path | None, typer.Option(help="History database, which notes the table for history --delete.")
    ] = None,
    no_history: Annotated[
        bool, typer.Option("--no-history", help="Note nothing: out of reach of history --delete.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Show no progress.")] = False,
    settings: Settings,
) -> None:
    """Measure every clip below a folder into one table, a row a stroke.

    Student, condition and putt come from the lesson file beside the clips, or from their names; the options
    of a clip hold for those in no lesson. Refused clips are rows with the reason. Run again, only what is new
    or changed is measured; stopped at any moment, the next run goes on. Students stand in it by code only.
    """
    from pennyfall.cli.history.database import NotedSeason, default_database, note_season, open_history
    from pennyfall.cli.season.clips import is_address
    from pennyfall.cli.season.engines import on_cluster, on_this_machine
    from pennyfall.cli.season.run import run_season

    engine = on_cluster(cluster) if cluster is not None else on_this_machine(processes)
    if not no_history:
        noted = NotedSeason(
            out.resolve(),
            source if is_address(source) else str(Path(source).resolve()),
            tracks.resolve() if tracks is not None else None,
        )
        with open_history(database or default_database()) as opened:
            note_season(opened, noted)
    done = run_season(
        source,
        out,
        engine=engine,
        settings=settings,
        tracks=tracks,
        paths=paths,
        progress=_shown(quiet=quiet),
    )
    typer.echo(_ending(done, out))


def _ending(done: SeasonRun, out: Path) -> str:
    progress = done.progress
    lines = [
        f"Written: {out} (strokes: {done.strokes}, refused clips: {done.refused}; clips measured now: "
        f"{progress.measured}, unchanged: {progress.unchanged})"
    ]
    if done.gone:
        lines.append(f"Clips of earlier runs that are gone, and left out of the table: {done.gone}.")
    if done.homeless:
        lines.append(
            f"Clips in no lesson: {done.homeless}. No code stands beside them, and history --delete does not "
            "find them: pennyfall lesson new FOLDER says whose they are."
        )
    return "\n".join(lines)


def _shown(*, quiet: bool) -> Callable[[Progress], None]:
    """Return what shows the progress: in place on a terminal, else a line now and then."""
    here = sys.stderr.isatty()
    last = [-EVERY_S]

    def show(progress: Progress) -> None:
        now, over = time.monotonic(), progress.done == progress.clips
        if quiet or not (over or now - last[0] > (0.2 if here else EVERY_S)):
            return
        last[0] = now
        line = (
            f"{progress.done} of {progress.clips} clips, {progress.clips_a_minute:.1f} measured a minute, "
            f"{_time_words(progress.left_s)} left, {progress.refused} refused"
        )
        sys.stderr.write(f"\r{line:<79}" + ("\n" if over else "") if here else f"{line}\n")
        sys.stderr.flush()

    return show


def _time_words(seconds: float) -> str:
    minutes, seconds = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min {seconds:02d} s"
