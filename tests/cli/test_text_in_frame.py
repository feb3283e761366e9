"""No text of any picture leaves its frame or meets another, however long the words."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from itertools import combinations
from typing import Any

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backend_bases import RendererBase
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox, BboxBase

from pennyfall.cli.history.trend import FOLLOWED, Trend, TrendPoint
from pennyfall.cli.history.trend_picture import draw_trends
from pennyfall.cli.report.film import strip as clip_strip
from pennyfall.cli.report.pictures.coin import draw_coin
from pennyfall.cli.report.pictures.figure_file import PIXELS_PER_INCH, SETTINGS
from pennyfall.cli.report.pictures.plan import draw_plan
from pennyfall.cli.report.pictures.stroke import Pictured, draw_strokes
from pennyfall.kinematics.coin.friction import FrictionRange, known_coin
from pennyfall.kinematics.coin.inference import ObservedCoin
from pennyfall.kinematics.coin.prediction import CoinSetup, predict_coin
from pennyfall.kinematics.lesson.scatter import scatter
from pennyfall.kinematics.putt.planner import plan_lengths
from pennyfall.kinematics.putt.roll import FOOT_M, Green
from pennyfall.kinematics.putt.scaling import putt
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import Estimate, StrokeMeasures
from tests.cli.synthetic import plateau_stroke
from tests.kinematics.coin_strokes import EARLY, LATE, Stroke

LONG_NAME = (
    "Student-S-01_second lesson of the winter_coin let go at fifteen feet_IMG_20260314_101112.mp4, stroke 12"
)
GENTLE = Stroke(backswing_m=0.06, impact_speed_mps=0.4, top_mps2=1.2, impact_mps2=0.5)
FAST = dataclasses.replace(EARLY, impact_speed_mps=2.5, top_mps2=15.0, backswing_m=0.45)


def stroke_figure(*, slow_motion: bool = False, title: str = LONG_NAME, **changed: Any) -> Figure:  # noqa: ANN401
    """Draw a stroke; eight times too fast in stated slow motion, the other way round for the minus signs."""
    stroke = dataclasses.replace(plateau_stroke(), **changed)
    if slow_motion:
        estimates: dict[str, Any] = {
            each.name: Estimate(-64.0 * value.value, 64.0 * value.sd)
            for each in dataclasses.fields(stroke)
            if isinstance(value := getattr(stroke, each.name), Estimate) and not each.name.endswith("_s")
        }
        profile = dataclasses.replace(
            stroke.profile,
            v_mps=-8 * stroke.profile.v_mps,
            a_mps2=-64 * stroke.profile.a_mps2,
        )
        stroke = dataclasses.replace(stroke, profile=profile, **estimates)
    return draw_strokes([_pictured(stroke)], file=title)


def cut_short_figure() -> Figure:
    """Draw a stroke whose clip ends at impact, with the longest words."""
    stroke = plateau_stroke()
    profile = stroke.profile
    last = int(np.searchsorted(profile.t_s, stroke.impact_s.value)) + 2
    cut = {each.name: getattr(profile, each.name)[:last] for each in dataclasses.fields(profile)}
    return stroke_figure(
        profile=type(profile)(**cut), finish_s=Estimate.missing(), acceleration_before_impact_mps2=UNTOLD
    )


def strokes_figure() -> Figure:
    """Draw three strokes that differ in all that is written."""
    stroke = plateau_stroke()
    peak_s = Estimate(stroke.impact_s.value - 0.03, 0.001)
    late: dict[str, Any] = {"peak_acceleration_s": peak_s, "peak_acceleration_share": Estimate(0.9, 0.04)}
    return draw_strokes(
        [
            _pictured(stroke),
            _pictured(dataclasses.replace(stroke, number=2, acceleration_before_impact_mps2=UNTOLD)),
            _pictured(dataclasses.replace(stroke, number=12, practice=True, **late)),
        ],
        file=LONG_NAME,
    )


UNTOLD = Estimate(0.8, 1.0)
"""A pull before impact that takes the longest words."""


def _pictured(stroke: StrokeMeasures) -> Pictured:
    return Pictured(stroke=stroke, frames={"top": np.full((90, 120), 80, np.uint8)})


def coin_figure(stroke: Stroke, friction: tuple[float, float], *, title: str = LONG_NAME) -> Figure:
    setup = CoinSetup(
        shelf=Shelf(), friction=FrictionRange(low=friction[0], high=friction[1]), coin=known_coin()
    )
    prediction = predict_coin(stroke.measured(), setup)
    spot = prediction.band.landing_x_m
    if spot is not None:
        seen = ObservedCoin(leave_s=Estimate.missing(), landing_x_m=Estimate(spot[0], 0.01))
        prediction = predict_coin(stroke.measured(), setup, seen)
    return draw_coin(prediction, title=title)


def plan_figure(stimp_ft: float, friction: tuple[float, float]) -> Figure:
    green = Green(stimp_m=stimp_ft * FOOT_M, grade=0.0437)
    putts = [putt(EARLY.measured(ball_mps=2.2), green), putt(LATE.measured(ball_mps=3.1), green)]
    plan = plan_lengths(putts, Shelf(), FrictionRange(low=friction[0], high=friction[1]), coin=known_coin())
    return draw_plan(plan, green, title="Where the coin leaves by itself")


def trend_figure(condition: str, putts: int) -> Figure:
    points = tuple(
        TrendPoint(
            date=dt.date(2026, 9, day),
            scatter=scatter([Estimate(each, 0.1) for each in (1.0 + day, 1.1, 1.3)]),
            scale_sd=0.01,
            scale_sources=("sheet",),
            detectable_change=0.4,
        )
        for day in range(20, 28)
    )
    trends = [
        Trend(condition=f"{condition} {number}", putt_ft=6.0 * each, quantity=quantity, points=points)
        for number in range(3)
        for each in range(1, putts + 1)
        for quantity in FOLLOWED
    ]
    return draw_trends("S-01-left-handed-second-year", trends)


def strip_figure(width: int, height: int) -> Figure:
    figures: list[Figure] = []

    def keep(figure: Figure) -> np.ndarray:
        figures.append(figure)
        return np.zeros((height, width, 3), np.uint8)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(clip_strip, "pixels_of", keep)
        stroke = plateau_stroke()
        late = dataclasses.replace(stroke, impact_s=Estimate(float(stroke.profile.t_s[-4]), 0.001))
        clip_strip.AccelerationStrip(late, width, height)
    return figures[0]


AIR_PX = 4
"""Above and below its letters a text's box has more air than this, at 200 dpi."""

