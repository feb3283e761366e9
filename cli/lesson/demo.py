"""The demonstration lesson: invented strokes of an invented student, rendered to clips in the Larch Room."""

from __future__ import annotations

import datetime as dt
import math
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from pathlib import Path

import numpy as np

from pennyfall.calibration.club import TAG_HEIGHT_SD_MM, Club, club_toml
from pennyfall.cli.files.lesson_file import CLUB_FILE, Condition, Lesson, write_lesson
from pennyfall.cli.files.measurement import write_whole
from pennyfall.cli.lesson.side_by_side import side_by_side
from pennyfall.demo_clips.coin import LooseCoin, with_coin
from pennyfall.demo_clips.encode import unfinished_path
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.record import render_clip, truth_path
from pennyfall.demo_clips.scene import Encoding, Scene, Sensor, aim_camera
from pennyfall.demo_clips.strokes import Rest, Stroke
from pennyfall.kinematics.values import Estimate

TAKES = 3
SIZE = (960, 540)
"""Chosen by us: half the time to render at 720p; the large head tag is some 28 pixels wide all the same."""
PUTTER = Putter(tag_height_m=0.028, tag_side_m=0.032, depth_m=0.078)
COIN = LooseCoin(static_friction=0.27, kinetic_friction=0.23)
"""Invented: the hard pull at the top lets it go at either length, the nursed one keeps it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Version:
    """How the student strokes in one version of the drill."""

    name: str
    levels: tuple[tuple[float, float], ...]
    """Shape of the forward swing's acceleration."""
    backswing_s: float
    forward_s: float
    backswing_m: Mapping[float, float]
    """For each putt length [ft]."""


VERSIONS = (
    Version(
        name="coin let go",
        levels=((0.0, 1.0), (0.3, 1.0), (0.65, 0.6), (1.0, 0.0)),
        backswing_s=0.63,
        forward_s=0.29,
        backswing_m={12.0: 0.222, 6.0: 0.160},
    ),
    Version(
        name="coin kept on",
        levels=((0.0, 0.8), (0.7, 0.9), (1.0, 1.0)),
        backswing_s=0.73,
        forward_s=0.41,
        backswing_m={12.0: 0.249, 6.0: 0.171},
    ),
)
"""Invented: the one is driven at the top and coasts into the ball, the other nurses the coin and pushes. Both
reach the same speed. Times and lengths are uneven, so that none is taken for a measured stroke's."""
PUTTS_FT = (12.0, 6.0)


def write_demo_lesson(folder: Path) -> Iterator[tuple[str, int, int]]:
    """Write the lesson file and render the clips that are not there yet; yield each clip's name when done.

    Yields
    ------
    tuple
        Name of the clip, clips done, clips to render.

    """
    folder.mkdir(parents=True, exist_ok=True)
    scenes = demo_scenes()
    missing = [scene for name, scene in scenes.items() if not (folder / name).is_file()]
    if missing:
        workers = min(os.cpu_count() or 1, len(missing))
        try:
            rendered = side_by_side(partial(_render, folder), missing, workers)
            for done, name in enumerate(rendered, start=1):
                yield name, done, len(missing)
        finally:
            for path in (folder / name for name in scenes):  # what a process that had to be ended left
                unfinished_path(path).unlink(missing_ok=True)
                truth_path(path).unlink(missing_ok=True)
    write_whole(folder / CLUB_FILE, club_toml(demo_club()).encode())
    write_lesson(demo_lesson(), folder)


def demo_lesson() -> Lesson:
    """Return what a coach would have written about the demonstration."""
    conditions = tuple(
        Condition(
            name=version.name,
            putt_ft=putt_ft,
            clips=tuple(_clip_name(version, putt_ft, take) for take in range(1, TAKES + 1)),
        )
        for putt_ft in PUTTS_FT
        for version in VERSIONS
    )
    return Lesson(
        student="S-01",
        date=dt.date(2026, 3, 14),
        hand="right",
        green_speed_ft=10.0,
        conditions=conditions,
        club=CLUB_FILE,
    )


def demo_club() -> Club:
    """Return what a ruler would say about the demonstration's putter."""
    return Club(
        tag_height_m=Estimate(PUTTER.tag_height_m, TAG_HEIGHT_SD_MM / 1e3),
        tag_side_m=PUTTER.tag_side_m,
        shelf=COIN.shelf(PUTTER),
    )


def demo_scenes() -> dict[str, Scene]:
    """Return the scene of each clip, by its file name; one student's strokes scatter by a few percent."""
    generator = np.random.default_rng(20260314)
    scenes = {}
    for putt_ft in PUTTS_FT:
        for version in VERSIONS:
            for take in range(1, TAKES + 1):
                name = _clip_name(version, putt_ft, take)
                scenes[name] = _scene(name, version, version.backswing_m[putt_ft], generator)
    return scenes


def _scene(name: str, version: Version, backswing_m: float, generator: np.random.Generator) -> Scene:
    def scatter(value: float, share: float) -> float:
        return value * (1 + share * float(generator.standard_normal()))

    stroke = Stroke(
        backswing_m=scatter(backswing_m, 0.02),
        backswing_s=scatter(version.backswing_s, 0.02),
        forward_s=scatter(version.forward_s, 0.015),
        levels=tuple(
            (share, level + 0.02 * float(generator.standard_normal())) for share, level in version.levels
        ),
        through_s=0.55,
    )
    scene = Scene(
        name=Path(name).stem,
        script=(Rest(0.45), stroke, Rest(0.25)),
        putter=PUTTER,
        size=SIZE,
        rate_hz=Fraction(120),
        camera=aim_camera(
            position_m=(0.03, -0.86, 0.74),
            look_at_m=(0.02, -0.05, 0.0),
            focal_px=790,
            size=SIZE,
            roll_rad=math.radians(0.5),
        ),
        sensor=Sensor(exposure_s=1 / 800),
        encoding=Encoding(crf=21),
        phase_s=0.0020 + 0.004 * float(generator.random()),
        seed=int(generator.integers(1, 2**31)),
    )
    return with_coin(scene, COIN)


def _render(folder: Path, scene: Scene) -> str:
    """Render one clip; its truth stays out of the lesson, which knows only what a phone would."""
    path = folder / f"{scene.name}.mp4"
    render_clip(scene, path)
    truth_path(path).unlink()
    return path.name


def _clip_name(version: Version, putt_ft: float, take: int) -> str:
    return f"{version.name.replace(' ', '-')}-{putt_ft:g}ft-{take}.mp4"
