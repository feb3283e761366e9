"""What the page shows, as values for its templates: the same for the first page and for an update."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader

from pennyfall.cli.files.lesson_file import Lesson
from pennyfall.cli.files.measured_files import RefusedClip, annotated_path
from pennyfall.cli.history.database import known_student, open_history, strokes_long
from pennyfall.cli.history.trend import FOLLOWED, trends
from pennyfall.cli.history.trend_table import trend_sentence
from pennyfall.cli.lesson.clips import PAGE_LOOK, kept_path
from pennyfall.cli.lesson.side_by_side import line_of
from pennyfall.cli.report.film.annotate import shown_from_s
from pennyfall.cli.report.page.lesson import stroke_curve, templates
from pennyfall.cli.report.page.versions import CALLED, FOUR
from pennyfall.cli.report.palette import ink_numbers
from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.stroke_words import Figure, eight_figures, figure_text, stroke_sentence
from pennyfall.cli.report.tables.coin import seen_sentence
from pennyfall.cli.report.words.numbers import NO_BREAK_SPACE, capital, number, typeset
from pennyfall.cli.serve.desk import NOBODY, Desk, Notes, Sent, clip_id
from pennyfall.cli.serve.guard import Guest
from pennyfall.cli.serve.line import Clip, Line
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.putt.roll import FOOT_M
from pennyfall.kinematics.values import INTERVAL_SDS, Measurement, StrokeMeasures

STEPS = {
    "arrived": "arrived",
    "waiting": "waiting its turn",
    "measuring": "measuring",
    "measured": "measured",
    "refused": "not measured",
    "twin": "here already",
    "left out": "left out",
}
FOLLOWED_ALONE = ("tempo_ratio", "acceleration_before_impact_mps2")
"""What a player alone watches: it changes within a session, and is seen from two metres."""
MOST_DOTS = 40
"""Chosen by us: more are no dots any more."""
TAPPED = ("mark", "box")
"""The settings whose remedy a tap on the first picture is."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Dot:
    """One stroke in a run of dots; places are shares of the drawing."""

    x: float
    y: float
    reach: float
    """Half-height of its 95 % interval."""
    earlier: bool
    """Whether it is of an earlier day."""
    last: bool
    ink: int


def page_templates() -> Environment:
    """Return the templates of the page, and those of the report whose parts it shows."""
    environment = templates()
    environment.loader = ChoiceLoader(
        [PackageLoader("pennyfall.cli.serve", ""), *filter(None, [environment.loader])]
    )
    return environment


def length_words_in(putt_ft: float, units: str) -> str:
    """Return a putt's length in the units the coach chose."""
    return f"{round(putt_ft * FOOT_M, 2):g} m" if units == "m" else f"{round(putt_ft, 2):g} ft"


