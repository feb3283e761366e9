"""The guides cannot drift from the program: help texts, commands, dependencies, labels."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from pennyfall.cli.app import COMMANDS
from tests.cli.help_texts import GUIDE, ROOT, commands, guide

GUIDES = (ROOT / "README.md", ROOT / "DEVELOPERS.md", GUIDE)
README = (ROOT / "README.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def test_the_help_shown_is_the_help_given() -> None:
    assert GUIDE.read_text(encoding="utf-8") == guide(), "renew it with: python -m tests.cli.help_texts"


def test_the_guide_to_the_commands_shows_every_command() -> None:
    assert {"pennyfall", *(f"pennyfall {name}" for name in COMMANDS)} <= set(commands())
    assert "pennyfall lesson run" in commands()


def test_the_readme_gives_the_reason_for_each_dependency_and_no_other() -> None:
    table = README.partition("## What it stands on")[2].partition("## ")[0]
    explained = re.findall(r"^\| ([a-z][a-z0-9-]*) \| \S", table, re.MULTILINE)
    needed = [re.split(r"[<>=!~ ]", each)[0] for each in PROJECT["dependencies"]]
    assert explained[0] == "package"
    assert explained[1:] == sorted(needed)


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


def test_the_readme_says_what_to_take_care_of() -> None:
    cautions = " ".join(README.partition("Cautions.")[2].partition("##")[0].split())
    for word in ("clear", "tripod", "edges", "underfoot", "before filming and before sharing", "guardian",
                 "pain", "off the head before a round", "local rules", "qualified"):  # fmt: skip
        assert word in cautions
