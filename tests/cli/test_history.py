"""The history database: whole or not at all, old files carried along, a student gone when told to."""

from __future__ import annotations

import datetime as dt
import errno
import itertools
import json
import math
import sqlite3
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pennyfall.cli.files import table_file
from pennyfall.cli.files.folder_lock import folder_lock
from pennyfall.cli.files.lesson_file import read_lesson
from pennyfall.cli.files.lesson_result import LessonResult
from pennyfall.cli.files.measured_files import measurement_path
from pennyfall.cli.history import database, export
from pennyfall.cli.history.database import (
    default_database,
    earlier_spread,
    known_student,
    lesson_folders,
    open_history,
    record_lesson,
    repeated_clips,
    strokes_long,
    students,
)
from pennyfall.cli.history.removal import delete_student
from pennyfall.cli.history.schema import MIGRATIONS, migrate
from pennyfall.cli.history.trend import trends
from pennyfall.cli.history.trend_table import trend_table
from pennyfall.cli.lesson.measuring import measure_lesson
from pennyfall.cli.lesson.run import verdict
from pennyfall.cli.serve.line import report_of
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Estimate, StrokeMeasures
from tests.cli.lesson_strokes import MEASURED_WITH, finish_nothing, lesson_folder, measure_quickly
from tests.cli.quick_lesson import quick_run


def lesson(
    folder: Path, *, student: str = "S-01", day: int = 14, seed: int = 0, strokes: int = 3
) -> LessonResult:
    lesson_folder(folder, student=student, date=dt.date(2026, 3, day), seed=seed, strokes=strokes)
    return measure_lesson(
        folder,
        read_lesson(folder),
        measure=measure_quickly,
        finish=finish_nothing,
        measured_with=MEASURED_WITH,
        processes=1,
    )


def test_the_spread_of_earlier_lessons_is_pooled_over_strokes_alike(tmp_path: Path) -> None:
    first, second, later, other = (tmp_path / name for name in ("first", "second", "later", "other"))
    now = lesson(second, day=15, seed=200)
    with open_history(tmp_path / "h.sqlite") as history:
        for folder, result in (
            (first, lesson(first, seed=100)),
            (second, now),
            (later, lesson(later, day=16, seed=300)),
            (other, lesson(other, student="S-02", seed=400)),
        ):
            record_lesson(history, folder, result)
        found = earlier_spread(history, second, now)["tempo_ratio"]
        rows = strokes_long(history, "S-01")
        nothing = earlier_spread(history, first, lesson(first, seed=100))
    rows = rows[(rows["folder"] == str(first)) & (rows["quantity"] == "tempo_ratio")]
    groups = [each["value"].to_numpy() for _, each in rows.groupby(["condition", "putt_ft"])]
    df = sum(len(each) - 1 for each in groups)
    squares = sum(float(((each - each.mean()) ** 2).sum()) for each in groups)
    assert found.df == df > 0
    assert found.variance == pytest.approx(squares / df)
    assert nothing == {}, "there is no lesson before the first"


def test_a_lesson_is_counted_down_by_the_scatter_of_the_one_before(tmp_path: Path) -> None:
    for name, day, strokes in (("first", 14, 3), ("second", 15, 1)):
        lesson_folder(tmp_path / name, date=dt.date(2026, 3, day), seed=100 * day, strokes=strokes)
        done = quick_run(tmp_path / name, database=tmp_path / "h.sqlite")
    said = " ".join(verdict(done.result, done.reading).split())
    assert "Still to film, in turns: " in said
    assert "By this student's own scatter, in earlier lessons too, a difference of" in said
    assert "in earlier lessons too" in done.report.read_text(encoding="utf-8")


def test_a_report_asked_for_on_the_page_counts_earlier_scatter_in_as_a_run_does(tmp_path: Path) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    for folder, day, strokes, kept in ((first, 14, 3, tmp_path / "h.sqlite"), (second, 15, 1, None)):
        lesson_folder(folder, date=dt.date(2026, 3, day), seed=100 * day, strokes=strokes)
        quick_run(folder, database=kept)
    now = read_lesson(second)
    prints = {
        clip: json.loads(measurement_path(second, clip).read_text(encoding="utf-8"))["fingerprint"]
        for clip in now.clips
    }
    report_of(lambda *_: None, second, now, prints, tmp_path / "h.sqlite")
    assert "in earlier lessons too" in (second / "report.html").read_text(encoding="utf-8")


