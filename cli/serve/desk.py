"""The lesson's folder as the page knows it; it is read anew each time, so a restart loses nothing."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

from pennyfall.cli.files.lesson_file import (
    LESSON_FILE,
    Condition,
    Lesson,
    green_speed_of,
    hand_of,
    lesson_text,
    parse_lesson,
    write_lesson,
)
from pennyfall.cli.files.measured_files import MEASURED_FOLDER
from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.files.putt_length import length_in_ft
from pennyfall.cli.lesson.new import CLIP_SUFFIXES, DRAFT_FILE, clips_in, sort_by_name, with_clip
from pennyfall.cli.lesson.run import with_club_in
from pennyfall.kinematics.errors import CannotMeasure

PAGE_FILE = "page.json"
NOBODY = "S-00"
"""The student's code until the coach says whose lesson it is."""
_SENT = re.compile(r".*-([0-9a-f]{16})")


@dataclass(frozen=True, kw_only=True, slots=True)
class Sent:
    """What the page keeps of a clip beside the lesson file."""

    name: str = ""
    """What the phone called it: text, never a place."""
    sender: str = ""
    """Which phone sent it; empty where it came by cable."""
    left_out: str = ""
    """Why the coach left it out of the lesson."""
    meant: tuple[str, float] | None = None
    """Version and putt length [ft] that was being filmed when it came."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Notes:
    """What the page keeps for itself."""

    units: str = "ft"
    """Putt lengths in ft or m."""
    now: tuple[str, float] | None = None
    """Version and putt length [ft] that is being filmed; the next clips inherit it."""
    clips: Mapping[str, Sent] = field(default_factory=dict)
    """By the clip's id."""


def clip_id(clip: str) -> str:
    """Return how addresses name a clip: the id it was sent under, or one made of its name."""
    sent = _SENT.fullmatch(Path(clip).stem)
    return sent[1] if sent else hashlib.sha256(clip.encode()).hexdigest()[:16]


