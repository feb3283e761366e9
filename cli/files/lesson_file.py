"""The lesson file: one small TOML file beside the clips, written by hand or by `lesson new`."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, NoReturn

from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.files.putt_length import PUTT_LENGTHS_FT, length_words
from pennyfall.kinematics.errors import CannotMeasure

LESSON_FILE = "lesson.toml"
CLUB_FILE = "club.toml"
GREEN_SPEEDS_FT = (2.0, 20.0)
"""Chosen by us: Stimpmeter readings outside this range are typing errors, not greens."""

Hand = Literal["right", "left"]

FILE_KEYS = ("club", "lens", "layout")
SETTINGS_KEYS = {
    "club": ('"club.toml"', "the putter, from: pennyfall club new"),
    "lens": ('"lens.json"', "the camera, from: pennyfall lens"),
    "layout": ('"layout.json"', "tags of your own instead of the printed sheet"),
    "tag_height_mm": ("28.0", "floor to the head tag at address, without a club file"),
    "ruler_mm": ("97.3", "what the sheet's 100 mm check ruler measures"),
    "recorded_at_hz": ("240.0", "true frame rate of slow-motion clips that do not say it"),
    "dot": ('"green"', "a dot on the head instead of a tag: its colour, #rrggbb or a box x,y,w,h"),
    "box": ('"610,402,30,20"', "the head on every clip's first frame, where it is not found: x,y,w,h, px"),
    "readout_ms": ("8.0", "time in which the camera reads out a picture, first row to last"),
}
"""What may be stated of all clips of a lesson, as `settings_from` takes it: an example and what it is."""

_NUMBER_UNITS = {"mm": "mm", "hz": "frames/s", "ms": "ms"}
_LESSON_KEYS = {"student", "date", "hand", "green_speed_ft", "notes", "condition", "boxes", *SETTINGS_KEYS}
_CONDITION_KEYS = {"name", "putt_ft", "clips", "hand", "green_speed_ft"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Condition:
    """One version of the drill at one putt length."""

    name: str
    putt_ft: float
    clips: tuple[str, ...]
    """File names in the lesson's folder; one in a sub-folder with that, as in 'phone/IMG_1.MOV'."""

    @property
    def title(self) -> str:
        """Name and putt length, as in 'coin let go, 12 ft'."""
        return f"{self.name}, {length_words(self.putt_ft)}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Lesson:
    """What the coach wrote down about a lesson."""

    student: str
    """A code such as S-01; no name is needed anywhere."""
    date: dt.date
    hand: Hand
    green_speed_ft: float
    """Stimpmeter reading [ft]."""
    conditions: tuple[Condition, ...]
    notes: str = ""
    """What the coach wants to keep of it, in any number of lines; shown in the report."""
    club: str | None = None
    """The club file's path, relative to the lesson's folder."""
    lens: str | None = None
    """The lens file's path, relative to the lesson's folder."""
    layout: str | None = None
    """The tag layout's path, relative to the lesson's folder."""
    tag_height_mm: float | None = None
    """Height of the head tag above the floor at address, where there is no club file [mm]."""
    ruler_mm: float | None = None
    """What the sheet's 100 mm check ruler measures [mm]."""
    recorded_at_hz: float | None = None
    """True frame rate of clips re-timed to slow motion [Hz]."""
    dot: str | None = None
    """A dot on the head, by its colour or by a box around it, followed in place of the tag."""
    box: str | None = None
    """Where the head is on every clip's first frame; it names it, or is followed beside a sheet."""
    readout_ms: float | None = None
    """Time in which the camera reads out a picture, first row to last [ms]."""
    boxes: Mapping[str, str] = field(default_factory=dict)
    """Where the head is on one clip's first frame (x,y,w,h), by the clip's file name."""

    @property
    def clips(self) -> tuple[str, ...]:
        """Every clip's file name, in the order of the file."""
        return tuple(clip for condition in self.conditions for clip in condition.clips)


_CODE = re.compile(r"(?=.*\d)[\w.-]+")


def student_code(student: str) -> str:
    """Return a student's code in upper case, so that s-01 is S-01; what reads like a name stays as it is."""
    return student.upper() if _CODE.fullmatch(student) else student


def student_caution(student: str) -> str | None:
    """Return a sentence with its remedy where the student's code reads like a name, or None.

    A code is one word with a digit in it, such as S-01.
    """
    if _CODE.fullmatch(student):
        return None
    return (
        f"'{student}' reads like a name, and whoever sees the report or the history reads it. Write a code "
        f"such as S-01 as 'student' in {LESSON_FILE}, then run the lesson: what was measured is kept."
    )


