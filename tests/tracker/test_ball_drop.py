"""A filmed ball falls for as long as physics and its author say, in the phone's true time.

The clip is a real slow-motion file whose container plays four times slower than life; a hand lets a ball go
2.28 m above the floor (github.com/oliverius/gravity): 0.682 s in vacuum, 0.700 s read frame by frame.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import curve_fit
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.kinematics.values import Estimate, FloatArray

pytestmark = [pytest.mark.footage, pytest.mark.clip]

GRAVITY_MPS2, FALL_M = 9.81, 2.28


@pytest.fixture(scope="module")
def fall(footage: Path, tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    """Return the ball's track: no sheet, no tag, by the colour of the ball alone."""
    out = tmp_path_factory.mktemp("drop") / "track.csv"
    clip = footage / "ball-drop-120fps" / "ball_drop.mp4"
    result = CliRunner().invoke(app, ["measure", str(clip), "--dot", "red", "--track", str(out), "--quiet"])
    assert result.exit_code == 0, result.output
    return pd.read_csv(out).dropna(subset=["v_px"])


def _part(fall: pd.DataFrame, first_s: float, last_s: float) -> tuple[FloatArray, FloatArray]:
    part = fall[(fall.t_s >= first_s) & (fall.t_s <= last_s)]
    return part.t_s.to_numpy(), part.v_px.to_numpy()


def _let_go(t: FloatArray, at: float, height: float, half: float) -> FloatArray:
    return np.asarray(height + half * np.maximum(t - at, 0.0) ** 2)


def _release(fall: pd.DataFrame) -> Estimate:
    """Return when the ball was let go: at rest, then a parabola, over three stretches.

    The picture's scale hardly changes over the first 30 cm; what the stretches disagree about is its part of
    the uncertainty.
    """
    highest = fall.v_px[fall.t_s < 1.5].min()
    first = float(fall.t_s[fall.v_px < highest + 0.5].iloc[-1])
    instants, sds = [], []
    for reach_px in (90, 150, 220):
        t, v = _part(fall, first - 0.01, first + 0.3)
        near = v < highest + reach_px
        best, covariance = curve_fit(_let_go, t[near], v[near], p0=(first, highest, 3600.0))
        instants.append(best[0])
        sds.append(np.sqrt(covariance[0, 0]))
    return Estimate(float(np.mean(instants)), float(np.hypot(np.mean(sds), np.std(instants))))


def _bounce(fall: pd.DataFrame) -> Estimate:
    """Return when the falling and the rising way meet, by a straight line and by a parabola each."""
    lowest = float(fall.t_s[fall.v_px == fall.v_px[fall.t_s.between(1.4, 1.75)].max()].iloc[0])
    down, up = _part(fall, lowest - 0.1, lowest), _part(fall, lowest + 0.12, lowest + 0.3)
    grid = np.linspace(lowest, lowest + 0.15, 3001)
    meetings = []
    for degree in (1, 2):
        falling = np.polyval(np.polyfit(down[0] - lowest, down[1], degree), grid - lowest)
        for rising_degree in (2, 3):
            rising = np.polyval(np.polyfit(up[0] - lowest, up[1], rising_degree), grid - lowest)
            meetings.append(grid[np.argmin(np.abs(falling - rising))])
    return Estimate(float(np.mean(meetings)), float(np.std(meetings)))


def test_the_fall_lasts_as_long_as_it_should(fall: pd.DataFrame) -> None:
    release, bounce = _release(fall), _bounce(fall)
    lasted = Estimate(bounce.value - release.value, float(np.hypot(release.sd, bounce.sd)))
    low, high = lasted.interval()
    assert 0.68 < low < high < 0.71, (low, high)
    assert lasted.value > np.sqrt(2 * FALL_M / GRAVITY_MPS2) - 0.005, "no faster than in vacuum"


def test_one_scale_for_the_whole_picture_is_not_to_be_believed(fall: pd.DataFrame) -> None:
    """The top of the picture has more pixels a metre, by acceleration, than the bottom has by speed.

    Near the start g s t^2 / 2 tells the scale s there; before the bounce the ball falls at g T, 2 % less for
    the air.
    """
    release, bounce = _release(fall), _bounce(fall)
    t, v = _part(fall, release.value, release.value + 0.2)
    top_px_per_m = 2 * np.polyfit(t - release.value, v, 2)[0] / GRAVITY_MPS2
    t, v = _part(fall, bounce.value - 0.12, bounce.value - 0.03)
    speed_px_s = np.polyfit(t - t.mean(), v, 1)[0]
    bottom_px_per_m = speed_px_s / (0.98 * GRAVITY_MPS2 * (t.mean() - release.value))
    assert top_px_per_m / bottom_px_per_m > 1.15
    # One parabola over the whole fall misses by far more than the track's own half pixel.
    t, v = _part(fall, release.value, bounce.value - 0.03)
    missed = v - np.polyval(np.polyfit(t - release.value, v, 2), t - release.value)
    assert np.std(missed) > 3.0
