"""A lesson run: nothing measured twice, nothing lost, one at a time."""

from __future__ import annotations

import dataclasses
import datetime as dt
import errno
import os
import pickle
import re
import subprocess
import sys
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pennyfall.calibration.layout import STANDARD_SHEET
from pennyfall.cli.files.folder_lock import folder_lock
from pennyfall.cli.files.lesson_file import read_lesson, write_lesson
from pennyfall.cli.files.lesson_result import LessonResult
from pennyfall.cli.files.measured_files import (
    REPORT_FILE,
    MeasuredClip,
    MeasuredWith,
    measurement_path,
    sweep_unfinished,
)
from pennyfall.cli.lesson.clips import lesson_measuring
from pennyfall.cli.lesson.measuring import measure_lesson
from pennyfall.cli.lesson.side_by_side import MeasureClip
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.measure.settings import Settings
from tests.cli.lesson_strokes import (
    MEASURED_WITH,
    finish_nothing,
    lesson_folder,
    measure_quickly,
    measured_clips_of,
    write_clip,
)
from tests.cli.quick_lesson import quick_run


def measure_and_note(notes: Path, path: Path) -> MeasuredClip:
    """Measure, and leave a note that it was done."""
    with notes.open("a") as stream:
        stream.write(f"{path.name}\n")
    return measure_quickly(path)


def run(
    folder: Path,
    measure: MeasureClip = measure_quickly,
    measured_with: MeasuredWith = MEASURED_WITH,
    processes: int = 1,
) -> LessonResult:
    return measure_lesson(
        folder,
        read_lesson(folder),
        measure=measure,
        finish=finish_nothing,
        measured_with=measured_with,
        processes=processes,
    )


def test_every_clip_is_measured_once_and_sorted_into_its_condition(tmp_path: Path) -> None:
    lesson = lesson_folder(tmp_path / "lesson")
    notes = tmp_path / "notes"
    noting = partial(measure_and_note, notes)
    first = run(tmp_path / "lesson", noting)
    again = run(tmp_path / "lesson", noting)
    assert sorted(notes.read_text().split()) == sorted(lesson.clips)
    assert [each.condition.title for each in again.conditions] == [each.title for each in lesson.conditions]
    for before, after in zip(first.conditions, again.conditions, strict=True):
        assert [each.clip for each in after.strokes] == list(after.condition.clips)
        for one, other in zip(before.strokes, after.strokes, strict=True):
            assert one.measures.peak_acceleration_mps2 == other.measures.peak_acceleration_mps2


@pytest.mark.slow
def test_two_processes_give_the_same_as_one(tmp_path: Path) -> None:
    lesson_folder(tmp_path / "one", strokes=1)
    lesson_folder(tmp_path / "two", strokes=1)
    run(tmp_path / "one")
    run(tmp_path / "two", processes=2)
    for name in (each.name for each in (tmp_path / "one" / "measured").iterdir()):
        assert (tmp_path / "one/measured" / name).read_bytes() == (
            tmp_path / "two/measured" / name
        ).read_bytes()


def test_only_a_changed_clip_is_measured_again(tmp_path: Path) -> None:
    folder, notes = tmp_path / "lesson", tmp_path / "notes"
    lesson = lesson_folder(folder, strokes=1)
    run(folder)
    write_clip(folder / lesson.clips[2], "let go", 6.0, seed=99)
    run(folder, partial(measure_and_note, notes))
    assert notes.read_text().split() == [lesson.clips[2]]


def test_other_options_or_another_version_measure_everything_again(tmp_path: Path) -> None:
    folder, notes = tmp_path / "lesson", tmp_path / "notes"
    lesson = lesson_folder(folder, strokes=1)
    noting = partial(measure_and_note, notes)
    run(folder, noting)
    run(folder, noting, MeasuredWith(options={"by": "test", "tag_height_mm": 30}, version="1"))
    run(folder, noting, MeasuredWith(options={"by": "test", "tag_height_mm": 30}, version="2"))
    assert len(notes.read_text().split()) == 3 * len(lesson.clips)


