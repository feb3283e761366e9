"""The picture of a clip's strokes: in a sentence, the head at four moments, and its course to the target."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from pennyfall.cli.report.palette import ACCENT, FORWARD_TINT, INK, QUIET
from pennyfall.cli.report.pictures.figure_file import PIXELS_PER_INCH, FileKind, figure_file
from pennyfall.cli.report.pictures.fitting import fit, fitted
from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.stroke_words import NOT_TOLD, ending, figure_text, place_of_peak, stroke_sentence
from pennyfall.cli.report.words.numbers import NO_BREAK_SPACE, typeset
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
FILE_IN, LINE_IN, FIGURES_IN, FOOT_IN = 0.40, 0.26, 0.56, 0.98
FRAME_NAME_IN, FRAME_GAP_IN, FRAME_MOST_IN = 0.24, 0.07, 1.6
PANEL_GAP_IN = 0.42
POSITION_IN, SPEED_IN, ACCELERATION_IN = 1.05, 1.05, 2.3
"""Heights of the panels: the acceleration decides the verdict and gets the room."""
TITLE: dict[str, Any] = {"size": 15, "weight": "bold"}
TITLE_LINES = 4

MOST_STROKES = 3
"""Strokes in one picture; chosen by us: more are too small on a phone's screen, or the picture too long."""

ONE_FIGURE_S = 0.02
"""Chosen by us: a peak this near to the impact has the impact's label; two would overlap."""
LABEL_IN = 0.62
"""Room above the peak for its label."""
LEAST_BESIDE_IN = 1.0
"""Chosen by us: with less room than this after impact, its label stands before it."""

LABEL: dict[str, Any] = {"ha": "left", "color": ACCENT, "weight": "bold", "size": 10, "zorder": 6}