def read_lesson(folder: Path) -> Lesson:
    """Read and check the lesson file of a folder, and that the clips it names are there.

    Raises
    ------
    CannotMeasure
        When the file is missing, malformed (with line and column) or contradicts itself or the folder.

    """
    text = _file_text(folder)
    lesson = parse_lesson(text)
    for clip in lesson.clips:
        if not (folder / clip).is_file():
            raise CannotMeasure(
                f"The clip '{clip}' named in {LESSON_FILE}{_Places(text).of_text(clip)} is not in {folder}.",
                fix="Copy the clip into the folder, or correct the name.",
            )
    return lesson


def read_lesson_file(folder: Path) -> Lesson:
    """Read and check the lesson file alone; its clips may have gone.

    Raises
    ------
    CannotMeasure
        When the file is missing, malformed (with line and column) or contradicts itself.

    """
    return parse_lesson(_file_text(folder))


def parse_lesson(text: str, *, unfinished: bool = False) -> Lesson:
    """Return the lesson a TOML text describes; the files it names are not looked at.

    One that is `unfinished` may have no condition yet.

    Raises
    ------
    CannotMeasure
        When the text is not TOML (with line and column) or a value is missing, unknown or impossible.

    """
    try:
        document = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise CannotMeasure(_syntax(str(error), text), fix="Correct that place and run again.") from None
    places = _Places(text)
    _refuse_unknown(document, _LESSON_KEYS, places, condition=None)
    rows = document.get("condition", [])
    if (
        not isinstance(rows, list)
        or not (rows or unfinished)
        or not all(isinstance(row, dict) for row in rows)
    ):
        raise CannotMeasure(
            f"{LESSON_FILE} names no condition.",
            fix="Add at least one [[condition]] with name, putt_ft and clips.",
        )
    _refuse_mixed(document, rows, places)
    lesson = Lesson(
        student=student_code(_word(document, "student", places, "a code such as 'S-01'")),
        date=_date(document, places),
        hand=_hand(document, places),
        green_speed_ft=_number(document, "green_speed_ft", GREEN_SPEEDS_FT, places),
        conditions=tuple(_condition(row, places, index) for index, row in enumerate(rows)),
        notes=_notes(document, places),
        boxes=_boxes(document, places),
        **{key: _setting(document, key, places) for key in SETTINGS_KEYS},
    )
    _refuse_repeats(lesson)
    return lesson


def write_lesson(lesson: Lesson, folder: Path) -> Path:
    """Write the lesson file of a folder, whole or not at all, and return its path."""
    path = folder / LESSON_FILE
    write_whole(path, lesson_text(lesson).encode())
    return path


def lesson_text(lesson: Lesson) -> str:
    """Return the lesson as the TOML text a coach may go on editing."""
    lines = [
        "# One lesson: who, when, and which clip belongs to which version of the drill.",
        "# After changing it, run: pennyfall lesson run FOLDER (only what is new is measured).",
        "",
        f"student = {_quoted(lesson.student)}  # a code, no name needed",
        f"date = {lesson.date.isoformat()}",
        f'hand = "{lesson.hand}"  # "right" or "left"',
        f"green_speed_ft = {lesson.green_speed_ft!r}  # Stimpmeter reading",
        f'notes = {_quoted(lesson.notes)}  # your own words, shown in the report; several lines: """..."""',
    ]
    lines += ["", "# Where one of these holds for every clip, take its # away and put in your own value:"]
    for key, (example, meaning) in SETTINGS_KEYS.items():
        value = getattr(lesson, key)
        stated = _quoted(value) if isinstance(value, str) else repr(value)
        lines.append(f"# {key} = {example}  # {meaning}" if value is None else f"{key} = {stated}")
    lines += [
        "",
        "# Each block below is one version of the drill at one putt length: its name, the putt's length in",
        "# feet (3 m are 9.8425), and its clips. The same name at another length is the same version.",
    ]
    for condition in lesson.conditions:
        lines += [
            "",
            "[[condition]]",
            f"name = {_quoted(condition.name)}",
            f"putt_ft = {condition.putt_ft!r}",
        ]
        lines += ["clips = [", *(f"    {_quoted(clip)}," for clip in condition.clips), "]"]
    if lesson.boxes:
        lines += [
            "",
            "# Where the head is on the first frame of clips in which it was not found: x,y,w,h in px.",
        ]
        lines += ["[boxes]", *(f"{_quoted(clip)} = {_quoted(box)}" for clip, box in lesson.boxes.items())]
    return "\n".join(lines) + "\n"


