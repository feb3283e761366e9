"""What works through a season's clips: the processes of this machine, or a Dask cluster."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, ThreadPoolExecutor, wait
from contextlib import suppress
from importlib import import_module
from itertools import islice
from queue import SimpleQueue
from typing import Any

from pennyfall.cli.files.table_file import refuse_without
from pennyfall.cli.lesson.side_by_side import interrupts_ignored
from pennyfall.cli.season.clips import at_hand
from pennyfall.cli.season.job import Job, Outcome, measure_job, refusal_of
from pennyfall.cli.serve.bench import Place, ProcessEnded, Tell
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.clip.reading import sha256_of

Outcomes = Generator[Outcome, None, None]
Engine = Callable[[Iterable[Job]], Outcomes]
"""Works through jobs in any order, taking them as it needs them; closed, it leaves nothing running."""

WARM = ("pennyfall.tracker.measure.measured", "pennyfall.cli.season.job")

KILLS = 3
"""So often a clip may end the process that measures it: once may be chance, or a machine lost."""

AHEAD = 1000
"""Chosen by us: so many jobs of a few kilobytes wait at the scheduler, for any number of workers up to some
hundreds."""

ANSWER_S = 20.0
"""Chosen by us: a scheduler in the same network answers within a second."""


def on_this_machine(processes: int | None = None) -> Engine:
    """Return the engine of this machine's processes; default: one a core.

    A clip that ends its process is tried in another; what else is being measured is not disturbed.
    """
    count = processes or os.cpu_count() or 1

    def work(jobs: Iterable[Job]) -> Outcomes:
        places: SimpleQueue[Place] = SimpleQueue()
        with interrupts_ignored():
            staff = [Place(WARM) for _ in range(count)]
        for each in staff:
            places.put(each)
        pool = ThreadPoolExecutor(count, "season")
        running: set[Future[Outcome]] = set()
        try:
            for job in jobs:
                running.add(pool.submit(_at_a_place, places, job))
                if len(running) >= 2 * count:
                    done, running = wait(running, return_when=FIRST_COMPLETED)
                    yield from (each.result() for each in done)
            while running:
                done, running = wait(running, return_when=FIRST_COMPLETED)
                yield from (each.result() for each in done)
        finally:
            for each in staff:
                each.end()
            pool.shutdown(wait=False, cancel_futures=True)

    return work


def _at_a_place(places: SimpleQueue[Place], job: Job) -> Outcome:
    place = places.get()
    try:
        for _ in range(KILLS):
            with suppress(ProcessEnded):
                outcome: Outcome = place.do(_measure, (job,), _unheard)
                return outcome
        return _deadly(job)
    finally:
        places.put(place)


def _measure(_tell: Tell, job: Job) -> Outcome:
    return measure_job(job)


def _unheard(_said: object) -> None:
    """Hear nothing: a job tells nothing before its end."""


def _deadly(job: Job) -> Outcome:
    """Return the outcome of a clip that ended its process again and again; the next run tries it again."""
    sha256 = None
    with suppress(OSError), at_hand(job.place) as path:
        sha256 = sha256_of(path)
    error = CannotMeasure(
        f"The process that measured it was ended {KILLS} times, perhaps because the memory was full.",
        fix="Measure it by itself, or film it shorter; the next run tries it again.",
    )
    return refusal_of(job, error, sha256=sha256, fingerprint="")


def on_cluster(address: str) -> Engine:
    """Return the engine of a Dask cluster, by its scheduler's address, such as tcp://studio:8786.

    Retries, lost workers and back-pressure are Dask's. It counts the end of a worker against every clip that
    was laid out for it, so those it gives up are measured at last one by one, with nothing beside them.
    """
    refuse_without("distributed", extra="cluster", wanted="A cluster", instead="leave --cluster out")

    def work(jobs: Iterable[Job]) -> Outcomes:
        distributed: Any = import_module("distributed")  # it has no types
        try:
            client = distributed.Client(address, timeout=ANSWER_S)
        except (OSError, ValueError) as error:
            raise CannotMeasure(
                f"No scheduler answers at {address}.", fix="Start one there (dask scheduler), or correct it."
            ) from error
        with client:
            _prepare(client, address)
            waiting, given_up = iter(jobs), []
            submitted = {_submit(client, job): job for job in islice(waiting, AHEAD)}
            ended = distributed.as_completed(submitted)
            for future in ended:
                outcome = _outcome(future, address)
                job = submitted.pop(future)
                if outcome is None:
                    given_up.append(job)
                else:
                    yield outcome
                for following in islice(waiting, 1):
                    added = _submit(client, following)
                    submitted[added] = following
                    ended.add(added)
                del future  # the scheduler forgets it, and with it the result
            for job in given_up:
                yield _outcome(_submit(client, job), address) or _deadly(job)

    return work


def _submit(client: Any, job: Job) -> Any:  # noqa: ANN401 - distributed has no types
    return client.submit(measure_job, job, pure=False)


def _outcome(future: Any, address: str) -> Outcome | None:  # noqa: ANN401 - distributed has no types
    """Return what came of a job, None where Dask gave it up since its workers were ended."""
    from distributed import KilledWorker

    try:
        outcome: Outcome = future.result()
    except KilledWorker:
        return None
    except (CancelledError, OSError) as error:
        raise CannotMeasure(
            f"The scheduler at {address} has gone.",
            fix="Start it and its workers, then run again: what was measured until now is kept.",
        ) from error
    return outcome


def _prepare(client: Any, address: str) -> None:  # noqa: ANN401 - distributed has no types
    try:
        client.wait_for_workers(1, timeout=ANSWER_S)
    except TimeoutError as error:
        raise CannotMeasure(
            f"No worker has come to {address}.", fix=f"Start some: dask worker {address} --nthreads 1"
        ) from error
    client.run_on_scheduler(_allow_fewer_failures)


def _allow_fewer_failures(dask_scheduler: Any) -> None:  # noqa: ANN401 - distributed has no types
    dask_scheduler.allowed_failures = KILLS - 1
