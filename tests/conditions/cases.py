"""The conditions under which coaches really film: what is filmed, how, and what must come out of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.layout import STANDARD_SHEET, head_tag_corners
from pennyfall.calibration.lens import Lens
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.record import performance_of
from pennyfall.demo_clips.scene import Light, Occluder, Room, Scene, Sensor, Sheet, aim_camera
from pennyfall.demo_clips.strokes import Action, Move, NewBall, Rest, Stroke
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.measure.settings import Settings
from tests.conditions.film import Film, brightened, enlarged, mirrored

TINY, SMALL, WIDE, TALL = (720, 404), (854, 480), (1280, 720), (540, 960)

PUTT = Stroke(
    backswing_m=0.22,
    backswing_s=0.60,
    forward_s=0.31,
    levels=((0.0, 0.9), (0.35, 1.0), (1.0, 0.15)),
    through_s=0.42,
)
ONE_PUTT: tuple[Action, ...] = (Rest(0.32), PUTT, Rest(0.2))
AGAIN: tuple[Action, ...] = (Rest(0.22), Move(0.0, 0.6), NewBall(), Rest(0.4))
DIM = Light(gain=0.28)
HEVC = {"crf": "20", "preset": "superfast", "x265-params": "log-level=none:pools=1"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """One condition: how it is filmed and what must come of it."""

    name: str
    scene: Callable[[], Scene]
    """Made only when the case runs."""
    how: Film = field(default_factory=Film)
    options: Callable[[Scene], Settings] = lambda _scene: Settings()
    refused: tuple[str, str] | None = None
    """Part of the message and of the remedy where the clip must be refused."""
    cautions: frozenset[str] = frozenset()
    """Codes of warnings that must be there."""
    missing: frozenset[str] = frozenset()
    """Quantities that cannot be had here; all others must be measured."""
    wider: Mapping[str, float] = field(default_factory=dict)
    """Least standard deviation of a quantity: what is hard must not look sure."""


def putt(**changes: object) -> Scene:
    """Return the usual scene: one putt at 120 frames/s from a metre away, but for the changes."""
    size = changes.pop("size", SMALL)
    usual: dict[str, object] = {
        "name": "putt",
        "script": ONE_PUTT,
        "size": size,
        "camera": camera(size),  # type: ignore[arg-type]
        "rate_hz": Fraction(120),
        "phase_s": 0.0043,
        "putter": Putter(gap_m=0.004, tag_height_m=0.0285),
        "room": Room(player=False),
        "sensor": Sensor(exposure_s=1 / 1000),
    }
    return Scene(**{**usual, **changes})  # type: ignore[arg-type]


def camera(
    size: tuple[int, int] = SMALL,
    *,
    distance_m: float = 1.1,
    down_deg: float = 42.0,
    left_deg: float = 0.0,
    focal_share: float = 0.85,
    side: int = 1,
    distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0),
) -> Camera:
    """Return a camera that looks down at the ball from beside the target line.

    `side` is +1 on the far side of the sheet from a right-hander; `left_deg` turns it about the ball.
    """
    down, left = math.radians(down_deg), math.radians(left_deg)
    look = np.array([0.02, -0.07, 0.0])
    away = [-math.cos(down) * math.sin(left), -side * math.cos(down) * math.cos(left), math.sin(down)]
    x, y, z = look + distance_m * np.array(away)
    return aim_camera(
        position_m=(x, y, z),
        look_at_m=(0.02, -0.07, 0.0),
        focal_px=focal_share * max(size),
        size=size,
        distortion=distortion,
    )


def covered(scene: Scene, ids: tuple[int, ...], start_s: float = -1.0, end_s: float = 99.0) -> Scene:
    """Return the scene with some of the sheet's tags under something brown."""
    assert scene.sheet is not None
    covers = []
    for tag_id in ids:
        corners = scene.camera.project(scene.sheet.place(STANDARD_SHEET.corners[tag_id]))
        grown = corners.mean(axis=0) + 1.35 * (corners - corners.mean(axis=0))
        covers.append(_occluder(grown, start_s, end_s))
    return replace(scene, occluders=tuple(covers))