def _file_text(folder: Path) -> str:
    path = folder / LESSON_FILE
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise CannotMeasure(
            f"There is no {LESSON_FILE} in {folder}.", fix=f"Write one with: pennyfall lesson new {folder}"
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise CannotMeasure(
            f"{path} cannot be read ({error}).", fix="Save it as plain text in the encoding UTF-8."
        ) from error


class _Places:
    """Finds the line of a key or a value, so that a sentence can say where to look."""

    def __init__(self, text: str) -> None:
        self._lines = text.splitlines()

    def of_key(self, key: str, condition: int | None) -> str:
        part = -1
        for number, line in enumerate(self._lines, start=1):
            if re.match(r"\s*\[\[\s*condition\s*\]\]", line):
                part += 1
            at = re.match(rf"\s*['\"]?{re.escape(key)}['\"]?\s*=", line)
            if at and part == (-1 if condition is None else condition):
                return f" (line {number}, column {len(line) - len(line.lstrip()) + 1})"
        return ""

    def of_text(self, value: str) -> str:
        for number, line in enumerate(self._lines, start=1):
            if value in line:
                return f" (line {number}, column {line.index(value) + 1})"
        return ""


def _syntax(error: str, text: str) -> str:
    """Turn the TOML reader's message into a sentence with line and column."""
    reason, _, where = error.rpartition(" (at ")
    found = re.search(r"line (\d+), column (\d+)", where)
    if found:
        line, column = int(found[1]), int(found[2])
    else:  # 'at end of document'
        reason, lines = reason or error, text.splitlines() or [""]
        line, column = len(lines), len(lines[-1]) + 1
    return (
        f"{LESSON_FILE} is not valid TOML at line {line}, column {column}: {reason[:1].lower()}{reason[1:]}."
    )


def _wrong(what: str, fix: str) -> NoReturn:
    raise CannotMeasure(f"{LESSON_FILE}: {what}.", fix=fix)


def _refuse_unknown(row: Mapping[str, Any], known: set[str], places: _Places, condition: int | None) -> None:
    for key in row:
        if key not in known:
            _wrong(
                f"'{key}'{places.of_key(key, condition)} means nothing here",
                f"Known are: {', '.join(sorted(known - {'condition'}))}.",
            )


def _word(
    row: Mapping[str, Any], key: str, places: _Places, wanted: str, condition: int | None = None
) -> str:
    value = row.get(key)
    if isinstance(value, str) and value.strip() and value.isprintable():
        return value.strip()
    where = places.of_key(key, condition)
    if key in row:
        _wrong(f"'{key}'{where} is {value!r}", f"Give {wanted}, in quotes.")
    _wrong(f"'{key}' is missing{_in_condition(condition)}", f'Add {key} = "...": {wanted}.')


def _notes(document: Mapping[str, Any], places: _Places) -> str:
    value = document.get("notes", "")
    if isinstance(value, str) and all(line.isprintable() for line in value.replace("\t", " ").splitlines()):
        return value.strip()
    _wrong(
        f"'notes'{places.of_key('notes', None)} is no plain text",
        'Write it in quotes, several lines between three quotes: """...""".',
    )


def _boxes(document: Mapping[str, Any], places: _Places) -> dict[str, str]:
    found = document.get("boxes", {})
    if isinstance(found, dict) and all(isinstance(box, str) for box in found.values()):
        return found
    _wrong(
        f"'boxes'{places.of_key('boxes', None)} holds something else than a box for a clip",
        'Write under [boxes], a line a clip: "clip.mov" = "610,402,30,20".',
    )


def _setting(document: Mapping[str, Any], key: str, places: _Places) -> Any:  # noqa: ANN401 - number or text
    """Return a setting, None where the lesson states none; whether it is possible is for `settings_from`."""
    unit = _NUMBER_UNITS.get(key.rpartition("_")[2])
    if key not in document:
        return None
    if unit is None:
        return _word(document, key, places, "a file name" if key in FILE_KEYS else SETTINGS_KEYS[key][1])
    value = document[key]
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return value
    _wrong(f"'{key}'{places.of_key(key, None)} is {value!r}", f"Give a number of {unit}, without quotes.")


def _number(
    row: Mapping[str, Any],
    key: str,
    between: tuple[float, float],
    places: _Places,
    condition: int | None = None,
) -> float:
    low, high = between
    value = row.get(key)
    if isinstance(value, (int, float)) and not isinstance(value, bool) and low <= value <= high:
        return float(value)
    if key in row:
        _wrong(
            f"'{key}'{places.of_key(key, condition)} is {value!r}",
            f"Give a number of feet from {low:g} to {high:g}, without quotes.",
        )
    _wrong(f"'{key}' is missing{_in_condition(condition)}", f"Add {key} = a number of feet.")


def _in_condition(condition: int | None) -> str:
    return "" if condition is None else f" in condition {condition + 1}"


def date_of(value: object) -> dt.date:
    """Return the date that a TOML value or a typed text means.

    Raises
    ------
    CannotMeasure
        When it is no date.

    """
    if isinstance(value, str):
        try:
            return dt.date.fromisoformat(value)
        except ValueError:
            pass
    elif isinstance(value, dt.datetime):
        return value.date()
    elif isinstance(value, dt.date):
        return value
    raise CannotMeasure(f"{value!r} is no date.", fix="Write it as year-month-day: 2026-03-14.")


def green_speed_of(value: object) -> float:
    """Return the green speed that a TOML value or a typed text means [ft].

    Raises
    ------
    CannotMeasure
        When it is none.

    """
    low, high = GREEN_SPEEDS_FT
    try:
        speed_ft = float(str(value).replace(",", "."))
    except ValueError:
        speed_ft = math.nan
    if low <= speed_ft <= high:
        return speed_ft
    raise CannotMeasure(f"{value!r} is no green speed.", fix=f"Give feet, from {low:g} to {high:g}.")


def hand_of(value: object) -> Hand:
    """Return the hand that a TOML value or a typed text means.

    Raises
    ------
    CannotMeasure
        When it is neither right nor left.

    """
    if value in ("right", "left"):
        return value
    raise CannotMeasure(f"{value!r} is no hand.", fix="Write right or left.")


def _date(document: Mapping[str, Any], places: _Places) -> dt.date:
    if "date" not in document:
        _wrong("'date' is missing", "Write it as year-month-day: date = 2026-03-14.")
    try:
        return date_of(document["date"])
    except CannotMeasure as error:
        _wrong(f"'date'{places.of_key('date', None)} is {document['date']!r}", error.fix)


def _hand(document: Mapping[str, Any], places: _Places) -> Hand:
    if "hand" not in document:
        _wrong("'hand' is missing", 'Write hand = "right" or hand = "left".')
    try:
        return hand_of(document["hand"])
    except CannotMeasure as error:
        _wrong(f"'hand'{places.of_key('hand', None)} is {document['hand']!r}", error.fix)


def _condition(row: Mapping[str, Any], places: _Places, index: int) -> Condition:
    _refuse_unknown(row, _CONDITION_KEYS, places, index)
    name = _word(row, "name", places, "what the student did, such as 'coin let go'", index)
    clips = row.get("clips")
    if not isinstance(clips, list) or not clips:
        _wrong(
            f"the condition '{name}' has no clip{places.of_key('clips', index)}",
            "Add its clips (clips = [...]), or take the condition out until it has been filmed.",
        )
    for clip in clips:
        if not isinstance(clip, str) or not clip or not clip.isprintable() or not _inside(clip):
            _wrong(
                f"the clip {clip!r} of the condition '{name}' is not a plain file name",
                f"Put the clips beside {LESSON_FILE}, or one folder below it as in 'phone/c.mp4', in quotes.",
            )
    return Condition(
        name=name, putt_ft=_number(row, "putt_ft", PUTT_LENGTHS_FT, places, index), clips=tuple(clips)
    )


def _inside(clip: str) -> bool:
    """Whether a clip lies in the lesson's folder or one below."""
    parts = clip.split("/")
    return len(parts) <= 2 and all(part and part != ".." and Path(part).name == part for part in parts)


def _refuse_mixed(document: Mapping[str, Any], rows: list[Mapping[str, Any]], places: _Places) -> None:
    for key, plural in (("hand", "hands"), ("green_speed_ft", "green speeds")):
        for index, row in enumerate(rows):
            if key in row and row[key] != document.get(key):
                _wrong(
                    f"mixed {plural}: {document.get(key)!r} for the lesson and {row[key]!r}"
                    f"{places.of_key(key, index)} for one condition",
                    f"Conditions are only compared with the same {key}: make two lesson folders.",
                )


def _refuse_repeats(lesson: Lesson) -> None:
    titles: set[str] = set()
    owner: dict[str, str] = {}
    for condition in lesson.conditions:
        if condition.title in titles:
            _wrong(
                f"the condition '{condition.title}' stands there twice",
                "Put all its clips under one [[condition]], or tell the two apart by name.",
            )
        titles.add(condition.title)
        for clip in condition.clips:
            if clip in owner:
                _wrong(
                    f"the clip '{clip}' is in two places: '{owner[clip]}' and '{condition.title}'",
                    "Leave it where it belongs: one clip shows one version of the drill.",
                )
            owner[clip] = condition.title


def _quoted(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
