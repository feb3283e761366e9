"""Every clip of a season, and what is known of it beforehand: whose it is, which putt, which settings."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path, PurePosixPath
from typing import Any

from pennyfall.cli.files.lesson_file import (
    CLUB_FILE,
    FILE_KEYS,
    LESSON_FILE,
    Condition,
    Lesson,
    read_lesson_file,
    student_caution,
)
from pennyfall.cli.files.measured_files import MEASURED_FOLDER
from pennyfall.cli.files.table_file import refuse_without
from pennyfall.cli.lesson.clips import boxed, lesson_settings
from pennyfall.cli.lesson.new import CLIP_SUFFIXES, sort_by_name
from pennyfall.cli.lesson.run import with_club_in
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.measure.settings import Settings

LESSONS_AT_HAND = 64
"""Chosen by us: clips come folder by folder, so that each lesson file is read once or twice."""

_DATE = r"(?:19|20)\d\d[-_.]?[01]\d[-_.]?[0-3]\d"
_TIME = r"[0-2]\d(?:[-_.:h]?[0-5]\d){2}(?:[-_.]?\d{3})?(?!\d)"
_TIME_OF_DAY = re.compile(
    rf"(?P<date>{_DATE})(?:[-_ T]|\s+at\s+)*{_TIME}|(?<!\d)[0-2]\d(?:[-_.:h][0-5]\d){{2}}(?!\d)"
    r"|(?<!\d)1\d{9}(?:\d{3})?(?!\d)",
    re.I,
)
"""As cameras name files: a date and a time, a time alone, seconds or milliseconds since 1970."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SeasonClip:
    """One clip of a season."""

    key: str
    """Digest of where it lies below the season's folder; it tells nothing of that itself."""
    place: str
    """Its path, or its address in an object store."""
    facts: dict[str, Any]
    """The columns known of it before it is measured; those without a value are left out."""
    settings: Settings
    refused: CannotMeasure | None = None
    """Why it need not be opened."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _LessonHere:
    """The lesson in one folder."""

    settings: Settings = field(default_factory=Settings)
    facts: dict[str, Any] = field(default_factory=dict)
    conditions: dict[str, Condition] = field(default_factory=dict)
    boxes: dict[str, Box] = field(default_factory=dict)
    refused: CannotMeasure | None = None


def season_clips(source: str, settings: Settings, *, paths: bool) -> Iterator[SeasonClip]:
    """Yield every clip of a season, folder by folder, with what its name and its lesson say of it.

    Parameters
    ----------
    source : str
        A folder, a text file with a clip a line, or the address of a folder in an object store.
    settings : Settings
        What holds for clips that lie in no lesson.
    paths : bool
        Name each clip by its whole path below the folder, rather than by its file name without time of day.

    Raises
    ------
    CannotMeasure
        When there is no such folder or list.

    """
    lesson_in = lru_cache(LESSONS_AT_HAND)(_lesson_in)
    for place, name in clip_places(source):
        shown = name if paths else without_time_of_day(PurePosixPath(name).name)
        key = hashlib.sha256(name.encode("utf-8", "surrogateescape")).hexdigest()[:32]
        yield _with_lesson(place, key, shown, settings, lesson_in)


def clip_places(source: str) -> Iterator[tuple[str, str]]:
    """Yield the place of every clip of a season and its name below the folder, in the order of names.

    Raises
    ------
    CannotMeasure
        When there is no such folder or list.

    """
    if is_address(source):
        yield from _in_store(source)
    elif Path(source).is_dir():
        yield from _in_folder(Path(source))
    elif Path(source).is_file() and Path(source).suffix.lower() not in CLIP_SUFFIXES:
        yield from _in_list(Path(source))
    else:
        raise CannotMeasure(
            f"{source} is neither a folder nor a list of clips.",
            fix="Name the folder that holds the season's clips, or a text file with a clip a line.",
        )


def is_address(place: str) -> bool:
    """Tell whether a place is an address such as s3://bucket/clips, and no path of this machine."""
    return "://" in place


def without_time_of_day(name: str) -> str:
    """Return a file name without the time of day that cameras write into it; a date stays.

    >>> without_time_of_day("VID_20260314_153012.mp4")
    'VID_20260314.mp4'
    >>> without_time_of_day("coin-let-go-12ft-1.mp4")
    'coin-let-go-12ft-1.mp4'
    """
    return _TIME_OF_DAY.sub(lambda found: found["date"] or "", name)


def _is_clip(name: str) -> bool:
    return PurePosixPath(name).suffix.lower() in CLIP_SUFFIXES and not name.startswith(".")


def _is_looked_into(folder: str) -> bool:
    return folder != MEASURED_FOLDER and not folder.startswith(".")


def _in_folder(folder: Path) -> Iterator[tuple[str, str]]:
    for room, below, files in os.walk(folder.resolve()):
        below[:] = sorted(filter(_is_looked_into, below))
        for name in sorted(filter(_is_clip, files)):
            path = Path(room) / name
            yield str(path), path.relative_to(folder.resolve()).as_posix()


def _in_list(listed: Path) -> Iterator[tuple[str, str]]:
    with listed.open(encoding="utf-8-sig") as lines:
        for line in filter(None, map(str.strip, lines)):
            if not line.startswith("#"):
                yield (line if is_address(line) else str((listed.parent / line).resolve())), line


