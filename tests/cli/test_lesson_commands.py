"""`pennyfall lesson` as the shell sees it: words, files and exit codes."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner, Result

from pennyfall.cli.app import app
from pennyfall.cli.files.folder_lock import folder_lock
from pennyfall.cli.files.lesson_file import SETTINGS_KEYS, read_lesson
from pennyfall.cli.history.database import open_history, students
from pennyfall.cli.lesson import clips as lesson_clips
from pennyfall.cli.lesson import run as lesson_run
from pennyfall.cli.serve.desk import Desk
from pennyfall.demo_clips.clips import clip_folder
from tests.cli.lesson_strokes import lesson_folder
from tests.cli.quick_lesson import quick_run


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Measure made-up clips instead of films."""
    monkeypatch.setattr(lesson_run, "run_lesson", quick_run)


def shell(*words: str | Path, answers: str | None = None) -> Result:
    return CliRunner().invoke(app, ["lesson", *map(str, words)], input=answers)


@pytest.mark.usefixtures("quick")
def test_a_run_says_the_verdict_with_its_numbers_and_writes_report_and_history(tmp_path: Path) -> None:
    folder, database = tmp_path / "lesson", tmp_path / "h.sqlite"
    lesson_folder(folder)
    ran = shell("run", folder, "--database", database)
    assert ran.exit_code == 0, ran.output
    assert ran.stdout.startswith("Prescribe coin let go")
    assert "- With coin kept on, acceleration at impact rose" in " ".join(ran.stdout.split())
    assert "(95 %:" in " ".join(ran.stdout.split())  # wherever the terminal's width broke the line
    assert (folder / "report.html").is_file()
    with open_history(database) as history:
        assert list(students(history)["student"]) == ["S-01"]


@pytest.mark.usefixtures("quick")
def test_terminal_and_page_count_down_the_strokes_that_are_missing(tmp_path: Path) -> None:
    """Two of each at two lengths have 36 arrangements: p can fall to 0.056 only."""
    lesson_folder(tmp_path, strokes=2)
    ran = shell("run", tmp_path, "--no-history")
    still = "Still to film, in turns: 1 more of each at 6 ft and 1 more of each at 12 ft. "
    assert still in " ".join(ran.stdout.replace("\u00a0", " ").split()) + " "
    assert still in (tmp_path / "report.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    lesson_folder(tmp_path, strokes=3)
    assert "Still to film" not in shell("run", tmp_path, "--no-history").stdout


@pytest.mark.usefixtures("quick")
def test_a_run_without_history_says_that_no_deleting_reaches_it(tmp_path: Path) -> None:
    lesson_folder(tmp_path / "lesson")
    warned = f"Not in the history: `pennyfall history --delete` will not reach {tmp_path / 'lesson'}."
    assert warned in shell("run", tmp_path / "lesson", "--no-history").stdout.replace("\n", " ")
    assert "Not in the history" not in shell("run", tmp_path / "lesson", "--database", tmp_path / "h").stdout
    help_text = " ".join(shell("run", "--help").stdout.split())
    assert "out of reach of history --delete" in help_text


def test_a_shared_clip_is_sent_with_consent_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lesson_clips, "share_clip", lambda *_, **__: None)
    shared = shell("clip", tmp_path, "a.mp4", tmp_path / "out.mp4")
    assert "Film and share only with consent" in shared.stdout


def test_a_shared_clip_of_another_kind_is_refused_before_anything_is_read(tmp_path: Path) -> None:
    shared = shell("clip", tmp_path / "no lesson", "a.mp4", tmp_path / "out.gif")
    assert shared.exit_code == 2
    assert shared.stderr.splitlines() == [
        "An annotated clip cannot be written as out.gif.",
        "Name it .mp4.",
    ]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("quick")
def test_a_clip_that_cannot_be_measured_is_said_first_and_the_lesson_goes_on(tmp_path: Path) -> None:
    lesson = lesson_folder(tmp_path)
    (tmp_path / lesson.clips[0]).write_text("black frames")
    ran = shell("run", tmp_path, "--no-history")
    assert ran.exit_code == 0
    assert ran.stdout.startswith(f"Not measured: {lesson.clips[0]}. No stroke was found")
    page = (tmp_path / "report.html").read_text()
    assert "1 clip could not be measured" in page
    assert page.index("could not be measured") < page.index('class="verdict"')


