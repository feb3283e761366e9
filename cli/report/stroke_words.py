"""A stroke in words: one sentence that says how it went, and what each of its eight figures tells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pennyfall.cli.report.quantities import UNITS, quantity
from pennyfall.kinematics.values import INTERVAL_SDS, STANDARD_GRAVITY_MPS2, Estimate, StrokeMeasures

COASTING_MPS2 = 1.0
"""Chosen by us: a pull of less than a tenth of g in the last 20 ms is a head that coasts; as much is the
least difference that the rules of a lesson find worth acting on."""

AT_THE_TOP, BEFORE_IMPACT = 0.15, 0.80
"""Chosen by us: up to this share of the forward swing a place is the top, from this on just before impact."""

MARKS = (0.0, 1 / 3, 1 / 2, 2 / 3, 1.0)
STRETCHES = {
    (0, 1): "in the first third",
    (0, 2): "in the first half",
    (0, 3): "anywhere in the first two thirds",
    (1, 1): "in the first half",
    (1, 2): "in the middle third",
    (1, 3): "in the middle third",
    (1, 4): "anywhere in the last two thirds",
    (2, 2): "in the middle third",
    (2, 3): "in the middle third",
    (2, 4): "in the last half",
    (3, 3): "in the last half",
    (3, 4): "in the last third",
}
"""Stretches of the forward swing between those marks, in words; any other is not told."""
NOT_TOLD = "somewhere on the way: the pull is too even to say where"


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """One figure of a stroke, with what it tells."""

    label: str
    value: str
    """With unit and 95 % half-width."""
    reading: str


def stroke_sentence(stroke: StrokeMeasures) -> str:
    """Return how a stroke went, in one sentence; what is not told is left out."""
    said = [
        ending(stroke.acceleration_before_impact_mps2, practice=stroke.practice),
        f"tempo {_tempo(stroke.tempo_ratio)}" if stroke.tempo_ratio.known else "",
        f"pulled hardest {place_of_peak(stroke.peak_acceleration_share, practice=stroke.practice)}"
        if stroke.peak_acceleration_share.known
        else "",
    ]
    words = "; ".join(each for each in said if each) or "nothing of its course is told"
    return f"{words[0].upper()}{words[1:]}."


def eight_figures(stroke: StrokeMeasures) -> tuple[Figure, ...]:
    """Return the figures a coach looks at first, each with its reading."""
    return tuple(
        Figure(
            label=quantity(name).label,
            value=figure_text(name, getattr(stroke, name)),
            reading=reading(stroke) if getattr(stroke, name).known else "not measured",
        )
        for name, reading in _READINGS.items()
    )


def figure_text(name: str, estimate: Estimate) -> str:
    """Return a figure with unit and half-width, and no more digits than a coach can use."""
    if not estimate.known:
        return "–"
    shown = quantity(name)
    decimals = UNITS[shown.unit].decimals
    value, reach = shown.pair(estimate)
    if len(value.partition(".")[2]) > decimals:
        step = 10.0**-decimals
        value = f"{shown.factor * estimate.value:.{decimals}f}"
        half_width = INTERVAL_SDS * shown.factor * estimate.sd
        reach = f"{max(round(half_width / step), 1) * step:.{decimals}f}" if reach else ""
    value = value if value.strip("-0.") else value.lstrip("-")
    return f"{value} ± {reach} {shown.unit}" if reach else f"{value} {shown.unit}"


def ending(pull: Estimate, *, practice: bool = False) -> str:
    """Return what the head does in the last 20 ms before impact; empty where it was not measured.

    In a practice stroke it is where the ball would lie that the head comes to.
    """
    into, before = (
        ("past the ball's place", "the ball's place") if practice else ("into the ball", "the ball")
    )
    if not pull.known:
        return ""
    reach = INTERVAL_SDS * pull.sd
    low, high = pull.value - reach, pull.value + reach
    if low > 0:
        return f"still pushes{' a little' if pull.value < COASTING_MPS2 else ''} {into}"
    if high < 0:
        return f"brakes before {before}"
    if max(-low, high) <= COASTING_MPS2 or abs(pull.value) < COASTING_MPS2 / 2:
        return f"coasts {into}"
    return f"coasts or pushes {into}: not told" if pull.value > 0 else "coasts or brakes: not told"


def place_of_peak(share: Estimate, *, practice: bool = False) -> str:
    """Return where in the forward swing a peak lies, as far as its interval tells."""
    reach = INTERVAL_SDS * share.sd
    low, high = max(share.value - reach, 0.0), min(share.value + reach, 1.0)
    if high <= AT_THE_TOP:
        return "at the top"
    if low >= BEFORE_IMPACT:
        return "just before the ball's place" if practice else "just before impact"
    first = max(k for k, mark in enumerate(MARKS) if mark <= low + 0.02)
    last = min(k for k, mark in enumerate(MARKS) if mark >= high - 0.02)
    return STRETCHES.get((first, last), NOT_TOLD)


def _tempo(ratio: Estimate) -> str:
    return f"{ratio.value:.1f} : 1" if INTERVAL_SDS * ratio.sd < 0.1 else f"about {ratio.value:.1f} : 1"


def _meeting(stroke: StrokeMeasures) -> str:
    return "the ball's place" if stroke.practice else "impact"


def _of_tempo(stroke: StrokeMeasures) -> str:
    return f"back {stroke.tempo_ratio.value:.1f} times as long as forward"


def _of_backswing(stroke: StrokeMeasures) -> str:
    return "from takeaway to the top"


def _of_forward_swing(stroke: StrokeMeasures) -> str:
    return f"from the top to {_meeting(stroke)}"


def _of_length(stroke: StrokeMeasures) -> str:
    through = stroke.through_length_m
    return f"through {figure_text('through_length_m', through)}" if through.known else "through: not measured"


def _of_peak(stroke: StrokeMeasures) -> str:
    of_g = f"{stroke.peak_acceleration_mps2.value / STANDARD_GRAVITY_MPS2:.2f} g"
    where = stroke.peak_acceleration_share
    return f"{of_g}, {place_of_peak(where, practice=stroke.practice)}" if where.known else of_g


def _of_ending(stroke: StrokeMeasures) -> str:
    return ending(stroke.acceleration_before_impact_mps2, practice=stroke.practice)


def _of_speed(stroke: StrokeMeasures) -> str:
    fastest = stroke.peak_speed_after_impact_s
    if not fastest.known or fastest.value + INTERVAL_SDS * fastest.sd >= 0:
        return f"fastest at {_meeting(stroke)}, as far as can be told"
    return f"fastest {-1e3 * fastest.value:.0f} ms before {_meeting(stroke)}"


def _of_ball(stroke: StrokeMeasures) -> str:
    ratio = stroke.ball_to_head_ratio
    return f"{ratio.value:.2f} times the head's speed" if ratio.known else "as it leaves"


_READINGS: dict[str, Callable[[StrokeMeasures], str]] = {
    "tempo_ratio": _of_tempo,
    "backswing_s": _of_backswing,
    "forward_swing_s": _of_forward_swing,
    "backswing_length_m": _of_length,
    "peak_acceleration_mps2": _of_peak,
    "acceleration_before_impact_mps2": _of_ending,
    "impact_speed_mps": _of_speed,
    "ball_speed_mps": _of_ball,
}
