"""Nonlinear least squares for the camera's pose, before the heavier libraries are loaded.

A general optimiser finds the same poses, to a millionth of their standard deviations, and as fast; loading it
takes 0.28 s before the first picture is followed, of the 2 s in which a short clip is measured.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from pennyfall.kinematics.values import FloatArray

MOST_STEPS = 60
"""Chosen by us: from the closed-form starts a pose settles in five to fifteen."""

SETTLED_COST = 1e-10
"""Chosen by us: relative fall of the cost that no longer moves any parameter by a thousandth of its sd."""

FIRST_DAMPING = 1e-3
MOST_DAMPING = 1e12


class Minimum(NamedTuple):
    """Where the sum of squares is least."""

    x: FloatArray
    """Parameters, shape (m,)."""
    cost: float
    """Half the sum of squared residuals."""
    slopes: FloatArray
    """Derivatives of the residuals there, shape (n, m)."""


def least_squares(
    residuals: Callable[[FloatArray], FloatArray],
    slopes: Callable[[FloatArray], FloatArray],
    start: FloatArray,
) -> Minimum:
    """Minimise a sum of squares by Levenberg-Marquardt steps.

    Parameters
    ----------
    residuals : Callable
        Parameters, shape (m,), to residuals, shape (n,).
    slopes : Callable
        Parameters to their derivatives, shape (n, m).
    start : FloatArray
        Parameters to begin with.

    Notes
    -----
    Damping in proportion to the diagonal of the normal matrix (Marquardt 1963, J. SIAM 11:431-441), lowered
    tenfold after a step that helps and raised tenfold after one that does not.

    """
    x = np.asarray(start, dtype=np.float64)
    errors = residuals(x)
    cost = 0.5 * float(errors @ errors)
    design = slopes(x)
    damping = FIRST_DAMPING
    for _ in range(MOST_STEPS):
        normal = design.T @ design
        gradient = design.T @ errors
        while damping < MOST_DAMPING:
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -gradient)
            tried = residuals(x + step)
            tried_cost = 0.5 * float(tried @ tried)
            if tried_cost < cost:
                break
            damping *= 10
        else:
            break
        settled = cost - tried_cost < SETTLED_COST * cost
        x, errors, cost = x + step, tried, tried_cost
        design = slopes(x)
        damping = max(damping / 10, 1e-12)
        if settled:
            break
    return Minimum(x, cost, design)
