"""The page under load: killed at any moment, ten phones at once, a day's clips, and damaged ones."""

from __future__ import annotations

import json
import re
import shutil
import statistics
import sys
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx2
import numpy as np
import pytest

from pennyfall.cli.files.lesson_file import read_lesson
from pennyfall.cli.files.measurement import from_document
from pennyfall.cli.lesson.clips import annotate_clip, lesson_measuring
from pennyfall.cli.serve.desk import Desk, clip_id
from tests.cli.damage import damaged_clips
from tests.cli.lesson_strokes import lesson_folder
from tests.cli.quick_lesson import quick_run
from tests.cli.quick_page import Running, clip_number, made_clip, open_page, running_page, wait_for
from tests.cli.test_page import FACTS
from tests.tracker.timed_clips import filmed, small_scene

pytestmark = pytest.mark.slow

KILLS = 50
FEWEST_OF_EACH = 5


def steps(client: httpx2.Client) -> Counter[str]:
    return Counter(re.findall(r'data-step="([a-z ]+)"', client.get("/clips").text))


def whole(folder: Path) -> int:
    """Assert that every file a killed page left is whole; return how many clips are measured."""
    measured = 0
    for path in (folder / "measured").glob("[!.]*.json"):
        from_document(json.loads(path.read_text()))
        assert (folder / "measured" / f"{path.stem}.track.csv").read_text().startswith("t_s,")
        assert (folder / "measured" / f"{path.stem}.stroke-1.mp4").stat().st_size
        measured += 1
    for name in ("page.json", ".page-keys"):
        if (folder / name).exists():
            json.loads((folder / name).read_text())
    if (folder / "lesson.toml").exists():
        read_lesson(folder)
    return measured


def test_fifty_kills_at_random_moments_lose_no_clip_and_no_sorting_and_measure_nothing_twice(
    tmp_path: Path, generator: np.random.Generator
) -> None:
    folder, sent, sorted_so = tmp_path / "lesson", 0, {}
    folder.mkdir()
    Desk(folder).tell(student="S-01", hand="right", green_speed="10", tag_height="", units="ft")
    kept: dict[str, int] = {}
    reached = []
    for _ in range(KILLS):
        with running_page(folder, PENNYFALL_TEST_WORK_S="0.1") as running:
            over = threading.Event()

            def busy(running: Running = running, over: threading.Event = over) -> None:
                nonlocal sent
                try:
                    with running.client(running.coach) as coach:
                        while not over.is_set():
                            shape = ("let go", "kept on")[sent % 2]
                            content = made_clip(tmp_path, shape, seed=sent)
                            coach.post("/now", data={"name": f"coin {shape}", "length": "6"})
                            wanted = clip_number(sent)
                            if coach.put(f"/clips/{wanted}", content=content).status_code in (200, 202):
                                sorted_so[wanted] = f"coin {shape}"
                                sent += 1
                            coach.get("/")
                except (httpx2.TransportError, AssertionError):
                    return

            worker = threading.Thread(target=busy)
            worker.start()
            aim, end_s = sent + int(generator.integers(0, 3)), time.monotonic() + 30
            more = len(list((folder / "measured").glob("[!.]*.json"))) + int(generator.integers(0, 2))
            # The moments spread over sending and measuring on any machine.
            while worker.is_alive() and time.monotonic() < end_s:
                if sent >= aim and len(list((folder / "measured").glob("[!.]*.json"))) >= more:
                    break
                time.sleep(0.005)
            time.sleep(float(generator.uniform(0.0, 0.4)))
            running.process.kill()
            running.process.wait()
            over.set()
            worker.join()
        reached.append(whole(folder))
        for path in (folder / "measured").glob("[!.]*.json"):
            assert kept.setdefault(path.name, path.stat().st_mtime_ns) == path.stat().st_mtime_ns
        clips = set(map(clip_id, Desk(folder).clips))
        assert set(sorted_so) <= clips, "what was answered with 'it is here' is here"
    assert sent >= KILLS / 2, "the page gets on between two kills"
    with running_page(folder) as running, running.client(running.coach) as coach:
        wait_for(lambda: set(steps(coach)) == {"measured"} and steps(coach).total() >= sent, 120)
        wait_for(lambda: coach.post("/report").status_code == 200, 60)
    lesson = read_lesson(folder)
    told = {
        clip.rpartition("-")[2].partition(".")[0]: each.name
        for each in lesson.conditions
        for clip in each.clips
    }
    assert {wanted: told.get(wanted) for wanted in sorted_so} == sorted_so
    assert {each.name for each in folder.rglob(".*")} == {".lesson.lock", ".page-keys"}
    report = (folder / "report.html").read_text()
    quick_run(folder, database=None)
    assert (folder / "report.html").read_text() == report
    assert len(set(reached)) >= FEWEST_OF_EACH, reached
    sys.stderr.write(f"\nclips measured at each kill: {reached}; sent {sent}\n")


