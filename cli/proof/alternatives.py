"""The usual ways to get an acceleration from a track, each over its range of settings and by its own rule.

All of them run across the impact. A setting is a cutoff frequency (for Savitzky-Golay a window length), so
that one table can hold them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import make_smoothing_spline
from scipy.signal import butter, savgol_coeffs, savgol_filter, sosfiltfilt

from pennyfall.cli.proof.plain_kalman import best_cutoff, smooth_at
from pennyfall.kinematics.values import FloatArray, freeze_arrays

CUTOFFS_HZ = (3.0, 4.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0)
"""Settings tried: below 3 Hz a stroke is no stroke, above 20 Hz noise rules."""
WINDOWS_S = (0.03, 0.05, 0.07, 0.1, 0.15, 0.2, 0.25, 0.3)
SAVGOL_ORDER = 3
"""Cubic: its second derivative is the least that can follow an acceleration that changes."""
DUAL_PASS = 0.802
"""(2^(1/2) - 1)^(1/4): two passes of a second-order filter lower its cutoff by this (Winter 2009)."""
HIGHEST_SHARE = 0.45
"""Share of the frame rate below which cutoffs are possible."""
RESIDUAL_TAIL = 0.5
"""Residual analysis fits its line to cutoffs above this share of the highest."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Curve:
    """A smoothed track at even times."""

    time_s: FloatArray
    x_m: FloatArray
    v_mps: FloatArray
    a_mps2: FloatArray

    def __post_init__(self) -> None:
        freeze_arrays(self)


@dataclass(frozen=True, kw_only=True, slots=True)
class Method:
    """One way to smooth a track."""

    name: str
    rule: str
    """How it chooses its setting for a track."""
    unit: str
    settings: tuple[float, ...]
    smooth: Callable[[FloatArray, FloatArray, float], Curve]
    """From even times, positions and a setting."""
    choose: Callable[[FloatArray, FloatArray], float]
    """Its rule: the setting for even times and positions."""

    def possible(self, rate_hz: float) -> tuple[float, ...]:
        """Return the settings that a frame rate allows."""
        if self.unit == "Hz":
            return tuple(each for each in self.settings if each < HIGHEST_SHARE * rate_hz)
        return tuple(each for each in self.settings if _window(each, rate_hz) > SAVGOL_ORDER + 1)


def butterworth(time_s: FloatArray, x_m: FloatArray, cutoff_hz: float) -> Curve:
    """Smooth by a second-order Butterworth filter run forward and backward, then differentiate."""
    x = _dual_pass(x_m, cutoff_hz, _rate(time_s))
    v = np.gradient(x, time_s)
    return Curve(time_s=time_s, x_m=x, v_mps=v, a_mps2=np.gradient(v, time_s))


def residual_cutoff(time_s: FloatArray, x_m: FloatArray) -> float:
    """Return the cutoff of Winter's residual analysis [Hz] [1]_.

    The residual against the cutoff ends in a line, which is noise alone; the cutoff is where the residual has
    fallen to that line's value at zero.

    References
    ----------
    .. [1] D. A. Winter (2009), Biomechanics and Motor Control of Human Movement, 4th ed., 3.4.4.3.

    """
    rate = _rate(time_s)
    cutoffs = np.linspace(1.0, HIGHEST_SHARE * rate * DUAL_PASS, 80)
    residual = np.array([np.sqrt(np.mean((x_m - _dual_pass(x_m, each, rate)) ** 2)) for each in cutoffs])
    tail = cutoffs > RESIDUAL_TAIL * cutoffs[-1]
    _, noise = np.polyfit(cutoffs[tail], residual[tail], 1)
    below = np.flatnonzero(residual <= max(noise, residual[-1]))
    last = int(below[0]) if len(below) else len(cutoffs) - 1
    if last == 0:
        return float(cutoffs[0])
    # between the two cutoffs that enclose it
    share = (residual[last - 1] - max(noise, residual[-1])) / (residual[last - 1] - residual[last])
    return float(cutoffs[last - 1] + share * (cutoffs[last] - cutoffs[last - 1]))