def _in_store(address: str) -> Iterator[tuple[str, str]]:
    store, root = _store_of(address)
    if not store.isdir(root):
        raise CannotMeasure(f"There is no folder {address}.", fix="Check the address.")
    for room, below, files in store.walk(root, topdown=True, detail=True):
        for passed_by in [each for each in below if not _is_looked_into(each)]:
            del below[passed_by]
        for name in sorted(filter(_is_clip, files)):
            path = f"{room.rstrip('/')}/{name}"
            yield store.unstrip_protocol(path), path.removeprefix(root.rstrip("/")).lstrip("/")


def _store_of(address: str) -> tuple[Any, str]:
    refuse_without(
        "fsspec", extra="cluster", wanted="Reading an object store", instead="copy the clips into a folder"
    )
    import fsspec

    try:
        store, root = fsspec.core.url_to_fs(address)
    except (ImportError, ValueError) as error:
        raise CannotMeasure(f"{address} cannot be opened ({error}).", fix="Install what it names.") from error
    return store, str(root)


@contextmanager
def at_hand(place: str) -> Iterator[Path]:
    """Lend a file as a path of this machine; one in an object store is copied for the body."""
    if not is_address(place):
        yield Path(place)
        return
    store, path = _store_of(place)
    with tempfile.TemporaryDirectory(prefix="pennyfall-") as folder:
        copy = Path(folder) / PurePosixPath(path).name
        store.get_file(path, str(copy))
        yield copy


def _with_lesson(
    place: str, key: str, shown: str, settings: Settings, lesson_in: Callable[[str], _LessonHere | None]
) -> SeasonClip:
    """Return a clip with what its lesson says: the one in its folder, else the one in the folder above."""
    folder, _, name = place.replace(os.sep, "/").rpartition("/")
    above, _, sub = folder.rpartition("/")
    here = lesson_in(folder)
    inside = name if here is not None else f"{sub}/{name}"
    here = here or lesson_in(above)
    if here is None:
        facts = {"clip": shown, **_told_by_name(inside)}
        return SeasonClip(key=key, place=place, facts=facts, settings=settings)
    condition = here.conditions.get(inside)
    told = {} if condition is None else {"condition": condition.name, "putt_ft": condition.putt_ft}
    return SeasonClip(
        key=key,
        place=place,
        facts={"clip": shown, **here.facts, **told},
        settings=boxed(here.settings, here.boxes.get(inside)),
        refused=here.refused,
    )


def _told_by_name(name: str) -> dict[str, Any]:
    for condition in sort_by_name([name]).conditions:
        return {"condition": condition.name, "putt_ft": condition.putt_ft}
    return {}


def _lesson_in(folder: str) -> _LessonHere | None:
    """Return the lesson in a folder, or None; a spoilt one refuses its clips, not the season."""
    try:
        with _lesson_folder(folder) as path:
            if not (path / LESSON_FILE).is_file():
                return None
            return _read(path)
    except CannotMeasure as error:
        return _LessonHere(
            refused=CannotMeasure(
                f"Its lesson file cannot be used: {error.message.replace(f'{folder}/', '')}", fix=error.fix
            )
        )


def _read(folder: Path) -> _LessonHere:
    lesson, _ = with_club_in(folder, read_lesson_file(folder))
    if student_caution(lesson.student) is not None:
        raise CannotMeasure(
            "its student is no code, and whoever sees the season would read a name.",
            fix=f"Write a code such as S-01 as 'student' in {LESSON_FILE}, then run again.",
        )
    settings, boxes = lesson_settings(folder, lesson)
    return _LessonHere(
        settings=settings,
        facts={
            "student": lesson.student,
            "date": lesson.date.isoformat(),
            "hand": lesson.hand,
            "green_speed_ft": lesson.green_speed_ft,
        },
        conditions={clip: each for each in lesson.conditions for clip in each.clips},
        boxes={path.relative_to(folder).as_posix(): box for path, box in boxes.items()},
    )


@contextmanager
def _lesson_folder(folder: str) -> Iterator[Path]:
    """Lend a lesson's folder as one of this machine; from an object store its small files are copied."""
    if not is_address(folder):
        yield Path(folder)
        return
    store, root = _store_of(folder)
    with tempfile.TemporaryDirectory(prefix="pennyfall-") as copied:
        path = Path(copied)
        _copy(store, root, LESSON_FILE, path)
        if (path / LESSON_FILE).is_file():
            _copy(store, root, CLUB_FILE, path)
            with suppress(CannotMeasure):  # it is read again, where its faults are said
                for name in _named_in(read_lesson_file(path)):
                    _copy(store, root, name, path)
        yield path


def _named_in(lesson: Lesson) -> Iterator[str]:
    yield from (getattr(lesson, key) for key in FILE_KEYS if getattr(lesson, key) is not None)


def _copy(store: Any, root: str, name: str, folder: Path) -> None:  # noqa: ANN401 - a file system of fsspec
    target = folder / PurePosixPath(name).name
    with suppress(FileNotFoundError):
        if PurePosixPath(name).name == name:  # a file elsewhere is not looked for in the store
            store.get_file(f"{root.rstrip('/')}/{name}", str(target))
