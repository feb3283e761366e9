"""A measured lesson: the strokes of every condition, and the clips that could not be measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pennyfall.cli.files.lesson_file import Condition, Lesson
from pennyfall.cli.files.measured_files import RefusedClip
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import CalibrationFacts, Measurement, StrokeMeasures


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LessonStroke:
    """One measured stroke of a lesson."""

    clip: str
    """The clip's file name."""
    clip_sha256: str
    calibration: CalibrationFacts
    """What the clip's scale rests on."""
    measures: StrokeMeasures


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MeasuredCondition:
    """One condition and its strokes, in the order of the clips."""

    condition: Condition
    strokes: tuple[LessonStroke, ...]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LessonResult:
    """Everything measured in one lesson."""

    lesson: Lesson
    conditions: tuple[MeasuredCondition, ...]
    refused: tuple[RefusedClip, ...]

    @property
    def stroke_count(self) -> int:
        """How many strokes were measured."""
        return sum(len(each.strokes) for each in self.conditions)


def gather(lesson: Lesson, results: Mapping[str, Measurement | RefusedClip]) -> LessonResult:
    """Sort the measured clips into the lesson's conditions.

    Raises
    ------
    CannotMeasure
        When not one clip could be measured.

    """
    conditions = []
    for condition in lesson.conditions:
        strokes = [
            LessonStroke(
                clip=clip,
                clip_sha256=measurement.clip.sha256,
                calibration=measurement.calibration,
                measures=stroke,
            )
            for clip in condition.clips
            if isinstance(measurement := results[clip], Measurement)
            for stroke in measurement.strokes
        ]
        conditions.append(MeasuredCondition(condition=condition, strokes=tuple(strokes)))
    refused = tuple(result for clip in lesson.clips if isinstance(result := results[clip], RefusedClip))
    gathered = LessonResult(lesson=lesson, conditions=tuple(conditions), refused=refused)
    if gathered.stroke_count == 0:
        first = refused[0] if refused else None
        raise CannotMeasure(
            f"None of the {len(lesson.clips)} clips could be measured"
            + (f"; of {first.clip} it was said: {first.message}" if first else "."),
            fix=first.fix if first else "Film the strokes again.",
        )
    return gathered
