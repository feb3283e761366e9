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
    stamps_s = [0.0, measurement(stroke).clip.duration_s]
    truth.write_text(json.dumps({"frames": {"container_pts_s": stamps_s}, "strokes_container_clock": [true]}))
    result = CliRunner().invoke(app, ["prove", str(measured), str(truth)])
    assert result.exit_code == 0
    assert f"{len(TRUE_NAMES) - 1} of {len(TRUE_NAMES)} intervals hold the truth" in result.stdout
    assert result.stdout.count(" NO\n") == 1


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"name": "larch-60"}, "it is that of larch-60"),
        ({"image_size": [640, 360]}, "its pictures have 640 x 360 px, the clip's 1280 x 720"),
        ({"frames": {"container_pts_s": [0.5, 9.5]}}, "it lasts 9.00 s, the clip {clip_s:.2f} s"),
    ],
)
def test_the_truth_of_another_clip_is_refused(measured: Path, change: dict[str, object], what: str) -> None:
    clip = measurement(plateau_stroke()).clip
    stem = Path(clip.file).stem
    own = {
        "name": stem,
        "image_size": [720, 1280],  # as coded: a phone may lay it down
        "frames": {"container_pts_s": [0.0, clip.duration_s]},
        "strokes_container_clock": [],
    }
    truth = measured.with_name("truth.json")
    truth.write_text(json.dumps(own))
    assert CliRunner().invoke(app, ["prove", str(measured), str(truth)]).exit_code == 0
    truth.write_text(json.dumps(own | change))
    result = CliRunner().invoke(app, ["prove", str(measured), str(truth)])
    assert result.exit_code == 2
    assert result.stderr.splitlines() == [
        f"truth.json is not the truth of {clip.file}: {what.format(clip_s=clip.duration_s)}.",
        f"Give the truth file that came with {clip.file}.",
    ]


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
