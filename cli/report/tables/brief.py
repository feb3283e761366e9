"""The measurement in short, for the terminal: a sentence a stroke, eight figures, what to mind."""

from __future__ import annotations

import textwrap

from pennyfall.cli.report.quantities import estimate_text
from pennyfall.cli.report.stroke_words import eight_figures, stroke_sentence
from pennyfall.cli.report.tables.coin import seen_sentence
from pennyfall.kinematics.values import INTERVAL_SDS, Measurement, StrokeMeasures

WIDTH = 80
VALUE_CELLS = 20
STROKES_ABREAST = 2
RESTS_ON = {
    "sheet": "the sheet",
    "head-tag": "the head tag alone",
    "ball": "the ball's size",
    "stated": "what was stated",
}


def brief_table(measurement: Measurement) -> str:
    """Return what a coach needs of a measurement, at most 80 columns wide."""
    strokes = measurement.strokes
    lines = [measurement.clip.file]
    for stroke in strokes:
        lead = f"Stroke {stroke.number}: " if len(strokes) > 1 else ""
        lines += textwrap.wrap(f"{lead}{stroke_sentence(stroke)} {seen_sentence(stroke)}".rstrip(), WIDTH)
    for first in range(0, len(strokes), STROKES_ABREAST):
        lines += ["", *_figures(strokes[first : first + STROKES_ABREAST], alone=len(strokes) == 1)]
    lines += ["", *_rests_on(measurement)]
    for caution in measurement.warnings:
        lines += textwrap.wrap(f"Mind: {caution.message}", WIDTH, subsequent_indent="  ")
    return "\n".join(lines) + "\n"


def _figures(strokes: tuple[StrokeMeasures, ...], *, alone: bool) -> list[str]:
    """Return a line a figure: each stroke's value, what it is and, for a stroke alone, what it tells."""
    columns = [eight_figures(each) for each in strokes]
    indent = " " * (2 + VALUE_CELLS * len(strokes))
    lines = [] if alone else ["  " + "".join(f"{f'stroke {each.number}':<{VALUE_CELLS}}" for each in strokes)]
    for row in zip(*columns, strict=True):
        values = "".join(f"{each.value:<{VALUE_CELLS}}" for each in row)
        words = f"{row[0].label}: {row[0].reading}" if alone else row[0].label
        lines += textwrap.wrap(f"  {values}{words}", WIDTH, subsequent_indent=indent)
    return lines


def _rests_on(measurement: Measurement) -> list[str]:
    facts, clip = measurement.calibration, measurement.clip
    scale = f"{100 * INTERVAL_SDS * facts.scale_rel_sd:.1f} %"
    words = (
        f"± is the half-width of the 95 % interval. {clip.frames} frames, {clip.frame_rate_hz:.4g} a second; "
        f"the scale rests on {RESTS_ON[facts.source]}, to {scale}"
    )
    if facts.tag_height_m.known:
        words += f", tag height {estimate_text(facts.tag_height_m, 1e3)} mm ({facts.tag_height_source})"
    return textwrap.wrap(f"{words}.", WIDTH)
