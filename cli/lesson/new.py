"""A new lesson from what the clips' file names say; the rest is asked."""

from __future__ import annotations

import datetime as dt
import json
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any, TypeVar

import typer

from pennyfall.cli.files.lesson_file import (
    CLUB_FILE,
    LESSON_FILE,
    Condition,
    Lesson,
    date_of,
    green_speed_of,
    hand_of,
    lesson_text,
    parse_lesson,
    write_lesson,
)
from pennyfall.cli.files.measured_files import MEASURED_FOLDER
from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.files.putt_length import LENGTH, length_in_ft, length_words
from pennyfall.cli.lesson.glimpse import glimpse
from pennyfall.kinematics.errors import CannotMeasure

DRAFT_FILE = "lesson.unfinished.toml"
OPENING_FILE = "lesson.opening.toml"
"""The answers so far to the questions that come before the clips."""
Answer = TypeVar("Answer")

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

    What has been answered is kept in a draft beside the clips until the file is written: stopped in between,
    the next run asks for the rest. A club file in the folder is named in the lesson.

    Raises
    ------
    CannotMeasure
        When there is a lesson file already, there is no clip, or what was given cannot be used.

    """
    if (folder / LESSON_FILE).exists():
        raise CannotMeasure(
            f"{folder / LESSON_FILE} is already there and was left as it is.",
            fix="Edit it by hand, or move it away first.",
        )
    clips = clips_in(folder)
    begun = _begun(folder)
    given = {"student": student, "date": date, "hand": hand, "green_speed_ft": green_speed_ft}
    told = begun | {key: value for key, value in given.items() if value is not None}
    drafted = Lesson(
        **_opening(folder, told),
        conditions=_still_there(told.get("conditions", ()), clips),
        club=CLUB_FILE if (folder / CLUB_FILE).is_file() else None,
    )
    parse_lesson(lesson_text(drafted), unfinished=True)  # what was given on the command line
    sorted_before = set(drafted.clips)
    found = sort_by_name(clip for clip in clips if clip not in sorted_before)
    for condition in found.conditions:
        for clip in condition.clips:
            drafted = _grown(drafted, clip, condition.name, condition.putt_ft)
    for clip in found.unsorted:
        write_whole(folder / DRAFT_FILE, lesson_text(drafted).encode())
        drafted = _grown(drafted, clip, *_asked_of_clip(folder, clip, drafted.conditions))
    checked = parse_lesson(lesson_text(drafted))  # like a file written by hand
    path = write_lesson(checked, folder)
    for each in (DRAFT_FILE, OPENING_FILE):
        (folder / each).unlink(missing_ok=True)
    return checked, path


def _begun(folder: Path) -> dict[str, Any]:
    """Return what an earlier run was told: answers to the opening questions, and the clips sorted."""
    draft = next((each for each in (DRAFT_FILE, OPENING_FILE) if (folder / each).is_file()), None)
    if draft is None:
        return {}
    typer.echo(f"Going on where {folder / draft} ends; delete that file to begin anew.")
    text = (folder / draft).read_text(encoding="utf-8")
    if draft == OPENING_FILE:
        return tomllib.loads(text)
    lesson = parse_lesson(text, unfinished=True)
    return {key: getattr(lesson, key) for key in (*OPENING, "conditions")}


def _opening(folder: Path, told: Mapping[str, Any]) -> dict[str, Any]:
    """Return the answers to the opening questions; what is asked is kept at once."""
    answers = {key: checked(told[key]) for key, (_, checked, _) in OPENING.items() if key in told}
    for key, (question, checked, default) in OPENING.items():
        if key not in answers:
            answers[key] = _asked(question, checked, default=default())
            lines = [f"{name} = {_toml(value)}\n" for name, value in answers.items()]
            write_whole(folder / OPENING_FILE, "".join(lines).encode())
    return answers


def _toml(value: str | float | dt.date) -> str:
    return value.isoformat() if isinstance(value, dt.date) else json.dumps(value, ensure_ascii=False)


def _still_there(begun: Sequence[Condition], clips: Sequence[str]) -> tuple[Condition, ...]:
    kept = [replace(each, clips=tuple(clip for clip in each.clips if clip in clips)) for each in begun]
    return tuple(each for each in kept if each.clips)


def _grown(lesson: Lesson, clip: str, name: str, putt_ft: float) -> Lesson:
    return replace(lesson, conditions=with_clip(lesson.conditions, clip, name, putt_ft))


def _today() -> str:
    return dt.datetime.now().astimezone().date().isoformat()


OPENING: dict[str, tuple[str, Callable[[Any], Any], Callable[[], str | None]]] = {
    "student": ("Student's code (no name)", str, lambda: None),
    "date": ("Date", date_of, _today),
    "hand": ("Hand", hand_of, lambda: "right"),
    "green_speed_ft": ("Green speed (Stimpmeter, feet)", green_speed_of, lambda: None),
}
"""What is asked of every lesson: the question, how an answer is read, and what stands for no answer."""


def _asked(question: str, checked: Callable[[str], Answer], *, default: str | None = None) -> Answer:
    """Ask until the answer can be used."""
    while True:
        try:
            return checked(typer.prompt(question, default=default))
        except CannotMeasure as error:
            typer.echo(f"  {error.message} {error.fix}")


def _asked_of_clip(folder: Path, clip: str, conditions: Sequence[Condition]) -> tuple[str, float]:
    """Ask what a clip shows; the last answers are the defaults, names in use have numbers."""
    typer.echo(f"\n{clip}{glimpse(folder, clip)}")
    names = list(dict.fromkeys(each.name for each in conditions))
    last = conditions[-1] if conditions else None
    if names:
        typer.echo("  " + ", ".join(f"{number}: {name}" for number, name in enumerate(names, start=1)))
    question = "What did the student do? Words" + (", or a number" if names else "")
    name = _asked(question, lambda words: _name_of(words, names), default=last.name if last else None)
    default = length_words(last.putt_ft) if last else None
    return name, _asked("Putt length, such as 12ft or 3m", length_in_ft, default=default)


def _name_of(words: str, names: Sequence[str]) -> str:
    """Return the name that a number or words stand for; capitals and spaces make no other."""
    words = " ".join(words.split())
    if words.isdigit():
        if not 1 <= int(words) <= len(names):
            raise CannotMeasure(f"There is no number {words}.", fix="Write in words what the student did.")
        return names[int(words) - 1]
    return next((each for each in names if each.casefold() == words.casefold()), words)


def clips_in(folder: Path) -> tuple[str, ...]:
    """Return the clips in a folder and one level below, as phones sort them; take 2 before take 10.

    Raises
    ------
    CannotMeasure
        When there is no such folder or no clip in it.

    """
    if not folder.is_dir():
        raise CannotMeasure(
            f"{folder} is not a folder.", fix="Name the folder that holds the lesson's clips."
        )
    rooms = [folder, *(each for each in folder.iterdir() if each.is_dir() and each.name != MEASURED_FOLDER)]
    names = [
        path.relative_to(folder).as_posix()
        for room in rooms
        if not room.name.startswith(".") or room == folder
        for path in room.iterdir()
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
    conditions: tuple[Condition, ...] = ()
    unsorted = []
    for name in names:
        path = PurePosixPath(name)
        named = _named(path.stem) or _named(path.parent.name)
        if named is None:
            unsorted.append(name)
        else:
            conditions = with_clip(conditions, name, *named)
    return SortedClips(conditions=conditions, unsorted=tuple(unsorted))


def with_clip(conditions: Sequence[Condition], clip: str, name: str, putt_ft: float) -> tuple[Condition, ...]:
    """Return the conditions with one more clip, in a new condition where none fits, whatever its capitals."""
    name = next((each.name for each in conditions if each.name.casefold() == name.casefold()), name)
    if not any((each.name, each.putt_ft) == (name, putt_ft) for each in conditions):
        return (*conditions, Condition(name=name, putt_ft=putt_ft, clips=(clip,)))
    return tuple(
        replace(each, clips=(*each.clips, clip)) if (each.name, each.putt_ft) == (name, putt_ft) else each
        for each in conditions
    )


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
