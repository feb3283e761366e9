"""`pennyfall club`: questions, options and refusals, as the shell sees them."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from pennyfall.calibration.club import load_club
from pennyfall.cli.app import app
from pennyfall.cli.commands.club import DRAWING, LETTERS
from pennyfall.kinematics.shelf import Shelf

runner = CliRunner()


def test_options_write_a_file_without_a_question(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    result = runner.invoke(
        app,
        [
            "club",
            "new",
            str(path),
            "--tag-height",
            "30.3",
            "--tag-size",
            "20",
            "--edge-distance",
            "22",
            "--coin-from-tag",
            "-18",
        ],
    )
    assert result.exit_code == 0, result.output
    club = load_club(path)
    assert club.tag_height_m.value == pytest.approx(0.0303)
    assert club.tag_side_m == pytest.approx(0.020)
    assert club.shelf == Shelf(edge_distance_m=0.022, coin_from_tag_m=-0.018)


def test_questions_are_asked_again_until_the_answer_is_possible(tmp_path: Path) -> None:
    path = tmp_path / "asked.toml"
    answers = ["", "303", "thirty", "30,3", "", "16", "y", "12", "25", "", "0", "", "-20"]
    result = runner.invoke(app, ["club", "new", str(path)], input="\n".join(answers) + "\n")
    assert result.exit_code == 0, result.output
    assert "303 mm, not between 5 and 80" in result.output
    assert "'thirty', not a number" in result.output
    assert "<--- C --->" in result.output
    club = load_club(path)
    assert club.tag_height_m.value == pytest.approx(0.0303)
    assert club.tag_height_m.sd == 0.001
    assert club.tag_side_m == pytest.approx(0.016)
    assert club.shelf == Shelf(
        floor_height_m=0.012, edge_distance_m=0.025, cavity_depth_m=0, coin_from_tag_m=-0.02
    )


def test_an_answer_may_carry_its_unit_and_the_one_needed_line_says_that_it_is(tmp_path: Path) -> None:
    path = tmp_path / "asked.toml"
    answers = ["", "30 mm", "", "1,6cm", "y", "12", "1 in", "", "0", "", "-2 cm"]
    result = runner.invoke(app, ["club", "new", str(path)], input="\n".join(answers) + "\n")
    assert result.exit_code == 0, result.output
    assert "not a number" not in result.output
    assert result.output.count("This is the one line that is needed") == 1
    club = load_club(path)
    assert club.tag_height_m.value == pytest.approx(0.030)
    assert club.tag_side_m == pytest.approx(0.016)
    assert club.shelf is not None
    assert club.shelf.edge_distance_m == pytest.approx(0.0254)
    assert club.shelf.coin_from_tag_m == pytest.approx(-0.02)


def test_nothing_is_asked_that_no_figure_depends_on(tmp_path: Path) -> None:
    result = runner.invoke(app, ["club", "new", str(tmp_path / "club.toml")], input="30\n\n\nn\n")
    assert result.exit_code == 0, result.output
    assert "mass" not in result.output
    assert "gram" not in result.output
    for option in ("--head-mass", "--tag-to-face"):
        assert option not in runner.invoke(app, ["club", "new", "--help"]).output


def test_no_coin_means_no_shelf(tmp_path: Path) -> None:
    path = tmp_path / "plain.toml"
    result = runner.invoke(app, ["club", "new", str(path)], input="30\n\n\nn\n")
    assert result.exit_code == 0, result.output
    assert load_club(path).shelf is None


def test_an_interrupted_dialogue_leaves_no_file(tmp_path: Path) -> None:
    path = tmp_path / "half.toml"
    result = runner.invoke(app, ["club", "new", str(path)], input="30\n")
    assert result.exit_code != 0
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_replaced_only_when_told_so(tmp_path: Path) -> None:
    path = tmp_path / "club.toml"
    path.write_text("tag_height_mm = 25\n", encoding="utf-8")
    refused = runner.invoke(app, ["club", "new", str(path), "--tag-height", "30"])
    assert refused.exit_code == 2
    assert "is there already" in refused.stderr
    assert load_club(path).tag_height_m.value == pytest.approx(0.025)
    assert runner.invoke(app, ["club", "new", str(path), "--tag-height", "30", "--overwrite"]).exit_code == 0
    assert load_club(path).tag_height_m.value == pytest.approx(0.030)


def test_an_impossible_option_is_refused(tmp_path: Path) -> None:
    result = runner.invoke(app, ["club", "new", str(tmp_path / "c.toml"), "--tag-height", "300"])
    assert result.exit_code == 2
    assert "300 mm, not between 5 and 80" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_check_shows_what_is_assumed(tmp_path: Path) -> None:
    path = tmp_path / "club.toml"
    path.write_text("tag_height_mm = 25\n", encoding="utf-8")
    result = runner.invoke(app, ["club", "check", str(path)])
    assert result.exit_code == 0
    assert "tag_height_sd_mm = 1 " in result.stdout
    assert "tag_size_mm" not in result.stdout


def test_every_letter_of_a_question_stands_in_the_drawing() -> None:
    for letter in LETTERS.values():
        assert f" {letter} " in DRAWING


def test_the_drawing_fits_a_terminal() -> None:
    assert max(map(len, DRAWING.splitlines())) <= 80
