"""Lessons without cameras: strokes with a chosen forward swing, and a measuring function that reads them.

A clip here is a small JSON text: what the student did, and the seed of this stroke's scatter. Measuring it
gives the measures of that stroke, integrated from its acceleration, so a test knows the truth.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import json
import math
import os
import time
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from pennyfall.cli.files.lesson_file import Condition, Lesson, write_lesson
from pennyfall.cli.files.measured_files import MeasuredClip, MeasuredWith
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Estimate, LooseObjectBand, Measurement, Profile, StrokeMeasures
from pennyfall.tracker.clip.album import Album
from tests.cli.synthetic import measurement

MEASURED_WITH = MeasuredWith(options={"by": "test"}, version="1")
SHAPES: Mapping[str, tuple[float, ...]] = {
    "let go": (2.1, 2.9, 2.95, 2.85, 1.4, 0.1),  # high from the top, near zero at impact
    "kept on": (1.9, 1.95, 2.0, 2.2, 2.7, 2.75),  # still rising at impact
}
"""Acceleration at the nodes of the forward swing [m/s^2 on a 12 ft putt]."""
NODES = (0.0, 0.15, 0.3, 0.7, 0.9, 1.0)
FRAME_S = 1 / 240


def stroke(shape: str, putt_ft: float, generator: np.random.Generator) -> StrokeMeasures:
    """Return one stroke of the shape, with a student's scatter of a few percent."""
    scale = math.sqrt(putt_ft / 12) * (1 + 0.02 * generator.standard_normal())
    backswing_s, forward_s = (
        0.65 * (1 + 0.02 * generator.standard_normal()),
        0.32 * (1 + 0.015 * generator.standard_normal()),
    )
    forward = scale * (np.array(SHAPES[shape]) + 0.06 * generator.standard_normal(len(NODES)))
    takeaway_s, through_s = 1.0, 0.45
    top_s = takeaway_s + backswing_s
    impact_s = top_s + forward_s
    before_s = np.arange(takeaway_s - 0.2, impact_s, FRAME_S)
    after_s = np.arange(impact_s + FRAME_S / 2, impact_s + through_s, FRAME_S)
    back = (before_s - takeaway_s) / backswing_s
    away = np.where(back < 0, 0.0, -1.6 * scale * np.sin(2 * np.pi * np.clip(back, 0, 1)) + 0.0)
    away += np.where(back > 0.75, forward[0] * (np.clip(back, 0.75, 1) - 0.75) / 0.25, 0.0)
    a_before = np.where(back < 1, away, np.interp((before_s - top_s) / forward_s, NODES, forward))
    time_s = np.concatenate([before_s, [impact_s], [impact_s], after_s])
    time_s[len(before_s) + 1] += 1e-6
    v_before = np.concatenate([[0], np.cumsum(0.5 * (a_before[1:] + a_before[:-1]) * FRAME_S)])
    v_before -= np.interp(top_s, before_s, v_before) * np.clip(back, 0, 1)
    impact_v = float(v_before[-1])
    fade = 0.5 * (1 + np.cos(np.pi * (np.concatenate([[0], after_s - impact_s])) / through_s))
    v = np.concatenate([v_before, [impact_v], 0.8 * impact_v * fade])
    a = np.concatenate([a_before, [forward[-1]], np.gradient(0.8 * impact_v * fade, FRAME_S)])
    x = np.concatenate([[0], np.cumsum(0.5 * (v[1:] + v[:-1]) * np.diff(time_s))]) - 0.03
    peak = len(before_s) // 2 + int(np.argmax(a[len(before_s) // 2 : len(before_s) + 1]))
    peak_share = (time_s[peak] - top_s) / forward_s
    leaves = shape == "let go"
    return StrokeMeasures(
        number=1,
        direction="with the arrow",
        takeaway_s=Estimate(takeaway_s, 0.008),
        top_s=Estimate(top_s, 0.001),
        impact_s=Estimate(impact_s, 0.0004),
        finish_s=Estimate(float(time_s[-1]), 0.002),
        impact_source="ball",
        backswing_s=Estimate(backswing_s, 0.008),
        forward_swing_s=Estimate(forward_s, 0.001),
        tempo_ratio=Estimate(backswing_s / forward_s, 0.03),
        backswing_length_m=Estimate(float(-0.03 - x.min()), 0.001),
        through_length_m=Estimate(float(x[-1] - x[len(before_s)]), 0.001),
        acceleration_at_top_mps2=Estimate(float(forward[0]), 0.15),
        peak_acceleration_mps2=Estimate(float(a[peak]), 0.12),
        peak_acceleration_s=Estimate(float(time_s[peak]), 0.012),
        peak_acceleration_share=Estimate(float(peak_share), 0.04),
        acceleration_at_impact_mps2=Estimate(float(forward[-1]), 0.3),
        acceleration_before_impact_mps2=Estimate(float(np.mean(a[len(before_s) - 5 : len(before_s)])), 0.15),
        peak_speed_mps=Estimate(float(v.max()), 0.004),
        peak_speed_after_impact_s=Estimate(float(time_s[int(np.argmax(v))] - impact_s), 0.003),
        impact_speed_mps=Estimate(impact_v, 0.004),
        speed_lost_share=Estimate(0.2, 0.006),
        ball_speed_mps=Estimate(1.57 * impact_v, 0.02),
        ball_to_head_ratio=Estimate(1.57, 0.014),
        spectral_arc_length=Estimate(-1.62 + 0.02 * float(generator.standard_normal()), 0.02),
        log_dimensionless_jerk=Estimate(-6.4 + 0.05 * float(generator.standard_normal()), 0.1),
        head_tilt_range_rad=Estimate(0.42, 0.007),
        hub_radius_m=Estimate(1.1, 0.03),
        profile=Profile(
            t_s=time_s, x_m=x, v_mps=v, a_mps2=a, a_sd_mps2=np.full(len(time_s), 0.15), tilt_rad=x / 1.1
        ),
        loose_object=LooseObjectBand(
            friction=(0.15, 0.35),
            outcome="leaves" if leaves else "stays on",
            peak_friction_demand=Estimate(0.41 if leaves else 0.14, 0.02),
            slip_s=(top_s - 0.06, top_s + 0.05) if leaves else None,
            leave_s=(top_s + 0.09, top_s + 0.18) if leaves else None,
            leave_x_m=(-0.24, -0.19) if leaves else None,
            landing_x_m=(-0.15 + 0.01 * float(generator.standard_normal()), -0.08) if leaves else None,
        ),
    )