class Views:
    """The page's parts for whoever asks."""

    def __init__(self, desk: Desk, line: Line) -> None:
        self._desk = desk
        self._line = line

    def rows(self, guest: Guest) -> list[dict[str, Any]]:
        """Return the clips that a guest may see, the newest first."""
        lesson, notes = self._desk.lesson, self._desk.notes
        clips = sorted(self._line.clips.values(), key=lambda each: _arrived(self._desk.folder, each.name))
        return [
            self._row(each, lesson, notes, guest)
            for each in reversed(clips)
            if guest.may_see(notes.clips.get(clip_id(each.name), Sent()).sender)
        ]

    def row(self, wanted: str, guest: Guest) -> dict[str, Any] | None:
        """Return one clip, None where there is none that this guest may see."""
        clip = self._clip(wanted, guest)
        return self._row(clip, self._desk.lesson, self._desk.notes, guest) if clip else None

    def now(self) -> dict[str, Any]:
        """Return what is being filmed, and what else there is to choose."""
        lesson, notes = self._desk.lesson, self._desk.notes
        return {
            "places": _places(lesson, notes, notes.now),
            "now": f"{notes.now[0]}, {length_words_in(notes.now[1], notes.units)}" if notes.now else "",
            "units": notes.units,
            "versions": list(dict.fromkeys(each.name for each in lesson.conditions)),
        }

    def facts(self) -> dict[str, Any]:
        """Return whose lesson it is."""
        lesson = self._desk.lesson
        return {"lesson": lesson, "told": lesson.student != NOBODY, "units": self._desk.notes.units}

    def so_far(self) -> dict[str, Any]:
        """Return what the lesson says so far, as the report will."""
        return {"so_far": self._line.so_far, "why_not": self._line.why_not}

    def stroke(self, name: str, number: int, guest: Guest) -> dict[str, Any] | None:
        """Return a stroke's curve, film and figures; None where the clip has no such stroke."""
        clip, lesson, folder = self._line.clips[name], self._desk.lesson, self._desk.folder
        measures = next((each for each in _strokes(clip) if each.number == number), None)
        if measures is None or not isinstance(clip.result, Measurement):
            return None
        film = None
        if clip.film and annotated_path(folder, name, number).is_file():
            from_s = round(shown_from_s(measures, kept_path(folder, name)), 6)
            film = {"from": from_s, "slow": PAGE_LOOK.slow, "src": f"/films/{clip_id(name)}/{number}"}
        title = self._row(clip, lesson, self._desk.notes, guest)["title"]
        eight = eight_figures(measures)
        four = {quantity(each).label: capital(CALLED.get(each, quantity(each).label)) for each in FOUR}
        return {
            "title": title if len(_strokes(clip)) == 1 else f"{title}, stroke {number}",
            "condition": _ink(lesson, name),
            **stroke_curve(measures),
            "film": film,
            "figures": {
                "sentence": _sentence(measures),
                "coin": typeset(seen_sentence(measures)),
                "four": [_typeset(each, four[each.label]) for each in eight if each.label in four],
                "others": [_typeset(each, capital(each.label)) for each in eight if each.label not in four],
                "cautions": [typeset(each.message) for each in clip.result.warnings],
                "scale": f"{100 * INTERVAL_SDS * clip.result.calibration.scale_rel_sd:.1f} %",
            },
        }

    def alone(self, guest: Guest) -> dict[str, Any]:
        """Return a player's own strokes as runs of dots, the last one large."""
        notes, folder, lesson = self._desk.notes, self._desk.folder, self._desk.lesson
        seen = (
            each
            for each in self._line.clips.values()
            if guest.may_see(notes.clips.get(clip_id(each.name), Sent()).sender)
        )
        clips = sorted(seen, key=lambda each: _arrived(folder, each.name))
        today = dt.datetime.now().astimezone().date()
        strokes = [
            (_arrived(folder, clip.name)[0].date() != today, _ink(lesson, clip.name), stroke)
            for clip in clips
            for stroke in _strokes(clip)
        ]
        working = next((STEPS[each.step] for each in reversed(clips) if each.step != "measured"), "")
        return {
            "sentence": _sentence(strokes[-1][-1]) if strokes else "",
            "runs": [_run(strokes, name) for name in FOLLOWED_ALONE] if strokes else [],
            "working": working if clips and clips[-1].step != "measured" else "",
            "count": len(strokes),
        }

    def history(self, database: Path | None) -> dict[str, Any]:
        """Return what changed over the student's lessons.

        Raises
        ------
        CannotMeasure
            When there is no history, or nothing of this student in it.

        """
        if database is None:
            raise CannotMeasure("This page keeps no history.", fix="Start it with its history to have one.")
        with open_history(database, must_exist=True) as opened:
            student = known_student(opened, self._desk.lesson.student)
            followed = trends(strokes_long(opened, student), FOLLOWED)
        return {
            "student": student,
            "groups": [
                (
                    quantity(name).heading,
                    [
                        (each.title, [typeset(trend_sentence(each, point)) for point in each.points])
                        for each in followed
                        if each.quantity == name
                    ],
                )
                for name in dict.fromkeys(each.quantity for each in followed)
            ],
        }

    def _clip(self, wanted: str, guest: Guest) -> Clip | None:
        sender = self._desk.notes.clips.get(wanted, Sent()).sender
        found = (each for each in self._line.clips.values() if clip_id(each.name) == wanted)
        return next(found, None) if guest.may_see(sender) else None

    def _row(self, clip: Clip, lesson: Lesson, notes: Notes, guest: Guest) -> dict[str, Any]:
        wanted = clip_id(clip.name)
        sent = notes.clips.get(wanted, Sent())
        name = sent.name or clip.name
        place = next((each for each in lesson.conditions if clip.name in each.clips), None)
        where = (place.name, place.putt_ft) if place else None
        take = place.clips.index(clip.name) + 1 if place else 0
        refused = clip.result if isinstance(clip.result, RefusedClip) and clip.step == "refused" else None
        tap = refused is not None and refused.setting in TAPPED
        titled = f"{where[0]}, {length_words_in(where[1], notes.units)}, clip {take}" if where else ""
        arrived = _arrived(self._desk.folder, clip.name)[0]
        return {
            "id": wanted,
            "name": name,
            "title": titled or f"Clip of {arrived:%H:%M:%S}",
            "at": f"{arrived:%H:%M}",
            "ink": _ink(lesson, clip.name),
            "step": clip.step,
            "step_words": STEPS[clip.step],
            "busy": clip.step in ("arrived", "waiting", "measuring"),
            "film": clip.film,
            "look": clip.look,
            "twin": clip.twin,
            "left_out": sent.left_out,
            "sorted": place is not None,
            "places": _places(lesson, notes, where) if guest.coach else [],
            "coach": guest.coach,
            "units": notes.units,
            "strokes": [
                {
                    "number": each.number,
                    "sentence": _sentence(each),
                    "figures": [typeset(figure_text(name, getattr(each, name))) for name in FOLLOWED_ALONE],
                }
                for each in _strokes(clip)
            ],
            "message": refused.message.replace(Path(clip.name).name, name) if refused else "",
            "fix": refused.fix.removesuffix(line_of(refused.setting) if tap else "") if refused else "",
            "tap": tap,
        }


