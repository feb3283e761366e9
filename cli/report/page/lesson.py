"""A lesson's report: one HTML page that holds everything and asks the network for nothing."""

from __future__ import annotations

import base64
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from importlib.resources import files
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pennyfall.cli.files.lesson_result import LessonResult
from pennyfall.cli.report import safety
from pennyfall.cli.report.page.drawings import (
    condition_inks,
    dot_drawings,
    landing_drawing,
    profile_drawings,
    stroke_id,
)
from pennyfall.cli.report.page.reading import LessonReading
from pennyfall.cli.report.page.tables import pair_tables, summary_table
from pennyfall.cli.report.page.versions import version_figures, version_sentence
from pennyfall.cli.report.palette import INKS, PAPER_DARK, PAPER_LIGHT, ink
from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.tables.written import Told
from pennyfall.cli.report.words.evidence import lesson_sentences
from pennyfall.cli.report.words.numbers import capital, typeset
from pennyfall.cli.report.words.recommendation import because, practice_left_out, verdict, would_change
from pennyfall.cli.report.words.scales import lesson_scales
from pennyfall.cli.report.words.still_to_film import still_to_film
from pennyfall.kinematics.lesson.verdict import LessonComparison
from pennyfall.kinematics.values import Estimate, FloatArray, StrokeMeasures

AT_IMPACT = quantity("acceleration_at_impact_mps2")
MOST_CLAIMS = 3
"""Chosen by us: what a coach takes in at a glance; the others are folded."""
INVENTED = "Invented demonstration: the Larch Room and its student do not exist."


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Film:
    """The annotated clip of one stroke."""

    mp4: bytes
    from_s: float
    """Clip time of its first frame [s]."""
    slow: float
    """How many times slower than life it plays."""


def lesson_page(
    result: LessonResult,
    reading: LessonReading,
    films: Mapping[str, Film],
    *,
    earlier: Told | None = None,
    invented: bool = False,
) -> str:
    """Return the report of a lesson as HTML.

    Parameters
    ----------
    result : LessonResult
        The measured strokes.
    reading : LessonReading
        Their comparison.
    films : mapping of str to Film
        Annotated clips by stroke id (`stroke_id`); strokes without one are shown without a picture.
    earlier : Told, optional
        What the student's earlier lessons say.
    invented : bool
        Say that the lesson is a made-up demonstration.

    """
    comparison = reading.comparison
    changes = would_change(comparison.recommendation) if comparison else ()
    return (
        templates()
        .get_template("lesson_page.html.j2")
        .render(
            **lesson_so_far(result, reading),
            lesson=result.lesson,
            date=f"{result.lesson.date.day} {result.lesson.date:%B %Y}",
            invented=INVENTED if invented else "",
            refused=result.refused,
            earlier=earlier,
            others=_said(comparison),
            would_change=[typeset(each) for each in changes],
            dots=dot_drawings(result, reading.summaries),
            landing=landing_drawing(result),
            pairs=pair_tables(comparison) if comparison else [],
            summary=summary_table(reading.summaries),
            strokes=_stroke_choices(result),
            data=_script_json(_stroke_data(result, films)),
            films=[(key, base64.b64encode(film.mp4).decode("ascii")) for key, film in films.items()],
            style=Markup(page_style()),
            script=Markup(page_text("player.js") + page_text("lesson_page.js")),
            safety=safety.ALL,
            version=version("pennyfall"),
        )
    )


