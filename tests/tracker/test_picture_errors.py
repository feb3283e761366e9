"""Every stated standard deviation grows by what the picture adds; no value moves."""

from __future__ import annotations

import pytest

from pennyfall.tracker.picture_errors import PICTURE_FACTOR, with_picture_errors
from tests.cli.synthetic import plateau_stroke


def test_intervals_widen_and_values_stay() -> None:
    stroke = plateau_stroke()
    wider = with_picture_errors(stroke)
    assert wider.top_s.value == stroke.top_s.value
    assert wider.top_s.sd == pytest.approx(PICTURE_FACTOR * stroke.top_s.sd)
    assert wider.profile.a_sd_mps2 == pytest.approx(PICTURE_FACTOR * stroke.profile.a_sd_mps2)
    assert wider.peak_speed_after_impact_s.sd > PICTURE_FACTOR * stroke.peak_speed_after_impact_s.sd
