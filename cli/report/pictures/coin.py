"""The picture of a stroke and its coin: the friction demanded, and a side view to scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pennyfall.cli.report.palette import ACCENT, FORWARD_TINT, INK, QUIET
from pennyfall.cli.report.pictures.figure_file import FileKind, figure_file
from pennyfall.cli.report.pictures.fitting import fit
from pennyfall.cli.report.tables.coin import from_top, place, places, times_from_top
from pennyfall.kinematics.coin.fall import Departure
from pennyfall.kinematics.coin.prediction import CoinPrediction
from pennyfall.kinematics.values import BALL_RADIUS_M, INTERVAL_SDS, FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COIN_INK = "#0f6380"
"""The coin and what it does; it stays apart from the rust of the demand for every kind of colour vision."""
WIDTH_IN, MARGIN_IN, LEFT_IN, RIGHT_IN = 6.0, 0.18, 0.62, 0.25
HEADING_IN, LINE_IN, DEMAND_IN, GAP_IN, FOOT_IN = 0.86, 0.25, 2.8, 1.0, 0.62
MARKS_SHARE = 0.26
"""Room above the curve for the marks, as a share of its height."""
LOW_M, HIGH_M = -0.012, 0.085
"""Heights shown in the side view [m]."""


def coin_picture(prediction: CoinPrediction, *, title: str, kind: FileKind = "png") -> bytes:
    """Return the picture as a file's content, the same bytes for the same stroke."""
    return figure_file(lambda: draw_coin(prediction, title=title), kind)


def draw_coin(prediction: CoinPrediction, *, title: str) -> Figure:
    """Return the figure."""
    from matplotlib.figure import Figure

    left_m, right_m = _side_limits_m(prediction)
    inner_in = WIDTH_IN - LEFT_IN - RIGHT_IN
    side_in = inner_in * (HIGH_M - LOW_M) / (right_m - left_m)
    heading_in = HEADING_IN + LINE_IN * len(_fate(prediction))
    height_in = heading_in + DEMAND_IN + GAP_IN + side_in + FOOT_IN
    figure = Figure(figsize=(WIDTH_IN, height_in))

    def axes_at(from_top_in: float, tall_in: float) -> Axes:
        bottom = 1 - (from_top_in + tall_in) / height_in
        return figure.add_axes((LEFT_IN / WIDTH_IN, bottom, inner_in / WIDTH_IN, tall_in / height_in))

    _write_heading(figure, prediction, title)
    _draw_demand(axes_at(heading_in, DEMAND_IN), prediction)
    side = axes_at(heading_in + DEMAND_IN + GAP_IN, side_in)
    side.set_xlim(100 * left_m, 100 * right_m)
    side.set_ylim(100 * LOW_M, 100 * HIGH_M)
    _draw_side(side, prediction)
    return figure


def _write_heading(figure: Figure, prediction: CoinPrediction, title: str) -> None:
    height_in = figure.get_figheight()
    left, room_in = MARGIN_IN / WIDTH_IN, WIDTH_IN - 2 * MARGIN_IN
    heading = figure.text(left, 1 - 0.14 / height_in, title, size=15, weight="bold", va="top")
    fit(heading, room_in)
    fate = "\n".join(_fate(prediction))
    said = figure.text(left, 1 - 0.44 / height_in, fate, size=12, va="top", color=COIN_INK, linespacing=1.3)
    fit(said, room_in)


def _fate(prediction: CoinPrediction) -> list[str]:
    """Return what becomes of the coin, line by line."""
    band, top_s = prediction.band, prediction.stroke.top_s.value
    seen_s = band.observed_leave_s
    lines = ["Seen to stay on"] if band.seen == "stayed" else []
    if band.seen == "left":
        lines = ["Seen to leave" + (f" {from_top(seen_s.value, top_s)}" if seen_s.known else "")]
    if band.leave_s is None or band.landing_x_m is None:
        return [*lines, "The coin would stay on"]
    lines += [f"Would leave {times_from_top(band.leave_s, top_s)}", f"and land {places(band.landing_x_m)}"]
    if band.outcome == "either" and band.seen not in ("left", "stayed"):
        held = [each.friction.static for each in prediction.rides if each.departure is None]
        lines.append("or stay on" + (f", at friction {min(held):.2f} and more" if held else ""))
    return lines


