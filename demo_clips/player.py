"""The player's shoes and trouser legs behind the stroke, which may sway."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from pennyfall.demo_clips.scene import Colour, Scene
from pennyfall.demo_clips.view import Image, Layer, PixelArea, View, average
from pennyfall.kinematics.values import FloatArray

FEET_X_M = (-0.16, 0.14)
FEET_Y_M = 0.42
SHOES_SWAY = 0.15  # chosen by us: a shoe gives this much of what the cloth sways


def player(scene: Scene, view: View, t_s: float = 0.0) -> list[Layer]:
    """Return shoes and trouser legs as they stand at a time, in the order in which they are laid."""
    return list(_legs(scene, view, t_s)) if scene.room.player else []


def player_shade(x_m: Image, y_m: Image, side: int) -> Iterator[Image]:
    """Yield the share of the light that each shoe takes from points of the floor."""
    for x in FEET_X_M:
        dark = np.exp(-(((x_m - x) / 0.07) ** 2) - ((y_m - side * FEET_Y_M) / 0.15) ** 2)
        yield np.asarray(0.5 * dark)


def _legs(scene: Scene, view: View, t_s: float) -> Iterator[Layer]:
    side, room = scene.putter.player_side, scene.room
    # two slow rhythms that share no period, as of a body that keeps its balance
    away = room.sway_m * np.array([math.sin(2.3 * t_s), 0.6 * math.sin(3.7 * t_s + 1.0), 0.0])
    for x in FEET_X_M:
        shoe, leg = np.array([x, side * FEET_Y_M, 0.035]), np.array([x, side * 0.50, 0.55])
        yield from _ellipsoid(view, shoe + SHOES_SWAY * away, np.array([0.048, 0.135, 0.045]), room.shoes)
        yield from _ellipsoid(view, leg + away, np.array([0.095, 0.11, 0.50]), room.trousers)


def _ellipsoid(view: View, centre: FloatArray, radii: FloatArray, colour: Colour) -> Iterator[Layer]:
    """Yield an ellipsoid with its axes along the world's, if seen; its silhouette is exact."""
    directions = np.array([[i, j, k] for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)])
    corners = centre + directions * radii
    if np.any((corners @ view.camera.rotation.T + view.camera.translation)[:, 2] < 0.05):
        return

    def paint(view: View, box: PixelArea) -> Image:
        x, y = view.rays(box, 2)
        rays = np.stack([x, y, np.ones_like(x)], axis=-1) @ view.camera.rotation / radii
        start = (view.camera.centre - centre) / radii
        a, b, c = np.einsum("...i,...i", rays, rays), rays @ start, start @ start - 1
        inside = b * b - a * c
        hit = inside > 0
        depth = (-b[hit] - np.sqrt(inside[hit])) / a[hit]
        normal = (start + depth[:, None] * rays[hit]) / radii
        normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
        light = np.zeros(hit.shape, dtype=np.float32)
        light[hit] = 0.45 + 0.35 * normal[:, 2] + 0.35 * np.maximum(normal @ np.array([-0.45, -0.55, 0.7]), 0)
        cover, shaded = (average(each, 2)[..., None] for each in (hit.astype(np.float32), light))
        return np.concatenate([shaded * np.array(colour, dtype=np.float32), cover], axis=-1)

    box = PixelArea.around(view.camera.project(corners), 2, view.limits)
    yield Layer(box, float(np.linalg.norm(centre - view.camera.centre)), paint)
