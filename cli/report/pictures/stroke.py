"""The picture of one stroke: four frames above position, speed and acceleration along the target line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from pennyfall.cli.report.palette import ACCENT, FORWARD_TINT, INK, QUIET
from pennyfall.cli.report.pictures.figure_file import FileKind, figure_file
from pennyfall.cli.report.pictures.fitting import fit
from pennyfall.cli.report.quantities import quantity
from pennyfall.kinematics.values import (
    INTERVAL_SDS,
    STANDARD_GRAVITY_MPS2,
    Estimate,
    FloatArray,
    StrokeMeasures,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Moment = Literal["address", "top", "impact", "finish"]
Frames = Mapping[Moment, NDArray[np.uint8]]
"""Luma (h, w) or RGB (h, w, 3) frames at the four moments; any may be absent."""

MOMENTS: tuple[Moment, ...] = ("address", "top", "impact", "finish")

WIDTH_IN = 6.0
MARGIN_IN, LEFT_IN, RIGHT_IN = 0.18, 0.68, 0.62
HEADING_IN, FOOT_IN = 1.16, 0.78
FRAME_NAME_IN, FRAME_GAP_IN, FRAME_MOST_IN = 0.24, 0.07, 1.6
PANEL_GAP_IN = 0.42
PANELS_IN = (1.05, 1.05, 2.3)
"""Heights of position, speed and acceleration: the acceleration decides the verdict and gets the room."""

ONE_FIGURE_S = 0.02
"""Chosen by us: a peak this near to the impact has the impact's figure; two would overlap."""

HEADLINES = ("backswing_s", "forward_swing_s", "tempo_ratio", "acceleration_at_impact_mps2")
HEADLINES_IN = (0.0, 1.31, 2.87, 4.01)
"""Where they stand, by the room their labels need."""


def stroke_picture(
    stroke: StrokeMeasures, *, title: str, frames: Frames | None = None, kind: FileKind = "png"
) -> bytes:
    """Return the picture of a stroke as a file's content, the same bytes for the same stroke.

    Parameters
    ----------
    stroke : StrokeMeasures
        The measured stroke.
    title : str
        Heading, such as the clip's name.
    frames : mapping, optional
        Frames of the clip at 'address', 'top', 'impact' and 'finish', luma (h, w) or RGB (h, w, 3).
    kind : {'png', 'svg'}
        File format.

    """
    return figure_file(lambda: draw_stroke(stroke, title=title, frames=frames or {}), kind)


def draw_stroke(stroke: StrokeMeasures, *, title: str, frames: Frames) -> Figure:
    """Return the figure of a stroke."""
    from matplotlib.figure import Figure

    frame_in = _frame_height_in(frames)
    height_in = HEADING_IN + frame_in + sum(PANELS_IN) + len(PANELS_IN) * PANEL_GAP_IN + FOOT_IN
    figure = Figure(figsize=(WIDTH_IN, height_in))
    _write_heading(figure, stroke, title)
    if frames:
        _draw_frames(figure, frames, frame_in)
    time_ms = 1e3 * (stroke.profile.t_s - stroke.impact_s.value)
    from_top_in = HEADING_IN + frame_in
    panels = []
    for panel_in in PANELS_IN:
        from_top_in += PANEL_GAP_IN
        panels.append(_add_axes(figure, LEFT_IN, from_top_in, WIDTH_IN - LEFT_IN - RIGHT_IN, panel_in))
        from_top_in += panel_in
    position, speed, acceleration = panels
    for axes, panel_in in zip(panels, PANELS_IN, strict=True):
        _prepare(axes, stroke, time_ms, most_ticks=round(3.5 * panel_in))
        axes.tick_params(labelbottom=axes is acceleration)
    _draw_halves(position, time_ms, 1e2 * stroke.profile.x_m, INK)
    _draw_halves(speed, time_ms, 1e2 * stroke.profile.v_mps, INK)
    _draw_acceleration(acceleration, stroke, time_ms)
    _name(position, "Position along the target line, cm")
    _name(speed, "Speed, cm/s")
    _name(acceleration, "Acceleration, m/s² (+ toward the target)")
    _name_events(acceleration, stroke)
    return figure