def test_a_copied_lesson_is_no_earlier_one(tmp_path: Path) -> None:
    """The same clips in another folder add no strokes."""
    result = lesson(tmp_path / "a", seed=1)
    with open_history(tmp_path / "h.sqlite") as history:
        for name in ("a", "b"):
            record_lesson(history, tmp_path / name, result)
        assert earlier_spread(history, tmp_path / "b", result) == {}


def integrity(path: Path) -> tuple[str, int]:
    connection = sqlite3.connect(path)
    try:
        (text,) = connection.execute("PRAGMA integrity_check").fetchone()
        return text, len(connection.execute("PRAGMA foreign_key_check").fetchall())
    finally:
        connection.close()


def test_every_measured_value_comes_back(tmp_path: Path) -> None:
    result = lesson(tmp_path / "a", strokes=2)
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", result)
        rows = strokes_long(history, "S-01")
    for measured in result.conditions:
        for stroke in measured.strokes:
            mine = rows[rows["clip"] == stroke.clip].set_index("quantity")
            expected = database.estimates(stroke.measures)
            assert set(mine.index) == set(expected)
            for name, estimate in expected.items():
                assert (mine.loc[name, "value"], mine.loc[name, "sd"]) == (estimate.value, estimate.sd)
            assert set(mine["condition"]) == {measured.condition.name}
            assert set(mine["putt_ft"]) == {measured.condition.putt_ft}
    assert integrity(tmp_path / "h.sqlite") == ("ok", 0)


def test_recording_a_lesson_again_replaces_it(tmp_path: Path) -> None:
    result = lesson(tmp_path / "a")
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", result)
        once = strokes_long(history)
        record_lesson(history, tmp_path / "a", result)
        pd.testing.assert_frame_equal(strokes_long(history), once)
        (row,) = students(history).to_dict("records")
    assert (row["student"], row["lessons"], row["strokes"]) == ("S-01", 1, 12)


def test_a_lesson_that_changes_hands_leaves_no_empty_student(tmp_path: Path) -> None:
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", lesson(tmp_path / "a", strokes=1))
        record_lesson(history, tmp_path / "a", lesson(tmp_path / "a", student="S-02", strokes=1))
        assert list(students(history)["student"]) == ["S-02"]


def test_a_failure_half_way_leaves_the_lesson_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    result = lesson(tmp_path / "a")
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", result)
        before = strokes_long(history)
        calls, measured_values = itertools.count(), database.estimates

        def fail_at_the_sixth(measures: StrokeMeasures) -> dict[str, Estimate]:
            if next(calls) == 5:
                raise OSError(errno.EIO, "Input/output error")
            return measured_values(measures)

        with monkeypatch.context() as patched:
            patched.setattr(database, "estimates", fail_at_the_sixth)
            with pytest.raises(OSError, match="Input/output"):
                record_lesson(history, tmp_path / "a", result)
        pd.testing.assert_frame_equal(strokes_long(history), before)


def test_a_full_disk_is_said_and_the_database_is_left_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "h.sqlite"
    small, large = lesson(tmp_path / "a", strokes=1), lesson(tmp_path / "b", strokes=9, seed=100)
    with open_history(path) as history:
        record_lesson(history, tmp_path / "a", small)
        before = strokes_long(history)
    with pytest.raises(CannotMeasure, match="disk is full") as caught:
        _record_with_two_free_pages(path, tmp_path / "b", large)
    assert "kept" in caught.value.fix
    assert integrity(path) == ("ok", 0)
    with open_history(path) as history:
        pd.testing.assert_frame_equal(strokes_long(history), before)
        record_lesson(history, tmp_path / "b", large)
        assert len(lesson_folders(history, "S-01")) == 2


