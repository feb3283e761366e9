"""A season of made-up clips: its table, what is measured again, who may see what, and who is forgotten."""

from __future__ import annotations

import datetime as dt
import errno
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import NoReturn

import pandas as pd
import pytest

from pennyfall.cli.files.lesson_file import LESSON_FILE
from pennyfall.cli.history.database import NotedSeason, note_season, open_history
from pennyfall.cli.history.removal import removal_words
from pennyfall.cli.season import job, tables
from pennyfall.cli.season.clips import without_time_of_day
from pennyfall.cli.season.engines import Outcomes
from pennyfall.cli.season.job import Job, measure_job
from pennyfall.cli.season.journal import COPY
from pennyfall.cli.season.removal import forget_student, known_anywhere
from pennyfall.cli.season.run import Progress
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.measure.settings import Settings
from tests.cli.lesson_strokes import lesson_folder, measure_quickly
from tests.cli.quick_lesson import quick_run
from tests.cli.quick_season import loose_clips, quick_season


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """Return a folder with lessons of S-01 and S-02 (12 clips each) and two clips in no lesson."""
    folder = tmp_path / "clips"
    lesson_folder(folder / "march" / "one", student="S-01", seed=0)
    lesson_folder(folder / "march" / "two", student="S-02", seed=100)
    loose_clips(folder / "loose", 2)
    for number, path in enumerate(sorted((folder / "loose").iterdir())):  # of contents of their own
        path.write_text(path.read_text().replace('"seed": ', f'"seed": 90{number}'))
    return folder


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "strokes.parquet"


def test_a_row_holds_a_strokes_values_and_whose_and_which_putt_it_is(season: Path, out: Path) -> None:
    done = quick_season(season, out)
    assert (done.strokes, done.refused, done.homeless) == (26, 0, 2)
    table = pd.read_parquet(out)
    assert table["student"].value_counts().to_dict() == {"S-01": 12, "S-02": 12}
    row = table[(table["student"] == "S-02") & (table["clip"] == "coin-kept-on-6ft-2.mp4")].iloc[0]
    measured = measure_quickly(season / "march/two/coin-kept-on-6ft-2.mp4").measurement
    assert row["clip_sha256"] == measured.clip.sha256
    assert (row["condition"], row["putt_ft"], row["hand"]) == ("coin kept on", 6.0, "right")
    assert row["date"] == dt.date(2026, 3, 14)
    stroke = measured.strokes[0]
    for name in ("impact_speed_mps", "takeaway_s", "hub_radius_m"):
        assert (row[name], row[f"{name}_sd"]) == (getattr(stroke, name).value, getattr(stroke, name).sd)
    loose = table[table["student"].isna()]
    assert set(loose["condition"]) == {"coin let go", "coin kept on"}  # by their names
    assert set(loose["putt_ft"]) == {12.0}


def test_only_what_is_new_or_changed_is_measured_again(season: Path, out: Path) -> None:
    first = quick_season(season, out).progress
    assert (first.measured, first.unchanged) == (26, 0)
    again = quick_season(season, out).progress
    assert (again.measured, again.unchanged) == (0, 26)
    shutil.copy(season / "loose" / "coin-let-go-12ft-1.mp4", season / "loose" / "coin-let-go-12ft-7.mp4")
    changed = season / "march" / "one" / "coin-let-go-6ft-1.mp4"
    changed.write_text(changed.read_text().replace('"seed": 7', '"seed": 700'))
    lesson = season / "march" / "two" / LESSON_FILE
    lesson.write_text(lesson.read_text().replace("# ruler_mm = 97.3", "ruler_mm = 97.3"))
    third = quick_season(season, out, settings=Settings(readout_s=0.008)).progress
    assert (third.measured, third.unchanged) == (1 + 12 + 3, 11)  # the lesson of S-01 states its own settings
    lesson.write_text(lesson.read_text().replace('"coin let go"', '"let go"'))
    renamed = quick_season(season, out, settings=Settings(readout_s=0.008))
    assert renamed.progress.measured == 0
    assert (pd.read_parquet(out)["condition"] == "let go").sum() == 6


def test_the_table_is_the_same_whatever_the_order_of_measuring(season: Path, tmp_path: Path) -> None:
    def backwards(jobs: Iterable[Job]) -> Outcomes:
        yield from map(measure_job, reversed(list(jobs)))

    one, other = tmp_path / "one.parquet", tmp_path / "other.parquet"
    quick_season(season, one)
    quick_season(season, other, engine=backwards)
    assert one.read_bytes() == other.read_bytes()


