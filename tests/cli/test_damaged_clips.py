"""More than three hundred damaged clips: each is measured within its interval, or refused in words."""

from __future__ import annotations

import json
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from tests.cli.damage import damaged_clips
from tests.cli.watched import Ending, WatchedCommands
from tests.tracker.timed_clips import DURATIONS, EVENTS, SD95, SPEEDS, Filmed, filmed, small_scene

LIMIT_S = 100.0
"""A watchdog, far beyond the second or two that a sound clip of this size takes on a free core."""

MOST_MEMORY_MB = 600
"""Twice what a sound clip of this size needs; the bombs would take gigabytes."""


@pytest.fixture(scope="module")
def sound_clip(tmp_path_factory: pytest.TempPathFactory) -> Filmed:
    """Return a small clip of one stroke, picture and sound."""
    return filmed(small_scene(60, name="at60", sound=True), tmp_path_factory.mktemp("sound"))


@pytest.mark.clip
@pytest.mark.slow
def test_no_damage_crashes_hangs_or_misleads(
    sound_clip: Filmed, tmp_path: Path, generator: np.random.Generator, capsys: pytest.CaptureFixture[str]
) -> None:
    source, results = tmp_path / "clips", tmp_path / "results"
    source.mkdir()
    results.mkdir()
    counts: Counter[tuple[str, str]] = Counter()
    faults: list[str] = []
    slowest_s, memory_mb = 0.0, 0.0
    with WatchedCommands() as watched:
        for number, damaged in enumerate(damaged_clips(sound_clip, source, generator)):
            out = results / "out.json"
            started = time.monotonic()
            ending = watched.run(
                ["measure", str(damaged.path), "--json", str(out), "--quiet"], limit_s=LIMIT_S
            )
            slowest_s = max(slowest_s, time.monotonic() - started)
            memory_mb = max(memory_mb, ending.memory_mb)
            outcome, fault = _outcome(ending, out, sound_clip.truth)
            out.unlink(missing_ok=True)
            if fault or list(results.iterdir()) or list(source.iterdir()) != [damaged.path]:
                faults.append(f"{number} {damaged.kind}: {outcome} {fault}")
            counts[damaged.kind, outcome] += 1
    with capsys.disabled():
        for (kind, outcome), count in sorted(counts.items()):
            print(f"\n{kind:24} {outcome:10} {count:4}", end="")  # noqa: T201 - the counts are the result
        print(f"\n{counts.total()} damaged clips, slowest {slowest_s:.1f} s, at most {memory_mb:.0f} MB")  # noqa: T201
    assert faults == []
    assert counts.total() >= 300
    assert memory_mb < MOST_MEMORY_MB
    assert sum(count for (_, outcome), count in counts.items() if outcome == "measured") > 20


def _outcome(ending: Ending, out: Path, truth: dict[str, float]) -> tuple[str, str]:
    """Return how a clip ended, and what is wrong with that."""
    if ending.code == 2:
        words = ending.words.strip().splitlines()
        plain = len(words) >= 2 and not any(bad in ending.words for bad in ("Traceback", "defect"))
        left = "; a file was left behind" if out.exists() else ""
        return "refused", ("" if plain else f"not in words: {ending.words!r}") + left
    if ending.code != 0:
        return "failed", f"exit code {ending.code}: {ending.words}"
    strokes = json.loads(out.read_text())["strokes"]
    if len(strokes) != 1:
        return "measured", f"{len(strokes)} strokes"
    wrong = []
    for name, key in (EVENTS | DURATIONS | SPEEDS).items():
        value, sd = strokes[0][name]["value"], strokes[0][name]["sd"]
        if value is not None and abs(value - truth[key]) > SD95 * sd:
            wrong.append(f"{name} {(value - truth[key]) / sd:+.1f} sd")
    return "measured", ", ".join(wrong)