def savitzky_golay(time_s: FloatArray, x_m: FloatArray, window_s: float) -> Curve:
    """Smooth by local cubics over a window [s]."""
    rate = _rate(time_s)
    count = min(_window(window_s, rate), (len(x_m) - 1) // 2 * 2 - 1)
    x, v, a = (
        savgol_filter(x_m, count, SAVGOL_ORDER, deriv=order, delta=1 / rate, mode="nearest")
        for order in range(3)
    )
    return Curve(time_s=time_s, x_m=x, v_mps=v, a_mps2=a)


def cross_validated_window(time_s: FloatArray, x_m: FloatArray) -> float:
    """Return the window whose leave-one-out error is least [s].

    A frame's residual over one minus its own weight is its error when left out.
    """
    rate = _rate(time_s)

    def left_out(window_s: float) -> float:
        count = _window(window_s, rate)
        residual = x_m - savgol_filter(x_m, count, SAVGOL_ORDER, mode="nearest")
        own = savgol_coeffs(count, SAVGOL_ORDER)[count // 2]
        return float(np.mean((residual / (1 - own)) ** 2))

    return min((each for each in WINDOWS_S if _window(each, rate) > SAVGOL_ORDER + 1), key=left_out)


def smoothing_spline(time_s: FloatArray, x_m: FloatArray, cutoff_hz: float) -> Curve:
    """Smooth by a natural cubic smoothing spline; a cutoff of NaN means generalised cross-validation.

    A spline with penalty lam on the squared second derivative is a filter 1 / (1 + lam T w^4) [1]_.

    References
    ----------
    .. [1] H. J. Woltring (1986), A Fortran package for generalized, cross-validatory spline smoothing and
       differentiation, Adv. Eng. Softw. 8:104-113.

    """
    penalty = None if np.isnan(cutoff_hz) else _rate(time_s) / (2 * np.pi * cutoff_hz) ** 4
    spline = make_smoothing_spline(time_s, x_m, lam=penalty)
    x, v, a = (spline.derivative(order)(time_s) if order else spline(time_s) for order in range(3))
    return Curve(time_s=time_s, x_m=x, v_mps=v, a_mps2=a)


def plain_kalman(time_s: FloatArray, x_m: FloatArray, cutoff_hz: float) -> Curve:
    """Smooth by a Kalman smoother whose acceleration is a random walk."""
    x, v, a = smooth_at(time_s, x_m, cutoff_hz)
    return Curve(time_s=time_s, x_m=x, v_mps=v, a_mps2=a)


METHODS = (
    Method(
        name="dual-pass Butterworth",
        rule="residual analysis (Winter)",
        unit="Hz",
        settings=CUTOFFS_HZ,
        smooth=butterworth,
        choose=residual_cutoff,
    ),
    Method(
        name="Savitzky-Golay, cubic",
        rule="leave-one-out error",
        unit="s",
        settings=WINDOWS_S,
        smooth=savitzky_golay,
        choose=cross_validated_window,
    ),
    Method(
        name="smoothing spline, cubic",
        rule="generalised cross-validation",
        unit="Hz",
        settings=CUTOFFS_HZ,
        smooth=smoothing_spline,
        choose=lambda _time, _x: float("nan"),
    ),
    Method(
        name="Kalman smoother, acceleration a random walk",
        rule="maximum likelihood",
        unit="Hz",
        settings=CUTOFFS_HZ,
        smooth=plain_kalman,
        choose=best_cutoff,
    ),
)


def even_track(time_s: FloatArray, x_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return even times and positions between the first and the last frame that was seen."""
    seen = np.isfinite(x_m)
    time, x = time_s[seen], x_m[seen]
    step = float(np.median(np.diff(time)))
    even = np.arange(time[0], time[-1], step)
    return even, np.interp(even, time, x)


def _dual_pass(x: FloatArray, cutoff_hz: float, rate_hz: float) -> FloatArray:
    sections = butter(2, min(cutoff_hz / DUAL_PASS / (rate_hz / 2), 0.999), output="sos")
    filtered: FloatArray = sosfiltfilt(sections, x)
    return filtered


def _rate(time_s: FloatArray) -> float:
    return float((len(time_s) - 1) / (time_s[-1] - time_s[0]))


def _window(window_s: float, rate_hz: float) -> int:
    return 2 * round(window_s * rate_hz / 2) + 1