def test_what_cannot_be_measured_is_a_row_with_its_reason(season: Path, out: Path) -> None:
    (season / "loose" / "broken.mp4").write_text("no clip")
    shutil.copy(season / "loose/coin-let-go-12ft-1.mp4", season / "loose/copy.mp4")
    quick_season(season, out)
    lesson = season / "march" / "two" / LESSON_FILE
    lesson.write_text(lesson.read_text().replace('student = "S-02"', "student = S-02"))
    done = quick_season(season, out)
    assert (done.strokes, done.refused) == (14, 14)
    refused = pd.read_parquet(out).set_index("clip")[["refused", "remedy", "stroke"]].dropna(subset="refused")
    assert refused["stroke"].isna().all()
    assert refused["remedy"].str.len().min() > 10
    assert refused.loc["broken.mp4", "refused"] == "No stroke was found in broken.mp4."
    assert refused.loc["copy.mp4", "refused"] == COPY
    assert str(refused.loc["coin-let-go-6ft-1.mp4", "refused"]).startswith(
        "Its lesson file cannot be used: lesson.toml is not valid TOML at line"
    )
    lesson.write_text(lesson.read_text().replace("student = S-02", 'student = "S-02"'))
    mended = quick_season(season, out)
    assert (mended.progress.measured, mended.strokes) == (0, 26)


def test_a_clip_that_cannot_be_got_at_for_now_keeps_what_was_measured(
    season: Path, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick_season(season, out)
    before = out.read_bytes()

    def gone(_path: Path) -> NoReturn:
        raise OSError(errno.EIO, "Input/output error")

    with monkeypatch.context() as patched:
        patched.setattr(job, "sha256_of", gone)
        away = quick_season(season, out)
    assert away.progress.refused == 26
    assert out.read_bytes() == before
    assert quick_season(season, out).progress.unchanged == 26


def test_clips_that_have_gone_leave_the_table_and_come_back_unmeasured(season: Path, out: Path) -> None:
    quick_season(season, out)
    (season / "march" / "one").rename(season.parent / "away")
    without = quick_season(season, out)
    assert (without.strokes, without.gone) == (14, 12)
    (season.parent / "away").rename(season / "march" / "one")
    back = quick_season(season, out)
    assert (back.strokes, back.gone, back.progress.measured) == (26, 0, 0)


def test_a_list_and_an_address_name_clips_too(season: Path, tmp_path: Path) -> None:
    fsspec = pytest.importorskip("fsspec")
    store = fsspec.filesystem("memory")
    store.put(str(season), "/academy", recursive=True)
    listed = tmp_path / "list.txt"
    clips = sorted(path.relative_to(tmp_path).as_posix() for path in season.rglob("*.mp4"))
    listed.write_text("# all of them\n\n" + "\n".join(clips) + "\n")
    outs = [tmp_path / f"{name}.parquet" for name in ("folder", "list", "store")]
    try:
        for source, out in zip((str(season), str(listed), "memory://academy"), outs, strict=True):
            assert quick_season(source, out).strokes == 26
    finally:
        store.rm("/academy", recursive=True)
    assert len({out.read_bytes() for out in outs}) == 1


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("VID_20260314_153012.mp4", "VID_20260314.mp4"),
        ("PXL_20260314_153012345.TS.mp4", "PXL_20260314.TS.mp4"),
        ("20260314-153012345-0f0f.mp4", "20260314-0f0f.mp4"),  # as the page names what phones send
        ("Video 2026-03-14 at 15.30.12.mov", "Video 2026-03-14.mov"),
        ("15-30-12 putt.mp4", " putt.mp4"),
        ("1773502212.mp4", ".mp4"),
        ("IMG_1234.MOV", "IMG_1234.MOV"),
        ("coin-let-go-12ft-1.mp4", "coin-let-go-12ft-1.mp4"),
        ("2026-03-14 coin 3m 2.mp4", "2026-03-14 coin 3m 2.mp4"),
    ],
)
def test_a_file_name_loses_the_time_of_day_and_nothing_else(name: str, shown: str) -> None:
    assert without_time_of_day(name) == shown


def _files_that_hold(folder: Path, words: bytes) -> list[str]:
    """Return the files below a folder in whose bytes or Parquet values some words stand, in either case."""
    found = []
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        content = path.read_bytes().lower()
        if path.suffix == ".parquet":
            content += pd.read_parquet(path).to_csv().encode().lower()
        name = path.relative_to(folder).as_posix()
        if words.lower() in content or words.lower() in name.encode().lower():
            found.append(name)
    return found


def test_no_name_no_place_and_no_second_stands_in_a_season(tmp_path: Path) -> None:
    folder, data = tmp_path / "Jo Larch" / "clips", tmp_path / "data"
    data.mkdir()
    lesson_folder(folder / "named", strokes=1, student="Jo Larch")
    lesson_folder(folder / "coded", strokes=1, student="S-01", seed=50)
    loose_clips(folder, 1)
    (folder / "coin-let-go-12ft-1.mp4").rename(folder / "VID_20260314_153012.mp4")
    (folder / "VID_20260314_153059.mp4").write_text("broken")
    done = quick_season(folder, data / "s.parquet", tracks=data / "tracks")
    assert (done.strokes, done.refused) == (5, 4 + 1)
    for words in (b"Jo Larch", b"153012", b"153059", b"15:30", str(tmp_path).encode()):
        assert _files_that_hold(data, words) == []
    asked = quick_season(folder, data / "s.parquet", paths=True)
    assert asked.progress.measured == 0
    assert "VID_20260314_153012.mp4" in set(pd.read_parquet(data / "s.parquet")["clip"])