def _draw_demand(axes: Axes, prediction: CoinPrediction) -> None:
    motion, stroke, band = prediction.motion, prediction.stroke, prediction.band
    time_ms = 1e3 * (motion.t_s - stroke.impact_s.value)
    top_ms = 1e3 * (stroke.top_s.value - stroke.impact_s.value)
    axes.set_title("Friction demand (share of the normal force, + backward)", size=12, loc="left", pad=6,
                   x=(MARGIN_IN - LEFT_IN) / (WIDTH_IN - LEFT_IN - RIGHT_IN))  # fmt: skip
    axes.axvspan(top_ms, 0, color=FORWARD_TINT, linewidth=0, zorder=0)
    axes.axhspan(*band.friction, color=COIN_INK, alpha=0.18, linewidth=0, zorder=1)
    axes.axhline(0, color=QUIET, linewidth=0.8, zorder=1)
    reach = INTERVAL_SDS * motion.demand_sd
    for half in (slice(0, motion.impact_index), slice(motion.impact_index, None)):
        axes.fill_between(time_ms[half], (motion.demand - reach)[half], (motion.demand + reach)[half],
                          color=ACCENT, alpha=0.25, linewidth=0, zorder=2)  # fmt: skip
        axes.plot(time_ms[half], motion.demand[half], color=ACCENT, linewidth=2.2, zorder=3)
    before = motion.demand[: motion.impact_index]
    low, high = min(float(before.min()), -0.1), max(float(before.max()), band.friction[1])
    axes.set_ylim(
        low - 0.08, high + MARKS_SHARE * (high - low)
    )  # after impact the demand may leave the picture
    axes.set_xlim(time_ms[0], min(float(time_ms[-1]), 200.0))
    for instant_ms, word in ((top_ms, "top"), (0.0, "impact")):
        axes.axvline(instant_ms, color=QUIET, linewidth=0.9, zorder=1)
        axes.annotate(word, (instant_ms, 0), xycoords=("data", "axes fraction"), xytext=(0, -24),
                      textcoords="offset points", ha="center", va="top")  # fmt: skip
    axes.annotate("ms from impact", (1, 0), xycoords="axes fraction", xytext=(0, -40),
                  textcoords="offset points", ha="right", va="top", color=QUIET, size=11)  # fmt: skip
    axes.annotate("friction", (0, sum(band.friction) / 2), xycoords=("axes fraction", "data"), xytext=(6, 0),
                  textcoords="offset points", va="center", color=COIN_INK, size=11)  # fmt: skip
    _mark_instants(axes, prediction)
    axes.tick_params(length=3, color=QUIET)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)


def _mark_instants(axes: Axes, prediction: CoinPrediction) -> None:
    """Mark slip and leave as bars over the friction range, above the curve."""
    impact_s = prediction.stroke.impact_s.value
    top = axes.get_ylim()[1]
    step = (top - axes.get_ylim()[0]) * 0.085
    marks = (("slips", prediction.band.slip_s, 1), ("leaves", prediction.band.leave_s, 2))
    for word, band_s, row in marks:
        if band_s is None:
            continue
        early, late = (1e3 * (each - impact_s) for each in band_s)
        level = top - row * step + step / 2
        axes.plot([early, late], [level, level], color=COIN_INK, linewidth=5, solid_capstyle="butt", zorder=5)
        axes.plot([early, late], [level, level], "|", color=COIN_INK, markersize=9, zorder=5)
        axes.annotate(word, (early, level), xytext=(-6, 0), textcoords="offset points", ha="right",
                      va="center", color=COIN_INK, weight="bold", zorder=5)  # fmt: skip


def _side_limits_m(prediction: CoinPrediction) -> tuple[float, float]:
    band, before = prediction.band, slice(0, prediction.motion.impact_index)
    spots = [*(band.landing_x_m or ()), *(band.leave_x_m or ())]
    if band.observed_landing_x_m.known:
        spots.append(band.observed_landing_x_m.value)
    leftmost = min([float(prediction.motion.x_m[before].min()), *spots]) - 0.06
    return leftmost, max([BALL_RADIUS_M, *spots]) + 0.06


