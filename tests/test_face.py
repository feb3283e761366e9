"""The library's face: what DEVELOPERS.md promises to other programs is there."""

from __future__ import annotations

import importlib
import inspect
import re
from pathlib import Path

from pennyfall.tracker import measure_clip

DEVELOPERS = (Path(__file__).resolve().parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = DEVELOPERS.partition("## The library's face")[2].partition("\n## ")[0]


def test_every_name_of_the_librarys_face_exists_and_says_what_it_is() -> None:
    names = re.findall(r"`(pennyfall(?:\.\w+)+)\.(\w+)`", SECTION)
    assert len(names) >= 10
    for module, name in names:
        assert inspect.getdoc(getattr(importlib.import_module(module), name)), f"{module}.{name}"


def test_measuring_a_clip_is_asked_for_as_the_face_says() -> None:
    (shown,) = re.findall(r"`measure_clip\((.*?)\)`", SECTION)
    given = [
        f"{'*, ' if place == 2 else ''}{name}"
        for place, name in enumerate(inspect.signature(measure_clip).parameters)
    ]
    assert ", ".join(given) == shown
    kinds = [each.kind for each in inspect.signature(measure_clip).parameters.values()]
    assert kinds[2] is inspect.Parameter.KEYWORD_ONLY
