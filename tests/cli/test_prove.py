"""`pennyfall prove` reads two files and says which intervals hold the truth."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.cli.files.measurement import save_measurement
from pennyfall.cli.report.tables.truth import TRUE_NAMES
from tests.cli.synthetic import measurement, plateau_stroke


@pytest.fixture
def measured(tmp_path: Path) -> Path:
    path = tmp_path / "larch.json"
    save_measurement(measurement(plateau_stroke()), path)
    return path


def test_a_wrong_truth_is_told_from_a_right_one(measured: Path) -> None:
    stroke = plateau_stroke()
    true = {true_name: getattr(stroke, name).value for name, true_name in TRUE_NAMES.items()}
    true["peak_forward_speed_m_s"] += 0.1
    truth = measured.with_name("truth.json")
    truth.write_text(json.dumps({"frames": {"container_pts_s": [0.0]}, "strokes_container_clock": [true]}))
    result = CliRunner().invoke(app, ["prove", str(measured), str(truth)])
    assert result.exit_code == 0
    assert f"{len(TRUE_NAMES) - 1} of {len(TRUE_NAMES)} intervals hold the truth" in result.stdout
    assert result.stdout.count(" NO\n") == 1


@pytest.mark.parametrize(
    ("content", "words"), [("{", "is not JSON"), ("[]", "holds no true strokes"), ("{}", "holds no true")]
)
def test_a_file_that_is_no_truth_is_refused_with_a_remedy(measured: Path, content: str, words: str) -> None:
    truth = measured.with_name("truth.json")
    truth.write_text(content)
    result = CliRunner().invoke(app, ["prove", str(measured), str(truth)])
    assert result.exit_code == 2
    assert words in result.stderr
    assert "Give the truth file that came with the clip." in result.stderr


def test_a_truth_that_is_not_there_is_named(measured: Path) -> None:
    result = CliRunner().invoke(app, ["prove", str(measured), str(measured.with_name("none.json"))])
    assert result.exit_code == 2
    assert "none.json: No such file or directory." in result.stderr
