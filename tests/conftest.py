"""Fixtures and options every room's tests share."""

from __future__ import annotations

import os
from collections import Counter
from contextlib import suppress
from pathlib import Path

# As the command line does, before numpy is loaded: the threads of several tests wait for each other's. Two
# files of the smoother's tests took 16 to 75 s beside other work on two cores, 7 s so.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pytest
from hypothesis import settings

# Before pymupdf: both are made by SWIG and share its table of types, and ezc3d writes no text where it comes
# second.
with suppress(ImportError):
    import ezc3d as _first  # noqa: F401

settings.register_profile("same every time", derandomize=True, deadline=None)
settings.load_profile("same every time")

SHARED = Path(__file__).resolve().parents[2] / "shared"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--slow", action="store_true", help="also run the tests marked slow")
    parser.addoption("--benchmark", action="store_true", help="also run the whole-process timings")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """Run the whole-process timings one after the other; else leave the number of processes to xdist."""
    return 0 if config.getoption("--benchmark") else None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what runs on demand only, so that every skip left says what this machine lacks."""
    left_out = {mark for mark in ("slow", "benchmark") if not config.getoption(f"--{mark}")}
    chosen = {item: left_out.isdisjoint(mark.name for mark in item.iter_markers()) for item in items}
    config.hook.pytest_deselected(items=[item for item in items if not chosen[item]])
    items[:] = [item for item in items if chosen[item]]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say why tests were skipped, each reason once."""
    skipped = terminalreporter.stats.get("skipped", [])
    reasons = Counter(str(report.longrepr[2]).removeprefix("Skipped: ") for report in skipped)
    for reason, count in reasons.most_common():
        terminalreporter.write_line(f"{count} skipped: {reason}")


@pytest.fixture
def generator() -> np.random.Generator:
    """One seeded source of chance for every simulation."""
    return np.random.default_rng(20260101)


@pytest.fixture(scope="session")
def footage() -> Path:
    """Return the folder of filmed files with known truth; skip where it is absent."""
    return _shared_folder("footage")


@pytest.fixture(scope="session")
def refdata() -> Path:
    """Return the folder of published reference numbers; skip where it is absent."""
    return _shared_folder("refdata")


def _shared_folder(name: str) -> Path:
    folder = SHARED / name
    if not folder.is_dir():
        pytest.skip(f"the folder shared/{name} is not beside this checkout")
    return folder
