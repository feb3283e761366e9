"""A lesson's verdict in plain text, for the shell."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from textwrap import fill

from pennyfall.cli.files.lesson_result import LessonResult
from pennyfall.cli.report.page.reading import LessonReading
from pennyfall.cli.report.words import recommendation
from pennyfall.cli.report.words.evidence import lesson_sentences
from pennyfall.cli.report.words.numbers import typeset
from pennyfall.cli.report.words.scales import lesson_scales

WIDEST = 100
"""Chosen by us: longer lines are hard to read."""


def verdict(result: LessonResult, reading: LessonReading) -> str:
    """Return what could not be measured, the recommendation, the claims, and what they rest on."""
    paragraphs = [f"Not measured: {each.clip}. {each.message} {each.fix}" for each in result.refused]
    comparison = reading.comparison
    if comparison is None:
        alone = [f"No comparison: {reading.why_not}", lesson_scales(result, None)]
        return "\n".join(_wrapped([*paragraphs, *filter(None, alone)]))
    found = comparison.recommendation
    paragraphs.append(f"{recommendation.verdict(found)}: {recommendation.because(comparison)}.")
    scales = lesson_scales(result, comparison)
    claims = [f"- {each.text}" for each in lesson_sentences(comparison) if each.claim]
    changes = [f"Would change this: {each}" for each in recommendation.would_change(found)]
    left_out = recommendation.practice_left_out(comparison)
    return "\n".join(
        _wrapped([*paragraphs, *filter(None, [scales]), *claims, *filter(None, [left_out]), *changes])
    )


def _wrapped(paragraphs: Iterable[str]) -> list[str]:
    columns = min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns)
    return [fill(typeset(each), columns, subsequent_indent="  ") for each in paragraphs]