def _add_axes(figure: Figure, left_in: float, from_top_in: float, width_in: float, height_in: float) -> Axes:
    figure_in = figure.get_figheight()
    bottom = 1 - (from_top_in + height_in) / figure_in
    return figure.add_axes((left_in / WIDTH_IN, bottom, width_in / WIDTH_IN, height_in / figure_in))


def _write_heading(figure: Figure, stroke: StrokeMeasures, title: str) -> None:
    height_in = figure.get_figheight()
    heading = figure.text(MARGIN_IN / WIDTH_IN, 1 - 0.14 / height_in, title, size=15, weight="bold", va="top")
    fit(heading, WIDTH_IN - 2 * MARGIN_IN)
    for name, from_left_in in zip(HEADLINES, HEADLINES_IN, strict=True):
        shown = quantity(name)
        value, reach = shown.pair(getattr(stroke, name))
        left = (MARGIN_IN + from_left_in) / WIDTH_IN
        figure.text(left, 1 - 0.50 / height_in, shown.label, size=10, color=QUIET, va="top")
        figure.text(left, 1 - 0.68 / height_in, f"{value} {shown.unit}", size=15, va="top")
        figure.text(left, 1 - 0.93 / height_in, f"± {reach}" if reach else "", size=11, color=QUIET, va="top")


def _frame_height_in(frames: Frames) -> float:
    if not frames:
        return 0.0
    tallest: float = max(frame.shape[0] / frame.shape[1] for frame in frames.values())
    return min(_frame_width_in() * tallest, FRAME_MOST_IN) + FRAME_NAME_IN


def _frame_width_in() -> float:
    return (WIDTH_IN - 2 * MARGIN_IN - (len(MOMENTS) - 1) * FRAME_GAP_IN) / len(MOMENTS)


def _draw_frames(figure: Figure, frames: Frames, frame_in: float) -> None:
    width_in = _frame_width_in()
    for column, moment in enumerate(MOMENTS):
        left_in = MARGIN_IN + column * (width_in + FRAME_GAP_IN)
        axes = _add_axes(figure, left_in, HEADING_IN + FRAME_NAME_IN, width_in, frame_in - FRAME_NAME_IN)
        axes.set_axis_off()
        axes.set_title(moment, size=11, pad=3, loc="left", color=QUIET)
        if moment in frames:
            axes.imshow(frames[moment], cmap="gray", vmin=0, vmax=255, interpolation="antialiased")
        else:
            axes.text(0.5, 0.5, "no frame", color=QUIET, ha="center", va="center", transform=axes.transAxes)


