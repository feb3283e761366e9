"""Sixty clips on one core and on two, measured and barely decoded; run with --benchmark.

Measured and annotated: 0.27 clips/s on one core, 0.45 on two, 1.70 times as many; bare decoding gains 1.72
times, as the two cores share silicon.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pennyfall.demo_clips.clips import shipped_clips

CLIPS = 60
LEAST_GAIN = 1.7
NEAR_LIMIT = 0.95
"""Share of the decoder's own gain that measuring must reach where cores that share silicon fall short."""

MEASURED = """
import sys
from functools import partial
from pathlib import Path
from pennyfall.cli.lesson.clips import annotate_clip, measure_for_lesson
from pennyfall.cli.files.measured_files import MEASURED_FOLDER
from pennyfall.cli.lesson.side_by_side import ClipTask, measure_side_by_side
from pennyfall.tracker.measure.settings import Settings

def tasks(folder):
    (folder / MEASURED_FOLDER).mkdir(exist_ok=True)
    measure = partial(measure_for_lesson, Settings())
    return [
        ClipTask(folder=folder, clip=clip.name, fingerprint="", measure=measure, finish=annotate_clip)
        for clip in sorted(folder.glob("*.mp4"))
    ]

if __name__ == "__main__":
    print(sum(1 for _ in measure_side_by_side(tasks(Path(sys.argv[1])), processes=int(sys.argv[2]))))
"""
DECODED = """
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
import av

def decoded(path):
    with av.open(path) as container:
        container.streams.video[0].thread_type = "AUTO"
        return sum(1 for _ in container.decode(video=0))

if __name__ == "__main__":
    clips = sorted(str(clip) for clip in Path(sys.argv[1]).glob("*.mp4"))
    with ProcessPoolExecutor(int(sys.argv[2])) as pool:
        print(len(list(pool.map(decoded, clips))))
"""


def clips_a_second(script: Path, folder: Path, cores: set[int]) -> float:
    """Run a script over the lesson on some cores; return clips a second."""
    started = os.times().elapsed
    printed = subprocess.run(
        [sys.executable, str(script), str(folder), str(len(cores))],
        check=True,
        capture_output=True,
        text=True,
        preexec_fn=lambda: os.sched_setaffinity(0, cores),
    ).stdout
    assert int(printed) == CLIPS
    return CLIPS / (os.times().elapsed - started)


@pytest.mark.benchmark
def test_a_lesson_uses_both_cores(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cores = os.sched_getaffinity(0)
    if len(cores) < 2:
        pytest.skip("needs two cores")
    one, both = set(sorted(cores)[:1]), set(sorted(cores)[:2])
    folder = tmp_path / "lesson"
    folder.mkdir()
    shipped = [clip.path for clip in shipped_clips()]
    for number in range(CLIPS):
        shutil.copy(shipped[number % len(shipped)], folder / f"{number:02d}.mp4")
    gains = {}
    for name, text in {"measured": MEASURED, "decoded": DECODED}.items():
        script = tmp_path / f"{name}.py"
        script.write_text(text, encoding="utf-8")
        rates = [clips_a_second(script, folder, chosen) for chosen in (one, both)]
        gains[name] = rates[1] / rates[0]
        with capsys.disabled():
            print(  # noqa: T201 - the figure is what the test is run for
                f"\n{name}: {rates[0]:.2f} clips/s on one core, {rates[1]:.2f} on two: {gains[name]:.2f}"
            )
    assert gains["measured"] >= min(LEAST_GAIN, NEAR_LIMIT * gains["decoded"])
