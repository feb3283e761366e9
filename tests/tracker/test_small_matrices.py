from __future__ import annotations

import numpy as np
import pytest

from pennyfall.tracker.marks.small_matrices import determinant, inverse, solved


@pytest.mark.parametrize("rows", [2, 3, 8])
def test_small_matrices_agree_with_lapack(generator: np.random.Generator, rows: int) -> None:
    root = generator.standard_normal((rows, rows))
    matrix = np.asarray(root @ root.T + np.eye(rows), dtype=np.float64)
    right = generator.standard_normal(rows)
    solution = solved(matrix, right)
    assert solution is not None
    np.testing.assert_allclose(inverse(matrix), np.linalg.inv(matrix), rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(solution, np.linalg.solve(matrix, right), rtol=1e-9)
    assert determinant(matrix) == pytest.approx(np.linalg.det(matrix), rel=1e-9)


def test_a_singular_system_has_no_solution() -> None:
    assert solved(np.zeros((3, 3)), np.ones(3)) is None
