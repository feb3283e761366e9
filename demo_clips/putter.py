"""The putter: its size and masses, and how its head swings about the hub."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from pennyfall.demo_clips.ball import BALL_MASS_KG, BALL_RADIUS_M
from pennyfall.kinematics.values import FloatArray

SHAFT_LENGTH_M = 0.80
SHAFT_LEAN_RAD = math.radians(20)  # from the vertical, a usual lie of about 70 degrees


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """A round sticker of one colour: in head axes on the head's top, in world axes on the floor."""

    colour: tuple[float, float, float]
    """Linear red, green, blue reflectance."""
    diameter_m: float = 0.015
    """Diameter [m]."""
    centre_m: tuple[float, float] = (0.0, 0.0)
    """Its middle, x and y [m]; the origin is the head's reference point."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Putter:
    """A mallet putter with a tag on its flat top, swinging about a hub above it.

    Head axes are those of the head tag: x toward the face, y to the left of it, z out of the top; their
    origin, the tag's centre, is the head's reference point.
    """

    head_mass_kg: float = 0.350
    """Mass of the head [kg]; common practice, no source: 0.32 to 0.375."""
    restitution: float = 0.78
    """Coefficient of restitution of ball and face [-]."""
    hub_radius_m: float = 1.25
    """Distance from the hub to the tag [m]."""
    plane_tilt_rad: float = 0.0
    """Tilt of the stroke's plane from the vertical, the hub leaning over to the player [rad]. The head's path
    then curves to the inside and the head turns with it."""
    player_side: int = 1
    """+1: the player stands at y > 0, a right-hander; -1: a left-hander."""
    gap_m: float = 0.0
    """Gap between face and ball at address [m]."""
    tag_height_m: float = 0.030
    """Height of the tag above the floor at address [m]."""
    tag_side_m: float = 0.024
    """Side of the tag's black square [m]."""
    tag_to_face_m: float = 0.030
    """Distance from the tag's centre to the face [m]."""
    depth_m: float = 0.072
    """Head's size along the target line [m]."""
    width_m: float = 0.096
    """Head's size across the target line [m]."""
    dot: Spot | None = None
    """A dot on the head's top in place of the tag."""
    bare: bool = False
    """Whether there is neither; the reference point stays where the tag's centre would be."""

    @property
    def speed_lost_share(self) -> float:
        """Share of its speed that the head loses to the ball, m (1 + e) / (M + m)."""
        return BALL_MASS_KG * (1 + self.restitution) / (self.head_mass_kg + BALL_MASS_KG)

    @property
    def ball_to_head_ratio(self) -> float:
        """Ball speed over head speed before impact, (1 + e) M / (M + m)."""
        return (1 + self.restitution) * self.head_mass_kg / (self.head_mass_kg + BALL_MASS_KG)

    @property
    def address_m(self) -> FloatArray:
        """Reference point at address, shape (3,) [m]; the ball's place on the floor is the origin."""
        return np.array([-(BALL_RADIUS_M + self.gap_m + self.tag_to_face_m), 0.0, self.tag_height_m])

    @property
    def shaft_m(self) -> FloatArray:
        """Ends of the shaft's axis, in the head and in the hands, in head axes, shape (2, 3) [m]."""
        foot = np.array([self.tag_to_face_m - 0.012, self.player_side * 0.030, -0.002])
        up = np.array([0.0, self.player_side * math.sin(SHAFT_LEAN_RAD), math.cos(SHAFT_LEAN_RAD)])
        return np.array([foot, foot + SHAFT_LENGTH_M * up])

    @property
    def axis(self) -> FloatArray:
        """Unit axis about which the head turns positively on its way to the target, shape (3,)."""
        return np.array(
            [0.0, -math.cos(self.plane_tilt_rad), self.player_side * math.sin(self.plane_tilt_rad)]
        )

    @property
    def hub_m(self) -> FloatArray:
        """Hub about which the head swings, shape (3,) [m]."""
        lean = self.plane_tilt_rad
        return self.address_m + self.hub_radius_m * np.array(
            [0.0, self.player_side * math.sin(lean), math.cos(lean)]
        )

    def swing_angle(self, displacement_m: float) -> float:
        """Return the angle about the hub, negative on the backswing side [rad]."""
        return math.asin(displacement_m / self.hub_radius_m)

    def pose(self, displacement_m: float) -> tuple[FloatArray, FloatArray]:
        """Return the head's axes as columns, shape (3, 3), and its reference point, shape (3,) [m].

        The reference point has moved along x by exactly `displacement_m` from address.
        """
        turn = rotation_about(self.axis, self.swing_angle(displacement_m))
        return turn, self.hub_m + turn @ (self.address_m - self.hub_m)


def rotation_about(axis: FloatArray, angle_rad: float) -> FloatArray:
    """Return the rotation about a unit axis (Rodrigues), shape (3, 3)."""
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.asarray(np.eye(3) + math.sin(angle_rad) * cross + (1 - math.cos(angle_rad)) * cross @ cross)


def contact_displacement(putter: Putter) -> float:
    """Return the displacement at which the face touches the resting ball [m].

    The face stands square to the head's top, so it is tilted as the head is.
    """

    def clearance(displacement_m: float) -> float:
        turn, origin = putter.pose(displacement_m)
        ball = np.array([0.0, 0.0, BALL_RADIUS_M])
        return float((ball - origin) @ turn[:, 0]) - putter.tag_to_face_m - BALL_RADIUS_M

    reach = putter.gap_m + 0.005  # well beyond the gap: clearance falls by nearly the displacement
    return float(brentq(clearance, -0.005, reach, xtol=1e-12))
