"""A lesson run killed at any moment: everything it leaves is whole, and the next run finishes it."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from pennyfall.cli.files.folder_lock import folder_lock
from pennyfall.cli.files.measurement import from_document
from pennyfall.cli.history.database import open_history, strokes_long
from tests.cli.lesson_strokes import lesson_folder
from tests.cli.quick_lesson import quick_run

KILLS = 50
PROJECT = Path(__file__).resolve().parents[2]
MOST_DELAY_S = 0.6
"""Longer than a clip takes, and than recording, comparing and reporting take after the last one."""
WORK_S = "0.12"
"""What a made-up clip takes to measure, so that kills fall into the measuring as well as into the writing."""


def start(folder: Path, database: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.cli.quick_lesson", str(folder), str(database)],
        cwd=PROJECT,
        env={**os.environ, "PENNYFALL_TEST_WORK_S": WORK_S},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def children_of(process: int) -> Iterator[int]:
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if int(fields[1]) == process and fields[0] != "Z":
                yield int(entry.name)


def wait_for_clips(folder: Path, process: subprocess.Popen[bytes], clips: int) -> None:
    """Wait until so many clips are measured: moments then spread over the run on any machine."""
    while process.poll() is None and len(list((folder / "measured").glob("*.json"))) < clips:
        time.sleep(0.005)


def check_consistent(folder: Path, database: Path) -> int:
    """Assert that every file is whole and the database sound; return how many clips are measured."""
    measured = 0
    inside = folder / "measured"
    for path in inside.iterdir() if inside.is_dir() else ():
        if path.name.startswith("."):
            continue  # half written, and named so that nobody takes it for a result
        if path.suffix == ".json":
            from_document(json.loads(path.read_text()))
            clip = path.name.removesuffix(".json")
            assert (inside / f"{clip}.track.csv").read_text().startswith("t_s,")
            assert (inside / f"{clip}.stroke-1.mp4").read_bytes() == b"film of " + clip.encode()
            measured += 1
    report = folder / "report.html"
    assert not report.is_file() or report.read_text().rstrip().endswith("</html>")
    if database.is_file():
        connection = sqlite3.connect(database)
        try:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
            tables = connection.execute("SELECT COUNT(*) FROM sqlite_schema WHERE name = 'stroke'").fetchone()
            if tables == (1,):
                (strokes,) = connection.execute("SELECT COUNT(*) FROM stroke").fetchone()
                assert strokes in (0, 12), "a lesson is recorded whole or not at all"
        finally:
            connection.close()
    return measured


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc to see that no worker outlives its run")
def test_fifty_kills_at_random_moments_lose_nothing_and_the_next_run_finishes(
    tmp_path: Path, generator: np.random.Generator
) -> None:
    lesson_folder(tmp_path / "whole")
    with start(tmp_path / "whole", tmp_path / "whole.sqlite") as process:
        assert process.wait() == 0
    reference = quick_run(tmp_path / "whole", database=None)
    reached = []
    finished = 0
    for kill in range(KILLS):
        folder, database = tmp_path / f"{kill}", tmp_path / f"{kill}.sqlite"
        lesson_folder(folder)
        with start(folder, database) as process:
            wait_for_clips(folder, process, int(generator.integers(0, 13)))
            time.sleep(float(generator.uniform(0.0, MOST_DELAY_S)))
            workers = list(children_of(process.pid))
            process.send_signal(signal.SIGKILL)
            finished += process.wait() == 0
        reached.append(check_consistent(folder, database))
        with folder_lock(folder):
            pass  # the killed run's lock died with it
        quick_run(folder, database=database)
        assert check_consistent(folder, database) == 12
        assert not list((folder / "measured").glob(".*"))
        for name in ("measured", ""):
            for path in (tmp_path / "whole" / name).iterdir():
                if path.is_file() and not path.name.startswith(".") and path.suffix != ".html":
                    assert (folder / name / path.name).read_bytes() == path.read_bytes()
        with open_history(database) as history:
            assert len(strokes_long(history)["clip"].unique()) == reference.result.stroke_count
        end_s = time.monotonic() + 20
        while any(_alive(worker) for worker in workers) and time.monotonic() < end_s:
            time.sleep(0.05)
        assert not any(_alive(worker) for worker in workers), "a killed run's workers end with it"
    assert len(set(reached)) >= 6, f"the kills have to fall into many stages of the run: {sorted(reached)}"
    assert finished < KILLS / 2
    sys.stderr.write(
        f"\nclips measured at each kill: {sorted(reached)}; finished before the kill: {finished}\n"
    )


SLOW_S = 8.0
"""What a made-up clip then takes to measure: a run that waited for its clips would be waited for as long."""
MOST_STOPPING_S = 4.0
"""A second on a free machine; several times that on one with work for all its cores."""
SHELL = """
import sys
from pathlib import Path
from pennyfall.cli.app import main
from pennyfall.cli.lesson import run
from tests.cli.quick_lesson import quick_run

def slow_run(folder, *, database, processes, progress, invented):
    return quick_run(folder, database=database, processes=processes)

if __name__ == "__main__":
    run.run_lesson = slow_run
    main()
"""


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc to see that no worker outlives its run")
@pytest.mark.parametrize("processes", ["1", "2"])
def test_a_lesson_stopped_by_ctrl_c_ends_at_once_and_says_what_is_kept(
    tmp_path: Path, processes: str
) -> None:
    folder, script = tmp_path / "lesson", tmp_path / "shell.py"
    lesson_folder(folder)
    script.write_text(SHELL)
    with subprocess.Popen(
        [sys.executable, script, "lesson", "run", folder, "--no-history", "--processes", processes],
        cwd=PROJECT,
        env={
            **os.environ,
            "PENNYFALL_TEST_WORK_S": f"{SLOW_S}",
            "PYTHONPATH": os.pathsep.join([str(PROJECT), os.environ.get("PYTHONPATH", "")]),
        },
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        while process.poll() is None and not (folder / "measured").is_dir():
            time.sleep(0.01)
        while process.poll() is None and processes != "1" and not list(children_of(process.pid)):
            time.sleep(0.01)
        time.sleep(0.5)
        workers = list(children_of(process.pid))
        os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the run and its workers
        started_s = time.monotonic()
        said, complained = process.communicate()
        assert time.monotonic() - started_s < MOST_STOPPING_S
    assert process.returncode == 130
    assert said == ""
    assert complained == "Stopped. What is done is kept: the next run goes on from there.\n"
    assert list((folder / "measured").iterdir()) == []
    while any(_alive(worker) for worker in workers) and time.monotonic() - started_s < MOST_STOPPING_S:
        time.sleep(0.05)
    assert not any(_alive(worker) for worker in workers)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal to a group of processes")
def test_rendering_the_demonstration_stops_as_quickly_and_leaves_no_half_clip(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    with subprocess.Popen(
        [sys.executable, "-c", "from pennyfall.cli.app import main; main()", "lesson", "demo", folder],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        while process.poll() is None and not list(folder.glob(".*.part")):
            time.sleep(0.01)
        os.killpg(process.pid, signal.SIGINT)
        started_s = time.monotonic()
        _, complained = process.communicate()
        assert time.monotonic() - started_s < MOST_STOPPING_S
    assert process.returncode == 130
    assert complained == "Stopped. What is done is kept: the next run goes on from there.\n"
    assert list(folder.iterdir()) == []


def _alive(process: int) -> bool:
    try:
        return (Path("/proc") / str(process) / "stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
