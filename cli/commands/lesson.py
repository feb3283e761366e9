"""`pennyfall lesson`: clips of a lesson in, the verdict and the report out."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from textwrap import fill
from typing import Annotated

import typer

lesson = typer.Typer(
    help="Measure a lesson and compare its conditions.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
)

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The lesson's folder.")]
Database = Annotated[
    Path | None, typer.Option(help="History database; default: the usual place for user data.")
]
Processes = Annotated[int | None, typer.Option(min=1, help="Clips measured at once; default: one a core.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="Show no progress.")]


@lesson.command()
def new(
    folder: Folder,
    *,
    student: Annotated[str | None, typer.Option(help="The student's code, such as S-01.")] = None,
    date: Annotated[str | None, typer.Option(help="Year-month-day; default: today.")] = None,
    hand: Annotated[str | None, typer.Option(help="right or left.")] = None,
    green_speed: Annotated[float | None, typer.Option(help="Stimpmeter reading, in feet.")] = None,
) -> None:
    """Write the lesson file of a folder of clips, from their names or by asking.

    A name such as coin-let-go-12ft-1.mp4 or coin-let-go-3m-1.mp4 tells the condition and the putt. What is
    not given is asked. Film and share only with consent, a guardian's for minors.
    """
    from pennyfall.cli.console import typed
    from pennyfall.cli.files.lesson_file import student_caution
    from pennyfall.cli.lesson.new import new_lesson
    from pennyfall.cli.report.words.still_to_film import before_filming

    written, path = new_lesson(folder, student=student, date=date, hand=hand, green_speed_ft=green_speed)
    if written.club:
        typer.echo(f"The club is taken from {folder / written.club}.")
    for each in written.conditions:
        typer.echo(f"{each.title}: {', '.join(each.clips)}")
    if caution := student_caution(written.student):
        typer.echo(caution, err=True)
    typer.echo(fill(before_filming(), 80))
    typer.echo(f"Written: {path}. Look it through, then: pennyfall lesson run {typed(folder)}")


@lesson.command()
def run(
    folder: Folder,
    *,
    database: Database = None,
    no_history: Annotated[
        bool, typer.Option("--no-history", help="Record nothing: out of reach of history --delete.")
    ] = False,
    processes: Processes = None,
    quiet: Quiet = False,
) -> None:
    """Measure what is new in a lesson folder, compare its conditions, and write report.html.

    Clips measured before are not measured again. Stopped at any moment, the next run goes on where it was.
    """
    _run(folder, None if no_history else _database(database), processes, quiet=quiet)


@lesson.command()
def rules(folder: Folder) -> None:
    """Put the rules and reference bands into a lesson folder, as files to read and change.

    What a lesson compares, how sure it has to be, by which rules it prescribes, and the ranges to hold a
    quantity against: those without a source are off until the file says on = true. The next run of the
    lesson goes by them.
    """
    from pennyfall.cli.files.own_rules import write_rules

    for path in write_rules(folder):
        typer.echo(f"Written: {path}")


@lesson.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to put it; made when not there.")],
    *,
    processes: Processes = None,
    quiet: Quiet = False,
) -> None:
    """Render an invented lesson (the Larch Room, student S-01: twelve strokes), then measure and report it.

    It takes some minutes, is not recorded in the history, and goes on where it was when stopped.
    """
    from pennyfall.cli.lesson.demo import write_demo_lesson

    with _saying_what_is_kept():
        for clip, done, of in write_demo_lesson(folder):
            _say(f"rendered {clip} ({done} of {of})", quiet=quiet)
    _run(folder, folder / "history.sqlite", processes, quiet=quiet, invented=True)


@lesson.command()
def clip(
    folder: Folder,
    name: Annotated[str, typer.Argument(metavar="CLIP", help="File name of a clip of the lesson.")],
    out: Annotated[Path, typer.Argument(metavar="OUT.mp4", help="File to write.")],
    *,
    stroke: Annotated[int, typer.Option(min=1, help="Which stroke of the clip.")] = 1,
    slow: Annotated[
        float, typer.Option(min=1, max=32, help="Times slower than life; 1 is true speed.")
    ] = 4.0,
) -> None:
    """Make an annotated clip of one stroke to show or send: head path, instants, running acceleration."""
    from pennyfall.cli.lesson.clips import share_clip
    from pennyfall.cli.report.safety import SHARING

    share_clip(folder, name, stroke, out, slow=slow)
    typer.echo(f"Written: {out}. {SHARING}")


def _run(
    folder: Path, database: Path | None, processes: int | None, *, quiet: bool, invented: bool = False
) -> None:
    from pennyfall.cli.files.lesson_file import student_caution
    from pennyfall.cli.lesson.run import run_lesson, verdict

    with _saying_what_is_kept():
        done = run_lesson(
            folder,
            database=database,
            processes=processes,
            progress=lambda clip, number, of: _say(f"measured {clip} ({number} of {of})", quiet=quiet),
            invented=invented,
        )
    typer.echo(verdict(done.result, done.reading))
    for note in done.notes:
        typer.echo(fill(note, 80))
    typer.echo(f"\nReport: {done.report}")
    if database is None:
        typer.echo(f"Not in the history: `pennyfall history --delete` will not reach {folder}.")
    if caution := student_caution(done.result.lesson.student):
        typer.echo(caution, err=True)


@contextmanager
def _saying_what_is_kept() -> Iterator[None]:
    try:
        yield
    except KeyboardInterrupt:
        typer.echo("Stopped. What is done is kept: the next run goes on from there.", err=True)
        raise


def _database(named: Path | None) -> Path:
    from pennyfall.cli.history.database import default_database

    return named or default_database()


def _say(words: str, *, quiet: bool) -> None:
    if not quiet:
        sys.stderr.write(f"{words}\n")
        sys.stderr.flush()
