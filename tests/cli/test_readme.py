"""The guides cannot drift from the program: help texts, files, figures, the example."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from pennyfall.cli.app import COMMANDS
from pennyfall.cli.proof.run import summary_lines
from pennyfall.cli.proof.study import Outcome
from pennyfall.cli.proof.trials import QUANTITIES
from pennyfall.kinematics.values import Estimate
from tests.cli import data_guide, measures_guide
from tests.cli.help_texts import GUIDE, ROOT, commands, guide

RESULTS_GUIDE = ROOT / "cli" / "proof" / "RESULTS.md"
GUIDES = (
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    GUIDE,
    RESULTS_GUIDE,
    measures_guide.GUIDE,
    data_guide.GUIDE,
    ROOT / "cli" / "EXAMPLE_SEASON.md",
)
README = (ROOT / "README.md").read_text(encoding="utf-8")
RESULTS = RESULTS_GUIDE.read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def test_the_help_shown_is_the_help_given() -> None:
    assert GUIDE.read_text(encoding="utf-8") == guide(), "renew it with: python -m tests.cli.help_texts"


def test_the_guide_to_the_figures_says_what_the_table_of_quantities_says() -> None:
    renew = "renew it with: python -m tests.cli.measures_guide"
    assert measures_guide.GUIDE.read_text(encoding="utf-8") == measures_guide.guide(), renew


def test_the_guide_to_the_commands_shows_every_command() -> None:
    assert {"pennyfall", *(f"pennyfall {name}" for name in COMMANDS)} <= set(commands())
    assert "pennyfall lesson run" in commands()


def test_the_project_gives_the_reason_for_each_dependency() -> None:
    lines = (ROOT / "pyproject.toml").read_text(encoding="utf-8").splitlines()
    for each in PROJECT["dependencies"]:
        (line,) = (line for line in lines if line.startswith(f'    "{each}",'))
        assert re.search(r",  # \w\w", line), each


def table_rows(guide: str, heads: int) -> dict[str, list[str]]:
    """Return the rows of a Markdown document's tables with so many columns, by their first cell."""
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in guide.splitlines()
        if line.startswith("|")
    ]
    return {row[0]: row[1:] for row in rows if len(row) == heads}


def test_the_headline_figures_are_those_of_the_study() -> None:
    """First the head of the table: the same columns in the same order."""
    shown, found = (table_rows(each, 5) for each in (README, RESULTS))
    assert len(shown) == 7  # head, rule, five figures
    assert [each.partition(",")[0] for each in shown.pop("figure")] == [
        each.partition(",")[0] for each in found["figure"]
    ]
    for figure, cells in shown.items():
        assert cells == found[figure], figure


def test_the_results_have_the_form_in_which_the_study_writes_them() -> None:
    """Of a study without strokes at 240 frames/s that is the head, and one row a quantity."""
    found = dict.fromkeys(QUANTITIES, Estimate(1.0, 0.1))
    made = [Outcome(rate_hz=60.0, found=found, truth=dict.fromkeys(QUANTITIES, 1.1))]
    (strokes,) = re.findall(r"--strokes (\d+)", RESULTS)
    lines = summary_lines(made, (), command=f"pennyfall prove --strokes {strokes} --seed 1 --data FOLDER")
    head = RESULTS.splitlines()[: len(lines)]
    assert head[:2] == lines[:2]
    assert head[2].startswith(lines[2].partition(": ")[0])
    assert list(table_rows(RESULTS, 5))[2:] == list(table_rows("\n".join(lines), 3))[2:]


@pytest.mark.clip
def test_the_example_runs_as_it_stands_and_finds_the_true_forward_swing(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The clip's truth file says 315.0 ms; two half-widths are missed once in ten thousand times."""
    (example,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    monkeypatch.chdir(ROOT)
    exec(example, {})
    value, half_width = map(float, re.findall(r"[\d.]+", capsys.readouterr().out.partition("swing")[2]))
    assert abs(value - 315.0) <= 2 * half_width
    assert 0 < half_width < 5


def test_the_check_script_runs_the_tests_as_the_readme_does() -> None:
    (command,) = re.findall(r"pip install '\.\[test\]' && \.venv/bin/(.*)", README)
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert re.search(rf"^step {re.escape(command)}$", script, re.MULTILINE)
    assert "'.[test]'" in script


def test_the_demo_clip_of_the_readme_is_shipped() -> None:
    (clip,) = re.findall(r"pennyfall measure (demo_clips/\S+)", README)
    assert (ROOT / clip).is_file()


@pytest.mark.parametrize("guide", GUIDES, ids=lambda path: path.name)
def test_every_file_a_guide_names_exists(guide: Path) -> None:
    text = re.sub(r"```.*?```", "", guide.read_text(encoding="utf-8"), flags=re.DOTALL)
    for name in re.findall(r"`([a-z_./-]+/[a-z_.-]+\.(?:py|toml|json|md|mp4))`", text):
        assert (ROOT / name).is_file(), name
    for link in re.findall(r"\]\(([^)#]+)\)", text):
        assert (guide.parent / link).is_file(), link


def test_the_readme_says_what_to_take_care_of() -> None:
    cautions = " ".join(README.partition("Cautions.")[2].partition("##")[0].split())
    for word in ("clear", "tripod", "edges", "underfoot", "before filming and before sharing", "guardian",
                 "pain", "off the head before a round", "local rules", "qualified"):  # fmt: skip
        assert word in cautions


def test_the_first_screen_leads_one_who_never_saw_a_terminal_to_the_command() -> None:
    """On each system, from a copy of the folder: nothing says that a package index has pennyfall."""
    screen = README.partition("## Two commands")[0]
    for word in (
        "Windows",
        "macOS",
        "Linux",
        "copy of this folder",
        "uv tool install ",
        "stand for the phone",
    ):
        assert word in screen
    assert not re.search(r"(?:pip|pipx|uv tool) install pennyfall", README)
    steps = " ".join(README.partition("A lesson in six steps")[2].partition("##")[0].split())
    for word in (
        "at least four strokes",
        "three at each of two",
        "in turns",
        "by cable",
        "wireless sharing",
        "synced folder",
    ):
        assert word in steps