def write_clip(path: Path, shape: str, putt_ft: float, seed: int) -> None:
    """Write a clip of this made-up kind."""
    path.write_text(json.dumps({"shape": shape, "putt_ft": putt_ft, "seed": seed}))


def measure_quickly(path: Path) -> MeasuredClip:
    """Measure a clip of this made-up kind; `PENNYFALL_TEST_WORK_S` makes it take its time."""
    time.sleep(float(os.environ.get("PENNYFALL_TEST_WORK_S", "0")))
    content = path.read_bytes()
    try:
        wanted = json.loads(content)
    except ValueError:
        raise CannotMeasure(
            f"No stroke was found in {path.name}.", fix="Film the putter head from the side."
        ) from None
    measured = stroke(wanted["shape"], wanted["putt_ft"], np.random.default_rng(wanted["seed"]))
    facts = dataclasses.replace(
        measurement().clip, file=path.name, sha256=hashlib.sha256(content).hexdigest()
    )
    return MeasuredClip(
        measurement=dataclasses.replace(measurement(measured), clip=facts),
        track=track_of(measured),
        album=Album(),
    )


def finish_nothing(folder: Path, clip: str, measured: MeasuredClip) -> None:
    """Derive nothing more from a clip."""


def track_of(measured: StrokeMeasures) -> pd.DataFrame:
    """Return a track whose head crosses a 640 px wide picture as the stroke does."""
    x = measured.profile.x_m
    return pd.DataFrame(
        {"t_s": measured.profile.t_s, "seen": 1, "u_px": 320 + 600 * x, "v_px": 250 - 200 * x * x}
    )


def lesson_folder(
    folder: Path,
    *,
    strokes: int = 3,
    student: str = "S-01",
    date: dt.date = dt.date(2026, 3, 14),
    seed: int = 0,
) -> Lesson:
    """Fill a folder with a lesson: coin let go and coin kept on, at 12 and 6 ft."""
    folder.mkdir(parents=True, exist_ok=True)
    conditions = []
    for putt_ft in (12.0, 6.0):
        for shape in ("let go", "kept on"):
            clips = [
                f"coin-{shape.replace(' ', '-')}-{putt_ft:g}ft-{take}.mp4" for take in range(1, strokes + 1)
            ]
            for clip in clips:
                seed += 1
                write_clip(folder / clip, shape, putt_ft, seed)
            conditions.append(Condition(name=f"coin {shape}", putt_ft=putt_ft, clips=tuple(clips)))
    lesson = Lesson(
        student=student, date=date, hand="right", green_speed_ft=10.0, conditions=tuple(conditions)
    )
    write_lesson(lesson, folder)
    return lesson


def measured_clips_of(folder: Path) -> dict[str, Measurement]:
    """Return the kept measurements of a folder, by clip, for comparing two runs."""
    from pennyfall.cli.files.measurement import from_document

    found = {}
    for path in sorted((folder / "measured").glob("*.json")):
        document = json.loads(path.read_text())
        if "refused" not in document:
            found[path.name.removesuffix(".json")] = from_document(document)
    return found
