"""A coin lying in a scene is drawn where it lies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pennyfall.demo_clips.larch import EARLY_240
from pennyfall.demo_clips.record import performance_of
from pennyfall.demo_clips.render import Renderer
from pennyfall.demo_clips.scene import Sensor, VisibleCoin

COIN_DIAMETER_M, COIN_THICKNESS_M = 0.02425, 0.00238
"""50 euro cent (Council Regulation (EC) 975/98, and two agreeing tables)."""


def test_the_coin_is_seen_where_it_lies() -> None:
    """What the coin changes in the picture is a disc about its projected centre, as wide as a coin there."""
    performance = performance_of(EARLY_240)
    place, up = np.array([-0.31, 0.02, COIN_THICKNESS_M / 2]), np.array([0.0, 0.0, 1.0])
    time_s = performance.strokes[0].impact_s + 0.3
    bare = replace(EARLY_240, sensor=Sensor(exposure_s=1e-4, blur_px=0.0))
    with_coin = Renderer(replace(bare, coin=VisibleCoin(path=lambda _time_s: (place, up))), performance)
    changed = np.abs(with_coin.frame(0, time_s) - Renderer(bare, performance).frame(0, time_s))
    rows, columns = np.nonzero(changed.max(axis=-1) > 0.02)
    centre = EARLY_240.camera.project(place[None])[0]
    np.testing.assert_allclose([columns.mean(), rows.mean()], centre, atol=0.3)
    depth = float((EARLY_240.camera.rotation @ place + EARLY_240.camera.translation)[2])
    wide = EARLY_240.camera.matrix[0, 0] * COIN_DIAMETER_M / depth
    assert np.ptp(columns) + 1 == pytest.approx(wide, abs=1.5)
