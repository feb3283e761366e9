"""Paper as people print and stick it: a sheet at another scale, a tag a few degrees askew."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest

import pennyfall.demo_clips.club as club
import pennyfall.demo_clips.textures as textures
from pennyfall.calibration.layout import HEAD_TAG_BORDER_M, STANDARD_SHEET
from pennyfall.cli.files.settings import settings_from
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.scene import Finish, Scene
from pennyfall.demo_clips.textures import PlanePicture, head_top
from pennyfall.tracker.measure.settings import Settings
from tests.conditions.cases import Case, putt
from tests.conditions.outcome import MAIN, Outcome, film_and_measure, z_score

PRINTED = 0.973
LARGEST_Z = 4.0


@pytest.fixture
def small_print(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let everything be printed at 97.3 % of its size."""
    monkeypatch.setattr(textures, "STANDARD_SHEET", STANDARD_SHEET.scaled(PRINTED))


def turned_tag(angle_rad: float) -> Callable[[Putter, Finish], PlanePicture]:
    """Return the head's top with the tag and its paper turned about the tag's centre."""

    def turned(putter: Putter, finish: Finish) -> PlanePicture:
        top = head_top(putter, finish)
        rows, columns = top.image.shape[:2]
        middle = (-top.left_m / top.texel_m - 0.5, top.top_m / top.texel_m - 0.5)
        turn = cv2.getRotationMatrix2D(middle, math.degrees(angle_rad), 1.0)
        half = (putter.tag_side_m / 2 + HEAD_TAG_BORDER_M) / top.texel_m
        x, y = np.meshgrid(np.arange(columns) - middle[0], np.arange(rows) - middle[1])
        paper = (np.maximum(np.abs(x), np.abs(y)) < half).astype(np.float32)
        bare = top.image.copy()
        bare[paper > 0] = top.image[round(middle[1]), round(middle[0] - half - 3)]
        laid, there = (
            cv2.warpAffine(each, turn, (columns, rows), flags=cv2.INTER_LINEAR) for each in (top.image, paper)
        )
        image = there[..., None] * laid + (1 - there[..., None]) * bare
        return PlanePicture(image.astype(np.float32), top.left_m, top.top_m, top.texel_m)

    return turned


def scene() -> Scene:
    return putt(rate_hz=Fraction(60), phase_s=0.009)


def assert_honest(outcome: Outcome) -> None:
    assert outcome.refusal is None, outcome.refusal
    (rows,) = outcome.strokes
    for row in rows:
        if row.name in MAIN:
            assert row.measured.known, row.name
            assert abs(z_score(row)) < LARGEST_Z, (row.name, row)


@pytest.mark.slow
@pytest.mark.clip
@pytest.mark.usefixtures("small_print")
def test_the_check_ruler_takes_a_small_print_out_of_every_length(tmp_path: Path) -> None:
    def small() -> Scene:
        plain = scene()
        return replace(plain, putter=replace(plain.putter, tag_side_m=PRINTED * plain.putter.tag_side_m))

    told = Case(name="told", scene=small, options=lambda _scene: settings_from(ruler_mm=100 * PRINTED))
    outcome = film_and_measure(told, tmp_path)
    assert_honest(outcome)
    (length,) = outcome.of("backswing_length_m")
    assert length.measured.value == pytest.approx(length.true[0], rel=0.015)
    untold = film_and_measure(replace(told, options=lambda _scene: Settings()), tmp_path)
    (unscaled,) = untold.of("backswing_length_m")
    assert unscaled.measured.value == pytest.approx(length.measured.value / PRINTED, rel=0.006)


@pytest.mark.slow
@pytest.mark.clip
@pytest.mark.parametrize("degrees", [-6.0, 4.0])
def test_a_tag_stuck_on_askew_changes_nothing(
    degrees: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(club, "head_top", turned_tag(math.radians(degrees)))
    assert_honest(film_and_measure(Case(name="askew", scene=scene), tmp_path))
