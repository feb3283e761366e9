"""Views of a flat board through a known camera."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.board import BOARD_SQUARE_M, BOARD_SQUARES, CELLS_PER_SQUARE, board_bits
from pennyfall.calibration.board_views import BoardView
from pennyfall.kinematics.values import FloatArray

MATRIX = np.array([[1000.0, 0, 652.0], [0, 1000.0, 349.0], [0, 0, 1]])
DISTORTION = np.array([0.06, -0.12, 0.0006, -0.0004, 0.04])
SIZE = (1280, 720)
COLUMNS, ROWS = BOARD_SQUARES
CORNERS_M = np.array(
    [
        [(c + 1) * BOARD_SQUARE_M, (r + 1) * BOARD_SQUARE_M, 0.0]
        for r in range(ROWS - 1)
        for c in range(COLUMNS - 1)
    ]
)
MIDDLE_M = np.array([COLUMNS, ROWS, 0]) * BOARD_SQUARE_M / 2


def poses(generator: np.random.Generator, count: int) -> list[tuple[FloatArray, FloatArray]]:
    """Return rotations and translations that show the board whole, tilted by 15 to 40 degrees."""
    chosen = []
    for _ in range(count):
        axis_rad, tilt_rad = generator.uniform(0, 2 * np.pi), np.radians(generator.uniform(15, 40))
        rotation, _ = cv2.Rodrigues(tilt_rad * np.array([np.cos(axis_rad), np.sin(axis_rad), 0.0]))
        middle = np.array(
            [generator.uniform(-0.05, 0.05), generator.uniform(-0.03, 0.03), generator.uniform(0.34, 0.5)]
        )
        chosen.append((np.asarray(rotation, dtype=np.float64), middle - rotation @ MIDDLE_M))
    return chosen


def corner_pixels(
    rotation: FloatArray, translation: FloatArray, distortion: FloatArray = DISTORTION
) -> FloatArray:
    vector, _ = cv2.Rodrigues(rotation)
    pixels, _ = cv2.projectPoints(CORNERS_M, vector, translation, MATRIX, distortion)
    return np.asarray(pixels, dtype=np.float64).reshape(-1, 2)


def noisy_views(generator: np.random.Generator, count: int, noise_px: float) -> list[BoardView]:
    views = []
    for rotation, translation in poses(generator, count):
        exact = corner_pixels(rotation, translation)
        views.append(
            BoardView(
                points_m=CORNERS_M, pixels=exact + generator.normal(0, noise_px, exact.shape), sharpness=1.0
            )
        )
    return views


def board_picture(
    rotation: FloatArray, translation: FloatArray, *, tags: bool = True, enlarge: int = 1
) -> NDArray[np.uint8]:
    """Return the printed board on a grey wall, seen by the camera without distortion.

    Without `tags` it is a plain chessboard; `enlarge` multiplies the picture's resolution.
    """
    cell_px = 4  # the texture is finer than the picture: 4 px per 1.25 mm
    bits = board_bits()
    if not tags:
        squares = np.add.outer(np.arange(ROWS), np.arange(COLUMNS)) % 2
        bits = np.kron(squares, np.ones((CELLS_PER_SQUARE, CELLS_PER_SQUARE))).astype(np.uint8)
    texture = np.kron(bits, np.ones((cell_px, cell_px), dtype=np.uint8)) * 215 + 20
    margin = 40
    texture = np.pad(texture, margin, constant_values=235)
    metres_per_texel = 0.00125 / cell_px
    to_board = np.array(
        [
            [metres_per_texel, 0, (0.5 - margin) * metres_per_texel],
            [0, metres_per_texel, (0.5 - margin) * metres_per_texel],
            [0, 0, 1],
        ]
    )
    to_picture = MATRIX @ np.column_stack([rotation[:, 0], rotation[:, 1], translation]) @ to_board
    finer = 3 * enlarge  # rendered three times finer and averaged, as a pixel averages the light
    to_finer = np.array([[finer, 0, (finer - 1) / 2], [0, finer, (finer - 1) / 2], [0, 0, 1]])
    size = (SIZE[0] * enlarge, SIZE[1] * enlarge)
    large = cv2.warpPerspective(
        texture.astype(np.uint8),
        to_finer @ to_picture,
        (SIZE[0] * finer, SIZE[1] * finer),
        flags=cv2.INTER_LINEAR,
        borderValue=110.0,
    )
    return np.asarray(cv2.resize(large, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