def hidden(scene: Scene, start_s: float, lasts_s: float = 0.060) -> Scene:
    """Return the scene with the head out of sight for a while."""
    motion = performance_of(scene).motion
    tag = head_tag_corners(scene.putter.tag_side_m + 0.012)
    seen = []
    for t in np.linspace(start_s, start_s + lasts_s, 5):
        turn, origin = scene.putter.pose(float(motion.position(np.array(t))))
        seen.append(scene.camera.project(tag @ turn.T + origin))
    low, high = np.min(np.concatenate(seen), axis=0), np.max(np.concatenate(seen), axis=0)
    outline = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    return replace(scene, occluders=(_occluder(outline, start_s, start_s + lasts_s),))


def behind_shaft(scene: Scene, width_m: float = 0.012) -> Scene:
    """Return the scene with an upright bar before the backswing's way."""
    edges = np.array([[-0.15 - width_m / 2, 0.0, 0.03], [-0.15 + width_m / 2, 0.0, 0.03]])
    left, right = scene.camera.project(edges)[:, 0]
    height = scene.size[1]
    outline = np.array([[left, 0], [right, 0], [right, height], [left, height]])
    return replace(scene, occluders=(_occluder(outline, -1.0, 99.0),))


def shaken(scene: Scene, turn_rad: float, shift_m: float, seed: int) -> Scene:
    """Return the scene from a hand: a sum of tremors from 0.7 to 8 Hz about and along every axis."""
    generator = np.random.default_rng(seed)
    frames = len(scene.times_s(performance_of(scene).duration_s))
    t = np.arange(frames) / float(scene.rate_hz)
    tremor = np.zeros((frames, 6))
    for hertz in (0.7, 1.9, 4.0, 8.3):
        size = generator.standard_normal(6) / (1 + hertz / 3)
        tremor += size * np.sin(2 * np.pi * hertz * t[:, None] + generator.uniform(0, 2 * np.pi, 6))
    return replace(scene, shake=tremor * np.repeat([turn_rad, shift_m], 3))


def bumped(scene: Scene, at_s: float) -> Scene:
    """Return the scene from a phone that is knocked, rings down and stays a little turned."""
    frames = len(scene.times_s(performance_of(scene).duration_s))
    since = np.arange(frames) / float(scene.rate_hz) - at_s
    after = np.maximum(since, 0.0)
    ringing = np.exp(-after / 0.08) * np.sin(2 * np.pi * 9 * after)
    knock = np.zeros((frames, 6))
    knock[:, 0] = 0.006 + 0.010 * ringing
    knock[:, 1] = 0.010 * ringing
    knock[:, 3] = 0.004
    return replace(scene, shake=np.where(since[:, None] > 0, knock, 0.0))


def passing_shadow(time_s: float) -> FloatArray:
    """Return the light across a small picture while a soft shadow crosses it."""
    columns = np.arange(SMALL[0])[None, :]
    middle = -0.2 * SMALL[0] + 1.4 * SMALL[0] * time_s / 1.6
    return np.asarray(1 - 0.5 * np.exp(-0.5 * ((columns - middle) / 80.0) ** 2), dtype=np.float64)


def with_lens(scene: Scene) -> Settings:
    """Return the options with a lens file of the scene's own camera."""
    width, height = scene.size
    lens = Lens(
        matrix=scene.camera.matrix,
        distortion=scene.camera.distortion,
        width_px=width,
        height_px=height,
        rms_px=0.2,
        focal_sd_px=2.0,
    )
    return Settings(lens=lens)


def several(count: int) -> tuple[Action, ...]:
    """Return a script of several different putts, each with a new ball."""
    script: tuple[Action, ...] = (Rest(0.32),)
    for number in range(count):
        stroke = replace(PUTT, backswing_m=0.18 + 0.012 * number, forward_s=0.30 + 0.01 * number)
        script += (stroke, *AGAIN) if number < count - 1 else (stroke, Rest(0.2))
    return script


def _occluder(outline_px: FloatArray, start_s: float, end_s: float) -> Occluder:
    corners = tuple((float(u), float(v)) for u, v in outline_px)
    return Occluder(corners_px=corners, start_s=start_s, end_s=end_s, colour=(0.25, 0.18, 0.12))


def _slow(**changes: object) -> Scene:
    return putt(rate_hz=Fraction(60), phase_s=0.009, **changes)


NO_BALL = frozenset({"ball_speed_mps"})