@pytest.mark.usefixtures("quick")
def test_a_lesson_with_one_condition_is_summed_up_without_a_verdict(tmp_path: Path) -> None:
    lesson_folder(tmp_path)
    text = (tmp_path / "lesson.toml").read_text()
    head, *conditions = text.split("[[condition]]")
    (tmp_path / "lesson.toml").write_text(head + "[[condition]]" + conditions[0])
    ran = shell("run", tmp_path, "--no-history")
    assert ran.exit_code == 0, ran.output
    assert "No comparison" in ran.stdout
    assert "Backswing time" in (tmp_path / "report.html").read_text()


@pytest.mark.usefixtures("quick")
def test_with_two_strokes_a_condition_it_says_how_many_more_and_claims_nothing(tmp_path: Path) -> None:
    lesson_folder(tmp_path, strokes=2)
    ran = shell("run", tmp_path, "--no-history")
    assert ran.exit_code == 0, ran.output
    assert ran.stdout.startswith("No prescription")
    assert "\n- " not in ran.stdout
    said = " ".join(ran.stdout.replace("\u00a0", " ").split())
    assert "Still to film, in turns: 1 more of each at 6 ft and 1 more of each at 12 ft." in said
    assert "Would change this" not in said, "the countdown says it"


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda folder: (folder / "lesson.toml").write_text("student = "), "line 1, column 11"),
        (lambda folder: (folder / "lesson.toml").unlink(), "There is no lesson.toml"),
        (lambda folder: next(folder.glob("*.mp4")).unlink(), "is not in"),
    ],
)
def test_what_a_coach_can_put_right_ends_in_a_sentence_and_exit_code_2(
    tmp_path: Path, spoil: object, said: str
) -> None:
    lesson_folder(tmp_path)
    assert callable(spoil)
    spoil(tmp_path)
    ran = shell("run", tmp_path, "--no-history")
    assert ran.exit_code == 2
    assert said in ran.stderr
    assert "Traceback" not in ran.stderr
    assert not (tmp_path / "measured").exists()


@pytest.mark.usefixtures("quick")
def test_a_second_run_on_the_same_folder_is_refused(tmp_path: Path) -> None:
    lesson_folder(tmp_path)
    with folder_lock(tmp_path):
        ran = shell("run", tmp_path, "--no-history")
    assert ran.exit_code == 2
    assert "Another run is working" in ran.stderr


@pytest.mark.usefixtures("quick")
def test_a_database_from_a_newer_version_is_said_before_anything_is_measured(tmp_path: Path) -> None:
    folder, database = tmp_path / "lesson", tmp_path / "h.sqlite"
    lesson_folder(folder)
    with open_history(database) as history:
        history.execute("PRAGMA user_version = 99")
    ran = shell("run", folder, "--database", database)
    assert ran.exit_code == 2
    assert "version 99" in ran.stderr
    assert not (folder / "measured").exists()


def test_a_new_lesson_comes_from_names_and_options(tmp_path: Path) -> None:
    for name in ("coin-let-go-12ft-1.mp4", "coin-let-go-12ft-2.mp4", "coin-kept-on-12ft-1.mov"):
        (tmp_path / name).touch()
    options = ("--student", "S-01", "--date", "2026-03-14", "--hand", "left", "--green-speed", "9.5")
    made = shell("new", tmp_path, *options)
    assert made.exit_code == 0, made.output
    lesson = read_lesson(tmp_path)
    assert (lesson.student, lesson.hand, lesson.green_speed_ft) == ("S-01", "left", 9.5)
    assert {each.title: each.clips for each in lesson.conditions} == {
        "coin let go, 12 ft": ("coin-let-go-12ft-1.mp4", "coin-let-go-12ft-2.mp4"),
        "coin kept on, 12 ft": ("coin-kept-on-12ft-1.mov",),
    }
    again = shell("new", tmp_path, *options)
    assert again.exit_code == 2
    assert "already there" in again.stderr


