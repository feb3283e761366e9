"""Algebra of matrices of two to eight rows, which numpy's checks and dispatch make five times slower.

OpenCV takes 2 µs for an inverse or a solution, numpy 10 to 16, some three thousand times a stroke.
"""

from __future__ import annotations

import cv2
import numpy as np

from pennyfall.kinematics.values import FloatArray


def inverse(matrix: FloatArray) -> FloatArray:
    """Return the inverse of a regular matrix, shape (n, n); all zero where it is singular."""
    return np.asarray(cv2.invert(matrix)[1], dtype=np.float64)


def solved(matrix: FloatArray, right: FloatArray) -> FloatArray | None:
    """Return x with matrix x = right, shape (n,); None where the matrix is singular."""
    regular, x = cv2.solve(matrix, right[:, None])
    return np.asarray(x, dtype=np.float64)[:, 0] if regular else None


def determinant(matrix: FloatArray) -> float:
    """Return the determinant of a matrix, shape (n, n)."""
    return float(cv2.determinant(matrix))
