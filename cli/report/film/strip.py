"""The strip under an annotated clip: the acceleration along the target line, running with the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.values import FloatArray, StrokeMeasures

if TYPE_CHECKING:
    from matplotlib.figure import Figure

GROUND, QUIET, INK, CURVE = "#10181d", "#8b9aa5", "#ffffff", "#ffaa3c"
DPI = 100


class AccelerationStrip:
    """The curve drawn twice, faint and bright; each frame joins the two at its own time.

    Parameters
    ----------
    stroke : StrokeMeasures
        The stroke shown.
    width, height : int
        Size of the strip [px].

    """

    def __init__(self, stroke: StrokeMeasures, width: int, height: int) -> None:
        self.height = height
        self._from_s = float(stroke.profile.t_s[0])
        self._to_s = float(stroke.profile.t_s[-1])
        self._width = width
        self._faint = _drawn(stroke, width, height, strength=0.35)
        self._bright = _drawn(stroke, width, height, strength=1.0)

    def column(self, time_s: float) -> int:
        """Return the strip's column at a clip time."""
        share = (time_s - self._from_s) / (self._to_s - self._from_s)
        return round(float(np.clip(share, 0.0, 1.0)) * (self._width - 1))

    def at(self, time_s: float) -> NDArray[np.uint8]:
        """Return the strip as it is at a clip time, shape (height, width, 3)."""
        here = self.column(time_s)
        strip = self._faint.copy()
        strip[:, :here] = self._bright[:, :here]
        strip[:, max(here - 1, 0) : here + 1] = 255
        return strip


def _drawn(stroke: StrokeMeasures, width: int, height: int, *, strength: float) -> NDArray[np.uint8]:
    from matplotlib.figure import Figure

    profile = stroke.profile
    figure = Figure(figsize=(width / DPI, height / DPI), dpi=DPI, facecolor=GROUND)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0), facecolor=GROUND)
    axes.set_axis_off()
    letters = max(7.0, 0.115 * height * 72 / DPI)
    a = profile.a_mps2
    low, high = min(float(np.nanmin(a)), 0.0), max(float(np.nanmax(a)), 0.0)
    room = 0.12 * (high - low)
    axes.set_xlim(profile.t_s[0], profile.t_s[-1])
    axes.set_ylim(low - room, high + 3.2 * room)
    axes.axhline(0, color=QUIET, linewidth=0.8)
    for estimate, word in (
        (stroke.takeaway_s, "takeaway"),
        (stroke.top_s, "top"),
        (stroke.impact_s, "pass" if stroke.practice else "impact"),
    ):
        if estimate.known:
            axes.axvline(estimate.value, color=QUIET, linewidth=0.8)
            named = axes.annotate(word, (estimate.value, 1), xycoords=("data", "axes fraction"),
                                  xytext=(3, -2), textcoords="offset points", va="top", size=letters,
                                  color=INK)  # fmt: skip
            if named.get_window_extent().x1 > width:
                named.set(ha="right", position=(-3, -2))
    for half in _halves(stroke, profile.t_s):
        axes.plot(profile.t_s[half], a[half], color=CURVE, alpha=strength, linewidth=max(1.5, height / 60))
    peak = f"peak {high:.1f} m/s²"
    words = f"acceleration toward the target, {peak}"
    said = axes.annotate(words, (0, 0), xycoords="axes fraction", xytext=(4, 4), textcoords="offset points",
                         va="bottom", size=letters, color=CURVE)  # fmt: skip
    if said.get_window_extent().x1 > width:
        said.set_text(peak)
    return pixels_of(figure)


def pixels_of(figure: Figure) -> NDArray[np.uint8]:
    """Return a figure drawn, RGB, shape (height, width, 3)."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas = FigureCanvasAgg(figure)
    canvas.draw()  # type: ignore[no-untyped-call]
    return np.asarray(canvas.buffer_rgba())[..., :3].copy()  # type: ignore[no-untyped-call]


def _halves(stroke: StrokeMeasures, time_s: FloatArray) -> list[NDArray[np.bool_]]:
    """Return the samples before and after impact, where the acceleration has no value."""
    if not stroke.impact_s.known:
        return [np.ones(len(time_s), dtype=np.bool_)]
    return [time_s <= stroke.impact_s.value, time_s > stroke.impact_s.value]
