"""The drawings of a lesson's report, each with the data of its strokes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from pennyfall.cli.files.lesson_file import Condition
from pennyfall.cli.files.lesson_result import LessonResult, LessonStroke, MeasuredCondition
from pennyfall.cli.files.putt_length import length_words
from pennyfall.cli.report.page.dot_chart import Dot, DotRow, dot_chart
from pennyfall.cli.report.page.landing_chart import Landing, LandingRow, landing_chart
from pennyfall.cli.report.page.profile_chart import profile_chart, profile_range
from pennyfall.cli.report.palette import ink_numbers
from pennyfall.cli.report.quantities import UNITS, Quantity, quantity
from pennyfall.cli.report.words.numbers import capital
from pennyfall.kinematics.lesson.condition_summary import ConditionSummary
from pennyfall.kinematics.lesson.profile_comparison import DifferingStretch
from pennyfall.kinematics.lesson.rules import measured
from pennyfall.kinematics.lesson.stroke_table import aligned_acceleration
from pennyfall.kinematics.lesson.verdict import LessonComparison
from pennyfall.kinematics.putt.roll import FOOT_M
from pennyfall.kinematics.values import StrokeMeasures

TEMPO = ("backswing_s", "forward_swing_s", "tempo_ratio")
CM = 100.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Drawing:
    """A drawing with what stands above and below it."""

    title: str
    svg: Markup
    note: str = ""


def stroke_id(stroke: LessonStroke) -> str:
    """Return what the report calls a stroke."""
    return f"{stroke.clip}#{stroke.measures.number}"


def condition_inks(result: LessonResult) -> dict[str, int]:
    """Return the number of each version's ink, in the order of the lesson file."""
    return ink_numbers(each.condition.name for each in result.conditions)


def putt_length_m(condition: Condition) -> float:
    """Return a condition's putt length as the statistics know it [m]."""
    return condition.putt_ft * FOOT_M


def profile_drawings(
    result: LessonResult, summaries: Sequence[ConditionSummary], comparison: LessonComparison | None
) -> list[Drawing]:
    """Return the acceleration profiles, a drawing for each putt length."""
    inks = condition_inks(result)
    y_range = profile_range([each.profile for each in summaries])
    stretches: Sequence[DifferingStretch] = ()
    if comparison is not None and len(comparison.pairs) == 1 and comparison.pairs[0].profile is not None:
        stretches = comparison.pairs[0].profile.stretches
    drawings = []
    for putt_ft in dict.fromkeys(each.condition.putt_ft for each in result.conditions):
        bands = [
            (each.condition.name, inks[each.condition.name], summary.profile, _ids_with_profile(each))
            for each in result.conditions
            if each.condition.putt_ft == putt_ft and (summary := _summary(summaries, each.condition))
        ]
        title = f"Putt of {length_words(putt_ft)}"
        said = f"Acceleration from takeaway to impact, putt of {length_words(putt_ft)}, {' and '.join(inks)}"
        svg = profile_chart(bands, stretches, y_range=y_range, title=said)
        drawings.append(Drawing(title=title, svg=svg))
    return drawings


def dot_drawings(result: LessonResult, summaries: Sequence[ConditionSummary]) -> list[Drawing]:
    """Return backswing time, forward-swing time and tempo ratio, as far as the rules look at them."""
    drawings = []
    for name in TEMPO:
        found = [each for summary in summaries for each in summary.quantities if each.quantity.name == name]
        if not found:
            continue
        what = quantity(name)
        rows = [
            _dot_row(result, each, summary, what)
            for each in result.conditions
            if (summary := _summary(summaries, each.condition))
        ]
        bands = {each.band for each in found}
        band = bands.pop() if len(bands) == 1 else None
        drawings.append(
            Drawing(
                title=what.heading,
                svg=dot_chart(
                    rows,
                    title=f"{capital(what.label)} of each stroke, with the mean and its 95 % interval",
                    digits=UNITS[what.unit].decimals,
                    reference=(band.low * what.factor, band.high * what.factor) if band else None,
                ),
                note=f"Shaded: reference band ({band.source})." if band else "",
            )
        )
    return drawings


def landing_drawing(result: LessonResult) -> Drawing | None:
    """Return where the coins would land, or None when the lesson has no coin."""
    inks = condition_inks(result)
    rows = [
        LandingRow(
            condition=inks[each.condition.name],
            label=each.condition.title,
            landings=tuple(_landing(stroke) for stroke in each.strokes if _has_coin(stroke)),
        )
        for each in result.conditions
    ]
    rows = [row for row in rows if row.landings]
    if not rows:
        return None
    title = "Where the coin would land, from the ball, for each stroke over the range of friction"
    doubtful = any(each.may_stay for row in rows for each in row.landings)
    seen = any(each.seen_cm is not None for row in rows for each in row.landings)
    return Drawing(
        title="Where the coin would land",
        svg=landing_chart(rows, title=title),
        note="Each bar is one stroke, from the highest to the lowest friction thought possible"
        + (", as far as it leaves the coin loose." if doubtful else ".")
        + (" Crosses are where it was seen to land." if seen else ""),
    )


def _summary(summaries: Sequence[ConditionSummary], condition: Condition) -> ConditionSummary | None:
    wanted = (condition.name, putt_length_m(condition))
    return next((each for each in summaries if (each.condition, each.putt_length_m) == wanted), None)


def _ids_with_profile(condition: MeasuredCondition) -> list[str]:
    return [
        stroke_id(stroke)
        for stroke in condition.strokes
        if not any(map(_is_nan, aligned_acceleration(stroke.measures)[0].tolist()))
    ]


def _is_nan(value: float) -> bool:
    return value != value


def _dot_row(
    result: LessonResult, condition: MeasuredCondition, summary: ConditionSummary, what: Quantity
) -> DotRow:
    scatter = summary.quantity(what.name).scatter
    factor = what.factor
    low, high = scatter.mean_interval
    return DotRow(
        condition=condition_inks(result)[condition.condition.name],
        label=condition.condition.title,
        dots=tuple(dot for each in condition.strokes if (dot := _dot(stroke_id(each), each.measures, what))),
        mean=scatter.mean * factor,
        mean_low=low * factor,
        mean_high=high * factor,
    )


def _dot(stroke: str, measures: StrokeMeasures, what: Quantity) -> Dot | None:
    estimate = measured(measures, what.name)
    if not estimate.known:
        return None
    return Dot(value=estimate.value * what.factor, stroke=stroke)


def _has_coin(stroke: LessonStroke) -> bool:
    """Return whether there is anything to tell of a coin: not where the clip shows that there is none."""
    coin = stroke.measures.loose_object
    return coin is not None and coin.seen != "no coin"


def _landing(stroke: LessonStroke) -> Landing:
    coin = stroke.measures.loose_object
    assert coin is not None
    lands = coin.outcome != "stays on" and coin.landing_x_m is not None and coin.seen != "stayed"
    near, far = coin.landing_x_m or (0.0, 0.0)
    return Landing(
        stroke=stroke_id(stroke),
        band_cm=(CM * near, CM * far) if lands else None,
        may_stay=coin.outcome == "either" and coin.seen not in ("left", "stayed"),
        seen_cm=CM * coin.observed_landing_x_m.value if coin.observed_landing_x_m.known else None,
        seen=coin.seen,
    )
