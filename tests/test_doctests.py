"""Every example in a docstring gives what it says."""

from __future__ import annotations

import doctest
import pkgutil
from collections.abc import Iterator
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from tests.kinematics.lesson_strokes import Habit, drawn_lesson

ROOMS = ("calibration", "cli", "demo_clips", "kinematics", "tracker")


def modules_with_examples() -> Iterator[str]:
    for room in ROOMS:
        package = import_module(f"pennyfall.{room}")
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            spec = find_spec(module.name)
            if spec and spec.origin and ">>>" in Path(spec.origin).read_text(encoding="utf-8"):
                yield module.name


def taken_as_given(generator: np.random.Generator) -> dict[str, object]:
    """Return what examples use without making it: strokes of two conditions on short and long putts."""
    habits = {"kept_on": Habit(acceleration_at_impact_mps2=2.5), "let_go": Habit()}
    lesson = drawn_lesson(generator, habits, strokes=5)
    return {
        f"{length}_{condition}": strokes
        for condition, by_length in lesson.items()
        for length, strokes in zip(("short", "long"), by_length.values(), strict=True)
    }


@pytest.mark.parametrize("module", list(modules_with_examples()))
def test_the_examples_give_what_they_say(module: str, generator: np.random.Generator) -> None:
    result = doctest.testmod(import_module(module), extraglobs=taken_as_given(generator))
    assert result.attempted > 0
    assert result.failed == 0
