"""A new lesson from what the clips' file names say; the rest is asked."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import typer

from pennyfall.cli.files.lesson_file import (
    LESSON_FILE,
    Condition,
    Lesson,
    date_of,
    hand_of,
    lesson_text,
    parse_lesson,
    write_lesson,
)
from pennyfall.cli.files.putt_length import LENGTH, length_in_ft
from pennyfall.kinematics.errors import CannotMeasure

CLIP_SUFFIXES = frozenset({".mp4", ".mov", ".m4v", ".mkv", ".avi", ".webm", ".3gp"})

_NAME = re.compile(rf"(?P<words>.+?)[-_ ]*(?<![\d.,])(?P<length>{LENGTH})(?:[-_ (]*\d+\)?)?", re.I)
"""Such as 'coin-let-go-12ft-1' or 'coin-let-go-3m-1': what was done, the putt's length, the take."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SortedClips:
    """The clips of a folder, sorted by what their names say."""

    conditions: tuple[Condition, ...]
    unsorted: tuple[str, ...]
    """Clips whose names do not tell the condition."""


def new_lesson(
    folder: Path, *, student: str | None, date: str | None, hand: str | None, green_speed_ft: float | None
) -> tuple[Lesson, Path]:
    """Write the lesson file of a folder of clips, asking for what neither is given nor their names tell.

    Raises
    ------
    CannotMeasure
        When there is a lesson file already, there is no clip, or an answer cannot be used.

    """
    if (folder / LESSON_FILE).exists():
        raise CannotMeasure(
            f"{folder / LESSON_FILE} is already there and was left as it is.",
            fix="Edit it by hand, or move it away first.",
        )
    found = sort_by_name(clips_in(folder))
    student = student or typer.prompt("Student's code (no name)")
    date = date or typer.prompt("Date", default=dt.datetime.now().astimezone().date().isoformat())
    hand = hand or typer.prompt("Hand", default="right")
    if green_speed_ft is None:
        green_speed_ft = typer.prompt("Green speed (Stimpmeter, feet)", type=float)
    conditions = found.conditions
    for clip in found.unsorted:
        name = typer.prompt(f"What did the student do in {clip}?")
        conditions = with_clip(conditions, clip, name, _asked_putt_ft())
    drafted = Lesson(
        student=student,
        date=date_of(date),
        hand=hand_of(hand),
        green_speed_ft=green_speed_ft,
        conditions=conditions,
    )
    checked = parse_lesson(lesson_text(drafted))  # like a file written by hand
    return checked, write_lesson(checked, folder)


def clips_in(folder: Path) -> tuple[str, ...]:
    """Return the names of the clips in a folder, take 2 before take 10.

    Raises
    ------
    CannotMeasure
        When there is no such folder or no clip in it.

    """
    if not folder.is_dir():
        raise CannotMeasure(
            f"{folder} is not a folder.", fix="Name the folder that holds the lesson's clips."
        )
    names = [
        path.name
        for path in folder.iterdir()
        if path.is_file() and path.suffix.lower() in CLIP_SUFFIXES and not path.name.startswith(".")
    ]
    if not names:
        raise CannotMeasure(
            f"There is no clip in {folder}.",
            fix=f"Copy the lesson's clips there first ({', '.join(sorted(CLIP_SUFFIXES))}).",
        )
    return tuple(sorted(names, key=_natural))


def sort_by_name(names: Iterable[str]) -> SortedClips:
    """Sort clips into conditions by names such as ``coin-let-go-12ft-1.mp4`` or ``coin-let-go-3m-1.mp4``."""
    groups: dict[tuple[str, float], list[str]] = {}
    unsorted = []
    for name in names:
        named = _named(Path(name).stem)
        if named is None:
            unsorted.append(name)
        else:
            groups.setdefault(named, []).append(name)
    return SortedClips(
        conditions=tuple(
            Condition(name=words, putt_ft=feet, clips=tuple(clips)) for (words, feet), clips in groups.items()
        ),
        unsorted=tuple(unsorted),
    )


def with_clip(conditions: Sequence[Condition], clip: str, name: str, putt_ft: float) -> tuple[Condition, ...]:
    """Return the conditions with one more clip, in a new condition where none fits."""
    grown = []
    placed = False
    for each in conditions:
        if (each.name, each.putt_ft) == (name, putt_ft):
            grown.append(Condition(name=name, putt_ft=putt_ft, clips=(*each.clips, clip)))
            placed = True
        else:
            grown.append(each)
    if not placed:
        grown.append(Condition(name=name, putt_ft=putt_ft, clips=(clip,)))
    return tuple(grown)


def _asked_putt_ft() -> float:
    """Ask until the answer is a putt's length."""
    while True:
        try:
            return length_in_ft(typer.prompt("Putt length, such as 12ft or 3m"))
        except CannotMeasure as error:
            typer.echo(f"  {error.message} {error.fix}")


def _named(stem: str) -> tuple[str, float] | None:
    """Return the condition and the putt's length [ft] that a clip's name tells, or None."""
    found = _NAME.fullmatch(stem)
    if found is None:
        return None
    try:
        putt_ft = length_in_ft(found["length"])
    except CannotMeasure:
        return None  # no putt is as long: the number means something else
    return " ".join(re.split(r"[-_\s]+", found["words"].strip("-_ "))), putt_ft


def _natural(name: str) -> list[tuple[int, str]]:
    """Order digits by value and everything else by letters."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", name.casefold())]
