from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Iterator

import pytest

from pennyfall.tracker.read_ahead import read_ahead


def test_everything_comes_out_in_order() -> None:
    assert list(read_ahead(iter(range(1000)), ahead=3)) == list(range(1000))


def test_an_error_of_the_source_is_raised_after_what_came_before_it() -> None:
    def failing() -> Iterator[int]:
        yield 1
        yield 2
        raise OSError("the card was pulled out")

    items = read_ahead(failing())
    got = [next(items), next(items)]
    with pytest.raises(OSError, match="the card"):
        next(items)
    assert got == [1, 2]


def test_the_source_runs_no_further_ahead_than_told() -> None:
    made = []

    def counting() -> Iterator[int]:
        for number in range(100):
            made.append(number)
            yield number

    with contextlib.closing(read_ahead(counting(), ahead=4)) as items:
        next(items)
        time.sleep(0.2)
        assert len(made) <= 4 + 2  # waiting, one in hand on either side


def test_a_reader_that_stops_early_leaves_no_thread_behind() -> None:
    before = threading.active_count()
    with contextlib.closing(read_ahead(iter(range(10_000)), ahead=2)) as items:
        next(items)
    assert threading.active_count() == before