def test_a_damaged_measurement_file_is_measured_again(tmp_path: Path) -> None:
    folder, notes = tmp_path / "lesson", tmp_path / "notes"
    lesson = lesson_folder(folder, strokes=1)
    run(folder)
    measurement_path(folder, lesson.clips[0]).write_text('{"schema": "pennyf')
    run(folder, partial(measure_and_note, notes))
    assert notes.read_text().split() == [lesson.clips[0]]


def test_a_clip_that_cannot_be_measured_is_named_and_the_lesson_goes_on(tmp_path: Path) -> None:
    folder, notes = tmp_path / "lesson", tmp_path / "notes"
    lesson = lesson_folder(folder)
    (folder / lesson.clips[1]).write_text("black frames")
    noting = partial(measure_and_note, notes)
    result = run(folder, noting)
    assert [each.clip for each in result.refused] == [lesson.clips[1]]
    assert "No stroke was found" in result.refused[0].message
    assert "from the side" in result.refused[0].fix
    assert result.stroke_count == len(lesson.clips) - 1
    run(folder, noting)
    assert len(notes.read_text().split()) == len(lesson.clips), "a refused clip is not tried again unchanged"


def test_a_lesson_of_which_nothing_can_be_measured_is_refused(tmp_path: Path) -> None:
    lesson = lesson_folder(tmp_path, strokes=1)
    for number, clip in enumerate(lesson.clips):
        (tmp_path / clip).write_text(f"black frames {number}")
    with pytest.raises(CannotMeasure, match="None of the 4 clips could be measured"):
        run(tmp_path)


def test_one_clip_under_two_names_is_refused(tmp_path: Path) -> None:
    lesson = lesson_folder(tmp_path, strokes=1)
    (tmp_path / lesson.clips[3]).write_bytes((tmp_path / lesson.clips[0]).read_bytes())
    with pytest.raises(CannotMeasure, match="same file under two names"):
        run(tmp_path)


def test_a_full_disk_stops_the_run_and_keeps_what_was_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lesson = lesson_folder(tmp_path)
    kept_before_full = 5
    replace = Path.replace
    written: list[Path] = []

    def replace_until_full(self: Path, target: Path) -> Path:
        if len(written) == 2 * kept_before_full:  # a track and a measurement file each
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        written.append(target)
        return replace(self, target)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", replace_until_full)
        with pytest.raises(CannotMeasure, match="No space left on device") as caught:
            run(tmp_path)
    assert "space" in caught.value.fix
    assert len(measured_clips_of(tmp_path)) == kept_before_full
    assert not list((tmp_path / "measured").glob(".*"))
    assert run(tmp_path).stroke_count == len(lesson.clips)


def test_a_worker_ended_from_outside_loses_nothing_that_was_kept(tmp_path: Path) -> None:
    lesson = lesson_folder(tmp_path, strokes=1)
    with pytest.raises(CannotMeasure, match="ended from outside"):
        run(tmp_path, die_on_second_condition, processes=2)
    assert run(tmp_path).stroke_count == len(lesson.clips)


def die_on_second_condition(path: Path) -> MeasuredClip:
    """Do what the kernel does to a process when memory runs out."""
    if "kept-on" in path.name:
        os._exit(9)
    return measure_quickly(path)


def test_two_runs_at_once_on_one_folder_are_refused(tmp_path: Path) -> None:
    with (
        folder_lock(tmp_path),
        pytest.raises(CannotMeasure, match="Another run is working") as caught,
        folder_lock(tmp_path),
    ):
        pass
    assert "kept" in caught.value.fix
    with folder_lock(tmp_path):
        pass  # free again


def test_a_second_process_is_refused_until_the_first_has_ended_in_whatever_way(tmp_path: Path) -> None:
    hold = (
        "import sys; from pathlib import Path; from pennyfall.cli.files.folder_lock import folder_lock\n"
        "with folder_lock(Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        with pytest.raises(CannotMeasure, match="Another run is working"), folder_lock(tmp_path):
            pass
        other.kill()
    with folder_lock(tmp_path):
        pass


def test_a_folder_that_is_not_there_is_refused_and_not_made(tmp_path: Path) -> None:
    with pytest.raises(CannotMeasure, match="There is no folder"), folder_lock(tmp_path / "none"):
        pass
    assert not (tmp_path / "none").exists()


def test_a_lesson_needs_no_module_that_only_unix_has() -> None:
    blocked = ("fcntl", "grp", "pwd", "pty", "resource", "termios", "tty")
    lesson = "import pennyfall.cli.commands.lesson, pennyfall.cli.lesson.run"
    program = f"import sys; sys.modules.update(dict.fromkeys({blocked}))\n{lesson}"
    subprocess.run([sys.executable, "-c", program], check=True)


def test_half_files_of_a_killed_run_are_swept(tmp_path: Path) -> None:
    lesson = lesson_folder(tmp_path, strokes=1)
    run(tmp_path)
    (tmp_path / "measured" / f".{lesson.clips[0]}.json.x1").write_text("{")
    (tmp_path / ".report.html.x2").write_text("<")
    assert sweep_unfinished(tmp_path) == 2
    assert sweep_unfinished(tmp_path) == 0


def test_a_measuring_function_that_cannot_be_sent_to_a_process_fails_at_once(tmp_path: Path) -> None:
    lesson_folder(tmp_path, strokes=1)
    with pytest.raises((AttributeError, pickle.PicklingError), match="lambda"):
        run(tmp_path, lambda path: measure_quickly(path), processes=2)


def test_the_way_a_lessons_clips_are_measured_can_be_sent_to_a_process(tmp_path: Path) -> None:
    lesson = lesson_folder(tmp_path, strokes=1)
    (tmp_path / "club.toml").write_text("tag_height_mm = 30\n")
    with_club = dataclasses.replace(lesson, club="club.toml")
    measure, measured_with = lesson_measuring(tmp_path, with_club)
    assert pickle.loads(pickle.dumps(measure))
    (tmp_path / "club.toml").write_text("tag_height_mm = 31\n")
    _, changed = lesson_measuring(tmp_path, with_club)
    assert measured_with.fingerprint("clip", "clip.mp4") != changed.fingerprint("clip", "clip.mp4"), (
        "another club file measures anew"
    )


def test_a_lesson_hands_over_whole_what_it_states(tmp_path: Path) -> None:
    """Each setting changes what 'measured already' means, and reaches the measuring process as a value."""
    lesson = lesson_folder(tmp_path, strokes=1)
    stated: dict[str, Any] = {"ruler_mm": 98.0, "recorded_at_hz": 240, "dot": "green", "readout_ms": 8.0}
    _, plain = lesson_measuring(tmp_path, lesson)
    for key, value in stated.items():
        _, changed = lesson_measuring(tmp_path, dataclasses.replace(lesson, **{key: value}))
        assert changed.fingerprint("clip", "clip.mp4") != plain.fingerprint("clip", "clip.mp4"), key
    measure, _ = lesson_measuring(tmp_path, dataclasses.replace(lesson, **stated))
    assert isinstance(measure, partial)
    settings, _ = pickle.loads(pickle.dumps(measure)).args
    assert (settings.recorded_at_hz, settings.readout_s, settings.method) == (240, 0.008, "dot")
    wanted = STANDARD_SHEET.scaled(0.98)
    assert np.array_equal(settings.layout.corners[0], wanted.corners[0])
    assert settings.layout.head_tag_side_m == wanted.head_tag_side_m


def test_a_lesson_that_states_nothing_is_not_measured_anew(tmp_path: Path) -> None:
    """What 'measured already' rests on is, for such a lesson, what it was before more could be stated."""
    _, plain = lesson_measuring(tmp_path, lesson_folder(tmp_path, strokes=1))
    assert plain.options == {"tag_height_mm": None}


def test_a_box_for_one_clip_measures_that_clip_anew_by_it_and_no_other(tmp_path: Path) -> None:
    lesson = lesson_folder(tmp_path, strokes=1)
    first, second, *_ = lesson.clips
    _, plain = lesson_measuring(tmp_path, lesson)
    boxed = dataclasses.replace(lesson, dot="green", boxes={first: "610,402,30,20"})
    measure, changed = lesson_measuring(tmp_path, dataclasses.replace(boxed, dot=None))
    assert changed.fingerprint("clip", first) != plain.fingerprint("clip", first)
    assert changed.fingerprint("clip", second) == plain.fingerprint("clip", second)
    used: list[Settings] = []

    def seen(_path: Path, settings: Settings, **_: object) -> None:
        used.append(settings)
        raise CannotMeasure("seen", fix="enough")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pennyfall.cli.lesson.clips.measure_clip", seen)
        for clip in (first, second):
            with pytest.raises(CannotMeasure, match="seen"):
                lesson_measuring(tmp_path, boxed)[0](tmp_path / clip)
    assert [each.method for each in used] == ["patch", "dot"]
    assert callable(measure)
    with pytest.raises(CannotMeasure, match="is no box"):
        lesson_measuring(tmp_path, dataclasses.replace(lesson, boxes={first: "here"}))


def test_a_box_and_a_dot_together_are_refused_before_measuring(tmp_path: Path) -> None:
    lesson = dataclasses.replace(lesson_folder(tmp_path, strokes=1), dot="green", box="1,2,30,30")
    with pytest.raises(CannotMeasure, match="Both a box and a dot are given"):
        lesson_measuring(tmp_path, lesson)


def test_a_club_file_that_is_not_there_is_said_before_measuring(tmp_path: Path) -> None:
    lesson = dataclasses.replace(lesson_folder(tmp_path, strokes=1), club="absent.toml")
    with pytest.raises(CannotMeasure, match=r"absent\.toml"):
        lesson_measuring(tmp_path, lesson)


def test_the_report_of_a_later_lesson_tells_what_became_of_the_first(tmp_path: Path) -> None:
    """In the second lesson the coin is kept on by the strokes that let it go in the first."""
    first, second = tmp_path / "march", tmp_path / "april"
    database = tmp_path / "history.sqlite"
    lesson_folder(first, date=dt.date(2026, 3, 14))
    later = lesson_folder(second, date=dt.date(2026, 4, 11), seed=100)
    for condition in later.conditions:
        if condition.name == "coin kept on":
            for seed, clip in enumerate(condition.clips, start=200):
                write_clip(second / clip, "let go", condition.putt_ft, seed)
    for folder in (first, second, first):  # run again, the first lesson knows nothing of the second
        quick_run(folder, database=database)
    pages = [(folder / REPORT_FILE).read_text().replace("\u00a0", " ") for folder in (first, second)]
    assert "Since the earlier lessons" not in pages[0]
    told = pages[1].partition("Since the earlier lessons")[2].partition("</section>")[0]
    changed = re.findall(r"<li>(.*?)</li>", told)
    assert any(
        each.startswith("Coin kept on, 12 ft: acceleration over the last 20 ms before impact was ")
        and "on 14 March 2026" in each
        and "lower, changed: scatter makes" in each
        for each in changed
    )
    assert not any(each.startswith("Coin let go") for each in changed)
    tables = re.findall(r"<caption>(.*?)</caption>", told)
    assert tables == ["coin let go, 12 ft", "coin kept on, 12 ft", "coin let go, 6 ft", "coin kept on, 6 ft"]
    assert "14 March 2026 (3 strokes)" in told
    assert "11 April 2026 (3 strokes)" in told


def test_a_lesson_that_changed_nothing_says_so(tmp_path: Path) -> None:
    database = tmp_path / "history.sqlite"
    for month, seed in ((3, 0), (4, 100)):
        lesson_folder(tmp_path / str(month), date=dt.date(2026, month, 14), seed=seed)
        quick_run(tmp_path / str(month), database=database)
    page = (tmp_path / "4" / REPORT_FILE).read_text()
    assert (
        "Since the first lesson (14 March 2026) nothing looked at has changed by more than scatter." in page
    )


def test_an_earlier_lesson_with_nothing_in_common_is_named(tmp_path: Path) -> None:
    database = tmp_path / "history.sqlite"
    lesson_folder(tmp_path / "3", date=dt.date(2026, 3, 14))
    quick_run(tmp_path / "3", database=database)
    later = lesson_folder(tmp_path / "4", date=dt.date(2026, 4, 14), seed=100)
    other = tuple(dataclasses.replace(each, name=f"{each.name}, eyes shut") for each in later.conditions)
    write_lesson(dataclasses.replace(later, conditions=other), tmp_path / "4")
    quick_run(tmp_path / "4", database=database)
    page = (tmp_path / "4" / REPORT_FILE).read_text()
    assert "On 14 March 2026 no version was filmed at a putt length of this lesson" in page