def _record_with_two_free_pages(path: Path, folder: Path, result: LessonResult) -> None:
    with open_history(path) as history:
        (pages,) = history.execute("PRAGMA page_count").fetchone()
        history.execute(f"PRAGMA max_page_count = {pages + 2}")  # the next page gives SQLITE_FULL
        record_lesson(history, folder, result)


def test_a_database_from_a_newer_version_is_refused_and_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "h.sqlite"
    with open_history(path) as history:
        history.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    content = path.read_bytes()
    with pytest.raises(CannotMeasure, match="has version") as caught, open_history(path):
        pass
    assert "newest" in caught.value.fix
    assert path.read_bytes() == content


def test_an_older_database_is_taken_through_the_missing_steps_only(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "h.sqlite", isolation_level=None)
    migrate(connection, MIGRATIONS)
    connection.execute("INSERT INTO student VALUES ('S-01')")
    migrate(connection, (*MIGRATIONS, "ALTER TABLE student ADD COLUMN note TEXT; CREATE TABLE later (x)"))
    assert connection.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS) + 1,)
    assert connection.execute("SELECT code, note FROM student").fetchall() == [("S-01", None)]
    connection.close()


def test_a_step_that_fails_leaves_the_old_version(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "h.sqlite", isolation_level=None)
    migrate(connection, MIGRATIONS)
    with pytest.raises(sqlite3.OperationalError):
        migrate(connection, (*MIGRATIONS, "CREATE TABLE later (x); CREATE NONSENSE"))
    assert connection.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
    assert connection.execute("SELECT name FROM sqlite_schema WHERE name = 'later'").fetchall() == []
    connection.close()


def test_the_file_uses_write_ahead_log_and_foreign_keys(tmp_path: Path) -> None:
    with open_history(tmp_path / "h.sqlite") as history:
        assert history.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert history.execute("PRAGMA foreign_keys").fetchone() == (1,)
        with pytest.raises(sqlite3.IntegrityError):
            history.execute("INSERT INTO condition (lesson, name, putt_ft) VALUES (99, 'x', 12)")


def test_a_file_that_is_no_database_is_refused_and_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "h.sqlite"
    path.write_bytes(b"student,lesson\n" * 100)
    with pytest.raises(CannotMeasure, match="no history database"), open_history(path):
        pass
    assert path.read_bytes() == b"student,lesson\n" * 100


def test_two_runs_writing_at_once_wait_for_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, result = tmp_path / "h.sqlite", lesson(tmp_path / "a", strokes=1)
    monkeypatch.setattr(database, "BUSY_S", 0.2)
    with open_history(path) as one:
        one.execute("BEGIN IMMEDIATE")
        with pytest.raises(CannotMeasure, match="held by another run"), open_history(path) as other:
            record_lesson(other, tmp_path / "a", result)
        one.execute("COMMIT")
    with open_history(path) as history:
        record_lesson(history, tmp_path / "a", result)
        assert len(strokes_long(history)["clip"].unique()) == 4


