"""The coin against two rigid-body engines: MuJoCo and, in two dimensions, pymunk.

Static and kinetic friction are equal, since neither engine knows two. Where the demand first exceeds the
friction by less than a tenth the coin hardly moves then, and whether and when it slips turns on the engine's
own creep: those strokes are left out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from pennyfall.kinematics.coin.demand import head_motion
from pennyfall.kinematics.coin.friction import Friction
from pennyfall.kinematics.coin.ride import CoinRide, ride
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import FloatArray
from tests.kinematics.coin_strokes import Stroke, random_stroke

pytest.importorskip("mujoco")
pytest.importorskip("pymunk")

from tests.kinematics.coin_in_mujoco import EngineRide, ride_in_mujoco
from tests.kinematics.coin_in_pymunk import ride_in_pymunk

SLIP_TOLERANCE_S = 0.005
LEAVE_TOLERANCE_S = 0.015
LANDING_TOLERANCE_M = 0.010
CLEAR_EXCESS = 1.1
ADDRESS_X_M = -0.05
"""Where the strokes' profiles start; the engines start at zero."""

Engine = Callable[[Stroke, Shelf, float], EngineRide]


@dataclass(frozen=True, slots=True)
class Row:
    stroke: Stroke
    friction: float
    demand: float
    ours: CoinRide
    engine: EngineRide

    @property
    def slip_error_s(self) -> float:
        assert self.ours.slip_s is not None
        assert self.engine.slip_s is not None
        return self.engine.slip_s - self.ours.slip_s

    @property
    def leave_error_s(self) -> float:
        if self.ours.departure is None or self.engine.leave_s is None:
            assert self.ours.departure is None
            assert self.engine.leave_s is None
            return 0.0
        return self.engine.leave_s - self.ours.departure.leave_s

    @property
    def landing_error_m(self) -> float:
        """NaN where it stays on, or lands after the engine's run."""
        if self.ours.departure is None or self.engine.landing_x_m is None:
            return float("nan")
        return self.engine.landing_x_m + ADDRESS_X_M - self.ours.departure.landing_x_m

    def line(self) -> str:
        leave_s = self.ours.departure.leave_s if self.ours.departure else float("nan")
        return (
            f"{self.friction:8.3f} {self.demand:6.2f} "
            f"{self.ours.slip_s:8.4f} {1e3 * self.slip_error_s:+7.2f} {leave_s:8.4f} "
            f"{1e3 * self.leave_error_s:+7.2f} {1e3 * self.landing_error_m:+8.2f}"
        )


def compared(engine: Engine, count: int, generator: np.random.Generator) -> list[Row]:
    rows: list[Row] = []
    while len(rows) < count:
        stroke, friction = random_stroke(generator), generator.uniform(0.10, 0.45)
        shelf = Shelf(edge_distance_m=generator.uniform(0.006, 0.025))
        motion = head_motion(stroke.profile(), impact_s=stroke.impact_s)
        demand = first_excursion(motion.demand[: motion.impact_index], friction)
        if demand < CLEAR_EXCESS * friction:
            continue
        ours = ride(motion, shelf, Friction(static=friction, kinetic=friction))
        rows.append(Row(stroke, friction, demand, ours, engine(stroke, shelf, friction)))
    return rows


def first_excursion(demand: FloatArray, friction: float) -> float:
    """Return the largest demand of the first run in which it exceeds the friction; zero where none does."""
    above = np.flatnonzero(demand > friction)
    if not len(above):
        return 0.0
    below_again = np.flatnonzero(demand[above[0] :] <= friction)
    end = above[0] + below_again[0] if len(below_again) else len(demand)
    return float(demand[above[0] : end].max())


def table(name: str, rows: list[Row]) -> str:
    head = "friction demand   slip_s  err_ms  leave_s  err_ms  land_mm"
    return "\n".join([name, head, *(row.line() for row in rows), summary(rows)])


def summary(rows: list[Row]) -> str:
    slip, leave, land = (
        np.abs([getattr(row, name) for row in rows])
        for name in ("slip_error_s", "leave_error_s", "landing_error_m")
    )
    return (
        f"{len(rows)} strokes, largest difference: slip {1e3 * slip.max():.2f} ms, "
        f"leave {1e3 * leave.max():.2f} ms, landing {1e3 * np.nanmax(land):.1f} mm"
    )


def check(rows: list[Row]) -> None:
    for row in rows:
        assert abs(row.slip_error_s) < SLIP_TOLERANCE_S, row.line()
        assert abs(row.leave_error_s) < LEAVE_TOLERANCE_S, row.line()
        assert not abs(row.landing_error_m) > LANDING_TOLERANCE_M, row.line()


def stiff_mujoco(stroke: Stroke, shelf: Shelf, friction: float) -> EngineRide:
    return ride_in_mujoco(stroke, shelf, friction, contact_s=0.0005, step_s=0.0001)


def test_a_few_strokes_agree_with_both_engines(generator: np.random.Generator) -> None:
    check(compared(stiff_mujoco, 2, generator))
    check(compared(ride_in_pymunk, 4, generator))


@pytest.mark.slow
@pytest.mark.parametrize("engine", [stiff_mujoco, ride_in_pymunk])
def test_thirty_six_random_strokes_agree_with_the_engine(
    engine: Engine, generator: np.random.Generator, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = compared(engine, 36, generator)
    with capsys.disabled():
        print("\n" + table(engine.__name__, rows))  # noqa: T201 - the table is what this test is for
    check(rows)