class Desk:
    """What is in a lesson's folder, and every change the page makes to it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @property
    def lesson(self) -> Lesson:
        """The lesson, as far as it is told.

        Raises
        ------
        CannotMeasure
            When the lesson file was spoilt by hand.

        """
        for name in (LESSON_FILE, DRAFT_FILE):
            with suppress(FileNotFoundError):
                text = (self.folder / name).read_text(encoding="utf-8-sig")
                lesson = parse_lesson(text, unfinished=name == DRAFT_FILE)
                return with_club_in(self.folder, lesson)[0]
        today = dt.datetime.now().astimezone().date()
        nobodys = Lesson(student=NOBODY, date=today, hand="right", green_speed_ft=10.0, conditions=())
        return with_club_in(self.folder, nobodys)[0]

    @property
    def notes(self) -> Notes:
        """What the page keeps for itself; what cannot be read counts as not there."""
        try:
            kept = json.loads((self.folder / PAGE_FILE).read_text(encoding="utf-8"))
            clips = {
                key: Sent(**{**each, "meant": _pair(each["meant"])}) for key, each in kept["clips"].items()
            }
            return Notes(units=str(kept["units"]), now=_pair(kept["now"]), clips=clips)
        except (OSError, ValueError, KeyError, TypeError):
            return Notes()

    @property
    def clips(self) -> tuple[str, ...]:
        """Every clip in the folder, as phones sort them."""
        try:
            return clips_in(self.folder)
        except CannotMeasure:
            return ()

    def clip_of(self, wanted: str) -> str | None:
        """Return the clip of an id."""
        return next((clip for clip in self.clips if clip_id(clip) == wanted), None)

    def place_for(self, wanted: str, name: str) -> Path:
        """Return where a clip sent under an id is to lie: the name is made here, but for a known suffix."""
        suffix = Path(name).suffix.lower()
        stamp = dt.datetime.now().astimezone().strftime("%Y%m%d-%H%M%S%f")[:-3]
        return self.folder / f"{stamp}-{wanted}{suffix if suffix in CLIP_SUFFIXES else '.mp4'}"

    def note(self, wanted: str, sent: Sent) -> None:
        """Keep what is known of a clip."""
        notes = self.notes
        self._write_notes(replace(notes, clips={**notes.clips, wanted: sent}))

    def settle(self, clip: str) -> None:
        """Sort a new clip: by its own name, else by what was filmed when it came; else the coach will."""
        notes = self.notes
        if clip_id(clip) not in notes.clips:  # by cable: it came at this moment
            self.note(clip_id(clip), Sent(meant=notes.now))
        sent = self.notes.clips[clip_id(clip)]
        if clip in self.lesson.clips or sent.left_out:
            return
        if told := sort_by_name([clip]).conditions:
            self._write(_with(self.lesson, clip, told[0].name, told[0].putt_ft))
        elif sent.meant:
            self._write(_with(self.lesson, clip, *sent.meant))

    def film_now(self, name: str, length: str) -> None:
        """Say which version at which length comes now.

        Raises
        ------
        CannotMeasure
            When either is none.

        """
        notes = self.notes
        self._write_notes(replace(notes, now=self._told(name, length, notes.units)))

    def sort(self, clip: str, name: str, length: str) -> None:
        """Put a clip where the coach says; the next ones inherit it.

        Raises
        ------
        CannotMeasure
            When version or length is none.

        """
        notes = self.notes
        told = self._told(name, length, notes.units)
        self._write(_with(_without(self.lesson, clip), clip, *told))
        kept = replace(notes.clips.get(clip_id(clip), Sent()), left_out="")
        self._write_notes(replace(notes, now=told, clips={**notes.clips, clip_id(clip): kept}))

    def leave_out(self, clip: str, reason: str) -> None:
        """Leave a clip out of the lesson, with the coach's reason.

        Raises
        ------
        CannotMeasure
            When there is no reason.

        """
        if not (reason := _line(reason)):
            raise CannotMeasure("It is not said why.", fix="Write the reason in a word or two.")
        kept = replace(self.notes.clips.get(clip_id(clip), Sent()), left_out=reason)
        self.note(clip_id(clip), kept)
        if clip in self.lesson.clips:
            self._write(_without(self.lesson, clip))

    def delete(self, clip: str) -> None:
        """Remove a clip for good, with everything derived from it."""
        lesson = self.lesson
        if clip in lesson.clips or clip in lesson.boxes:
            boxes = {each: box for each, box in lesson.boxes.items() if each != clip}
            self._write(replace(_without(lesson, clip), boxes=boxes))
        (self.folder / clip).unlink(missing_ok=True)
        stem = clip.replace("/", "--")
        inside = self.folder / MEASURED_FOLDER
        for path in inside.iterdir() if inside.is_dir() else ():
            if path.name.startswith(f"{stem}."):
                path.unlink(missing_ok=True)
        notes = self.notes
        others = {key: each for key, each in notes.clips.items() if key != clip_id(clip)}
        self._write_notes(replace(notes, clips=others))

    def show_head(self, clip: str, box: str) -> None:
        """Keep where the head is on a clip's first frame."""
        lesson = self.lesson
        self._write(replace(lesson, boxes={**lesson.boxes, clip: box}))

    def tell(self, *, student: str, hand: str, green_speed: str, tag_height: str, units: str) -> None:
        """Keep whose lesson it is and on which green; asked once.

        Raises
        ------
        CannotMeasure
            When one of them cannot be used.

        """
        try:
            height = float(tag_height.replace(",", ".")) if tag_height.strip() else None
        except ValueError:
            raise CannotMeasure(
                f"{tag_height!r} is no height.", fix="Give millimetres, such as 28."
            ) from None
        told = replace(
            self.lesson,
            student=_line(student),
            hand=hand_of(hand),
            green_speed_ft=green_speed_of(green_speed),
            tag_height_mm=height,
        )
        self._write(parse_lesson(lesson_text(told), unfinished=True))
        self._write_notes(replace(self.notes, units="m" if units == "m" else "ft"))

    def _told(self, name: str, length: str, units: str) -> tuple[str, float]:
        name = _line(name)
        if not name:
            raise CannotMeasure("It is not said what the student did.", fix="Name it, such as: coin let go.")
        known = (each.name for each in self.lesson.conditions if each.name.casefold() == name.casefold())
        bare = re.fullmatch(r"\s*\d+(?:[.,]\d+)?\s*", length)
        return next(known, name), length_in_ft(f"{length.strip()}{units}" if bare else length)

    def _write(self, lesson: Lesson) -> None:
        """Write the lesson file, or its draft as long as no clip is sorted; never neither."""
        if lesson.conditions:
            write_lesson(lesson, self.folder)
            (self.folder / DRAFT_FILE).unlink(missing_ok=True)
        else:
            write_whole(self.folder / DRAFT_FILE, lesson_text(lesson).encode())
            (self.folder / LESSON_FILE).unlink(missing_ok=True)

    def _write_notes(self, notes: Notes) -> None:
        write_whole(self.folder / PAGE_FILE, json.dumps(asdict(notes), indent=1).encode())


def _pair(kept: list[str | float] | None) -> tuple[str, float] | None:
    return (str(kept[0]), float(kept[1])) if kept else None


def _line(words: str) -> str:
    """Return words as one line of letters that can be shown."""
    return "".join(each for each in " ".join(words.split()) if each.isprintable())[:80]


def _with(lesson: Lesson, clip: str, name: str, putt_ft: float) -> Lesson:
    return replace(lesson, conditions=with_clip(lesson.conditions, clip, name, putt_ft))


def _without(lesson: Lesson, clip: str) -> Lesson:
    left: list[Condition] = []
    for each in lesson.conditions:
        kept = replace(each, clips=tuple(one for one in each.clips if one != clip))
        if kept.clips:
            left.append(kept)
    return replace(lesson, conditions=tuple(left))
