"""Pictures of tags drawn by another route than the tracker's own: many rays a pixel, averaged."""

from __future__ import annotations

import numpy as np

from pennyfall.calibration.layout import tag_bits
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import LumaFrame

RAYS = 6
"""Rays along each side of a pixel: a step edge is placed to a hundredth of a pixel on average."""


def draw_tag(
    homography: FloatArray,
    *,
    size: tuple[int, int],
    tag_id: int = 7,
    side_m: float = 0.024,
    border_m: float = 0.004,
    smear_px: tuple[float, float] = (0.0, 0.0),
    noise: float = 0.0,
    generator: np.random.Generator | None = None,
) -> LumaFrame:
    """Return a picture (height, width) of a tag on grey ground: averaged in light, stored as its root."""
    width, height = size
    offsets = (np.arange(RAYS) + 0.5) / RAYS - 0.5
    light = np.zeros((height, width))
    moments = np.linspace(-0.5, 0.5, 9) if any(smear_px) else np.zeros(1)
    inverse = np.asarray(np.linalg.inv(homography), dtype=np.float64)
    for moment in moments:
        for down in offsets:
            for across in offsets:
                u = np.arange(width, dtype=np.float64)[None, :] + across - moment * smear_px[0]
                v = np.arange(height, dtype=np.float64)[:, None] + down - moment * smear_px[1]
                light += _light(u, v, inverse, tag_id, side_m, border_m)
    light /= RAYS**2 * len(moments)
    luma = 230 * light ** (1 / 2.2)
    if noise and generator is not None:
        luma = luma + generator.normal(0, noise, luma.shape)
    return np.clip(np.round(luma), 0, 255).astype(np.uint8)


def _light(
    u: FloatArray, v: FloatArray, inverse: FloatArray, tag_id: int, side_m: float, border_m: float
) -> FloatArray:
    depth = inverse[2, 0] * u + inverse[2, 1] * v + inverse[2, 2]
    x = (inverse[0, 0] * u + inverse[0, 1] * v + inverse[0, 2]) / depth
    y = (inverse[1, 0] * u + inverse[1, 1] * v + inverse[1, 2]) / depth
    bits = tag_bits(tag_id)
    cell = side_m / len(bits)
    column = np.floor((x + side_m / 2) / cell).astype(int)
    row = np.floor((side_m / 2 - y) / cell).astype(int)
    inside = (column >= 0) & (column < len(bits)) & (row >= 0) & (row < len(bits))
    paper = (np.abs(x) < side_m / 2 + border_m) & (np.abs(y) < side_m / 2 + border_m)
    shade = np.where(paper, 1.0, 0.2)
    values = bits[np.clip(row, 0, len(bits) - 1), np.clip(column, 0, len(bits) - 1)]
    return np.asarray(np.where(inside, np.where(values == 1, 1.0, 0.05), shade), dtype=np.float64)


def slanted_homography(
    centre_px: FloatArray,
    *,
    width_px: float,
    slant: float = 0.62,
    turn_rad: float = 0.1,
    side_m: float = 0.024,
) -> FloatArray:
    """Return a tag's homography: so many pixels wide, foreshortened, turned, with a little perspective."""
    scale = width_px / side_m
    turn = np.array([[np.cos(turn_rad), -np.sin(turn_rad)], [np.sin(turn_rad), np.cos(turn_rad)]])
    linear = np.diag([scale, -scale * slant]) @ turn  # picture rows run down
    homography = np.eye(3)
    homography[:2, :2] = linear
    homography[2, :2] = [0.05, 0.6]
    place = np.eye(3)
    place[:2, 2] = centre_px
    return np.asarray(place @ homography, dtype=np.float64)
