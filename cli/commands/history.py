"""`pennyfall history`: a student over the weeks, the table of all strokes, and forgetting a student."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def history(
    student: Annotated[
        str | None, typer.Argument(metavar="STUDENT", help="The student's code; without it, all are listed.")
    ] = None,
    *,
    database: Annotated[
        Path | None, typer.Option(help="History database; default: the usual place for user data.")
    ] = None,
    quantity: Annotated[
        list[str] | None,
        typer.Option(help="Quantity to follow, by its name in the measurement file; may be repeated."),
    ] = None,
    picture: Annotated[Path | None, typer.Option(help="Draw the trends here, .png or .svg.")] = None,
    export: Annotated[
        Path | None, typer.Option(help="Write every stroke as a table here, .csv or .parquet.")
    ] = None,
    delete: Annotated[
        bool, typer.Option("--delete", help="Delete the student, with all files derived from the clips.")
    ] = False,
    with_clips: Annotated[
        bool, typer.Option("--with-clips", help="With --delete: the clips and lesson files, too.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="With --delete: do not ask.")] = False,
) -> None:
    """Follow a student over the lessons: what changed since the first, and is that more than scatter."""
    from pennyfall.cli.history import database as store
    from pennyfall.cli.history.export import export as write_table
    from pennyfall.cli.history.removal import removal_words
    from pennyfall.cli.history.trend import FOLLOWED, followable, trends
    from pennyfall.cli.history.trend_table import students_table, trend_table
    from pennyfall.cli.season.removal import forget_student, known_anywhere
    from pennyfall.kinematics.errors import CannotMeasure

    if with_clips and not delete:
        raise CannotMeasure(
            "Clips are removed only together with a student.", fix="Say --delete --with-clips."
        )
    if (delete or picture) and student is None:
        raise CannotMeasure(
            "It is not said which student.", fix="Name the code, such as: pennyfall history S-01 ..."
        )
    quantities = followable(quantity or FOLLOWED)
    with store.open_history(database or store.default_database(), must_exist=True) as opened:
        if student is not None:
            if not (delete and with_clips):  # whose clips alone are left is known by their folder
                student = (known_anywhere if delete else store.known_student)(opened, student)
            if delete:
                doomed = "everything, clips and all," if with_clips else "everything"
                if not yes:
                    typer.confirm(f"Delete {doomed} about {student}?", abort=True)
                typer.echo(removal_words(forget_student(opened, student, with_clips=with_clips)))
                return
            repeated = store.repeated_clips(opened, student)
        strokes = store.strokes_long(opened, student)
        listed = store.students(opened)
    if export is not None:
        typer.echo(f"Written: {export} ({write_table(strokes, export)} strokes)")
    if student is None:
        typer.echo(students_table(listed))
        return
    followed = trends(strokes, quantities)
    typer.echo(trend_table(student, followed, repeated))
    if picture is not None:
        from pennyfall.cli.history.trend_picture import save_trend_picture

        save_trend_picture(student, followed, picture)
        typer.echo(f"Written: {picture}")