def test_deleting_a_student_reaches_every_file_of_season_history_and_lessons(
    season: Path, tmp_path: Path
) -> None:
    data, database = tmp_path / "data", tmp_path / "data" / "history.sqlite"
    data.mkdir()
    noted = NotedSeason(data / "strokes.parquet", str(season), data / "tracks")
    quick_season(season, noted.out, tracks=noted.tracks)
    quick_run(season / "march" / "one", database=database)  # S-02 is known to the season alone
    with open_history(database) as history:
        note_season(history, noted)
        for code, strokes_left in (("S-01", 14), ("S-02", 2)):
            assert len(_files_that_hold(data, code.encode())) > 10
            assert known_anywhere(history, code.lower()) == code
            removal = forget_student(history, code)
            assert "measured again by the next season" in removal_words(removal)
            assert len(pd.read_parquet(noted.out)) == strokes_left
    with open_history(database) as history:
        for code in ("S-01", "S-02"):
            assert _files_that_hold(data, code.encode()) == []
            with pytest.raises(CannotMeasure, match=f"no student '{code}'"):
                known_anywhere(history, code)
    assert not (season / "march" / "one" / "report.html").exists()
    assert (season / "march" / "one" / "coin-let-go-6ft-1.mp4").exists()
    with open_history(database) as history:
        forget_student(history, "S-02", with_clips=True)
    assert _files_that_hold(tmp_path, b"S-02") == []
    assert not list((season / "march" / "two").glob("*.mp4"))


def test_tracks_and_curves_are_sets_by_student_that_join_the_strokes(season: Path, tmp_path: Path) -> None:
    out, sets = tmp_path / "s.parquet", tmp_path / "sets"
    quick_season(season, out)
    assert quick_season(season, out, tracks=sets).progress.measured == 26  # they were not asked for before
    assert quick_season(season, out, tracks=sets).progress.measured == 0
    strokes = pd.read_parquet(out)
    for name, column in (("tracks", "u_px"), ("curves", "a_mps2")):
        parts = pd.read_parquet(sets / name).astype({"student": str})
        assert set(parts["clip_sha256"]) == set(strokes["clip_sha256"])
        assert set(parts["student"]) == {"S-01", "S-02", "unknown"}
        assert parts[column].notna().all()
    (next((sets / "curves" / "student=S-01").iterdir())).unlink()
    (season / "march" / "two" / LESSON_FILE).unlink()
    mended = quick_season(season, out, tracks=sets)
    assert mended.progress.measured == 1 + 12  # what is lost, and what has changed hands
    assert not list((sets / "tracks").glob("student=S-02/*"))


def test_a_full_disk_leaves_the_last_table_and_loses_no_clip(
    season: Path, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick_season(season / "march" / "one", out)
    last = out.read_bytes()

    def full(_row: object) -> NoReturn:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(tables, "_dated", full)
        with pytest.raises(CannotMeasure, match="No space left on device"):
            quick_season(season, out)
    assert out.read_bytes() == last
    assert [path.name for path in out.parent.iterdir() if path.name.startswith(f".{out.name}.")] == [
        f".{out.name}.lock"
    ]
    assert quick_season(season, out).progress.measured == 0


def test_progress_tells_clips_a_minute_and_the_time_left() -> None:
    progress = Progress(clips=40, measured=8, unchanged=1, refused=1, elapsed_s=60.0)
    assert (progress.done, progress.clips_a_minute, progress.left_s) == (10, 9.0, 180.0)


def test_a_seasons_csv_holds_what_its_parquet_holds(season: Path, tmp_path: Path) -> None:
    for name in ("strokes.csv", "strokes.parquet"):
        quick_season(season, tmp_path / name)
    text, table = pd.read_csv(tmp_path / "strokes.csv"), pd.read_parquet(tmp_path / "strokes.parquet")
    numbers = table.select_dtypes("number").columns
    assert len(numbers) > 50
    pd.testing.assert_frame_equal(text[numbers], table[numbers], check_dtype=False, check_exact=True)
    for name in table.columns.difference(numbers):
        told = [each for each in table[name].dropna().astype(str) if each]  # empty is missing to the reader
        assert text[name].dropna().astype(str).tolist() == told, name


def test_a_season_says_what_it_cannot_do(season: Path, tmp_path: Path) -> None:
    with pytest.raises(CannotMeasure, match="cannot be written as"):
        quick_season(season, tmp_path / "strokes.xlsx")
    with pytest.raises(CannotMeasure, match="There is no clip"):
        quick_season(_made(tmp_path / "empty"), tmp_path / "s.parquet")
    with pytest.raises(CannotMeasure, match="neither a folder nor a list"):
        quick_season(season / "nowhere", tmp_path / "s.parquet")


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder
