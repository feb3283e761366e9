"""A lens file made at another picture size than the clip's."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from pennyfall.calibration.lens import Lens, lens_text
from pennyfall.cli.app import app
from pennyfall.demo_clips.clips import clip_folder

CLIP = clip_folder() / "larch-60.mp4"
TRUTH = json.loads(CLIP.with_suffix(".truth.json").read_text(encoding="utf-8"))
runner = CliRunner()


def lens_file(path: Path, *, size: tuple[int, int]) -> Path:
    """Write the lens of the clip's own camera (1280 x 720 px), as a board filmed at `size` gives it."""
    width, height = size
    focal_px = TRUTH["camera"]["K"][0][0] * height / 720
    lens = Lens(
        matrix=np.array([[focal_px, 0, (width - 1) / 2], [0, focal_px, (height - 1) / 2], [0, 0, 1]]),
        distortion=np.zeros(5),
        width_px=width,
        height_px=height,
        rms_px=0.2,
        focal_sd_px=2.0,
    )
    path.write_text(lens_text(lens), encoding="utf-8")
    return path


def test_a_clip_is_measured_as_well_with_a_lens_made_at_a_larger_size(tmp_path: Path) -> None:
    lens, out = lens_file(tmp_path / "lens.json", size=(1920, 1080)), tmp_path / "stroke.json"
    club = tmp_path / "club.toml"
    club.write_text(f"tag_height_mm = {1e3 * TRUTH['club']['tag_height_m']:g}\n", encoding="utf-8")
    told = ["--club", str(club), "--lens", str(lens), "--json", str(out), "--quiet"]
    result = runner.invoke(app, ["measure", str(CLIP), *told])
    assert result.exit_code == 0, result.output
    document = json.loads(out.read_text(encoding="utf-8"))
    found = document["strokes"][0]["backswing_length_m"]
    true_m = TRUTH["events_container_clock"]["backswing_length_m"]
    assert found["value"] == pytest.approx(true_m, rel=0.01)
    assert document["calibration"]["focal_px"]["value"] == pytest.approx(1010, abs=4)


@pytest.mark.parametrize("command", ["measure", "check"])
def test_a_lens_made_in_another_mode_is_refused_with_both_sizes(tmp_path: Path, command: str) -> None:
    lens = lens_file(tmp_path / "lens.json", size=(1440, 1080))
    result = runner.invoke(app, [command, str(CLIP), "--lens", str(lens)])
    assert result.exit_code == 2
    assert "1440 x 1080 px; the clip's, 1280 x 720 px, have another shape" in result.stderr
    assert "Film the lens board in the mode" in result.stderr