CASES: tuple[Case, ...] = (
    # files: rotation, sizes, codecs
    Case(name="plain, 120 frames/s", scene=putt),
    Case(
        name="upright phone, turned 90",
        scene=lambda: _slow(size=TALL, camera=camera(TALL, distance_m=1.25, focal_share=0.62)),
        how=Film(turned_deg=90),
    ),
    Case(name="upside down", scene=_slow, how=Film(turned_deg=180)),
    Case(
        name="upright phone, turned 270",
        scene=lambda: _slow(size=TALL, camera=camera(TALL, distance_m=1.25, focal_share=0.62)),
        how=Film(turned_deg=270, suffix=".mov"),
    ),
    Case(name="odd size", scene=lambda: _slow(size=(838, 478)), how=Film(suffix=".mkv")),
    Case(
        name="4K",
        scene=lambda: _slow(size=WIDE, script=(Rest(0.2), PUTT, Rest(0.1))),
        how=Film(options={"crf": "20", "preset": "ultrafast"}, alter=enlarged),
    ),
    Case(name="HEVC", scene=_slow, how=Film(codec="libx265", suffix=".mov", options=HEVC)),
    Case(
        name="HEVC, 10 bit, HDR",
        scene=_slow,
        how=Film(codec="libx265", pixels="yuv420p10le", hdr=True, options=HEVC),
    ),
    Case(name="full range", scene=_slow, how=Film(full_range=True, pixels="yuvj420p")),
    Case(
        name="interlaced flag",
        scene=_slow,
        how=Film(interlaced=True),
        cautions=frozenset({"interlaced"}),
    ),
    Case(
        name="WebM",
        scene=_slow,
        how=Film(
            suffix=".webm",
            codec="libvpx-vp9",
            options={"crf": "24", "b": "0", "deadline": "realtime", "cpu-used": "7"},
        ),
    ),
    Case(
        name="mirrored",
        scene=lambda: _slow(script=(Rest(0.4),)),
        how=Film(alter=mirrored),
        refused=("is mirrored", "rear camera"),
    ),
    # light
    Case(
        name="low light, smeared over 1.4 cm",
        scene=lambda: _slow(light=DIM, sensor=Sensor(exposure_s=1 / 80, shot_noise=0.018, read_noise=0.006)),
        how=Film(bit_rate=1_200_000, options={"preset": "veryfast"}),
    ),
    Case(
        name="30 frames/s, smeared over 2 cm",
        scene=lambda: putt(rate_hz=Fraction(30), phase_s=0.019, light=DIM, sensor=Sensor(exposure_s=1 / 60)),
        how=Film(bit_rate=1_200_000, options={"preset": "veryfast"}),
        wider={"impact_speed_mps": 0.02, "ball_speed_mps": 0.04},
    ),
    Case(
        name="low bit rate",
        scene=lambda: _slow(size=WIDE, sensor=Sensor(exposure_s=1 / 250)),
        how=Film(bit_rate=700_000, options={"preset": "veryfast"}),
    ),
    Case(
        name="flickering lamps",
        scene=putt,
        how=Film(alter=brightened(lambda t: 1 + 0.25 * math.cos(2 * math.pi * 100 * t + 0.3))),
    ),
    Case(name="a shadow passes", scene=_slow, how=Film(alter=brightened(passing_shadow)), missing=NO_BALL),
    # sheet and tag
    Case(
        name="one tag covered",
        scene=lambda: covered(_slow(), (2,)),
        cautions=frozenset({"sheet-covered"}),
    ),
    Case(
        name="two tags covered, a short side left",
        scene=lambda: covered(_slow(), (1, 2)),
        cautions=frozenset({"sheet-covered"}),
    ),
    Case(
        name="three tags covered",
        scene=lambda: covered(_slow(), (0, 1, 2)),
        refused=("Only 1 of the sheet's tags", "Uncover the sheet"),
    ),
    Case(name="a foot on the sheet for a while", scene=lambda: covered(_slow(), (0, 1), 0.8, 1.2)),
    # places
    Case(
        name="bent lens, no lens file", scene=lambda: putt(camera=camera(distortion=(0.05, -0.02, 0, 0, 0)))
    ),
    Case(
        name="very bent lens, lens file",
        scene=lambda: _slow(camera=camera(distance_m=0.95, distortion=(-0.25, 0.08, 0.001, -0.001, 0))),
        options=with_lens,
    ),
    Case(name="from 35 degrees left", scene=lambda: _slow(camera=camera(distance_m=1.2, left_deg=35))),
    Case(name="from 30 degrees right", scene=lambda: _slow(camera=camera(distance_m=1.2, left_deg=-30))),
    Case(
        name="60 cm away",
        scene=lambda: _slow(
            camera=camera(distance_m=0.62, down_deg=55, focal_share=0.6),
            script=(Rest(0.32), replace(PUTT, backswing_m=0.14), Rest(0.2)),
        ),
    ),
    Case(name="2.5 m away", scene=lambda: _slow(size=WIDE, camera=camera(WIDE, distance_m=2.5, down_deg=35))),
    Case(name="20 degrees down", scene=lambda: _slow(size=WIDE, camera=camera(WIDE, down_deg=20))),
    Case(name="70 degrees down", scene=lambda: _slow(camera=camera(distance_m=1.2, down_deg=70))),
    Case(
        name="straight down",
        scene=lambda: _slow(camera=camera(distance_m=1.3, down_deg=89)),
        cautions=frozenset({"focal-assumed"}),
        wider={"backswing_length_m": 0.002},
    ),
    Case(
        name="left-hander, from the other side",
        scene=lambda: _slow(
            camera=camera(side=-1, distance_m=1.2),
            sheet=Sheet(centre_m=(0.02, 0.20)),
            putter=Putter(player_side=-1, gap_m=0.003, tag_height_m=0.0295, plane_tilt_rad=0.15),
        ),
    ),
    Case(
        name="sheet laid backwards",
        scene=lambda: _slow(sheet=Sheet(heading_rad=math.pi)),
        cautions=frozenset({"sheet-reversed"}),
    ),
    # shaking
    Case(
        name="bumped phone",
        scene=lambda: bumped(_slow(size=TINY), 0.95),
        cautions=frozenset({"camera-moved"}),
    ),
    Case(
        name="hand-held",
        scene=lambda: shaken(_slow(size=TINY), 0.004, 0.002, 3),
        cautions=frozenset({"camera-moved"}),
    ),
    # out of sight
    Case(name="hidden in the backswing", scene=lambda: hidden(putt(), 0.60)),
    Case(name="hidden at the top", scene=lambda: hidden(putt(), 0.89)),
    Case(name="hidden in the forward swing", scene=lambda: hidden(putt(), 1.08)),
    Case(name="hidden at impact", scene=lambda: hidden(putt(), 1.20), wider={"impact_speed_mps": 0.01}),
    Case(name="behind the shaft", scene=lambda: behind_shaft(putt())),
    # people
    Case(
        name="a practice stroke, then a putt",
        scene=lambda: _slow(
            script=(Rest(0.32), replace(PUTT, hits=False), *AGAIN[:2], Rest(0.4), PUTT, Rest(0.2))
        ),
        cautions=frozenset({"practice-stroke"}),
    ),
    Case(name="three putts", scene=lambda: _slow(script=several(3))),
    Case(
        name="waggle",
        scene=lambda: _slow(
            script=(
                Rest(0.3),
                Move(-0.03, 0.25),
                Move(0.005, 0.3),
                Move(0.0, 0.3),
                Rest(0.35),
                PUTT,
                Rest(0.2),
            )
        ),
    ),
    Case(
        name="forward press, then a pause",
        scene=lambda: putt(script=(Rest(0.3), Move(-0.004, 0.2), Rest(0.12), PUTT, Rest(0.2))),
    ),
    Case(
        name="forward press into the backswing",
        scene=lambda: putt(script=(Rest(0.3), Move(0.003, 0.18), PUTT, Rest(0.2))),
        cautions=frozenset({"no-pause-at-address"}),
    ),
    Case(
        name="address taken anew",
        scene=lambda: _slow(script=(Rest(0.3), Move(-0.1, 0.5), Rest(0.3), Move(0.0, 0.5), *ONE_PUTT)),
    ),
    Case(
        name="broken off, then a putt",
        scene=lambda: _slow(script=(Rest(0.3), Move(-0.2, 0.6), Move(0.0, 0.9), *ONE_PUTT)),
        cautions=frozenset({"aborted-stroke"}),
    ),
    Case(
        name="broken off",
        scene=lambda: _slow(script=(Rest(0.3), Move(-0.2, 0.6), Rest(0.3), Move(0.0, 0.9), Rest(0.3))),
        refused=("no forward swing through the ball followed", "Film a whole stroke"),
    ),
)
"""Every case; prints of another scale and a tag stuck on askew need other paper and are in `test_prints`."""
