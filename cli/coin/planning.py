"""From measurement files to the plan: words and picture."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from textwrap import fill

import typer

from pennyfall.cli.files.measurement import load_measurement, refuse_unwritable, write_whole
from pennyfall.cli.files.putt_length import length_in_m
from pennyfall.cli.report.pictures.figure_file import file_kind
from pennyfall.cli.report.tables.plan import plan_table, roll_table
from pennyfall.cli.report.words.still_to_film import before_filming
from pennyfall.kinematics.coin.prediction import CoinSetup
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.putt.planner import plan_lengths
from pennyfall.kinematics.putt.roll import FOOT_M, Green
from pennyfall.kinematics.putt.scaling import Putt, putt


def plan_drill(
    measurements: Sequence[Path],
    setup: CoinSetup,
    *,
    lengths: Sequence[str],
    stimp_ft: float,
    grade_percent: float,
    hole: str | None,
    picture: Path | None,
) -> None:
    """Plan the drill's lengths from a student's measured strokes and say how their balls roll.

    Raises
    ------
    CannotMeasure
        When a file cannot be used or a length or the green is impossible.

    """
    refuse_unwritable(picture)
    if picture is not None:
        file_kind(picture)  # before anything is worked out
    green = Green(stimp_m=stimp_ft * FOOT_M, grade=grade_percent / 100)
    hole_m = None if hole is None else length_in_m(hole)
    putts = read_putts(measurements, [length_in_m(each) for each in lengths], green)
    found = plan_lengths(putts, setup.shelf, setup.friction, coin=setup.coin)
    typer.echo(plan_table(found, green))
    if hole_m is not None:
        typer.echo("\n" + roll_table(putts, green, hole_m))
    typer.echo("\n" + fill(before_filming(), 80))
    if picture is not None:
        from pennyfall.cli.report.pictures.plan import plan_picture

        title = "Where the coin leaves by itself"
        write_whole(picture, plan_picture(found, green, title=title, kind=file_kind(picture)))


def read_putts(paths: Sequence[Path], lengths_m: Sequence[float], green: Green) -> list[Putt]:
    """Return the strokes of all files with their putts' lengths; practice strokes are left out.

    Raises
    ------
    CannotMeasure
        When the stated lengths are not one for each file, or a stroke's length is unknown.

    """
    if lengths_m and len(lengths_m) != len(paths):
        raise CannotMeasure(
            f"{len(lengths_m)} lengths are stated for {len(paths)} measurement files.",
            fix="State --length once for each file, in their order, or not at all.",
        )
    putts = []
    for index, path in enumerate(paths):
        stated = lengths_m[index] if lengths_m else None
        strokes = [each for each in load_measurement(path).strokes if not each.practice]
        putts += [putt(each, green, stated_length_m=stated) for each in strokes]
    return putts
