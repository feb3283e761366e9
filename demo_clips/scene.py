"""A scene: everything that decides how a clip looks, in one value."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.demo_clips.ball import BALL_RADIUS_M
from pennyfall.demo_clips.putter import Putter, Spot
from pennyfall.demo_clips.strokes import Action
from pennyfall.kinematics.values import FloatArray, freeze_arrays

Colour = tuple[float, float, float]
"""Linear red, green, blue reflectance."""
Pile = Literal["tufts", "blades", "brushed"]
LAMP = np.array([-0.45, -0.55, 0.7]) / np.linalg.norm([-0.45, -0.55, 0.7])
"""Direction to the lamp, shape (3,)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sheet:
    """Where the printed sheet lies."""

    centre_m: tuple[float, float] = (0.0, -0.20)
    """Its middle on the floor, x and y [m]."""
    heading_rad: float = 0.0
    """Direction of its arrow, from the target's direction counter-clockwise; pi is laid down backwards."""
    size_m: tuple[float, float] = (0.297, 0.210)
    """The paper's length and width [m]."""

    def place(self, points_m: FloatArray) -> FloatArray:
        """Return the world points of sheet points, shapes (..., 3) -> (..., 3) [m]."""
        c, s = np.cos(self.heading_rad), np.sin(self.heading_rad)
        turned = points_m @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
        return np.asarray(turned + np.array([*self.centre_m, 0.0]))