PICTURES: dict[str, Callable[[], Figure]] = {
    "stroke": stroke_figure,
    "stroke in slow motion": lambda: stroke_figure(slow_motion=True),
    "stroke named in one word": lambda: stroke_figure(title=LONG_NAME.replace(" ", "_")),
    "stroke that pushes to the end": lambda: stroke_figure(
        acceleration_at_impact_mps2=Estimate(4.6, 0.1),
        acceleration_before_impact_mps2=UNTOLD,
        peak_acceleration_share=Estimate(0.5, 0.9),
    ),
    "stroke whose clip ends at impact": cut_short_figure,
    "three strokes": strokes_figure,
    "coin leaves": lambda: coin_figure(EARLY, (0.18, 0.22)),
    "coin leaves or stays on": lambda: coin_figure(EARLY, (0.18, 0.9)),
    "coin leaves late or stays on": lambda: coin_figure(LATE, (0.18, 0.9)),
    "coin leaves a wild stroke": lambda: coin_figure(FAST, (0.05, 0.9)),
    "coin stays on": lambda: coin_figure(GENTLE, (0.25, 0.4)),
    "plan": lambda: plan_figure(10.0, (0.2, 0.4)),
    "plan on a slow green": lambda: plan_figure(6.75, (0.15, 1.05)),
    "trend": lambda: trend_figure("coin let go", 1),
    "trend of long names": lambda: trend_figure(
        "coin let go from the very top, eyes closed, left hand low", 3
    ),
    "strip": lambda: strip_figure(888, 138),
    "strip of a phone held upright": lambda: strip_figure(326, 138),
    "strip of a small clip": lambda: strip_figure(160, 28),
}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Drawn:
    frame: BboxBase
    texts: dict[Text, Bbox]
    """Where each text that was drawn stands [px]."""


@pytest.fixture(scope="module", params=PICTURES)
def drawn(request: pytest.FixtureRequest) -> Drawn:
    with mpl.rc_context({**SETTINGS, "font.size": 10 if "trend" in request.param else 12}):
        figure = PICTURES[request.param]()
        if "strip" not in request.param:
            figure.set_dpi(PIXELS_PER_INCH)
        return Drawn(frame=figure.bbox, texts=texts_in(figure))


def texts_in(figure: Figure) -> dict[Text, Bbox]:
    drawn: dict[Text, Bbox] = {}
    draw = Text.draw

    def note(text: Text, renderer: RendererBase) -> None:
        draw(text, renderer)
        if text.get_visible() and text.get_text().strip():
            drawn[text] = text.get_window_extent(renderer)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(Text, "draw", note)
        FigureCanvasAgg(figure).draw()  # type: ignore[no-untyped-call]
    return drawn


def test_no_text_leaves_the_frame(drawn: Drawn) -> None:
    frame = drawn.frame
    outside = [
        f"{text.get_text()!r} from ({box.x0:.0f}, {box.y0:.0f}) to ({box.x1:.0f}, {box.y1:.0f}) "
        f"in {frame.width:.0f} x {frame.height:.0f}"
        for text, box in drawn.texts.items()
        if box.x0 < -0.5 or box.y0 < -0.5 or box.x1 > frame.width + 0.5 or box.y1 > frame.height + 0.5
    ]
    assert not outside, "\n".join(outside)


def test_no_text_meets_another(drawn: Drawn) -> None:
    met = [
        f"{one.get_text()!r} meets {other.get_text()!r}"
        for (one, box), (other, second) in combinations(drawn.texts.items(), 2)
        if box.padded(-AIR_PX).overlaps(second.padded(-AIR_PX))
    ]
    assert not met, "\n".join(met)