def test_a_new_lesson_asks_for_what_names_do_not_tell(tmp_path: Path) -> None:
    for name in ("IMG_1.MOV", "IMG_2.MOV"):
        (tmp_path / name).touch()
    answers = "S-02\n2026-03-14\nright\n10\ncoin let go\n12ft\ncoin kept on\n12\n3000\n366cm\n"
    made = shell("new", tmp_path, answers=answers)
    assert made.exit_code == 0, made.output
    lesson = read_lesson(tmp_path)
    assert lesson.student == "S-02"
    assert [each.title for each in lesson.conditions] == ["coin let go, 12 ft", "coin kept on, 3.66 m"]
    assert made.stdout.count("Give a number with its unit: 10ft or 3m.") == 2


def _with_clips(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).touch()


def test_every_answer_of_a_new_lesson_is_checked_when_it_is_given(tmp_path: Path) -> None:
    _with_clips(tmp_path, "IMG_1.MOV")
    answers = "S-02\n14.3.2026\n2026-03-14\nboth\nleft\nquick\n99\n10,5\ncoin let go\n12\n12ft\n"
    made = shell("new", tmp_path, answers=answers)
    assert made.exit_code == 0, made.output
    for said in ("no date", "no hand", "'quick' is no green speed", "'99' is no green speed", "not a length"):
        assert said in made.stdout
    lesson = read_lesson(tmp_path)
    assert (lesson.hand, lesson.green_speed_ft, lesson.date.isoformat()) == ("left", 10.5, "2026-03-14")


GIVEN = ("--student", "S-01", "--date", "2026-03-14", "--hand", "left", "--green-speed", "9")


def test_names_in_use_have_numbers_capitals_make_no_other_and_the_last_answer_is_the_default(
    tmp_path: Path,
) -> None:
    _with_clips(tmp_path, *(f"IMG_{number}.MOV" for number in range(1, 6)))
    made = shell(
        "new", tmp_path, *GIVEN, answers="Coin let go\n6ft\ncoin  LET go\n\nkept on\n3m\n1\n6ft\n\n\n"
    )
    assert made.exit_code == 0, made.output
    assert "1: Coin let go, 2: kept on" in made.stdout
    assert {each.title: each.clips for each in read_lesson(tmp_path).conditions} == {
        "Coin let go, 6 ft": ("IMG_1.MOV", "IMG_2.MOV", "IMG_4.MOV"),
        "kept on, 3 m": ("IMG_3.MOV", "IMG_5.MOV"),
    }


def test_a_new_lesson_stopped_in_between_goes_on_with_the_clips_it_was_not_told_of(tmp_path: Path) -> None:
    _with_clips(tmp_path, *(f"IMG_{number}.MOV" for number in range(1, 4)))
    stopped = shell("new", tmp_path, answers="S-07\n2026-03-14\nleft\n9\nlet go\n6ft\nkept on\n6ft\n")
    assert stopped.exit_code != 0
    assert not (tmp_path / "lesson.toml").exists()
    went_on = shell("new", tmp_path, answers="1\n6ft\n")
    assert went_on.exit_code == 0, went_on.output
    assert "IMG_3.MOV" in went_on.stdout
    lesson = read_lesson(tmp_path)
    assert (lesson.student, lesson.hand) == ("S-07", "left")
    assert [each.clips for each in lesson.conditions] == [("IMG_1.MOV", "IMG_3.MOV"), ("IMG_2.MOV",)]
    assert [each.name for each in tmp_path.glob("*.toml")] == ["lesson.toml"]


def test_a_new_lesson_stopped_at_an_opening_question_goes_on_with_the_next(tmp_path: Path) -> None:
    _with_clips(tmp_path, "gate-8ft-1.mp4")
    stopped = shell("new", tmp_path, answers="S-07\n2026-03-14\nboth\n")
    assert stopped.exit_code != 0
    assert Desk(tmp_path).lesson.conditions == (), "the page opens all the same"
    went_on = shell("new", tmp_path, answers="left\n9.5\n")
    assert went_on.exit_code == 0, went_on.output
    assert "Student's code" not in went_on.stdout
    lesson = read_lesson(tmp_path)
    assert (lesson.student, lesson.date.isoformat()) == ("S-07", "2026-03-14")
    assert (lesson.hand, lesson.green_speed_ft) == ("left", 9.5)
    assert [each.name for each in tmp_path.glob("*.toml")] == ["lesson.toml"]


