"""The shipped clips are measured to within their own intervals, from where they are installed."""

from __future__ import annotations

import re

import pytest
from scipy import stats
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.demo_clips.clips import shipped_clips
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.measure import clip as measure


def test_a_clip_that_is_not_shipped_is_refused_with_the_names() -> None:
    result = CliRunner().invoke(app, ["demo", "nowhere"])
    assert result.exit_code == 2
    assert "No clip called 'nowhere' is shipped." in result.stderr
    for clip in shipped_clips():
        assert clip.name in result.stderr


def test_a_clip_that_cannot_be_measured_is_told_after_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise CannotMeasure("No tag of the sheet is found.", fix="Lay it flat.")

    monkeypatch.setattr(measure, "measure_clip", refuse)
    result = CliRunner().invoke(app, ["demo", "--quiet"])
    assert result.exit_code == 2
    assert result.stdout == ""
    for clip in shipped_clips():
        assert f"{clip.name}: No tag of the sheet is found." in result.stderr


@pytest.mark.clip
@pytest.mark.slow
def test_the_shipped_clips_are_measured_to_within_their_own_intervals() -> None:
    """Were every interval right, fewer hits than the binomial 1 % point would be one run in a hundred."""
    result = CliRunner().invoke(app, ["demo", "--quiet"])
    assert result.exit_code == 0, result.output
    found = re.search(r"^(\d+) of (\d+) intervals hold the truth; 95 %", result.stdout, re.MULTILINE)
    assert found is not None
    held, asked = int(found[1]), int(found[2])
    assert asked >= 17 * len(shipped_clips())
    assert held >= stats.binom.ppf(0.01, asked, 0.95), result.stdout
