"""The head's motion along the target line, in closed form: pieces of polynomials in time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from pennyfall.kinematics.values import FloatArray, freeze_arrays

Ramp = Literal["smooth", "linear"]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Displacement:
    """A displacement along the target line, exact with its derivatives.

    Before the first piece it holds its first value, after the last piece its last one.
    """

    starts_s: FloatArray
    """Start of each piece, shape (n,) [s]; increasing."""
    end_s: float
    """End of the last piece [s]."""
    coefficients: FloatArray
    """Ascending powers of the time since the piece's start, shape (n, 6) [m, m/s, m/s^2, ...]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def position(self, t_s: FloatArray) -> FloatArray:
        """Return the displacement at the times `t_s`, any shape [s] -> [m]."""
        return self._evaluate(t_s, 0, before=False)

    def velocity(self, t_s: FloatArray, *, before: bool = False) -> FloatArray:
        """Return the velocity [m/s]; at a joint its right limit, or its left limit with `before`."""
        return self._evaluate(t_s, 1, before=before)

    def acceleration(self, t_s: FloatArray, *, before: bool = False) -> FloatArray:
        """Return the acceleration [m/s^2]; at a joint its right limit, or its left limit with `before`."""
        return self._evaluate(t_s, 2, before=before)

    def _evaluate(self, t_s: FloatArray, derivative: int, *, before: bool) -> FloatArray:
        t = np.asarray(t_s, dtype=np.float64)
        inside = np.clip(t, self.starts_s[0], self.end_s)
        side: Literal["left", "right"] = "left" if before else "right"
        piece = np.clip(np.searchsorted(self.starts_s, inside, side=side) - 1, 0, len(self.starts_s) - 1)
        coefficients = differentiate(self.coefficients, derivative)[piece]
        value = _horner(coefficients, inside - self.starts_s[piece])
        if derivative:
            value = np.where((t < self.starts_s[0]) | (t > self.end_s), 0.0, value)
        return value


@dataclass(frozen=True, slots=True)
class Piece:
    """One polynomial and how long it lasts."""

    duration_s: float
    """How long the piece lasts [s]; positive."""
    coefficients: tuple[float, ...]
    """Ascending powers of the time since its start, six of them."""

    def at(self, t_s: float, derivative: int = 0) -> float:
        """Return the displacement or a derivative of it `t_s` after the piece's start."""
        return float(_horner(differentiate(np.array([self.coefficients]), derivative)[0], np.array(t_s)))

    def end(self, derivative: int = 0) -> float:
        """Return the displacement or a derivative of it at the piece's end."""
        return self.at(self.duration_s, derivative)


def join(pieces: Sequence[Piece], *, start_s: float = 0.0) -> Displacement:
    """Return the motion made of `pieces`, one after the other from `start_s`."""
    durations = np.array([piece.duration_s for piece in pieces])
    if len(pieces) == 0 or np.any(durations <= 0):
        raise ValueError("a motion needs pieces of positive duration")
    ends = np.cumsum([start_s, *durations])[1:]
    return Displacement(
        starts_s=np.concatenate([[start_s], ends[:-1]]),
        end_s=float(ends[-1]),
        coefficients=np.array([piece.coefficients for piece in pieces]),
    )


def rest(at_m: float, duration_s: float) -> Piece:
    """Return a rest at one place."""
    return Piece(duration_s, (at_m, 0.0, 0.0, 0.0, 0.0, 0.0))


def quintic(duration_s: float, start: tuple[float, float, float], end: tuple[float, float, float]) -> Piece:
    """Return the quintic through a position, velocity and acceleration at each end.

    Parameters
    ----------
    duration_s : float
        Time from start to end [s].
    start, end : tuple of float
        Position [m], velocity [m/s], acceleration [m/s^2].

    """
    T = duration_s
    x0, v0, a0 = start
    known = np.array([x0, v0, a0 / 2])
    powers = np.array([[T**3, T**4, T**5], [3 * T**2, 4 * T**3, 5 * T**4], [6 * T, 12 * T**2, 20 * T**3]])
    reached = np.array([x0 + v0 * T + a0 * T**2 / 2, v0 + a0 * T, a0])
    return Piece(T, tuple(float(c) for c in np.concatenate([known, np.linalg.solve(powers, end - reached)])))


def accelerated(
    start_m: float,
    distance_m: float,
    duration_s: float,
    levels: Sequence[tuple[float, float]],
    ramp: Ramp = "smooth",
) -> tuple[Piece, ...]:
    """Return a start from rest whose acceleration has a given shape and covers a given distance.

    Parameters
    ----------
    start_m : float
        Position at rest [m].
    distance_m, duration_s : float
        Distance covered [m] and time taken [s].
    levels : sequence of (share, level)
        Acceleration, up to one common factor, at shares of the duration from 0 to 1.
    ramp : {'smooth', 'linear'}
        Between two levels the acceleration follows 3 r^2 - 2 r^3 or a straight line.

    Notes
    -----
    With one constant level the final speed is v = 2 D / T.

    """
    shares = np.array([share for share, _ in levels])
    if shares[0] != 0 or shares[-1] != 1 or np.any(np.diff(shares) <= 0):
        raise ValueError("the shares must increase from 0 to 1")
    pieces: list[Piece] = []
    x, v = 0.0, 0.0
    for (share, level), (next_share, next_level) in pairwise(levels):
        T = (next_share - share) * duration_s
        rise = next_level - level
        if ramp == "smooth":  # x'' = level + rise (3 r^2 - 2 r^3) with r = t / T
            tail = (0.0, rise / (4 * T**2), -rise / (10 * T**3))
        else:
            tail = (rise / (6 * T), 0.0, 0.0)
        piece = Piece(T, (x, v, level / 2, *tail))
        x, v = piece.end(), piece.end(1)
        pieces.append(piece)
    factor = distance_m / x
    return tuple(
        Piece(
            piece.duration_s,
            (start_m + factor * piece.coefficients[0], *(factor * c for c in piece.coefficients[1:])),
        )
        for piece in pieces
    )


def differentiate(coefficients: FloatArray, times: int) -> FloatArray:
    """Return the coefficients of a derivative, shape (..., n) -> (..., n - times)."""
    for _ in range(times):
        coefficients = coefficients[..., 1:] * np.arange(1, coefficients.shape[-1])
    return coefficients


def _horner(coefficients: FloatArray, t: FloatArray) -> FloatArray:
    value = np.zeros(np.shape(t))
    for power in range(coefficients.shape[-1] - 1, -1, -1):
        value = value * t + coefficients[..., power]
    return value