def templates() -> Environment:
    """Return the templates of the report and of its parts."""
    return Environment(
        loader=PackageLoader("pennyfall.cli.report", "page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def lesson_so_far(result: LessonResult, reading: LessonReading) -> dict[str, Any]:
    """Return what a lesson says as far as it has come: the verdict, what it rests on, what is missing."""
    inks = condition_inks(result)
    comparison = reading.comparison
    claims = _claims(comparison)
    return {
        "verdict": typeset(verdict(comparison.recommendation)) if comparison else "No comparison",
        "comparable": comparison is not None,
        "in_words": version_sentence(reading.means),
        "versions": [(each, inks[each.name]) for each in version_figures(reading.means)],
        "because": typeset(f"{capital(because(comparison))}." if comparison else reading.why_not),
        "to_film": typeset(still_to_film(reading.summaries, comparison, reading.earlier)),
        "scales": typeset(lesson_scales(result, comparison)),
        "left_out": practice_left_out(comparison) if comparison else "",
        "claims": claims[:MOST_CLAIMS],
        "more_claims": claims[MOST_CLAIMS:],
        "names": [(number, name, ink(number)) for name, number in inks.items()],
        "profiles": profile_drawings(result, reading.summaries, comparison),
    }


def _claims(comparison: LessonComparison | None) -> list[dict[str, str]]:
    """Return the claims, those first that the verdict rests on and those that any rule is about."""
    if comparison is None:
        return []
    rules = comparison.rules.rules
    ranks = {each.quantity: 2 - each.decides for each in reversed(rules)}
    claims = [each for each in lesson_sentences(comparison) if each.claim]
    claims.sort(key=lambda each: ranks.get(each.quantity, 3))
    return [{"main": typeset(each.main), "detail": typeset(each.detail)} for each in claims]


def _said(comparison: LessonComparison | None) -> list[dict[str, str]]:
    sentences = lesson_sentences(comparison) if comparison else ()
    return [
        {"main": typeset(each.main), "detail": typeset(each.detail)} for each in sentences if not each.claim
    ]


def _stroke_choices(result: LessonResult) -> list[dict[str, Any]]:
    inks = condition_inks(result)
    groups = []
    for measured in result.conditions:
        groups.append(
            {
                "number": inks[measured.condition.name],
                "title": measured.condition.title,
                "strokes": [
                    {"id": stroke_id(stroke), "take": take, "clip": stroke.clip}
                    for take, stroke in enumerate(measured.strokes, start=1)
                ],
            }
        )
    return [group for group in groups if group["strokes"]]


def _stroke_data(result: LessonResult, films: Mapping[str, Film]) -> dict[str, Any]:
    inks = condition_inks(result)
    data = {}
    for measured in result.conditions:
        for take, stroke in enumerate(measured.strokes, start=1):
            film = films.get(stroke_id(stroke))
            data[stroke_id(stroke)] = {
                "title": f"{measured.condition.title}, stroke {take}",
                "condition": inks[measured.condition.name],
                **stroke_curve(stroke.measures),
                "film": None if film is None else {"from": round(film.from_s, 6), "slow": film.slow},
            }
    return data


def stroke_curve(measures: StrokeMeasures) -> dict[str, Any]:
    """Return a stroke's acceleration and its instants, as the player draws them."""
    pieces = _pieces(measures)
    return {
        "pieces": pieces,
        "events": {
            "takeaway": _or_none(measures.takeaway_s),
            "top": _or_none(measures.top_s),
            "impact": _or_none(measures.impact_s),
            "finish": _or_none(measures.finish_s),
        },
        "coin": _coin(measures),
        "zero": round(measures.impact_s.value, 5) if measures.impact_s.known else pieces[-1]["t"][-1],
        "at_impact": _at_impact(measures.acceleration_at_impact_mps2),
    }


def _coin(measures: StrokeMeasures) -> dict[str, Any] | None:
    """Return when the coin leaves, and whether that was seen; None where it stays or there is none."""
    coin = measures.loose_object
    if coin is None or coin.leaving_s is None:
        return None
    words = "coin seen to leave" if coin.observed_leave_s.known else "coin would leave"
    return {"span": list(coin.leaving_s), "words": words}


def _at_impact(acceleration: Estimate) -> str:
    """Return the figure as the tables report it."""
    return (
        typeset(f"{AT_IMPACT.text(acceleration)} {AT_IMPACT.unit}") if acceleration.known else "not measured"
    )


def _pieces(measures: StrokeMeasures) -> list[dict[str, list[float | None]]]:
    """Return the curve before and after impact, the left limit the last of the first piece.

    Parted before the times are rounded: the two limits stand a microsecond apart.
    """
    profile = measures.profile
    after = np.isfinite(measures.impact_s.value) & (profile.t_s > measures.impact_s.value)
    return [
        {
            "t": _rounded(profile.t_s[side], 5),
            "a": _rounded(profile.a_mps2[side], 3),
            "sd": _rounded(profile.a_sd_mps2[side], 3),
        }
        for side in (~after, after)
        if side.any()
    ]


def _rounded(values: FloatArray, digits: int) -> list[float | None]:
    return [None if math.isnan(value) else round(value, digits) for value in values.tolist()]


def _or_none(estimate: Estimate) -> float | None:
    return round(estimate.value, 5) if estimate.known else None


def _script_json(data: Mapping[str, Any]) -> Markup:
    """Return JSON that may stand inside a script element, whatever the clips are called."""
    text = json.dumps(data, allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def page_style() -> str:
    """Return the style of the report, which everything shown of a stroke shares."""
    light = "".join(f"--c{number}:{each.light};" for number, each in enumerate(INKS))
    dark = "".join(f"--c{number}:{each.dark};" for number, each in enumerate(INKS))
    css = page_text("lesson_page.css")
    css = css.replace("@@light@@", f"--paper:{PAPER_LIGHT};{light}")
    return css.replace("@@dark@@", f"--paper:{PAPER_DARK};{dark}")


def page_text(name: str) -> str:
    """Return a file that lies beside this module."""
    return files("pennyfall.cli.report.page").joinpath(name).read_text(encoding="utf-8")
