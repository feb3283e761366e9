"""The place of the peak speed is softened; nothing else changes."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from pennyfall.tracker.picture_errors import PEAK_SPEED_PLACE_SD_S, with_picture_errors
from tests.cli.synthetic import plateau_stroke


def test_only_the_place_of_the_peak_speed_is_softened() -> None:
    stroke = plateau_stroke()
    softer = with_picture_errors(stroke)
    place, before = softer.peak_speed_after_impact_s, stroke.peak_speed_after_impact_s
    assert place.value == before.value
    assert place.sd == pytest.approx(np.hypot(before.sd, PEAK_SPEED_PLACE_SD_S))
    for each in fields(stroke):
        if each.name != "peak_speed_after_impact_s":
            assert getattr(softer, each.name) is getattr(stroke, each.name), each.name
