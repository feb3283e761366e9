"""The shipped clips: their scenes, and where their files are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.record import truth_path
from pennyfall.demo_clips.scene import Encoding, Light, Room, Scene, Sensor, Sheet, aim_camera
from pennyfall.demo_clips.strokes import RISING, Rest, Stroke


@dataclass(frozen=True, slots=True)
class DemoClip:
    """A shipped clip with its exact truth."""

    name: str
    """Its name, such as 'larch-240-early'."""
    path: Path
    """The MP4 file."""
    truth: Path
    """The JSON document beside it."""


EARLY_240 = Scene(
    name="larch-240-early",
    script=(
        Rest(0.45),
        Stroke(backswing_m=0.24, backswing_s=0.66, forward_s=0.33, through_s=0.55),
        Rest(0.15),
    ),
    putter=Putter(gap_m=0.004, tag_height_m=0.0285),
    camera=aim_camera(
        position_m=(0.04, -0.95, 0.85),
        look_at_m=(0.03, -0.02, 0.0),
        focal_px=1060,
        roll_rad=math.radians(0.8),
    ),
    encoding=Encoding(crf=18),
    seed=11,
)

LATE_240 = Scene(
    name="larch-240-late",
    script=(
        Rest(0.50),
        Stroke(
            backswing_m=0.23,
            backswing_s=0.80,
            forward_s=0.45,
            levels=RISING,
            ramp="linear",
            through_s=0.60,
            through_mps2=1.5,
        ),
        Rest(0.15),
    ),
    putter=Putter(gap_m=0.008, tag_height_m=0.0312, tag_side_m=0.020, hub_radius_m=1.15, plane_tilt_rad=0.12),
    camera=aim_camera(
        position_m=(-0.12, -0.80, 0.62),
        look_at_m=(0.02, -0.05, 0.0),
        focal_px=930,
        roll_rad=math.radians(-1.5),
    ),
    sheet=Sheet(centre_m=(0.03, -0.21), heading_rad=0.02),
    room=Room(floor=(0.10, 0.095, 0.09), contrast=0.3),
    light=Light(gain=0.8, slope=(-0.3, 0.2)),
    sensor=Sensor(exposure_s=1 / 500, shot_noise=0.009, read_noise=0.003, blur_px=0.7),
    encoding=Encoding(codec="libx265", crf=24, preset="superfast", sound=True, sound_delay_s=0.004),
    phase_s=0.0021,
    seed=12,
)

SCENES: dict[str, Scene] = {scene.name: scene for scene in (EARLY_240, LATE_240)}


def clip_folder() -> Path:
    """Return the folder that holds the clips."""
    return Path(str(resources.files("pennyfall.demo_clips")))


def shipped_clips() -> tuple[DemoClip, ...]:
    """Return every shipped clip that is there, in the order of the scenes."""
    paths = [clip_folder() / f"{name}.mp4" for name in SCENES]
    return tuple(DemoClip(path.stem, path, truth_path(path)) for path in paths if path.exists())