def _strokes(clip: Clip | None) -> Sequence[StrokeMeasures]:
    return clip.result.strokes if clip is not None and isinstance(clip.result, Measurement) else ()


def _sentence(stroke: StrokeMeasures) -> str:
    """Return a stroke's sentence, its ratio in one piece."""
    return typeset(stroke_sentence(stroke)).replace(" : ", f"{NO_BREAK_SPACE}:{NO_BREAK_SPACE}")


def _typeset(figure: Figure, label: str) -> dict[str, str]:
    value, _, rest = typeset(figure.value).partition(" ")
    return {"label": label, "value": value, "rest": rest, "reading": typeset(capital(figure.reading))}


def _ink(lesson: Lesson, clip: str) -> int:
    inks = ink_numbers(each.name for each in lesson.conditions)
    return next((inks[each.name] for each in lesson.conditions if clip in each.clips), 3)


def _places(lesson: Lesson, notes: Notes, chosen: tuple[str, float] | None) -> list[dict[str, Any]]:
    inks = ink_numbers(each.name for each in lesson.conditions)
    known = {(each.name, each.putt_ft): len(each.clips) for each in lesson.conditions}
    known |= {notes.now: known.get(notes.now, 0)} if notes.now else {}
    return [
        {
            "value": f"{putt_ft:g}|{name}",
            "words": f"{name}, {length_words_in(putt_ft, notes.units)}",
            "ink": inks.get(name, 3),
            "clips": clips,
            "chosen": (name, putt_ft) == chosen,
        }
        for (name, putt_ft), clips in known.items()
    ]


def _arrived(folder: Path, clip: str) -> tuple[dt.datetime, str]:
    """Return when a clip came, by the name it was given here or by its file's own time."""
    stamp = re.match(r"(\d{8}-\d{9})-", Path(clip).name)
    if stamp:
        try:
            return dt.datetime.strptime(f"{stamp[1]}000", "%Y%m%d-%H%M%S%f").astimezone(), clip
        except ValueError:
            pass
    try:
        written_s = (folder / clip).stat().st_mtime
    except OSError:
        written_s = 0.0
    return dt.datetime.fromtimestamp(written_s).astimezone(), clip


def _run(strokes: Iterable[tuple[bool, int, StrokeMeasures]], name: str) -> dict[str, Any]:
    """Return one quantity of all strokes: the last one in words, all as dots."""
    what = quantity(name)
    found = [(earlier, tint, getattr(each, name)) for earlier, tint, each in strokes]
    known = [each for each in found if each[-1].known][-MOST_DOTS:]
    last = found[-1][-1]
    value, _, rest = typeset(figure_text(name, last)).partition(" ")
    run = {"label": capital(CALLED.get(name, what.label)), "value": value, "rest": rest}
    spans = [each.interval() for *_, each in known]
    low, high = min((each[0] for each in spans), default=0.0), max((each[1] for each in spans), default=1.0)
    span, step = (high - low) or 1.0, 1 / max(len(known), 8)
    dots = [
        Dot(
            x=(k + 0.5) * step,
            y=(high - each.value) / span,
            reach=INTERVAL_SDS * each.sd / span,
            earlier=earlier,
            last=each is last,
            ink=tint,
        )
        for k, (earlier, tint, each) in enumerate(known)
    ]
    ends = {"low": typeset(number(what, low)), "high": typeset(number(what, high))}
    return {**run, **ends, "dots": dots, "earlier": sum(each.earlier for each in dots)}
