"""The plan of the drill's putt lengths and the ball's roll, in words and field units."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pennyfall.cli.report.safety import FALLEN_COIN
from pennyfall.kinematics.putt.planner import TRANSITION_SHARE, Plan, Verdict
from pennyfall.kinematics.putt.roll import (
    CAPTURE_CENTRE_MPS,
    FOOT_M,
    Green,
    launch_to_stop_at,
    past_the_hole,
    roll_distance,
    speed_after,
)
from pennyfall.kinematics.putt.scaling import LEAST_LENGTH_RATIO, LEAST_STROKES_TO_FIT, Putt
from pennyfall.kinematics.values import INTERVAL_SDS

PUBLISHED = (
    "Amplitude is taken to grow with the root of the length in unchanging time (published model; every "
    "golfer measured departs from it)"
)
VERDICT_WORDS: dict[Verdict, str] = {
    "stays": "stays on through the transition",
    "doubtful": "doubtful",
    "leaves": "leaves in the transition by itself",
}


def plan_table(plan: Plan, green: Green) -> str:
    """Return the plan as lines of text."""
    friction = plan.friction
    lines = ["Putt length   demand at the top   backswing   forward swing   coin"]
    for each in plan.lengths[::3]:
        reach = INTERVAL_SDS * each.demand_at_top.sd
        lines.append(
            f"{both_units(each.length_m):<15}  {each.demand_at_top.value:.2f} ± {reach:.2f}       "
            f"{100 * each.backswing_m:5.0f} cm      {1e3 * each.forward_s:5.0f} ms      "
            f"{VERDICT_WORDS[each.verdict]}"
        )
    lines.append("")
    for verdict, words in VERDICT_WORDS.items():
        band = plan.band(verdict)
        lines.append(f"{words[0].upper()}{words[1:]}: {'at no length' if band is None else span(band)}.")
    scaling = plan.scaling
    lines += [
        "",
        f"Friction {friction.low:.2f} to {friction.high:.2f}: {friction.source}.",
        f"Green speed {green.stimp_m / FOOT_M:g} ft, grade {100 * green.grade:g} %. In the transition means "
        f"before {100 * TRANSITION_SHARE:.0f} % of the forward swing.",
        where_the_drill_tells(plan),
    ]
    if scaling.source == "published":
        lines.append(_why_published(plan))
    else:
        powers = (scaling.amplitude_power, scaling.time_power)
        amplitude, time = (f"{p.value:.2f} ± {INTERVAL_SDS * p.sd:.2f}" for p in powers)
        lines.append(
            f"Fitted on this student's strokes: amplitude grows with length to the power {amplitude}, "
            f"time to {time}."
        )
    return "\n".join([*lines, FALLEN_COIN])


def _why_published(plan: Plan) -> str:
    """Return what the student's own strokes lack to fit how they grow with length."""
    lengths_m = [length_m for length_m, _ in plan.measured]
    band = span((min(lengths_m), max(lengths_m)))
    if plan.scaling.lacking == "strokes":
        return (
            f"{PUBLISHED}, since {len(lengths_m)} strokes, of {band}, are too few to tell the student's own "
            f"way: measure {LEAST_STROKES_TO_FIT} or more."
        )
    if min(lengths_m) == max(lengths_m):
        return f"{PUBLISHED}, since only one putt length was measured, {band}: measure a second length."
    return (
        f"{PUBLISHED}, since the putt lengths measured, {band}, lie close together: measure one that is at "
        f"least {LEAST_LENGTH_RATIO:g} times the shortest."
    )


def where_the_drill_tells(plan: Plan) -> str:
    """Return at which of the lengths looked at the drill tells anything about this student."""
    leaves = plan.band("leaves")
    if leaves is not None:
        return (
            f"The drill tells something at {span(leaves)}, where the coin leaves by itself unless the "
            "student keeps it on."
        )
    looked_at = span((plan.lengths[0].length_m, plan.lengths[-1].length_m))
    if plan.band("doubtful") is not None:
        told = f"The coin is sure to leave at no length from {looked_at}, so the drill may tell nothing"
    else:
        told = f"The coin stays on at every length from {looked_at}, so the drill tells nothing"
    return f"{told}: take a slicker coin, or lay it nearer to the edge."


def roll_table(putts: Sequence[Putt], green: Green, hole_m: float) -> str:
    """Return how the measured balls would roll toward a hole, as lines of text."""
    launched = [each.stroke.ball_speed_mps for each in putts if each.stroke.ball_speed_mps.known]
    if not launched:
        return "Ball: no launch speed was measured, so nothing is said about its roll."
    lines = [f"Ball, with a hole {both_units(hole_m)} away:"]
    for number, launch in enumerate(launched, 1):
        rolls = roll_distance(launch, green)
        reach_m = INTERVAL_SDS * rolls.sd
        lines.append(
            f"  {number}: launched at {100 * launch.value:.0f} cm/s it rolls {rolls.value:.2f} ± "
            f"{reach_m:.2f} m, {_past(rolls.value - hole_m)}; {_at_hole(launch.value, hole_m, green)}"
        )
    if len(launched) > 1:
        past_m = past_the_hole(np.array([each.value for each in launched]), hole_m, green)
        lines.append(
            f"  The spread of {len(launched)} launch speeds leaves them {100 * past_m.std(ddof=1):.0f} cm "
            f"apart (standard deviation), from {_past(float(past_m.min()))} to {_past(float(past_m.max()))}."
        )
    ideal = launch_to_stop_at(hole_m, green)
    lines.append(f"  To stop at the hole it needs {100 * ideal:.0f} cm/s.")
    return "\n".join(lines)


def both_units(length_m: float) -> str:
    """Return a putt length in feet and metres."""
    return f"{length_m / FOOT_M:.0f} ft ({length_m:.1f} m)"


def span(band_m: tuple[float, float]) -> str:
    """Return a range of putt lengths in feet and metres."""
    low_m, high_m = band_m
    if both_units(low_m) == both_units(high_m):
        return both_units(low_m)
    return f"{low_m / FOOT_M:.0f} to {high_m / FOOT_M:.0f} ft ({low_m:.1f} to {high_m:.1f} m)"


def _past(beyond_m: float) -> str:
    return f"{100 * abs(beyond_m):.0f} cm {'past' if beyond_m >= 0 else 'short'}"


def _at_hole(launch_mps: float, hole_m: float, green: Green) -> str:
    speed = speed_after(launch_mps, hole_m, green)
    if np.isnan(speed):
        return "it does not reach the hole"
    limit = f"{100 * CAPTURE_CENTRE_MPS:.0f} cm/s drops across its centre"
    too_fast = "" if speed <= CAPTURE_CENTRE_MPS else ", so it is too fast"
    return f"at the hole {100 * speed:.0f} cm/s (up to {limit}{too_fast})"