def test_ten_phones_at_once_lose_nothing_while_the_page_stays_quick_and_small(tmp_path: Path) -> None:
    folder, phones, each_sends, size = tmp_path / "lesson", 10, 3, 5_000_000
    folder.mkdir()
    with running_page(folder, PENNYFALL_TEST_WORK_S="0.3") as running:
        contents = {
            number: made_clip(tmp_path, seed=number).ljust(size) for number in range(phones * each_sends)
        }

        def send(phone: int) -> list[int]:
            with running.client(running.phone) as client:
                numbers = range(phone * each_sends, (phone + 1) * each_sends)
                answers = [
                    client.put(f"/clips/{clip_number(number)}", content=contents[number]).status_code
                    for number in numbers
                ]
                wait_for(lambda: steps(client) == {"measured": each_sends}, 120)
                return answers

        with running.client(running.coach) as coach, ThreadPoolExecutor(phones) as pool:
            sending = [pool.submit(send, phone) for phone in range(phones)]
            times_s = []
            while not all(each.done() for each in sending):
                started_s = time.monotonic()
                assert coach.get("/clips").status_code == 200
                times_s.append(time.monotonic() - started_s)
                time.sleep(0.02)
            assert [each.result() for each in sending] == [[202] * each_sends] * phones
            assert steps(coach) == {"measured": phones * each_sends}
        status = Path(f"/proc/{running.process.pid}/status")
        peak = re.search(r"VmHWM:\s+(\d+)", status.read_text()) if status.exists() else None
        peak_mb = int(peak[1]) / 1000 if peak else 0.0
    quick_95_s = statistics.quantiles(times_s, n=20)[-1]
    sys.stderr.write(
        f"\n95 % of {len(times_s)} answers within {quick_95_s:.3f} s; {peak_mb:.0f} MB at most\n"
    )
    assert peak_mb < 400
    assert quick_95_s < 1.0


def test_a_days_lesson_of_200_clips_is_shown_in_one_go_and_reported(tmp_path: Path) -> None:
    lesson_folder(tmp_path / "lesson", strokes=50)
    with open_page(tmp_path / "lesson", own_processes=True, processes=2) as coach:
        coach.post("/lesson", data=FACTS)
        wait_for(lambda: coach.get("/clips").text.count("data-film") == 200, 150)
        wait_for(lambda: "Mean of 100 strokes" in coach.get("/so-far").text, 60)
        started_s = time.monotonic()
        page = coach.get("/").text
        sys.stderr.write(f"\n200 clips: {len(page) / 1e3:.0f} kB in {time.monotonic() - started_s:.3f} s\n")
        assert coach.post("/report").status_code == 200


@pytest.mark.clip
def test_damaged_clips_are_measured_or_refused_in_words_and_the_page_goes_on(
    tmp_path: Path, generator: np.random.Generator
) -> None:
    """Every eighth of the damaged clips that the measuring itself is tried on."""
    for name in ("sound", "damaged"):
        (tmp_path / name).mkdir()
    sound = filmed(small_scene(60, name="at60", sound=True), tmp_path / "sound")
    ended: Counter[str] = Counter()
    with open_page(
        tmp_path / "lesson", own_processes=True, measure=lesson_measuring, finish=annotate_clip
    ) as coach:
        for number, damaged in enumerate(damaged_clips(sound, tmp_path / "damaged", generator)):
            if number % 8:
                continue
            wanted = clip_number(number)
            answer = coach.put(
                f"/clips/{wanted}",
                content=damaged.path.read_bytes(),
                headers={"x-clip-name": damaged.path.name},
            )
            assert answer.status_code == (202 if damaged.path.stat().st_size else 400)
            if answer.status_code == 400:
                continue

            over = re.compile('data-step="(refused|twin)"|data-film')
            end_s = time.monotonic() + 100
            while not over.search(row := coach.get(f"/clips/{wanted}").text):
                assert time.monotonic() < end_s
                time.sleep(0.05)
            (step,) = re.findall(r'data-step="(\w+)"', row)
            ended[step] += 1
            assert "defect" not in row
            assert step != "refused" or re.search(r'class="refusal"><b>.+</b> \w+', row)
        assert coach.get("/").status_code == 200
    sys.stderr.write(f"\n{dict(ended)}\n")
    assert ended["refused"] > 10
    assert ended["measured"] > 2
    shutil.rmtree(tmp_path / "damaged")