def _draw_side(axes: Axes, prediction: CoinPrediction) -> None:
    """Draw ball, head and coin from the side, seen with the target to the right, to scale."""
    from matplotlib.patches import Circle

    axes.set_title("Side view, to scale", size=12, loc="left", pad=6,
                   x=(MARGIN_IN - LEFT_IN) / (WIDTH_IN - LEFT_IN - RIGHT_IN))  # fmt: skip
    motion, shelf, band = prediction.motion, prediction.setup.shelf, prediction.band
    axes.axhline(0, color=INK, linewidth=1.2, zorder=2)
    radius_cm = 100 * BALL_RADIUS_M
    axes.add_patch(
        Circle((0, radius_cm), radius_cm, facecolor="white", edgecolor=INK, linewidth=1.4, zorder=3)
    )
    before = slice(0, motion.impact_index)
    floor_cm = 100 * (shelf.floor_height_m + motion.rise_m[before])
    axes.plot(100 * motion.x_m[before], floor_cm, color=QUIET, linewidth=1, linestyle=(0, (4, 3)), zorder=2)
    _draw_head(axes, prediction, 0, QUIET)
    departures = [each.departure for each in prediction.rides if each.departure is not None]
    for left in {left.leave_s: left for left in (*departures[:1], *departures[-1:])}.values():
        _draw_head(axes, prediction, int(np.searchsorted(motion.t_s, left.leave_s)), INK)
        _draw_flight(axes, left)
    if band.landing_x_m is not None:
        near, far = (100 * each for each in band.landing_x_m)
        axes.plot([near, far], [-0.45, -0.45], color=COIN_INK, linewidth=6, solid_capstyle="butt", zorder=4)
    if band.observed_landing_x_m.known:
        axes.plot(100 * band.observed_landing_x_m.value, 0, "v", color=ACCENT, markersize=9, zorder=6,
                  label=f"found {place(band.observed_landing_x_m.value)}")  # fmt: skip
        axes.legend(loc="upper right", frameon=False, fontsize=11, handletextpad=0.2, borderpad=0.0)
    axes.set_yticks([0, 4, 8])
    axes.tick_params(length=3, color=QUIET)
    axes.set_xlabel("cm from the ball along the target line (target to the right)", size=11, color=QUIET)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)


def _draw_head(axes: Axes, prediction: CoinPrediction, index: int, colour: str) -> None:
    """Draw the coin's floor with lip and wall, tilted as at one sample of the motion."""
    motion, shelf, coin = prediction.motion, prediction.setup.shelf, prediction.setup.coin
    rear, front = -shelf.edge_distance_m, coin.diameter_m / 2 + shelf.front_room_m
    corners = [(rear, shelf.lip_height_m), (rear, 0.0), (front, 0.0), (front, shelf.cavity_depth_m)]
    outline = np.array(corners) + np.array([shelf.coin_from_tag_m, 0.0])
    at = min(index, len(motion.t_s) - 1)
    cosine, sine = np.cos(motion.tilt_rad[at]), np.sin(motion.tilt_rad[at])
    turned: FloatArray = outline @ np.array([[cosine, sine], [-sine, cosine]])
    x_cm = 100 * (motion.x_m[at] + turned[:, 0])
    z_cm = 100 * (shelf.floor_height_m + motion.rise_m[at] + turned[:, 1])
    axes.plot(x_cm, z_cm, color=colour, linewidth=2, solid_joinstyle="miter", zorder=3)


def _draw_flight(axes: Axes, left: Departure) -> None:
    """Draw the fall as the parabola between leaving and landing."""
    share = np.linspace(0, 1, 40)
    x_cm = 100 * (left.leave_x_m + share * (left.landing_x_m - left.leave_x_m))
    axes.plot(x_cm, 100 * left.leave_z_m * (1 - share**2), color=COIN_INK, linewidth=1.6, zorder=4)
    axes.plot(x_cm[0], 100 * left.leave_z_m, "o", color=COIN_INK, markersize=5, zorder=5)
