"""The coin on the head in the two-dimensional engine pymunk (Chipmunk): a second opinion, in millimetres.

The head is a kinematic body whose place and velocity are set at every step; contacts are solved by impulses,
so friction is exact up to the solver's iterations, and one step is the resolution in time.
"""

from __future__ import annotations

import math

import numpy as np
import pymunk

from pennyfall.kinematics.coin.friction import known_coin
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import STANDARD_GRAVITY_MPS2
from tests.kinematics.coin_in_mujoco import EngineRide, slip_onset_s
from tests.kinematics.coin_strokes import Stroke

MM = 1000.0
CONTACT_MM = 0.2
FLOOR_MM = 20.0
"""Thickness of the floor and the wall: thick enough that no step passes through it."""


def ride_in_pymunk(stroke: Stroke, shelf: Shelf, friction: float, *, step_s: float = 0.00025) -> EngineRide:
    """Drive the head along the stroke with the coin on it."""
    coin = known_coin()
    radius, thickness, edge = (
        MM * each for each in (coin.diameter_m / 2, coin.thickness_m, shelf.edge_distance_m)
    )
    space = pymunk.Space()
    space.gravity = (0.0, -MM * STANDARD_GRAVITY_MPS2)
    space.iterations = 60
    space.collision_slop = 0.005
    head = pymunk.Body(body_type=pymunk.Body.KINEMATIC)
    floor = pymunk.Poly(head, [(-edge, 0), (radius, 0), (radius, -FLOOR_MM), (-edge, -FLOOR_MM)])
    wall = pymunk.Poly(head, [(radius, 10), (radius + FLOOR_MM, 10), (radius + FLOOR_MM, 0), (radius, 0)])
    disc = pymunk.Body(1.0, radius**2 / 4 + thickness**2 / 12)
    disc.position = (0.0, thickness / 2)
    lying = pymunk.Poly.create_box(disc, (2 * radius, thickness))
    ground_mm = -MM * shelf.floor_height_m
    ground = pymunk.Segment(space.static_body, (-3000, ground_mm), (3000, ground_mm), 0.0)
    floor.friction, wall.friction, lying.friction, ground.friction = friction, 0.0, 1.0, 0.5
    floor.filter = wall.filter = pymunk.ShapeFilter(categories=1)
    ground.filter = pymunk.ShapeFilter(categories=2)
    space.add(head, floor, wall, disc, lying, ground)

    t_s = np.arange(0.0, stroke.impact_s + 0.6 * stroke.through_s, step_s)
    path_m = stroke.along(t_s)[0]
    angle = path_m / stroke.hub_m
    x_mm, z_mm = MM * stroke.hub_m * np.sin(angle), MM * stroke.hub_m * (1 - np.cos(angle))
    backward_mps = np.zeros_like(t_s)
    leave_s: float | None = None
    landing_x_m: float | None = None
    for k in range(len(t_s) - 1):
        ahead = ((x_mm[k + 1] - x_mm[k]) / step_s, (z_mm[k + 1] - z_mm[k]) / step_s)
        head.position, head.angle = (x_mm[k], z_mm[k]), angle[k]
        head.velocity, head.angular_velocity = ahead, (angle[k + 1] - angle[k]) / step_s
        space.step(step_s)
        along = (math.cos(angle[k + 1]), math.sin(angle[k + 1]))
        offset = disc.position - head.position
        backward_mps[k + 1] = -(disc.velocity - head.velocity).dot(along) / MM
        if leave_s is None and offset.dot(along) < -edge:
            leave_s = float(t_s[k + 1])
        if leave_s is not None and lying.bb.bottom <= ground_mm + CONTACT_MM:
            landing_x_m = disc.position.x / MM
            break
    return EngineRide(slip_onset_s(t_s, backward_mps), leave_s, landing_x_m)