def test_clips_one_folder_down_are_found_and_a_folders_name_may_tell_the_condition(tmp_path: Path) -> None:
    _with_clips(
        tmp_path, "coin-let-go-6ft/IMG_1.MOV", "100PHONE/kept-on-6ft-1.mp4", "measured/old.mp4", ".x/a.mp4"
    )
    made = shell("new", tmp_path, *GIVEN)
    assert made.exit_code == 0, made.output
    assert {each.title: each.clips for each in read_lesson(tmp_path).conditions} == {
        "kept on, 6 ft": ("100PHONE/kept-on-6ft-1.mp4",),
        "coin let go, 6 ft": ("coin-let-go-6ft/IMG_1.MOV",),
    }


@pytest.mark.usefixtures("quick")
def test_a_lesson_whose_clips_lie_one_folder_down_is_measured_and_shown(tmp_path: Path) -> None:
    lesson_folder(tmp_path, strokes=2)
    (tmp_path / "phone").mkdir()
    for clip in tmp_path.glob("*.mp4"):
        clip.rename(tmp_path / "phone" / clip.name)
    (tmp_path / "lesson.toml").unlink()
    assert shell("new", tmp_path, *GIVEN).exit_code == 0
    ran = shell("run", tmp_path, "--no-history")
    assert ran.exit_code == 0, ran.output
    assert "phone/coin-let-go-6ft-1.mp4" in (tmp_path / "report.html").read_text(encoding="utf-8")
    assert (tmp_path / "measured" / "phone--coin-let-go-6ft-1.mp4.json").is_file()


def test_the_next_command_is_written_as_it_must_be_typed(tmp_path: Path) -> None:
    folder = tmp_path / "lesson of S-01"
    _with_clips(folder, "gate-8ft-1.mp4")
    said = shell("new", folder, *GIVEN).stdout
    quoted = said.partition("pennyfall ")[2].strip()
    assert shlex.split(quoted) == ["lesson", "run", str(folder)]


def test_a_club_file_in_the_folder_is_used_and_the_files_keys_are_explained(tmp_path: Path) -> None:
    _with_clips(tmp_path, "gate-8ft-1.mp4", "club.toml")
    said = shell("new", tmp_path, *GIVEN).stdout
    assert f"The club is taken from {tmp_path / 'club.toml'}." in said
    assert read_lesson(tmp_path).club == "club.toml"
    text = (tmp_path / "lesson.toml").read_text(encoding="utf-8")
    assert all(f"# {key} = " in text for key in SETTINGS_KEYS if key != "club")
    assert "one version of the drill at one putt length" in text


@pytest.mark.usefixtures("quick")
def test_a_club_file_that_the_lesson_leaves_out_is_used_and_said(tmp_path: Path) -> None:
    lesson_folder(tmp_path)
    assert "club.toml" not in shell("run", tmp_path, "--no-history").stdout
    (tmp_path / "club.toml").write_text("tag_height_mm = 28\n")
    said = " ".join(shell("run", tmp_path, "--no-history").stdout.split())
    assert "club.toml lies in the folder and was used, though lesson.toml does not name it" in said
    assert quick_run(tmp_path, database=None).result.lesson.club == "club.toml"


@pytest.mark.clip
def test_a_clip_asked_about_is_shown_by_its_length_and_a_picture(tmp_path: Path) -> None:
    shutil.copy(clip_folder() / "larch-60.mp4", tmp_path / "IMG_1.mp4")
    said = " ".join(shell("new", tmp_path, *GIVEN, answers="let go\n6ft\n").stdout.split())
    picture = tmp_path / "measured" / "IMG_1.mp4.png"
    assert re.search(r"IMG_1\.mp4 \(2\.\d s; what it shows: ", said)
    shown = cv2.imread(str(picture))
    assert shown is not None
    first, _, last = np.hsplit(shown, 3)
    assert np.abs(first.astype(float) - last).max() > 60, "the head has moved"


@pytest.mark.clip
def test_a_damaged_clip_is_asked_about_all_the_same(tmp_path: Path) -> None:
    whole = bytearray((clip_folder() / "larch-60.mp4").read_bytes())
    fifth = len(whole) // 5
    whole[fifth : 4 * fifth] = bytes(3 * fifth)
    (tmp_path / "IMG_1.mp4").write_bytes(whole)
    made = shell("new", tmp_path, *GIVEN, answers="let go\n6ft\n")
    assert made.exit_code == 0, made.output