def _prepare(axes: Axes, stroke: StrokeMeasures, time_ms: FloatArray, *, most_ticks: int) -> None:
    from matplotlib.ticker import MaxNLocator

    axes.set_xlim(time_ms[0], time_ms[-1])
    axes.xaxis.set_major_locator(MaxNLocator(nbins=7, steps=[1, 2, 2.5, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(nbins=most_ticks, steps=[1, 2, 5, 10]))
    axes.tick_params(length=3, color=QUIET)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.axhline(0, color=QUIET, linewidth=0.8, zorder=1)
    if stroke.top_s.known:
        axes.axvspan(_from_impact_ms(stroke, stroke.top_s), 0, color=FORWARD_TINT, linewidth=0, zorder=0)
    for estimate in (stroke.takeaway_s, stroke.top_s, stroke.impact_s, stroke.finish_s):
        if estimate.known:
            axes.axvline(_from_impact_ms(stroke, estimate), color=QUIET, linewidth=0.9, zorder=1)


def _name(axes: Axes, words: str) -> None:
    axes.set_title(
        words, size=12, loc="left", pad=5, x=(MARGIN_IN - LEFT_IN) / (WIDTH_IN - LEFT_IN - RIGHT_IN)
    )


def _draw_halves(axes: Axes, time_ms: FloatArray, values: FloatArray, colour: str) -> None:
    """Draw a curve that breaks at impact, where the speed steps."""
    for half in (time_ms <= 0, time_ms > 0):
        axes.plot(time_ms[half], values[half], color=colour, linewidth=2.2, solid_capstyle="round", zorder=3)


def _draw_acceleration(axes: Axes, stroke: StrokeMeasures, time_ms: FloatArray) -> None:
    profile = stroke.profile
    reach = INTERVAL_SDS * profile.a_sd_mps2
    for half in (time_ms <= 0, time_ms > 0):
        axes.fill_between(
            time_ms[half],
            (profile.a_mps2 - reach)[half],
            (profile.a_mps2 + reach)[half],
            color=ACCENT,
            alpha=0.25,
            linewidth=0,
            zorder=2,
        )
    _draw_halves(axes, time_ms, profile.a_mps2, ACCENT)
    axes.margins(y=0.15)  # room for the figure above the peak
    in_g = axes.secondary_yaxis("right", functions=(_to_g, _from_g))
    in_g.spines["right"].set_visible(False)
    in_g.tick_params(length=3, color=QUIET, labelcolor=QUIET)
    axes.set_title(
        "share of g", size=11, loc="right", pad=5, x=1 + (RIGHT_IN - MARGIN_IN) / WIDTH_IN, color=QUIET
    )
    if not abs(stroke.impact_s.value - stroke.peak_acceleration_s.value) < ONE_FIGURE_S:
        _point_at(axes, stroke, stroke.peak_acceleration_s, stroke.peak_acceleration_mps2, (0, 9), "center")
    _point_at(axes, stroke, stroke.impact_s, stroke.acceleration_at_impact_mps2, (9, 5), "left")


def _to_g(acceleration: Any) -> Any:  # noqa: ANN401 - matplotlib hands over numbers and arrays
    return acceleration / STANDARD_GRAVITY_MPS2


def _from_g(share: Any) -> Any:  # noqa: ANN401
    return share * STANDARD_GRAVITY_MPS2


def _point_at(
    axes: Axes, stroke: StrokeMeasures, when: Estimate, value: Estimate, offset: tuple[int, int], align: str
) -> None:
    if not (when.known and value.known):
        return
    place = (_from_impact_ms(stroke, when), value.value)
    axes.plot(*place, "o", markersize=7, color="white", markeredgecolor=ACCENT, markeredgewidth=2, zorder=4)
    axes.annotate(
        f"{value.value:.1f}",
        place,
        xytext=offset,
        textcoords="offset points",
        ha=align,
        color=ACCENT,
        weight="bold",
        zorder=5,
    )


def _name_events(axes: Axes, stroke: StrokeMeasures) -> None:
    """Label the time axis twice: milliseconds from impact, and below them the events."""
    named = (
        (stroke.takeaway_s, "takeaway"),
        (stroke.top_s, "top"),
        (stroke.impact_s, "pass" if stroke.practice else "impact"),
        (stroke.finish_s, "finish"),
    )
    for estimate, word in named:
        if estimate.known:
            axes.annotate(
                word,
                (_from_impact_ms(stroke, estimate), 0),
                xycoords=("data", "axes fraction"),
                xytext=(0, -24),
                textcoords="offset points",
                ha="center",
                va="top",
            )
    axes.annotate(
        "ms from impact",
        (1, 0),
        xycoords="axes fraction",
        xytext=(0, -40),
        textcoords="offset points",
        ha="right",
        va="top",
        color=QUIET,
        size=11,
    )


def _from_impact_ms(stroke: StrokeMeasures, when: Estimate) -> float:
    return 1e3 * (when.value - stroke.impact_s.value)
