"""`pennyfall demo`: the shipped clips, measured beside their truth."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from pennyfall.cli.console import progress_bar
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Estimate

if TYPE_CHECKING:
    from pennyfall.calibration.club import Club


def demo(
    name: Annotated[str | None, typer.Argument(help="One of the clips; all of them without it.")] = None,
    *,
    quiet: Annotated[bool, typer.Option("--quiet", help="Show no progress.")] = False,
) -> None:
    """Measure the shipped clips and set every figure beside the truth, with its interval.

    The clips are rendered from an invented stroke of an invented student, S-01, in the Larch Room. The height
    and the size of the head tag are given, as a ruler would give them.
    """
    from pennyfall.cli.report.tables.truth import coin_beside_truth, compare, truth_table
    from pennyfall.demo_clips.clips import shipped_clips
    from pennyfall.demo_clips.truth import load_truth
    from pennyfall.tracker.measure.clip import measure_clip
    from pennyfall.tracker.measure.settings import Settings

    clips = shipped_clips()
    if name is not None:
        chosen = tuple(clip for clip in clips if clip.name == name)
        if not chosen:
            raise CannotMeasure(
                f"No clip called '{name}' is shipped.",
                fix="Choose one of: " + ", ".join(clip.name for clip in clips),
            )
        clips = chosen
    held = asked = 0
    refused: list[str] = []
    for clip in clips:
        truth = load_truth(clip.truth)
        try:
            with progress_bar(clip.name, quiet=quiet) as advance:
                result = measure_clip(clip.path, Settings(club=_club(truth)), progress=advance)
        except CannotMeasure as error:  # told at the end, so that the other clips are still seen
            refused.append(f"{clip.name}: {error.message}")
            continue
        compared = compare(result.measurement, truth)
        typer.echo(truth_table(clip.name, compared))
        if coin := coin_beside_truth(result.measurement, truth):
            typer.echo(coin)
        held += sum(each.inside for rows in compared.values() for each in rows)
        asked += sum(len(rows) for rows in compared.values())
    if asked:
        typer.echo(f"{held} of {asked} intervals hold the truth; 95 % of them should.")
    if refused:
        raise CannotMeasure(
            "A shipped clip could not be measured. " + " ".join(refused),
            fix="Install pennyfall anew; if that does not help, tell whoever looks after it.",
        )


def _club(truth: dict[str, Any]) -> Club | None:
    """Return what a ruler beside the head would say; nothing of a bare head, which has no tag."""
    if truth["markers"]["head"] is None:
        return None
    from pennyfall.calibration.club import TAG_HEIGHT_SD_MM, Club
    from pennyfall.kinematics.shelf import Shelf

    head, coin = truth["club"], truth.get("coin")
    return Club(
        tag_height_m=Estimate(head["tag_height_m"], TAG_HEIGHT_SD_MM / 1e3),
        tag_side_m=head["tag_side_m"],
        shelf=None if coin is None else Shelf(**coin["shelf"]),
    )
