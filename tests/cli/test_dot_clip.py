"""Clips whose head carries a dot in place of the tag, rendered with exact truth, hold it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pennyfall.cli.files.settings import settings_from
from pennyfall.cli.report.tables.truth import compare
from pennyfall.demo_clips.larch import PLAIN_60
from pennyfall.demo_clips.putter import Spot
from pennyfall.demo_clips.record import render_clip, truth_path
from pennyfall.demo_clips.scene import Encoding
from pennyfall.demo_clips.truth import load_truth
from pennyfall.tracker.measure.clip import measure_clip

pytestmark = [pytest.mark.clip, pytest.mark.slow]

RED, YELLOW, WHITE = (0.55, 0.03, 0.03), (0.75, 0.62, 0.05), (0.78, 0.78, 0.76)


@pytest.mark.parametrize(
    ("name", "colour", "diameter_m", "rms_px"),
    [("red", RED, 0.015, 0.15), ("yellow", YELLOW, 0.012, 0.10), ("white", WHITE, 0.012, 0.10)],
)
def test_a_stroke_told_by_a_dot_holds_its_truth(
    tmp_path: Path, name: str, colour: tuple[float, float, float], diameter_m: float, rms_px: float
) -> None:
    """60 frames/s, 1/200 s of exposure, noise, H.264, and a sticker of the same colour on the floor."""
    like = Spot(colour=colour, diameter_m=diameter_m, centre_m=(0.14, -0.035))
    scene = replace(
        PLAIN_60,
        name=f"dot-{name}",
        putter=replace(PLAIN_60.putter, dot=Spot(colour=colour, diameter_m=diameter_m)),
        room=replace(PLAIN_60.room, spots=(like,)),
        encoding=Encoding(crf=18),
    )
    clip = tmp_path / f"{name}.mp4"
    render_clip(scene, clip)
    truth = load_truth(truth_path(clip))
    height_mm = 1e3 * scene.putter.tag_height_m
    result = measure_clip(clip, settings_from(dot=name, tag_height_mm=height_mm))
    measurement = result.measurement
    assert measurement.tracking.method == "dot"
    assert measurement.tracking.frames_seen_share > 0.95

    errors = result.placed.timed.followed.head.centre_px - np.array(truth["frames"]["head_centre_px"])
    true_px = np.array(truth["frames"]["head_centre_px"])
    moving = np.hypot(*np.gradient(true_px, axis=0).T) > 0.5
    off = errors[moving] - np.nanmedian(errors[moving], axis=0)
    assert np.sqrt(np.nanmean(off**2, axis=0)).max() < rms_px

    compared = compare(measurement, truth)[1]
    assert sum(one.inside for one in compared) >= len(compared) - 1, [
        (one.name, one.measured, one.true) for one in compared if not one.inside
    ]
