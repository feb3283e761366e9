"""The entry point: quick, lazy, and one place where what went wrong becomes words and an exit code."""

from __future__ import annotations

import subprocess
import sys
import time
import types
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from pennyfall.cli import app as app_module
from pennyfall.cli.app import COMMANDS, app
from pennyfall.kinematics.errors import CannotMeasure

RUN = [sys.executable, "-c", "from pennyfall.cli.app import main; main()"]

Invoke = Callable[..., Result]


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> Callable[[BaseException], Invoke]:
    """Return a way to run the command line with a command `measure` that raises the given exception."""

    def with_error(error: BaseException) -> Invoke:
        def measure() -> None:
            raise error

        module = types.ModuleType("measure")
        module.measure = measure  # type: ignore[attr-defined]
        monkeypatch.setattr(app_module, "import_module", lambda _name: module)
        return lambda *arguments: CliRunner().invoke(app, arguments)

    return with_error


def test_a_problem_the_coach_can_solve_gives_its_remedy_and_code_2(
    failing: Callable[[BaseException], Invoke],
) -> None:
    run = failing(
        CannotMeasure("The sheet was seen in 3 of 480 frames.", fix="Film so that it stays in view.")
    )
    result = run("measure")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr == "The sheet was seen in 3 of 480 frames.\nFilm so that it stays in view.\n"


def test_debug_adds_the_traceback_to_the_remedy(failing: Callable[[BaseException], Invoke]) -> None:
    result = failing(CannotMeasure("No ball.", fix="Put one down."))("--debug", "measure")
    assert result.exit_code == 2
    assert "Traceback" in result.stderr
    assert result.stderr.endswith("No ball.\nPut one down.\n")


def test_a_defect_is_one_plain_sentence_with_code_1(failing: Callable[[BaseException], Invoke]) -> None:
    result = failing(ZeroDivisionError("division by zero"))("measure")
    assert result.exit_code == 1
    assert "Traceback" not in result.output
    assert "ZeroDivisionError: division by zero" in result.stderr
    assert "pennyfall --debug" in result.stderr


def test_debug_shows_where_a_defect_is(failing: Callable[[BaseException], Invoke]) -> None:
    result = failing(ZeroDivisionError("division by zero"))("--debug", "measure")
    assert result.exit_code == 1
    assert "in measure\n    raise error" in result.stderr


def test_a_file_that_cannot_be_opened_is_named(failing: Callable[[BaseException], Invoke]) -> None:
    result = failing(PermissionError(13, "Permission denied", "club.toml"))("measure")
    assert result.exit_code == 2
    assert result.stderr == "club.toml: Permission denied.\n"


def test_an_interrupted_command_ends_with_code_130(failing: Callable[[BaseException], Invoke]) -> None:
    result = failing(KeyboardInterrupt())("measure")
    assert result.exit_code == 130
    assert "Traceback" not in result.output


@pytest.mark.parametrize("arguments", [["juggle"], ["--loud"], ["measure", "--loud"]])
def test_a_usage_error_has_code_2(arguments: list[str], failing: Callable[[BaseException], Invoke]) -> None:
    result = failing(ValueError())(*arguments)
    assert result.exit_code == 2
    assert "defect" not in result.stderr


def test_help_lists_every_command_without_importing_one() -> None:
    code = (
        "import sys, contextlib\n"
        "from pennyfall.cli.app import app\n"
        "with contextlib.suppress(SystemExit):\n"
        "    app(['--help'])\n"
        "heavy = {'numpy', 'cv2', 'av', 'scipy', 'matplotlib', 'pandas', 'rich'} & set(sys.modules)\n"
        "print('imported:', sorted(heavy), [m for m in sys.modules if '.commands' in m])\n"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert "imported: [] []" in shown
    for name, summary in COMMANDS.items():
        assert any(line.split() == [name, *summary.split()] for line in shown.splitlines())


def test_what_takes_long_to_load_waits_until_a_clip_is_being_decoded() -> None:
    code = (
        "import sys, pennyfall.cli.commands.measuring\n"
        "print(sorted({'scipy', 'filterpy', 'matplotlib', 'pandas'} & set(sys.modules)))\n"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert shown.split() == ["[]"]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_there_and_explains_itself(name: str) -> None:
    result = CliRunner().invoke(app, [name, "--help"])
    assert result.exit_code == 0, result.output
    assert "Usage:" in result.stdout


def test_the_version_is_the_installed_one() -> None:
    from importlib.metadata import version

    result = CliRunner().invoke(app, ["--version"])
    assert result.stdout == f"pennyfall {version('pennyfall')}\n"


def test_a_reader_that_leaves_early_gets_no_complaint() -> None:
    process = subprocess.run(
        ["bash", "-c", f"{sys.executable} -c 'from pennyfall.cli.app import main; main()' --help | true"],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(sys.prefix),
    )
    assert process.stderr == ""


@pytest.mark.benchmark
def test_the_overview_is_there_within_half_a_second() -> None:
    durations_s = []
    for _ in range(5):
        started_s = time.perf_counter()
        subprocess.run([*RUN, "--help"], capture_output=True, check=True)
        durations_s.append(time.perf_counter() - started_s)
    assert min(durations_s) < 0.5, durations_s
