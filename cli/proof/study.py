"""The study: many trials over frame rates, several at once, each with what is needed to judge it."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from pennyfall.cli.proof.comparison import alternative_values
from pennyfall.cli.proof.conditions import SOURCES
from pennyfall.cli.proof.trials import (
    QUANTITIES,
    MeasuredTrial,
    Trial,
    draw_trial,
    measure_trial,
    state_bound,
    true_quantities,
)
from pennyfall.cli.proof.worlds import PUBLISHED, WORLDS, world_named
from pennyfall.kinematics.values import Estimate, FloatArray

RATES_HZ = (240.0, 120.0, 60.0, 30.0)
SHARES = (0.4, 0.15, 0.35, 0.1)
"""How the strokes are shared out: most to the rate that is recommended and to the commonest."""
BOUND_EVERY, MOST_BOUNDS = 6, 30
COMPARE_EVERY, MOST_COMPARED = 4, 40
BUDGET_EVERY, MOST_BUDGETS = 8, 24
"""Bounds, alternatives and budget take longer than measuring, and need fewer strokes: one in so many, and no
more than so many at each frame rate."""
DETAILED_RATES_HZ = (240.0, 60.0)
"""Rates at which methods are compared and the budget is drawn up."""
WORLD_SHARE = 1 / 16
"""Strokes of each other world at each of those rates, as a share of those in the first: as many in all."""
SEED = 1

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Job:
    """One trial to run, with what else is asked of it."""

    seed: int
    rate_hz: float
    number: int
    bound: bool
    compare: bool
    budget: bool
    world: str = PUBLISHED.name


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Outcome:
    """One trial's result."""

    rate_hz: float
    world: str = PUBLISHED.name
    found: dict[str, Estimate] | None
    """Every quantity; None where no stroke was found."""
    truth: dict[str, float]
    state_bound: dict[str, float] | None = None
    alternatives: dict[tuple[str, str], FloatArray] | None = None
    redrawn: dict[str, dict[str, float]] | None = None
    """Value of every quantity when one source of error alone is drawn anew, by source."""

    def error(self, name: str) -> float:
        """Return how far a quantity is off; NaN where no stroke was found."""
        if self.found is None:
            return float("nan")
        return self.found[name].value - self.truth[name]


def plan(strokes: int, seed: int = SEED) -> list[Job]:
    """Return the jobs of a study: its strokes shared out over the frame rates, and some in other worlds."""
    jobs = []
    for rate_hz, share in zip(RATES_HZ, SHARES, strict=True):
        jobs += [
            Job(
                seed,
                rate_hz,
                number,
                bound=_chosen(number, BOUND_EVERY, MOST_BOUNDS),
                compare=rate_hz in DETAILED_RATES_HZ and _chosen(number, COMPARE_EVERY, MOST_COMPARED),
                budget=rate_hz in DETAILED_RATES_HZ and _chosen(number, BUDGET_EVERY, MOST_BUDGETS),
            )
            for number in range(max(round(share * strokes), 3))
        ]
    for world in WORLDS:
        if world is not PUBLISHED:
            jobs += [
                world_job(world.name, seed, rate_hz, number)
                for rate_hz in DETAILED_RATES_HZ
                for number in range(max(round(WORLD_SHARE * strokes), 1))
            ]
    return jobs


def world_job(world: str, seed: int, rate_hz: float, number: int) -> Job:
    """Return the job of one stroke that is only measured."""
    return Job(seed, rate_hz, number, bound=False, compare=False, budget=False, world=world)


def _chosen(number: int, every: int, most: int) -> bool:
    return number % every == 0 and number < every * most


def run_study(jobs: list[Job], *, processes: int = 2, progress: Progress | None = None) -> list[Outcome]:
    """Return the outcome of every job, in order; the same jobs always give the same.

    Parameters
    ----------
    jobs : list of Job
        What to run.
    processes : int
        How many at once.
    progress : callable, optional
        Called with the share done, 0 to 1.

    """
    if processes == 1:
        return _collect(map(run_job, jobs), len(jobs), progress)
    # The matrices are small: threads inside each process would only wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Spawned, not forked: numerical libraries hold threads that do not survive a fork.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        return _collect(pool.map(run_job, jobs, chunksize=1), len(jobs), progress)


def run_job(job: Job) -> Outcome:
    """Return the outcome of one trial."""
    trial = draw_trial(job.seed, job.rate_hz, job.number, world_named(job.world))
    truth = true_quantities(trial.performance)
    measured = measure_trial(trial)
    if measured is None:
        return Outcome(rate_hz=job.rate_hz, world=job.world, found=None, truth=truth)
    return Outcome(
        rate_hz=job.rate_hz,
        world=job.world,
        found=_estimates(measured),
        truth=truth,
        state_bound=state_bound(trial, measured.placed) if job.bound else None,
        alternatives=alternative_values(measured.placed.head, trial.performance) if job.compare else None,
        redrawn=_redrawn(trial) if job.budget else None,
    )


def _estimates(measured: MeasuredTrial) -> dict[str, Estimate]:
    return {name: getattr(measured.stroke, name) for name in QUANTITIES}


def _redrawn(trial: Trial) -> dict[str, dict[str, float]]:
    """Return every quantity's value with one source drawn anew, by source."""
    values = {}
    for source in SOURCES:
        measured = measure_trial(trial, again=(source,))
        if measured is not None:
            values[source] = {name: each.value for name, each in _estimates(measured).items()}
    return values


def _collect(outcomes: Iterable[Outcome], count: int, progress: Progress | None) -> list[Outcome]:
    collected = []
    for outcome in outcomes:
        collected.append(outcome)
        if progress is not None:
            progress(len(collected) / count)
    return collected
