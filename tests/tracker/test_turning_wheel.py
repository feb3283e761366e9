"""A tag on a drawn wheel, shown at a strongly varying rate, turns with the wheel's own period."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
import pytest
from scipy.optimize import least_squares
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import LumaFrame
from tests.tracker.timed_clips import write_film

SIZE = (640, 480)
HUB = np.array([322.3, 236.8])
RADIUS_PX = 118.0
PERIOD_S = 1.73
TAG_PX = 64
PHASE = 0.4
OVERSAMPLED = 4
PLACE_SD_PX = 0.15
"""What a tag of this size is located to, or better; see the tests of registration (0.03 to 0.14 px)."""


def _printed_tag() -> LumaFrame:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    tag = np.full((TAG_PX * OVERSAMPLED * 4 // 3,) * 2, 235, np.uint8)
    edge = (tag.shape[0] - TAG_PX * OVERSAMPLED) // 2
    inner = cv2.aruco.generateImageMarker(dictionary, 7, TAG_PX * OVERSAMPLED)
    tag[edge : edge + inner.shape[0], edge : edge + inner.shape[1]] = np.maximum(inner, 25)
    return tag


def _wheel(angle: float, tag: LumaFrame) -> LumaFrame:
    """Return the wheel turned by an angle, drawn four times as large and averaged down."""
    picture = np.full((SIZE[1] * OVERSAMPLED, SIZE[0] * OVERSAMPLED), 70, np.uint8)
    hub = OVERSAMPLED * HUB + (OVERSAMPLED - 1) / 2
    cv2.circle(picture, tuple(np.rint(hub).astype(int).tolist()), 190 * OVERSAMPLED, 120, -1)
    c, s = math.cos(angle), math.sin(angle)
    middle = (tag.shape[0] - 1) / 2
    turn = np.array([[c, -s], [s, c]])
    shift = hub + turn @ np.array([RADIUS_PX * OVERSAMPLED, 0.0]) - turn @ np.array([middle, middle])
    cv2.warpAffine(
        tag,
        np.column_stack([turn, shift]),
        picture.shape[::-1],
        dst=picture,
        borderMode=cv2.BORDER_TRANSPARENT,
    )
    return np.asarray(cv2.resize(picture, SIZE, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _film(path: Path, times_s: FloatArray, generator: np.random.Generator) -> Path:
    tag = _printed_tag()
    frames = []
    for time_s in times_s:
        luma = _wheel(PHASE + 2 * math.pi * time_s / PERIOD_S, tag) + generator.normal(0, 1.5, SIZE[::-1])
        planar = np.full((SIZE[1] * 3 // 2, SIZE[0]), 128, np.uint8)
        planar[: SIZE[1]] = np.clip(np.rint(luma), 0, 255)
        frames.append(planar)
    return write_film(path, frames, times_s, options={"crf": "18", "bf": "2"})


def _period(track: pd.DataFrame) -> tuple[float, float]:
    """Return the period of the circle fitted to a track [s], and the residual's rms [px]."""
    seen = track[track.seen == 1]
    t, u, v = seen.t_s.to_numpy(), seen.u_px.to_numpy(), seen.v_px.to_numpy()

    def residual(p: FloatArray) -> FloatArray:
        angle = p[3] + 2 * math.pi * t / p[4]
        return np.concatenate([p[0] + p[2] * np.cos(angle) - u, p[1] + p[2] * np.sin(angle) - v])

    start = [u.mean(), v.mean(), RADIUS_PX, math.atan2(v[0] - HUB[1], u[0] - HUB[0]), 1.02 * PERIOD_S]
    fit = least_squares(residual, start, x_scale=[1, 1, 1, 0.01, 0.01])
    return float(fit.x[4]), float(np.sqrt(np.mean(fit.fun**2)))


@pytest.mark.clip
@pytest.mark.parametrize("kind", ["scattered", "stepping"])
def test_the_period_is_the_drawn_wheels_whatever_the_frame_rate_does(
    tmp_path: Path, generator: np.random.Generator, kind: str
) -> None:
    """Intervals scatter from 4 to 33 ms, or step between 8, 33 and 17 ms; once, 90 ms pass without a frame.

    Tolerance: an angle is known to PLACE_SD_PX / RADIUS_PX in a frame; the slope of a line through n of them
    over a time L has a standard deviation of sqrt(12 / n) / L of that; four of those.
    """
    steps = np.repeat([1 / 120, 1 / 30, 1 / 60], [40, 30, 40])
    intervals = generator.uniform(0.004, 0.033, 110) if kind == "scattered" else steps
    intervals[40] = 0.090
    times = np.round(np.concatenate([[0.0], np.cumsum(intervals)]) * 90000) / 90000
    clip = _film(tmp_path / "wheel.mp4", times + 0.25, generator)
    out = tmp_path / "wheel.csv"
    result = CliRunner().invoke(app, ["measure", str(clip), "--track", str(out)])
    assert result.exit_code == 0, result.stderr
    track = pd.read_csv(out)
    np.testing.assert_allclose(track.t_s, times, atol=1e-6)
    assert track.seen.mean() > 0.9
    period_s, rms_px = _period(track)
    slope_sd = PLACE_SD_PX / RADIUS_PX * math.sqrt(12 / len(times)) / times[-1]
    tolerance_s = 4 * slope_sd * PERIOD_S**2 / (2 * math.pi)
    assert tolerance_s < 0.0005 * PERIOD_S
    assert rms_px < PLACE_SD_PX
    assert period_s == pytest.approx(PERIOD_S, abs=tolerance_s)
