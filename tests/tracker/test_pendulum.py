"""A drawn pendulum swings with the period its length gives: a control that needs no sheet and no stroke.

A disc with a cross of its own on a rod of 0.62 m, seen squarely by a camera of known scale, swings with 12
degrees of amplitude; its motion is integrated from theta'' = -(g / L) sin(theta), its period known.
"""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares
from typer.testing import CliRunner

from pennyfall.cli.app import app
from pennyfall.demo_clips.encode import write_clip
from pennyfall.demo_clips.scene import Encoding
from pennyfall.kinematics.values import FloatArray

GRAVITY_MPS2, LENGTH_M, AMPLITUDE_RAD = 9.81, 0.62, math.radians(12)
PERIOD_S = 2 * math.pi * math.sqrt(LENGTH_M / GRAVITY_MPS2) * (
    1 + AMPLITUDE_RAD**2 / 16 + 11 * AMPLITUDE_RAD**4 / 3072
)  # fmt: skip
"""Nelson & Olsson 1986, Am. J. Phys. 54:112-121, eq. 4 (from memory): 0.27 % more than for small angles."""
RATE_HZ, SECONDS = 60.0, 4.0
SIZE = (320, 120)
PX_PER_M = 800.0
BOB_PX = 9.0
PIVOT = np.array([159.5, 75.0 - LENGTH_M * PX_PER_M])
SCATTER_PX = 0.2
"""What a follower of a compressed clip is allowed, twice what it states for itself."""


def _angles(time_s: FloatArray) -> FloatArray:
    swing = solve_ivp(
        lambda _t, y: [y[1], -GRAVITY_MPS2 / LENGTH_M * math.sin(y[0])],
        (0.0, float(time_s[-1])),
        [AMPLITUDE_RAD, 0.0],
        t_eval=time_s,
        rtol=1e-9,
        atol=1e-11,
    )
    return np.asarray(swing.y[0], dtype=np.float64)


FINE = 3
ROWS, COLUMNS = (np.mgrid[0 : SIZE[1] * FINE, 0 : SIZE[0] * FINE] + 0.5) / FINE - 0.5


def _frame(wall: FloatArray, angle: float, generator: np.random.Generator) -> np.ndarray:
    """Return planar 4:2:0: a yellow bob with a dark cross on a grey wall, three rays a side of a pixel."""
    x, y = COLUMNS - PIVOT[0], ROWS - PIVOT[1]
    c, s = math.cos(angle), math.sin(angle)
    across, down = c * x - s * y, s * x + c * y - LENGTH_M * PX_PER_M
    away = np.hypot(across, down)
    bob = away < BOB_PX
    cross = bob & (np.minimum(np.abs(across), np.abs(down)) < 1.5) & (away > 5)
    rod = (np.abs(across) < 1.0) & (down < -BOB_PX)
    whole = [
        cv2.resize(one.astype(np.float32), SIZE, interpolation=cv2.INTER_AREA) for one in (bob, cross, rod)
    ]
    half = [cv2.resize(one, (SIZE[0] // 2, SIZE[1] // 2), interpolation=cv2.INTER_AREA) for one in whole]
    planes = []
    for ground, yellow, dark, (disc, mark, stick) in (
        (wall, 180.0, 60.0, whole),
        (np.float64(126.0), 60.0, 128.0, half),
        (np.float64(129.0), 140.0, 128.0, half),
    ):
        plane = ground * (1 - disc - stick) + dark * stick + yellow * (disc - mark) + dark * mark
        plane = cv2.GaussianBlur(np.asarray(plane, dtype=np.float64), (0, 0), 0.6)
        planes.append(plane + generator.normal(0, 1.0, plane.shape))
    luma, *chroma = (np.clip(np.round(one), 0, 255).astype(np.uint8) for one in planes)
    return np.concatenate([luma, *(one.reshape(-1, SIZE[0]) for one in chroma)])


@pytest.fixture(scope="module")
def pendulum(tmp_path_factory: pytest.TempPathFactory) -> Path:
    generator = np.random.default_rng(31)
    rough = cv2.GaussianBlur(generator.normal(0, 1, SIZE[::-1]), (0, 0), 2.0)
    wall = np.asarray(100 + 5 * rough / rough.std(), dtype=np.float64)
    time = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    frames = [_frame(wall, float(angle), generator) for angle in _angles(time)]
    path = tmp_path_factory.mktemp("pendulum") / "pendulum.mp4"
    write_clip(path, frames, time, SIZE, Encoding(crf=18))
    return path


def _track(clip: Path, out: Path, *how: str) -> pd.DataFrame:
    result = CliRunner().invoke(app, ["measure", str(clip), *how, "--track", str(out), "--quiet"])
    assert result.exit_code == 0, result.output
    assert out.exists()
    return pd.read_csv(out)


def _period(track: pd.DataFrame) -> tuple[float, float, float]:
    """Return period [s], amplitude [px] and scatter [px] of a swing, by its first and third harmonic."""
    seen = track.dropna(subset=["u_px"])
    t, u = seen.t_s.to_numpy(), seen.u_px.to_numpy()

    def model(of: FloatArray) -> FloatArray:
        turn = 2 * np.pi * (t - of[1]) / of[0]
        return np.asarray(of[2] + of[3] * np.cos(turn) + of[4] * np.cos(3 * turn), dtype=np.float64)

    def misfit(of: FloatArray) -> FloatArray:
        return np.asarray(model(of) - u, dtype=np.float64)

    best = least_squares(misfit, [1.55, 0.0, float(u.mean()), float(np.ptp(u)) / 2, 0.0]).x
    return float(best[0]), float(best[3]), float(np.std(model(best) - u))


def _box(half: int) -> str:
    place = PIVOT + LENGTH_M * PX_PER_M * np.array([math.sin(AMPLITUDE_RAD), math.cos(AMPLITUDE_RAD)])
    left, top = np.round(place).astype(int) - half
    return f"{left},{top},{2 * half},{2 * half}"


@pytest.mark.clip
@pytest.mark.parametrize(
    "how",
    [("--dot", "yellow"), ("--dot", _box(14)), ("--box", _box(8))],
    ids=["colour", "dot in box", "patch"],
)
def test_a_drawn_pendulum_swings_with_the_period_of_its_length(
    pendulum: Path, tmp_path: Path, how: tuple[str, str]
) -> None:
    """The least-squares period of n places of scatter s on a sine of amplitude A over a time D.

    Its standard deviation is sqrt(6 / n) / pi times s T^2 / (A D) (the Cramer-Rao bound of a sinusoid's
    frequency, Rife & Boorstyn 1974, IEEE Trans. Inf. Theory 20:591-598, from memory); three are allowed.
    """
    track = _track(pendulum, tmp_path / "track.csv", *how)
    assert track.seen.mean() > 0.95
    assert track.x_m.isna().all(), "nothing gives a scale, so nothing is in metres"
    period, amplitude, scatter = _period(track)
    assert scatter < SCATTER_PX
    assert amplitude == pytest.approx(PX_PER_M * LENGTH_M * math.sin(AMPLITUDE_RAD), rel=0.01)
    count = int(track.seen.sum())
    sd = math.sqrt(6 / count) / math.pi * SCATTER_PX * PERIOD_S**2 / (amplitude * SECONDS)
    assert period == pytest.approx(PERIOD_S, abs=3 * sd)
    small = 2 * math.pi * math.sqrt(LENGTH_M / GRAVITY_MPS2)
    assert abs(period - small) > 3 * sd, "the correction for the amplitude is resolved"