HEADLINES = ("backswing_s", "forward_swing_s", "tempo_ratio", "impact_speed_mps")
HEADLINES_IN = (0.0, 1.25, 2.75, 4.14)
"""Where they stand, by the room their labels and figures need."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Pictured:
    """A stroke with its frames."""

    stroke: StrokeMeasures
    frames: Frames


def strokes_picture(strokes: Sequence[Pictured], *, file: str, kind: FileKind = "png") -> bytes:
    """Return the picture of a clip's strokes as a file's content, the same bytes for the same strokes.

    One stroke has position, speed and acceleration; of several, one below the other on the same scales, each
    has its acceleration, which tells them apart.

    Parameters
    ----------
    strokes : sequence of Pictured
        The strokes, at most `MOST_STROKES`.
    file : str
        The clip's name.
    kind : {'png', 'svg'}
        File format.

    """
    return figure_file(lambda: draw_strokes(strokes, file=file), kind)


def draw_strokes(strokes: Sequence[Pictured], *, file: str) -> Figure:
    """Return the figure of strokes."""
    from matplotlib.figure import Figure

    alone = len(strokes) == 1
    titles = [_title(each.stroke, alone=alone) for each in strokes]
    heights_in = [_block_in(each, title, alone=alone) for each, title in zip(strokes, titles, strict=True)]
    figure = Figure(figsize=(WIDTH_IN, FILE_IN + sum(heights_in)), dpi=PIXELS_PER_INCH)
    scales = _Scales.of([each.stroke for each in strokes])
    name = fitted(file, WIDTH_IN - 2 * MARGIN_IN, size=11)
    _write(figure, 0.0, 0.14, name, size=11, color=QUIET)
    from_top_in = FILE_IN
    for each, title, height_in in zip(strokes, titles, heights_in, strict=True):
        _draw_block(figure, each, title, scales, from_top_in, alone=alone)
        from_top_in += height_in
    return figure


def _title(stroke: StrokeMeasures, *, alone: bool) -> str:
    words = stroke_sentence(stroke) if alone else f"Stroke {stroke.number}: {stroke_sentence(stroke)}"
    unbroken = words.replace(" : 1", f"{NO_BREAK_SPACE}:{NO_BREAK_SPACE}1")
    return fitted(unbroken, WIDTH_IN - 2 * MARGIN_IN, most_lines=TITLE_LINES, **TITLE)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Scales:
    """Ends of the axes that strokes in one picture share."""

    time_ms: tuple[float, float]
    acceleration_mps2: tuple[float, float]

    @classmethod
    def of(cls, strokes: Sequence[StrokeMeasures]) -> _Scales:
        times = [_times_ms(each)[[0, -1]] for each in strokes]
        ends = [
            each.profile.a_mps2 + sign * INTERVAL_SDS * each.profile.a_sd_mps2
            for each in strokes
            for sign in (-1, 1)
        ]
        low, high = (float(end(np.concatenate(ends))) for end in (np.min, np.max))
        low, of_label = low - 0.06 * (high - low), LABEL_IN / ACCELERATION_IN
        return cls(
            time_ms=(float(np.min(times)), float(np.max(times))),
            acceleration_mps2=(low, high + of_label / (1 - of_label) * (high - low)),
        )


def _times_ms(stroke: StrokeMeasures) -> FloatArray:
    return 1e3 * (stroke.profile.t_s - stroke.impact_s.value)


def _panels_in(*, alone: bool) -> tuple[float, ...]:
    return (POSITION_IN, SPEED_IN, ACCELERATION_IN) if alone else (ACCELERATION_IN,)


def _block_in(shown: Pictured, title: str, *, alone: bool) -> float:
    panels_in = _panels_in(alone=alone)
    title_in = LINE_IN * (title.count("\n") + 1)
    return (
        title_in
        + FIGURES_IN
        + _frame_height_in(shown.frames)
        + sum(panels_in)
        + len(panels_in) * PANEL_GAP_IN
        + FOOT_IN
    )


def _draw_block(
    figure: Figure, shown: Pictured, title: str, scales: _Scales, from_top_in: float, *, alone: bool
) -> None:
    stroke, frame_in = shown.stroke, _frame_height_in(shown.frames)
    _write(figure, 0.0, from_top_in, title, **TITLE)
    from_top_in += LINE_IN * (title.count("\n") + 1) + 0.08
    _write_figures(figure, stroke, from_top_in)
    from_top_in += FIGURES_IN - 0.08
    _draw_frames(figure, shown.frames, from_top_in, frame_in)
    from_top_in += frame_in
    panels = []
    for panel_in in _panels_in(alone=alone):
        from_top_in += PANEL_GAP_IN
        panels.append(_add_axes(figure, LEFT_IN, from_top_in, WIDTH_IN - LEFT_IN - RIGHT_IN, panel_in))
        _prepare(panels[-1], stroke, scales.time_ms, most_ticks=round(3.5 * panel_in))
        from_top_in += panel_in
    (*others, acceleration), time_ms = panels, _times_ms(stroke)
    courses = (
        (stroke.profile.x_m, "Position along the target line, cm"),
        (stroke.profile.v_mps, "Speed, cm/s"),
    )
    for axes, (course, words) in zip(others, courses if alone else (), strict=True):
        axes.tick_params(labelbottom=False)
        _draw_halves(axes, time_ms, 1e2 * course, INK)
        _name(axes, words)
    acceleration.set_ylim(scales.acceleration_mps2)
    _draw_acceleration(acceleration, stroke, time_ms)
    _name(acceleration, "Acceleration, m/s² (+ toward the target)")
    _name_events(acceleration, stroke)


def _write(figure: Figure, left_in: float, from_top_in: float, words: str, **font: Any) -> None:  # noqa: ANN401
    left, bottom = (MARGIN_IN + left_in) / WIDTH_IN, 1 - from_top_in / figure.get_figheight()
    figure.text(left, bottom, words, va="top", **font)


def _add_axes(figure: Figure, left_in: float, from_top_in: float, width_in: float, height_in: float) -> Axes:
    figure_in = figure.get_figheight()
    bottom = 1 - (from_top_in + height_in) / figure_in
    return figure.add_axes((left_in / WIDTH_IN, bottom, width_in / WIDTH_IN, height_in / figure_in))


def _write_figures(figure: Figure, stroke: StrokeMeasures, from_top_in: float) -> None:
    for name, left_in in zip(HEADLINES, HEADLINES_IN, strict=True):
        _write(figure, left_in, from_top_in, quantity(name).label, size=10, color=QUIET)
        figure_said = typeset(figure_text(name, getattr(stroke, name)))
        _write(figure, left_in, from_top_in + 0.18, figure_said, size=12)


def _frame_height_in(frames: Frames) -> float:
    if not frames:
        return 0.0
    tallest: float = max(frame.shape[0] / frame.shape[1] for frame in frames.values())
    return min(_frame_width_in() * tallest, FRAME_MOST_IN) + FRAME_NAME_IN


def _frame_width_in() -> float:
    return (WIDTH_IN - 2 * MARGIN_IN - (len(MOMENTS) - 1) * FRAME_GAP_IN) / len(MOMENTS)


def _draw_frames(figure: Figure, frames: Frames, from_top_in: float, frame_in: float) -> None:
    width_in = _frame_width_in()
    for column, moment in enumerate(MOMENTS if frames else ()):
        left_in = MARGIN_IN + column * (width_in + FRAME_GAP_IN)
        axes = _add_axes(figure, left_in, from_top_in + FRAME_NAME_IN, width_in, frame_in - FRAME_NAME_IN)
        axes.set_axis_off()
        axes.set_title(moment, size=11, pad=3, loc="left", color=QUIET)
        if moment in frames:
            axes.imshow(frames[moment], cmap="gray", vmin=0, vmax=255, interpolation="antialiased")
        else:
            axes.text(0.5, 0.5, "no frame", color=QUIET, ha="center", va="center", transform=axes.transAxes)


def _prepare(axes: Axes, stroke: StrokeMeasures, ends_ms: tuple[float, float], *, most_ticks: int) -> None:
    from matplotlib.ticker import MaxNLocator

    axes.set_xlim(ends_ms)
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
    from matplotlib.ticker import MaxNLocator

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
    in_g = axes.secondary_yaxis("right", functions=(_to_g, _from_g))
    in_g.spines["right"].set_visible(False)
    in_g.tick_params(length=3, color=QUIET, labelcolor=QUIET)
    ends = np.array(axes.get_ylim()) / STANDARD_GRAVITY_MPS2
    ticks = MaxNLocator(nbins=8, steps=[1, 2, 5, 10]).tick_values(*ends)
    in_g.set_yticks([each for each in ticks if ends[0] < each < 0.95 * ends[1]])  # clear of the title
    axes.set_title(
        "share of g", size=11, loc="right", pad=5, x=1 + (RIGHT_IN - MARGIN_IN) / WIDTH_IN, color=QUIET
    )
    if not abs(stroke.impact_s.value - stroke.peak_acceleration_s.value) < ONE_FIGURE_S:
        _label_peak(axes, stroke)
    _label_ending(axes, stroke)


def _to_g(acceleration: Any) -> Any:  # noqa: ANN401 - matplotlib hands over numbers and arrays
    return acceleration / STANDARD_GRAVITY_MPS2


def _from_g(share: Any) -> Any:  # noqa: ANN401
    return share * STANDARD_GRAVITY_MPS2


def _label_peak(axes: Axes, stroke: StrokeMeasures) -> None:
    """Mark where the head was pulled hardest, as far as it is told, and write how hard, left of impact."""
    when, value, share = (
        stroke.peak_acceleration_s,
        stroke.peak_acceleration_mps2,
        stroke.peak_acceleration_share,
    )
    if not (when.known and value.known):
        return
    at_ms, reach_ms = _from_impact_ms(stroke, when), 1e3 * INTERVAL_SDS * when.sd
    from_ms = _from_impact_ms(stroke, stroke.top_s) if stroke.top_s.known else at_ms
    span_ms = np.clip([at_ms - reach_ms, at_ms + reach_ms], min(from_ms, at_ms), 0.0)
    _ring(axes, at_ms, value.value)
    axes.annotate(
        "",
        (span_ms[0], value.value),
        xytext=(span_ms[1], value.value),
        arrowprops={"arrowstyle": "|-|,widthA=0.25,widthB=0.25", "color": ACCENT, "shrinkA": 0, "shrinkB": 0},
        zorder=4,
    )
    where = place_of_peak(share, practice=stroke.practice) if share.known else NOT_TOLD
    words = figure_text("peak_acceleration_mps2", value) + (f"\n{where}" if where != NOT_TOLD else "")
    before_in = _inches_of(axes, 0.0) - 0.05
    label = axes.annotate(
        typeset(words), (at_ms, value.value), xytext=(0, 9), textcoords="offset points", **LABEL
    )
    fit(label, before_in, most_lines=2)
    wide_in = label.get_window_extent().width / PIXELS_PER_INCH
    left_in = np.clip(_inches_of(axes, at_ms) - wide_in / 2, 0.0, max(before_in - wide_in, 0.0))
    label.set_x(72 * (left_in - _inches_of(axes, at_ms)))


def _label_ending(axes: Axes, stroke: StrokeMeasures) -> None:
    """Write what the head does into impact: after it where there is room, for the curve falls away there."""
    at_impact, before = stroke.acceleration_at_impact_mps2, stroke.acceleration_before_impact_mps2
    if not at_impact.known:
        return
    _ring(axes, 0.0, at_impact.value)
    if not before.known:
        return
    figure = figure_text("acceleration_before_impact_mps2", before)
    words = f"{ending(before, practice=stroke.practice)}\n{figure}"
    low, high = axes.get_ylim()
    hangs = at_impact.value > (low + high) / 2
    beside_in = axes.get_position().width * WIDTH_IN - _inches_of(axes, 0.0) - 0.12
    fits = beside_in >= LEAST_BESIDE_IN
    label = axes.annotate(
        typeset(words),
        (0.0, at_impact.value if hangs else max(at_impact.value, 0.0)),
        xytext=(9 if fits else -9, 4),
        textcoords="offset points",
        va="top" if hangs or not fits else "bottom",
        **LABEL | {"ha": "left" if fits else "right"},
    )
    fit(label, beside_in if fits else _inches_of(axes, 0.0) - 0.12, most_lines=3)


def _ring(axes: Axes, at_ms: float, value: float) -> None:
    axes.plot(
        at_ms, value, "o", markersize=7, color="white", markeredgecolor=ACCENT, markeredgewidth=2, zorder=5
    )


def _inches_of(axes: Axes, at_ms: float) -> float:
    """Return how far from the left end of the axes a time stands."""
    low, high = axes.get_xlim()
    return axes.get_position().width * WIDTH_IN * (at_ms - low) / (high - low)


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
