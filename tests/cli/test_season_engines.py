"""A season on this machine's processes and on a Dask cluster, with clips that kill and kills from outside."""

from __future__ import annotations

import os
import random
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pandas as pd
import pytest

from pennyfall.cli.season.engines import on_cluster, on_this_machine
from pennyfall.kinematics.errors import CannotMeasure
from tests.cli.quick_season import DEADLY, loose_clips, quick_season

README = Path(__file__).resolve().parents[2] / "README.md"
PORT = 28786
ADDRESS = f"tcp://127.0.0.1:{PORT}"
CLIPS = 16

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="kills as POSIX has them"),
]


@pytest.fixture
def clips(tmp_path: Path) -> Path:
    loose_clips(tmp_path / "clips", CLIPS)
    return tmp_path / "clips"


@pytest.fixture
def undisturbed(clips: Path, tmp_path: Path) -> bytes:
    """Return the table of a season measured clip after clip in one process."""
    out = tmp_path / "undisturbed.parquet"
    quick_season(clips, out)
    return out.read_bytes()


def _environment(home: Path, work_s: float) -> dict[str, str]:
    home.mkdir(exist_ok=True)
    return {**os.environ, "HOME": str(home), "PENNYFALL_TEST_WORK_S": str(work_s), "PYTHONWARNINGS": "ignore"}


@contextmanager
def _running(command: list[str], environment: Mapping[str, str]) -> Iterator[subprocess.Popen[bytes]]:
    process = subprocess.Popen(
        command, env=environment, start_new_session=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()


def _measured(process: subprocess.Popen[bytes], clips: int) -> None:
    """Wait until a season's process says that it has measured so many clips."""
    assert process.stdout is not None
    for line in process.stdout:
        if int(line.split()[1]) >= clips:
            return
    pytest.fail("It ended before.")


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[list[int]]:
    """Start what the README's lines start, each machine with a home of its own; return the nannies' ids."""
    lines = re.findall(r"^(dask .*?)\s*#", README.read_text(encoding="utf-8"), re.MULTILINE)
    assert len(lines) == 3
    with ExitStack() as stack:
        ids = []
        for number, line in enumerate(lines):
            words = line.replace("FIRST", "127.0.0.1").replace("8786", str(PORT)).split()
            words += ["--no-dashboard"] if number == 0 else ["--no-dashboard", "--nworkers", "1"]
            home = tmp_path / ("first" if number < 2 else "second")
            command = [sys.executable, "-m", *words]
            ids.append(stack.enter_context(_running(command, _environment(home, 0.3))).pid)
        yield ids[1:]


def _workers_of(nanny: int) -> list[int]:
    """Return the worker processes that a nanny has started."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(path.read_text().rpartition(")")[2].split()[1])
            command = (path.parent / "cmdline").read_bytes()
        except (OSError, ValueError):
            continue  # it has ended meanwhile
        if parent == nanny and b"spawn_main" in command:
            found.append(int(path.parent.name))
    return found


def test_a_clip_that_kills_its_process_costs_no_other_clip_and_is_refused(
    clips: Path, undisturbed: bytes, tmp_path: Path
) -> None:
    out = tmp_path / "s.parquet"
    (clips / "deadly.mp4").write_bytes(DEADLY)
    done = quick_season(clips, out, engine=on_this_machine(2))
    assert (done.progress.measured, done.progress.refused) == (CLIPS, 1)
    table = pd.read_parquet(out).set_index("clip")
    assert "was ended 3 times" in str(table.loc["deadly.mp4", "refused"])
    assert table.loc["deadly.mp4", "clip_sha256"]
    (clips / "deadly.mp4").unlink()
    assert quick_season(clips, out).progress.unchanged == CLIPS
    assert out.read_bytes() == undisturbed


def test_a_season_killed_again_and_again_ends_with_the_table_of_one_left_alone(
    clips: Path, undisturbed: bytes, tmp_path: Path
) -> None:
    out, moments = tmp_path / "s.parquet", random.Random(7)
    command = [sys.executable, "-m", "tests.cli.quick_season", str(clips), str(out)]
    for _ in range(4):
        with _running(command, _environment(tmp_path / "home", 0.4)) as process:
            _measured(process, 1 + moments.randrange(2))
            time.sleep(moments.uniform(0.0, 0.4))  # so that it falls now on measuring, now on keeping
            os.kill(process.pid, signal.SIGKILL)
        assert not out.exists()  # nothing half-written
    last = quick_season(clips, out)
    assert last.progress.unchanged >= 4  # what was done before a kill was kept
    assert out.read_bytes() == undisturbed


def test_the_readmes_lines_give_the_table_of_one_process_whichever_worker_is_killed(
    clips: Path, cluster: list[int], undisturbed: bytes, tmp_path: Path
) -> None:
    """Two machines are two homes here; each loses its worker in mid-clip, and the client is killed once."""
    out = tmp_path / "s.parquet"
    quick_season(clips, tmp_path / "warm.parquet", engine=on_cluster(ADDRESS))
    command = [sys.executable, "-m", "tests.cli.quick_season", str(clips), str(out), ADDRESS]
    with _running(command, _environment(tmp_path / "first", 0.3)) as client:
        _measured(client, 2)
        os.kill(client.pid, signal.SIGKILL)
    with _running(command, _environment(tmp_path / "first", 0.3)) as client:
        for nanny in cluster:
            _measured(client, 2)
            (worker,) = _workers_of(nanny)
            os.kill(worker, signal.SIGKILL)
        client.communicate(timeout=200)
        assert client.returncode == 0
    assert out.read_bytes() == undisturbed


def test_on_a_cluster_a_clip_that_kills_its_workers_is_refused_and_no_other(
    clips: Path, cluster: list[int], undisturbed: bytes, tmp_path: Path
) -> None:
    out = tmp_path / "s.parquet"
    (clips / "aaa-deadly.mp4").write_bytes(DEADLY)
    (clips / "zzz-deadly.mp4").write_bytes(DEADLY)
    done = quick_season(clips, out, engine=on_cluster(ADDRESS))
    assert (done.progress.measured, done.progress.refused) == (CLIPS, 2)
    for clip in clips.glob("*-deadly.mp4"):
        clip.unlink()
    assert quick_season(clips, out, engine=on_cluster(ADDRESS)).progress.unchanged == CLIPS
    assert out.read_bytes() == undisturbed


def test_without_a_scheduler_it_is_said_what_to_start(
    clips: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pennyfall.cli.season.engines.ANSWER_S", 1.0)
    with pytest.raises(CannotMeasure, match=r"No scheduler answers at tcp://127\.0\.0\.1:9") as caught:
        quick_season(clips, tmp_path / "s.parquet", engine=on_cluster("tcp://127.0.0.1:9"))
    assert "dask scheduler" in caught.value.fix
