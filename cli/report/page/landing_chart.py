"""Where the coin would land along the target line: a bar for each stroke, over the range of friction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from pennyfall.cli.report.page.svg import PlotArea, cut_to, drawing, element, padded, ticks
from pennyfall.cli.report.palette import tone
from pennyfall.kinematics.values import CoinSeen

WIDTH = 360.0
HEAD, FOOT, NAME, FATES, BAR = 6.0, 40.0, 20.0, 15.0, 9.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Landing:
    """One stroke's coin."""

    stroke: str
    """Id of the stroke."""
    band_cm: tuple[float, float] | None
    """Nearest and farthest landing spot from the ball; None when the coin stays on."""
    may_stay: bool
    """Whether the friction decides if it leaves at all."""
    seen_cm: float | None
    """Where it was seen or stated to land."""
    seen: CoinSeen = "not told"
    """What the clip shows of it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LandingRow:
    """One condition at one putt length."""

    condition: int
    label: str
    landings: tuple[Landing, ...]

    @property
    def shown(self) -> tuple[Landing, ...]:
        """Those with anything to draw."""
        return tuple(each for each in self.landings if each.band_cm or each.seen_cm is not None)

    @property
    def fates(self) -> str:
        """In how many strokes the coin was seen to stay or leave, or would stay on or may; else empty."""
        counts = (
            ("seen to stay on", sum(each.seen == "stayed" for each in self.landings)),
            ("seen to leave", sum(each.seen == "left" for each in self.landings)),
            (
                "would stay on",
                sum(each.band_cm is None and each.seen == "not told" for each in self.landings),
            ),
            ("may stay on", sum(each.may_stay for each in self.landings)),
        )
        return ", ".join(f"{fate} in {count} of {len(self.landings)}" for fate, count in counts if count)


def landing_chart(rows: Sequence[LandingRow], *, title: str) -> Markup:
    """Return the drawing of all coins of a lesson, the ball at zero, the target to the right."""
    height = HEAD + FOOT + sum(_row_height(row) for row in rows)
    spots = [
        spot
        for row in rows
        for each in row.landings
        for spot in (*(each.band_cm or ()), *([] if each.seen_cm is None else [each.seen_cm]))
    ]
    low, high = padded([0.0, *spots], share=0.12)
    area = PlotArea(left=10, right=WIDTH - 10, top=HEAD, bottom=height - FOOT, x_range=(low, high))
    parts: list[Markup] = []
    for value in ticks(low, high):
        x = area.x(value)
        parts.append(element("line", x1=x, x2=x, y1=HEAD, y2=area.bottom, class_="grid"))
        parts.append(element("text", f"{value:g}", x=x, y=area.bottom + 15, class_="axis middle"))
    parts.append(element("line", x1=area.x(0), x2=area.x(0), y1=HEAD, y2=area.bottom, class_="zero"))
    parts.append(element("circle", cx=area.x(0), cy=area.bottom, r=5.0, class_="ball"))
    caption = "cm from the ball along the target line, target to the right"
    parts.append(element("text", caption, x=WIDTH / 2, y=height - 6, class_="axis middle"))
    top = HEAD
    for row in rows:
        parts += _row(area, row, top)
        top += _row_height(row)
    return drawing(WIDTH, height, title, parts)


def _row_height(row: LandingRow) -> float:
    return NAME + (FATES if row.fates else 0) + BAR * len(row.shown) + 6


def _row(area: PlotArea, row: LandingRow, top: float) -> list[Markup]:
    label = cut_to(row.label, area.right - area.left)
    parts = [element("text", label, x=area.left, y=top + 13, class_="label")]
    if row.fates:
        parts.append(element("text", row.fates, x=area.left, y=top + 13 + FATES, class_="axis"))
        top += FATES
    for index, each in enumerate(row.shown):
        y = top + NAME + BAR * index + BAR / 2
        if each.band_cm is not None:
            near, far = (area.x(spot) for spot in sorted(each.band_cm))
            parts.append(
                element("rect", x=near - 2, width=far - near + 4, y=y - 3, height=6.0, rx=3.0,
                        class_=f"landing {tone(row.condition)}", data_stroke=each.stroke)
            )  # fmt: skip
        if each.seen_cm is not None:
            x = area.x(each.seen_cm)
            parts.append(element("path", d=f"M{x - 4:.1f} {y - 4:.1f}l8 8m0 -8l-8 8", class_="seen"))
    return parts
