"""What came of a case, measured beside true, as a row of a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import brentq
from scipy.stats import binom

from pennyfall.cli.report.tables.truth import Compared, compare
from pennyfall.demo_clips.record import performance_of
from pennyfall.demo_clips.scene import Scene
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Measurement
from pennyfall.tracker.measure.clip import measure_clip
from tests.conditions.cases import Case
from tests.conditions.film import film

MAIN = (
    "takeaway_s",
    "top_s",
    "impact_s",
    "backswing_length_m",
    "through_length_m",
    "impact_speed_mps",
    "peak_acceleration_mps2",
    "acceleration_before_impact_mps2",
    "ball_speed_mps",
)
"""The quantities that decide a lesson."""

SHOWN = {
    "backswing_length_m": ("back cm", 1e2),
    "impact_s": ("impact ms", 1e3),
    "impact_speed_mps": ("speed cm/s", 1e2),
    "acceleration_before_impact_mps2": ("last 20 ms", 1.0),
    "ball_speed_mps": ("ball cm/s", 1e2),
}
"""Columns of the table: error and standard deviation, in the unit of the heading."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Outcome:
    """What came of one case."""

    case: Case
    measurement: Measurement | None
    refusal: CannotMeasure | None
    strokes: tuple[tuple[Compared, ...], ...] = ()
    """Measured beside true, one entry a true stroke."""

    def of(self, name: str) -> list[Compared]:
        """Return one quantity of every stroke, where it was measured."""
        rows = [each for stroke in self.strokes for each in stroke if each.name == name]
        return [each for each in rows if each.measured.known]


def film_and_measure(case: Case, folder: Path) -> Outcome:
    """Render the case, measure the clip as the command does, and set it beside the truth."""
    scene = case.scene()
    clip = folder / f"clip{case.how.suffix}"
    truth = film(scene, clip, case.how)
    try:
        measurement = measure_clip(clip, case.options(scene)).measurement
    except CannotMeasure as error:
        return Outcome(case=case, measurement=None, refusal=error)
    for stroke in truth["strokes_container_clock"]:
        if stroke["practice"]:
            _end_at_address(scene, stroke)
    compared = compare(measurement, truth)
    return Outcome(
        case=case,
        measurement=measurement,
        refusal=None,
        strokes=tuple(tuple(rows) for rows in compared.values()),
    )


def z_score(row: Compared) -> float:
    """Return the error in standard deviations; 0 anywhere on a plateau."""
    low, high = row.true
    true = float(np.clip(row.measured.value, low, high))
    return (row.measured.value - true) / row.measured.sd if row.measured.value != true else 0.0


def table(outcomes: Sequence[Outcome]) -> str:
    """Return one row a case: seen share, errors and standard deviations of the first stroke, the worst z."""
    heading = "".join(f"{name:>17}" for name, _ in SHOWN.values())
    lines = [f"{'condition':<40}{'seen':>5}{heading}   worst z"]
    for each in outcomes:
        if each.measurement is None:
            lines.append(f"{each.case.name:<40} refused: {each.refusal.message if each.refusal else ''}")
            continue
        cells = "".join(f"{_cell(each, name, factor):>17}" for name, (_, factor) in SHOWN.items())
        worst = max(
            (row for stroke in each.strokes for row in stroke if row.name in MAIN and row.measured.known),
            key=lambda row: abs(z_score(row)),
        )
        seen = 100 * each.measurement.tracking.frames_seen_share
        lines.append(f"{each.case.name:<40}{seen:4.0f}%{cells}   {z_score(worst):+.1f} {worst.name}")
    return "\n".join(lines)


def tally(outcomes: Sequence[Outcome], names: Sequence[str]) -> dict[str, tuple[int, int]]:
    """Return for each quantity how many of its 95 % intervals hold the truth, and of how many."""
    counts = {}
    for name in names:
        rows = [row for each in outcomes for row in each.of(name)]
        counts[name] = (sum(row.inside for row in rows), len(rows))
    return counts


def fewest_inside(count: int, share: float = 0.95, chance: float = 1e-3) -> int:
    """Return how many of `count` intervals hold the truth at least, but for one chance in a thousand."""
    return int(binom.ppf(chance, count, share)) if count else 0


def _cell(outcome: Outcome, name: str, factor: float) -> str:
    rows = outcome.of(name)
    if not rows:
        return "-"
    row = rows[0]
    error = factor * (row.measured.value - float(np.clip(row.measured.value, *row.true)))
    return f"{error:+.2f} ± {factor * row.measured.sd:.2f}"


def _end_at_address(scene: Scene, stroke: dict[str, float]) -> None:
    """Let a practice stroke's truth end where the head passes its address position, as the measure says."""
    motion = performance_of(scene).motion
    start_s = stroke["start_leaves_rest_s"] + scene.phase_s
    address_m = float(motion.position(np.array(start_s)))
    top_s = stroke["top_s"] + scene.phase_s
    passed_s = brentq(
        lambda t: float(motion.position(np.array(t))) - address_m, top_s + 0.02, top_s + 0.6, xtol=1e-10
    )
    finish_s = stroke["head_at_rest_again_s"] + scene.phase_s
    speed = float(motion.velocity(np.array(passed_s)))
    stroke["impact_s"] = passed_s - scene.phase_s
    stroke["forward_duration_s"] = passed_s - top_s
    stroke["tempo_ratio_back_over_forward"] = stroke["backswing_duration_s"] / (passed_s - top_s)
    stroke["through_length_m"] = float(motion.position(np.array(finish_s))) - address_m
    stroke["impact_speed_just_before_m_s"] = speed
    stroke["accel_just_before_impact_m_s2"] = float(motion.acceleration(np.array(passed_s)))
    stroke["accel_mean_20ms_before_impact_m_s2"] = (
        speed - float(motion.velocity(np.array(passed_s - 0.020)))
    ) / 0.020