@pytest.mark.parametrize(
    ("student", "warned"),
    [("S-01", False), ("7", False), ("junior_12", False), ("Given Surname", True), ("Given", True),
     ("Given 2", True)],
)  # fmt: skip
def test_a_name_in_place_of_a_code_is_taken_with_a_warning(
    tmp_path: Path, student: str, warned: bool
) -> None:
    (tmp_path / "gate-8ft-1.mp4").touch()
    options = ("--student", student, "--date", "2026-03-14", "--hand", "left", "--green-speed", "9")
    made = shell("new", tmp_path, *options)
    assert made.exit_code == 0, made.output
    assert read_lesson(tmp_path).student == (student if warned else student.upper())
    assert ("reads like a name" in made.stderr) == warned
    assert ("a code such as S-01" in made.stderr) == warned


@pytest.mark.usefixtures("quick")
def test_a_name_in_a_lesson_file_is_warned_of_at_the_run(tmp_path: Path) -> None:
    lesson_folder(tmp_path, student="Given Surname")
    ran = shell("run", tmp_path, "--no-history", "--quiet")
    assert ran.exit_code == 0, ran.output
    assert "'Given Surname' reads like a name" in ran.stderr
    lesson_folder(tmp_path)
    assert "reads like a name" not in shell("run", tmp_path, "--no-history").stderr


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [("--hand", "both", "no hand"), ("--date", "soon", "no date"), ("--green-speed", "99", "no green speed")],
)
def test_a_wrong_answer_writes_no_file(tmp_path: Path, option: str, value: str, said: str) -> None:
    (tmp_path / "gate-8ft-1.mp4").touch()
    given = {
        "--student": "S-01",
        "--date": "2026-03-14",
        "--hand": "left",
        "--green-speed": "9",
        option: value,
    }
    made = shell("new", tmp_path, *(word for pair in given.items() for word in pair))
    assert made.exit_code == 2
    assert said in made.stderr
    assert not (tmp_path / "lesson.toml").exists()


@pytest.mark.usefixtures("quick")
def test_a_lesson_goes_by_the_coachs_own_rules_and_bands(tmp_path: Path) -> None:
    lesson_folder(tmp_path)
    wrote = shell("rules", tmp_path)
    assert wrote.exit_code == 0
    assert {"rules.toml", "reference_bands.toml"} <= {each.name for each in tmp_path.iterdir()}
    as_delivered = shell("run", tmp_path, "--no-history").stdout
    assert "fell from" in as_delivered or "rose from" in as_delivered

    rules = tmp_path / "rules.toml"
    rules.write_text(rules.read_text().replace("fewest_strokes = 3", "fewest_strokes = 9"))
    stricter = shell("run", tmp_path, "--no-history")
    assert stricter.exit_code == 0, stricter.output
    assert "there are too few strokes to claim anything" in " ".join(stricter.stdout.split())


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("rules.toml", "[levels\n", "rules.toml cannot be read"),
        (
            "rules.toml",
            "[levels]\nfamily = 2\nprofile_share = 0.2\npower = 0.8\nfewest_strokes = 3\n",
            "0.05",
        ),
        ("reference_bands.toml", "[[band]]\nquantity = 'grip'\nlow = 1\nhigh = 2\nsource = 'x'\n", "'grip'"),
    ],
)
def test_rules_that_cannot_be_used_are_said_before_anything_is_measured(
    tmp_path: Path, name: str, text: str, said: str
) -> None:
    lesson_folder(tmp_path)
    (tmp_path / name).write_text(text)
    ran = shell("run", tmp_path, "--no-history")
    assert ran.exit_code == 2
    assert said in " ".join(ran.output.split())
    assert not (tmp_path / "report.html").exists()


def test_rules_already_there_are_left_as_they_are(tmp_path: Path) -> None:
    (tmp_path / "rules.toml").write_text("mine")
    assert shell("rules", tmp_path).exit_code == 0
    assert (tmp_path / "rules.toml").read_text() == "mine"
    assert shell("rules", tmp_path).exit_code == 2