@dataclass(frozen=True, kw_only=True, slots=True)
class Room:
    """What stands still behind the stroke."""

    floor: Colour = (0.035, 0.16, 0.06)
    """Mean reflectance of the carpet."""
    contrast: float = 0.25
    """Standard deviation of the carpet's texture as a share of its mean."""
    pile: Pile = "tufts"
    """What the floor is covered with: tufts, blades of turf, or a pile brushed along the target line."""
    player: bool = True
    """Whether shoes and trouser legs are seen."""
    shoes: Colour = (0.50, 0.49, 0.46)
    trousers: Colour = (0.045, 0.05, 0.06)
    sway_m: float = 0.0
    """How far the trouser legs sway to either side [m]."""
    line: bool = False
    """Whether a chalk line marks the target line."""
    spots: tuple[Spot, ...] = ()
    """Stickers on the floor, in world axes."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Light:
    """The room's light: one soft lamp and its surroundings."""

    gain: float = 1.0
    """Exposure: pixel value of a white surface is 0.8 times this (linear, 1 saturates)."""
    slope: tuple[float, float] = (0.25, 0.35)
    """Shadow's displacement on the floor along x and y per height above it."""
    depth: float = 0.45
    """Share of the light that the shadow takes away."""
    lamp_width: float | None = None
    """How much wider a shadow's edge grows per height of what throws it; None is a lamp so wide that the
    shaft throws no shadow."""
    falloff: float = 0.25
    """Loss of light from the picture's middle to its corners."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Finish:
    """What the club is made of."""

    head: Colour = (0.13, 0.13, 0.14)
    shaft: Colour = (0.42, 0.43, 0.45)
    gloss: float = 0.0
    """Share of the light that is mirrored: 0 is matt, 1 polished steel."""
    shaft_m: tuple[float, float] = (0.011, 0.0124)
    """Shaft's diameter above the hosel and at the hands [m]."""
    sight_lines_m: tuple[tuple[float, float, float, float], ...] = ()
    """Dark lines on a bare head's top: left, bottom, right, top of each in head axes [m]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sensor:
    """The phone's camera behind the lens."""

    exposure_s: float = 1 / 960
    """Exposure time [s]."""
    readout_s: float = 0.0
    """Time from the first row's exposure to the last row's; 0 is a global shutter [s]."""
    blur_px: float = 0.6
    """Standard deviation of the lens's blur [px]."""
    shot_noise: float = 0.006
    """Standard deviation at full scale, falling with the root of the signal [linear]."""
    read_noise: float = 0.002
    """Standard deviation in the dark [linear]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Encoding:
    """How the clip is compressed."""

    codec: str = "libx264"
    """FFmpeg's name of the encoder: libx264 or libx265."""
    crf: float = 23.0
    """Constant rate factor."""
    preset: str = "veryfast"
    """The encoder's preset."""
    sound: bool = False
    """Whether there is sound, with a click at each impact."""
    sound_delay_s: float = 0.0
    """How much later the click is heard than the picture's impact [s]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Occluder:
    """Something dark before the lens for a while."""

    corners_px: tuple[tuple[float, float], ...]
    """Its outline in the picture."""
    start_s: float
    """When it comes [s], model clock."""
    end_s: float
    """When it goes [s]."""
    colour: Colour = (0.05, 0.05, 0.06)
    """Its reflectance."""


@dataclass(frozen=True, kw_only=True, slots=True)
class VisibleCoin:
    """A visible coin that goes where it is told."""

    path: Callable[[float], tuple[FloatArray, FloatArray]]
    """Its centre [m] and its unit normal at a time [s] of the model clock, shape (3,) each."""
    diameter_m: float = 0.02425
    """Diameter [m]; a 50 euro cent coin, Council Regulation (EC) 975/98."""
    colour: Colour = (0.65, 0.52, 0.22)
    """Reflectance."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Scene:
    """Everything needed to render one clip, the same one every time."""

    name: str
    """The clip's name."""
    script: tuple[Action, ...]
    """What the player does."""
    camera: Camera
    """The camera, in the world whose origin is under the ball."""
    putter: Putter = field(default_factory=Putter)
    size: tuple[int, int] = (1280, 720)
    """Width and height [px]; even numbers."""
    rate_hz: Fraction = Fraction(240)
    """Frame rate [1/s]."""
    phase_s: float = 0.0013
    """Mid-exposure of the first frame on the model clock, at least half an exposure [s]."""
    frame_times_s: FloatArray | None = None
    """Container times of the frames where they are uneven, shape (n,), the first one 0 [s]."""
    ball_friction: float = 0.4
    """Sliding friction of the ball [-]."""
    rolling_mps2: float = 0.6
    """Deceleration of the ball's roll [m/s^2]."""
    sheet: Sheet | None = field(default_factory=Sheet)
    room: Room = field(default_factory=Room)
    light: Light = field(default_factory=Light)
    finish: Finish = field(default_factory=Finish)
    sensor: Sensor = field(default_factory=Sensor)
    encoding: Encoding = field(default_factory=Encoding)
    gains: FloatArray | None = None
    """Light of each frame relative to the exposure (flicker), shape (n,)."""
    shake: FloatArray | None = None
    """Camera's rotation vector [rad] and shift [m] in camera axes, of each frame, shape (n, 6)."""
    occluders: tuple[Occluder, ...] = ()
    coin: VisibleCoin | None = None
    seed: int = 1
    """Seed of the textures and the noise."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def times_s(self, duration_s: float) -> FloatArray:
        """Return the container time of each frame of a script of that duration, shape (n,) [s]."""
        if self.frame_times_s is not None:
            return np.asarray(self.frame_times_s, dtype=np.float64)
        frames = int((duration_s - self.phase_s) * self.rate_hz)
        return np.arange(frames) / float(self.rate_hz)


def aim_camera(
    *,
    position_m: tuple[float, float, float],
    look_at_m: tuple[float, float, float],
    focal_px: float,
    size: tuple[int, int] = (1280, 720),
    roll_rad: float = 0.0,
    distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0),
) -> Camera:
    """Return a camera that stands at one point and looks at another.

    Parameters
    ----------
    position_m, look_at_m : tuple of float
        World points [m].
    focal_px : float
        Focal length [px]; the principal point is the picture's middle.
    size : tuple of int
        Width and height [px].
    roll_rad : float
        Turn of the picture about the line of sight [rad].
    distortion : tuple of float
        OpenCV's k1, k2, p1, p2, k3.

    """
    centre = np.array(position_m)
    forward = np.array(look_at_m) - centre
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    level = np.array([right, np.cross(forward, right), forward])
    c, s = np.cos(roll_rad), np.sin(roll_rad)
    rotation = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) @ level
    width, height = size
    matrix = np.array([[focal_px, 0.0, (width - 1) / 2], [0.0, focal_px, (height - 1) / 2], [0.0, 0.0, 1.0]])
    return Camera(
        matrix=matrix, distortion=np.array(distortion), rotation=rotation, translation=-rotation @ centre
    )


def ball_centre(x_m: float) -> FloatArray:
    """Return the centre of a ball that has gone a distance along the target line, shape (3,) [m]."""
    return np.array([x_m, 0.0, BALL_RADIUS_M])
