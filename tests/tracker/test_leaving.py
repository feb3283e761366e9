"""A head that leaves the picture is told from one that blurs."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.follow.leaving import Leaving, left_the_picture
from pennyfall.tracker.follow.pixel_track import PixelTrack

SIZE = (1280, 720)


def _track(u: FloatArray, v: FloatArray, *, blurred: slice = slice(0)) -> PixelTrack:
    """Return a track at 120 frames/s, seen wherever it is 10 px inside the picture but for some frames."""
    seen = (u > 10) & (u < SIZE[0] - 10) & (v > 10) & (v < SIZE[1] - 10)
    seen[blurred] = False
    count = len(u)
    return PixelTrack(
        time_s=np.arange(count) / 120,
        seen=seen,
        centre_px=np.where(seen[:, None], np.column_stack([u, v]), np.nan),
        covariance_px2=np.zeros((count, 2, 2)),
        jacobian=np.full((count, 2, 2), np.nan),
        stretch_covariance=np.full((count, 4, 4), np.nan),
        exposure_s=float("nan"),
    )


def _out_and_back(start: float, reach: float) -> FloatArray:
    return start + reach * np.sin(np.linspace(0, np.pi, 60)) ** 2


@pytest.mark.parametrize(
    ("u", "v", "side"),
    [
        (_out_and_back(300, -400), np.full(60, 300.0), "left"),
        (_out_and_back(1000, 400), np.full(60, 300.0), "right"),
        (np.full(60, 600.0), _out_and_back(300, -400), "upper"),
        (np.full(60, 600.0), _out_and_back(500, 400), "lower"),
    ],
)
def test_the_side_on_which_the_head_leaves_is_told(u: FloatArray, v: FloatArray, side: str) -> None:
    found = left_the_picture(_track(u, v), SIZE)
    assert isinstance(found, Leaving)
    assert found.side == side
    assert 0.05 < found.time_s < 0.25


def test_a_head_that_does_not_come_back_has_left_too() -> None:
    u = np.linspace(600, 1500, 60)
    found = left_the_picture(_track(u, np.full(60, 300.0)), SIZE)
    assert found is not None
    assert found.side == "right"


def test_a_head_lost_in_the_middle_or_for_a_frame_has_not_left() -> None:
    inside = _track(_out_and_back(600, -300), np.full(60, 300.0), blurred=slice(20, 32))
    assert left_the_picture(inside, SIZE) is None
    nearly = _out_and_back(300, -270)
    assert left_the_picture(_track(nearly, np.full(60, 300.0), blurred=slice(28, 30)), SIZE) is None
    assert left_the_picture(_track(np.full(60, -5.0), np.full(60, 300.0)), SIZE) is None
