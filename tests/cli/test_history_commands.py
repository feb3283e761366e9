"""`pennyfall history` as the shell sees it."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner, Result

from pennyfall.cli.app import app
from tests.cli.lesson_strokes import lesson_folder
from tests.cli.quick_lesson import quick_run


def shell(database: Path, *words: str | Path, answers: str | None = None) -> Result:
    return CliRunner().invoke(app, ["history", *map(str, words), "--database", str(database)], input=answers)


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a history of two students; S-01 came three times."""
    base = tmp_path_factory.mktemp("history")
    for week, student in enumerate(("S-01", "S-01", "S-01", "S-02")):
        folder = base / f"{week}"
        date = dt.date(2026, 3, 1) + dt.timedelta(weeks=week)
        lesson_folder(folder, student=student, date=date, seed=100 * week)
        quick_run(folder, database=base / "h.sqlite")
    return base / "h.sqlite"


def test_all_students_are_listed(database: Path) -> None:
    listed = shell(database)
    assert listed.exit_code == 0
    assert listed.stdout.splitlines()[1].split() == ["S-01", "3", "36", "2026-03-01", "2026-03-15"]


def test_trends_stand_beside_the_smallest_change_worth_believing(database: Path) -> None:
    shown = shell(database, "S-01", "--quantity", "tempo_ratio")
    assert shown.exit_code == 0
    assert "\nTempo ratio\n" in shown.stdout
    assert shown.stdout.count("    1 March 2026: ") == 4  # two conditions at two putt lengths
    words = " ".join(shown.stdout.split())
    said = r"; (?:[\d.]+ higher|[\d.]+ lower|no different), (?:within scatter \(0\.\d\d\)|changed)"
    assert len(re.findall(said, words)) == 8


def test_a_picture_and_a_table_are_written(database: Path, tmp_path: Path) -> None:
    shown = shell(database, "S-01", "--picture", tmp_path / "t.png", "--export", tmp_path / "t.csv")
    assert shown.exit_code == 0, shown.output
    assert (tmp_path / "t.png").read_bytes().startswith(b"\x89PNG")
    assert len(pd.read_csv(tmp_path / "t.csv")) == 36


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("S-99",), "no student 'S-99'"),
        (("S-01", "--quantity", "wrist"), "'wrist' is no quantity"),
        (("S-01", "--picture", "t.bmp"), "cannot be written as t.bmp"),
        (("--delete",), "not said which student"),
        (("S-01", "--with-clips"), "only together with a student"),
    ],
)
def test_a_wrong_word_ends_in_a_sentence_and_exit_code_2(
    database: Path, words: tuple[str, ...], said: str
) -> None:
    ran = shell(database, *words)
    assert ran.exit_code == 2
    assert said in ran.stderr


def test_without_a_database_it_says_how_to_get_one(tmp_path: Path) -> None:
    ran = shell(tmp_path / "none.sqlite", "S-01")
    assert ran.exit_code == 2
    assert "pennyfall lesson run" in ran.stderr


def test_deleting_asks_first_and_says_what_it_removed(tmp_path: Path) -> None:
    lesson_folder(tmp_path / "a", strokes=1)
    quick_run(tmp_path / "a", database=tmp_path / "h.sqlite")
    refused = shell(tmp_path / "h.sqlite", "S-01", "--delete", answers="n\n")
    assert refused.exit_code == 1
    assert (tmp_path / "a" / "report.html").exists()
    done = shell(tmp_path / "h.sqlite", "S-01", "--delete", "--yes")
    assert done.exit_code == 0
    assert "1 lessons with 4 strokes" in done.stdout
    assert str(tmp_path / "a" / "report.html") in done.stdout
    assert not (tmp_path / "a" / "report.html").exists()
    assert shell(tmp_path / "h.sqlite").stdout.strip() == "The history is empty."