def test_the_usual_place_follows_the_platforms_setting(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert default_database() == tmp_path / "pennyfall" / "history.sqlite"
    monkeypatch.delenv("XDG_DATA_HOME")
    assert default_database() == Path.home() / ".local/share/pennyfall/history.sqlite"


def test_an_absent_database_is_not_made_by_reading(tmp_path: Path) -> None:
    with (
        pytest.raises(CannotMeasure, match="no history database"),
        open_history(tmp_path / "h.sqlite", must_exist=True),
    ):
        pass
    assert not (tmp_path / "h.sqlite").exists()


@pytest.mark.parametrize("name", ["strokes.csv", "strokes.parquet"])
def test_an_export_holds_one_row_a_stroke_with_every_value(tmp_path: Path, name: str) -> None:
    pytest.importorskip("pyarrow")
    result = lesson(tmp_path / "a")
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", result)
        count = export.export(strokes_long(history), tmp_path / name)
    path = tmp_path / name
    table = pd.read_csv(path) if name.endswith("csv") else pd.read_parquet(path)
    assert count == len(table) == 12
    for measured in result.conditions:
        for stroke in measured.strokes:
            (row,) = table[table["clip"] == stroke.clip].to_dict("records")
            peak = stroke.measures.peak_acceleration_mps2
            assert row["peak_acceleration_mps2"] == pytest.approx(peak.value, rel=1e-15)
            assert row["peak_acceleration_mps2_sd"] == pytest.approx(peak.sd, rel=1e-15)
            assert row["putt_ft"] == measured.condition.putt_ft


def test_parquet_without_pyarrow_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", lesson(tmp_path / "a", strokes=1))
        strokes = strokes_long(history)
    monkeypatch.setattr(table_file, "find_spec", lambda _name: None)
    with pytest.raises(CannotMeasure) as caught:
        export.export(strokes, tmp_path / "x.parquet")
    assert "pip install '.[parquet]'" in caught.value.fix, "by the folder, not by a name"
    assert "pennyfall[" not in caught.value.fix
    with pytest.raises(CannotMeasure, match="neither"):
        export.export(strokes, tmp_path / "x.xlsx")


@pytest.mark.parametrize(("quantity", "believable"), [("impact_speed_mps", 0.510), ("tempo_ratio", 0.0)])
def test_two_lessons_by_two_scales_change_by_no_less_than_the_scales_err(
    quantity: str, believable: float
) -> None:
    """Lessons of steady 1.0 and 1.3 m/s, known to 1 and to 20 %: 1.96 sqrt(0.01^2 + 0.26^2) = 0.510 m/s.

    So 0.3 m/s is no change that could be believed; a ratio knows nothing of the scale.
    """
    rows = pd.DataFrame(
        {
            "condition": "x",
            "putt_ft": 12.0,
            "quantity": quantity,
            "folder": ["a"] * 2 + ["b"] * 2,
            "date": ["2026-03-01"] * 2 + ["2026-04-01"] * 2,
            "value": [1.0, 1.0, 1.3, 1.3],
            "sd": [0.01, 0.01, 0.26, 0.26] if quantity == "impact_speed_mps" else 0.001,
            "scale_rel_sd": [0.01, 0.01, 0.2, 0.2],
            "scale_source": ["sheet", "sheet", "head-tag", "head-tag"],
        }
    )
    (trend,) = trends(rows, [quantity])
    first, later = trend.points
    assert later.detectable_change == pytest.approx(believable, abs=0.012)
    assert (abs(later.change_from(first)) > later.detectable_change) == (believable == 0)
    assert later.scale_sources == ("head-tag",)


def test_the_smallest_change_worth_believing_is_that_of_the_pooled_scatter() -> None:
    """Lessons of 1, 2, 3 and of 4, 6: within variance (2 x 1 + 1 x 2) / 3 = 4/3 with 3 degrees of freedom.

    The means 2 and 5 of 3 and 2 strokes differ by chance with variance 4/3 (1/3 + 1/2) = 10/9; Student's t at
    97.5 % with 3 degrees of freedom is 3.182 (any t table), so the smallest change is 3.182 x 1.0541 = 3.354.
    """
    rows = pd.DataFrame(
        {
            "condition": "x",
            "putt_ft": 12.0,
            "quantity": "tempo_ratio",
            "folder": ["a"] * 3 + ["b"] * 2,
            "date": ["2026-03-01"] * 3 + ["2026-04-01"] * 2,
            "value": [1.0, 2.0, 3.0, 4.0, 6.0],
            "sd": 0.1,
            "scale_rel_sd": 0.0,
            "scale_source": "sheet",
        }
    )
    (trend,) = trends(rows, ["tempo_ratio", "top_s"])
    first, later = trend.points
    assert later.change_from(first) == pytest.approx(3.0)
    assert later.detectable_change == pytest.approx(3.182 * math.sqrt(10 / 9), rel=1e-3)
    assert (first.date, later.date) == (dt.date(2026, 3, 1), dt.date(2026, 4, 1))


def test_strokes_that_agree_better_than_they_are_measured_still_leave_a_smallest_change() -> None:
    """Two and two alike, each known to 0.1: 4.303 (t at 97.5 %, 2 degrees of freedom) x 0.1 x root of 1."""
    rows = pd.DataFrame(
        {
            "condition": "x",
            "putt_ft": 12.0,
            "quantity": "peak_acceleration_share",
            "folder": ["a"] * 2 + ["b"] * 2,
            "date": ["2026-03-01"] * 2 + ["2026-04-01"] * 2,
            "value": [1.0, 1.0, 1.0, 1.0],
            "sd": 0.1,
            "scale_rel_sd": 0.0,
            "scale_source": "sheet",
        }
    )
    (trend,) = trends(rows, ["peak_acceleration_share"])
    assert trend.points[1].detectable_change == pytest.approx(4.303 * 0.1, rel=1e-3)
    words = " ".join(trend_table("S-01", [trend]).split())
    assert "100 %, just before impact (2 strokes); no different, within scatter" in words
    assert "within scatter (43 percentage points)" in words


def test_the_same_clips_under_another_date_are_said_with_both_dates(tmp_path: Path) -> None:
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", lesson(tmp_path / "a", day=1))
        record_lesson(history, tmp_path / "b", lesson(tmp_path / "b", day=8))  # the same seed: the same files
        record_lesson(history, tmp_path / "c", lesson(tmp_path / "c", day=15, seed=100))
        repeated = repeated_clips(history, "S-01")
        followed = trends(strokes_long(history, "S-01"), ["tempo_ratio"])
    assert [each.clips for each in repeated] == [12]
    words = " ".join(trend_table("S-01", followed, repeated).split())
    assert f"12 clips count twice: on 1 March 2026 ({tmp_path / 'a'}) and on 8 March 2026" in words
    assert "15 March 2026 (" not in words


def test_a_code_is_one_student_in_any_case(tmp_path: Path) -> None:
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", lesson(tmp_path / "a", student="s-01", strokes=1))
        record_lesson(history, tmp_path / "b", lesson(tmp_path / "b", student="S-01", strokes=1, seed=9))
        assert list(students(history)["student"]) == ["S-01"]
        assert known_student(history, "s-01") == "S-01"
        assert len(lesson_folders(history, "S-01")) == 2


def test_an_older_history_joins_codes_that_differ_in_case_only(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "h.sqlite", isolation_level=None)
    connection.execute("PRAGMA foreign_keys = ON")
    migrate(connection, MIGRATIONS[:2])
    for number, code in enumerate(("s-01", "S-01", "Mary Larch")):
        connection.execute("INSERT INTO student VALUES (?)", (code,))
        connection.execute(
            "INSERT INTO lesson (student, folder, date, hand, green_speed_ft) VALUES (?, ?, ?, 'right', 10)",
            (code, f"f{number}", "2026-03-01"),
        )
    migrate(connection, MIGRATIONS)
    found = connection.execute("SELECT student, COUNT(*) FROM lesson GROUP BY student ORDER BY student")
    assert found.fetchall() == [("Mary Larch", 1), ("S-01", 2)]
    assert connection.execute("SELECT COUNT(*) FROM student").fetchone() == (2,)
    connection.close()


def test_without_repeated_strokes_no_smallest_change_is_claimed() -> None:
    rows = pd.DataFrame(
        {
            "condition": "x",
            "putt_ft": 12.0,
            "quantity": "tempo_ratio",
            "folder": ["a", "b"],
            "date": ["2026-03-01", "2026-04-01"],
            "value": [1.0, 2.0],
            "sd": 0.1,
            "scale_rel_sd": 0.0,
            "scale_source": "sheet",
        }
    )
    (trend,) = trends(rows, ["tempo_ratio"])
    assert math.isnan(trend.points[1].detectable_change)


@pytest.mark.slow
def test_scatter_alone_passes_the_smallest_change_in_one_of_twenty_lessons(
    generator: np.random.Generator,
) -> None:
    lessons, passed = 2000, 0
    for _ in range(lessons):
        rows = pd.DataFrame(
            {
                "condition": "x",
                "putt_ft": 12.0,
                "quantity": "q",
                "folder": ["a"] * 3 + ["b"] * 5,
                "date": ["2026-03-01"] * 3 + ["2026-04-01"] * 5,
                "value": generator.normal(2.0, 0.3, 8),
                "sd": 0.1,
                "scale_rel_sd": 0.0,
                "scale_source": "sheet",
            }
        )
        first, later = trends(rows, ["q"])[0].points
        passed += abs(later.change_from(first)) > later.detectable_change
    # Binomial(2000, 0.05) has a standard deviation of 0.5 %; four of them are allowed.
    assert passed / lessons == pytest.approx(0.05, abs=0.02)


def test_a_deleted_student_is_gone_from_the_folders_and_from_the_file_itself(tmp_path: Path) -> None:
    path = tmp_path / "h.sqlite"
    with open_history(path) as history:
        for name, student, seed in (("a", "S-01", 0), ("b", "S-01", 20), ("c", "S-02", 40)):
            record_lesson(
                history, tmp_path / name, lesson(tmp_path / name, student=student, seed=seed, strokes=1)
            )
        (tmp_path / "a" / "report.html").write_text("page")
        removal = delete_student(history, "S-01")
        assert list(students(history)["student"]) == ["S-02"]
    assert (removal.lessons, removal.strokes) == (2, 8)
    assert tmp_path / "a" / "report.html" in removal.files
    assert len(removal.files) == 1 + 2 * 2 * 4
    assert not any(file.exists() for file in removal.files)
    assert not (tmp_path / "a" / "measured").exists()
    assert len(list((tmp_path / "a").glob("*.mp4"))) == 4, "the coach's clips are not ours to delete"
    assert all("--with-clips" in sentence for sentence in removal.left)
    assert len(list((tmp_path / "c" / "measured").iterdir())) == 8
    for file in tmp_path.glob("h.sqlite*"):
        assert b"S-01" not in file.read_bytes()
    assert integrity(path) == ("ok", 0)


def test_with_clips_the_clips_and_the_lesson_file_go_too(tmp_path: Path) -> None:
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", lesson(tmp_path / "a", strokes=1))
        (tmp_path / "a" / "mine.txt").write_text("shopping")
        removal = delete_student(history, "S-01", with_clips=True)
    assert removal.left == ()
    assert [path.name for path in (tmp_path / "a").iterdir()] == ["mine.txt"]


def test_the_clips_may_be_removed_later_than_the_rows(tmp_path: Path) -> None:
    path = tmp_path / "h.sqlite"
    with open_history(path) as history:
        record_lesson(history, tmp_path / "a", lesson(tmp_path / "a", strokes=1))
        delete_student(history, "S-01")
        with pytest.raises(CannotMeasure, match="no student 'S-01'"):
            delete_student(history, "S-01")
        later = delete_student(history, "s-01", with_clips=True)
        assert later.left == ()
        assert list((tmp_path / "a").iterdir()) == []
        with pytest.raises(CannotMeasure, match="no student 's-01'"):
            delete_student(history, "s-01", with_clips=True)
    for file in tmp_path.glob("h.sqlite*"):
        assert str(tmp_path / "a").encode() not in file.read_bytes()


def test_a_folder_that_is_no_longer_the_students_is_left_alone(tmp_path: Path) -> None:
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", lesson(tmp_path / "a", strokes=1))
        record_lesson(history, tmp_path / "b", lesson(tmp_path / "b", strokes=1, seed=9))
        lesson_folder(tmp_path / "a", strokes=1, student="S-09")
        (tmp_path / "b").rename(tmp_path / "moved")
        removal = delete_student(history, "S-01")
    assert removal.files == ()
    assert any("S-09" in sentence for sentence in removal.left)
    assert any("no longer there" in sentence for sentence in removal.left)


def test_deleting_waits_for_nobody_and_refuses_while_a_lesson_is_running(tmp_path: Path) -> None:
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", lesson(tmp_path / "a", strokes=1))
        with folder_lock(tmp_path / "a"), pytest.raises(CannotMeasure, match="Another run"):
            delete_student(history, "S-01")
        assert lesson_folders(history, "S-01")


def test_an_unknown_student_is_named_beside_the_known_ones(tmp_path: Path) -> None:
    with open_history(tmp_path / "h.sqlite") as history:
        record_lesson(history, tmp_path / "a", lesson(tmp_path / "a", strokes=1))
        with pytest.raises(CannotMeasure, match="no student 'S-07'") as caught:
            delete_student(history, "S-07")
    assert "S-01" in caught.value.fix
