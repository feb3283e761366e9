"""The same tracks through the usual methods: what each says of a stroke, beside the truth."""

from __future__ import annotations

import numpy as np

from pennyfall.cli.proof.alternatives import METHODS, Curve, even_track
from pennyfall.demo_clips.strokes import Performance
from pennyfall.kinematics.stroke.smoothed import BEFORE_IMPACT_S
from pennyfall.kinematics.stroke.tracks import HeadTrack
from pennyfall.kinematics.values import FloatArray

COMPARED = (
    "acceleration_at_impact_mps2",
    "acceleration_before_impact_mps2",
    "peak_acceleration_mps2",
    "impact_speed_mps",
    "takeaway_s",
    "top_s",
    "impact_s",
)
"""What the alternatives are asked for."""
START_SPEED_MPS = 0.03
"""The usual rule: the head has left address when it is faster than this (chosen by us: 2 to 3 % of the peak
speed)."""
CUT = ", told the impact and cut there"
LEAD_S = 0.3
AFTER_S = 0.35
"""The part of the track that every method is given, ours included."""


def alternative_values(head: HeadTrack, performance: Performance) -> dict[tuple[str, str], FloatArray]:
    """Return what each method and setting says, by method name and setting; shape (7,) as in `COMPARED`.

    Each method is given the whole track, and under its name with `CUT` the track up to the true impact.

    The setting 'rule' is the one that the method's own rule chooses for this track; '=' carries its number.
    """
    stroke = performance.strokes[0]
    inside = (head.time_s > stroke.takeaway_s - LEAD_S) & (head.time_s < stroke.finish_s + AFTER_S)
    time, x = even_track(head.time_s[inside], head.x_m[inside])
    rate = 1 / float(time[1] - time[0])
    found = {}
    for method in METHODS:
        for name, kept in ((method.name, time == time), (method.name + CUT, time <= stroke.impact_s)):
            chosen = method.choose(time[kept], x[kept])
            settings = {"rule": chosen, **{f"{each:g}": each for each in method.possible(rate)}}
            found[name, "="] = np.array([chosen])
            for label, setting in settings.items():
                found[name, label] = read_curve(method.smooth(time[kept], x[kept], setting), performance)
    return found


def read_curve(curve: Curve, performance: Performance) -> FloatArray:
    """Return the compared quantities of a smoothed curve, shape (7,).

    The alternatives are told the true impact instant where a value at impact is asked for: what they say of
    the instant itself is another row.
    """
    stroke = performance.strokes[0]
    time, impact = curve.time_s, stroke.impact_s
    v = np.array([_at(impact - BEFORE_IMPACT_S, time, curve.v_mps), _at(impact, time, curve.v_mps)])
    before = time <= impact
    slowest = int(np.argmin(np.where(time < impact, curve.v_mps, np.inf)))
    swing = before & (np.arange(len(time)) >= slowest)
    at_impact = _at(impact, time, curve.a_mps2)
    near = np.abs(time - impact) < 0.1
    braking = float(time[near][int(np.argmin(curve.a_mps2[near]))]) if time[-1] > impact else np.nan
    return np.array(
        [
            at_impact,
            (v[1] - v[0]) / BEFORE_IMPACT_S,
            max(float(np.max(curve.a_mps2[swing], initial=-np.inf)), at_impact),
            v[1],
            _start(time, curve.v_mps, slowest),
            _crossing(time, curve.v_mps, slowest),
            braking,
        ]
    )


def true_values(truth: dict[str, float]) -> FloatArray:
    """Return the truth of the compared quantities, shape (7,)."""
    return np.array([truth[name] for name in COMPARED])


def _at(instant: float, time: FloatArray, values: FloatArray) -> float:
    """Return a value between the samples, or just beyond the last one along the line of the last two."""
    if instant <= time[-1]:
        return float(np.interp(instant, time, values))
    return float(values[-1] + (instant - time[-1]) * (values[-1] - values[-2]) / (time[-1] - time[-2]))


def _start(time: FloatArray, v: FloatArray, slowest: int) -> float:
    slow = np.flatnonzero(np.abs(v[:slowest]) < START_SPEED_MPS)
    return float(time[slow[-1]]) if len(slow) else float(time[0])


def _crossing(time: FloatArray, v: FloatArray, slowest: int) -> float:
    """Return the first zero of velocity after the fastest of the backswing."""
    onward = np.flatnonzero(v[slowest:] >= 0)
    if not len(onward):
        return float("nan")
    after = slowest + int(onward[0])
    step = v[after] - v[after - 1]
    return float(time[after] - v[after] / step * (time[after] - time[after - 1]))
