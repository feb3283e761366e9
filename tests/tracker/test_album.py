"""An album keeps small pictures of a clip, at their true times, and never more than fit in memory."""

from __future__ import annotations

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from pennyfall.tracker.clip import album as album_module
from pennyfall.tracker.clip.album import Album


def _frame(rgb: NDArray[np.uint8]) -> av.VideoFrame:
    return av.VideoFrame.from_ndarray(rgb, format="rgb24")


def _filled(rate_hz: float, seconds: float) -> Album:
    """Return an album of a clip whose picture gets brighter by 100 levels a second."""
    album = Album()
    for index in range(round(rate_hz * seconds)):
        grey = round(100 * index / rate_hz)
        album.keep(index / rate_hz, _frame(np.full((36, 64, 3), grey, np.uint8)), rotation_deg=0)
    return album


def _times_s(album: Album) -> NDArray[np.float64]:
    return np.array([time_s for time_s, _ in album.between(-np.inf, np.inf)])


@pytest.mark.parametrize(("rate_hz", "kept_hz"), [(60, 60), (119.88, 119.88), (240, 120), (480, 120)])
def test_up_to_120_pictures_a_second_are_kept_at_their_true_times(rate_hz: float, kept_hz: float) -> None:
    times_s = _times_s(_filled(rate_hz, 0.5))
    np.testing.assert_allclose(times_s, np.arange(len(times_s)) / kept_hz)
    assert times_s[-1] > 0.5 - 1.5 / kept_hz


def test_the_picture_nearest_to_a_time_is_found_and_none_far_from_all() -> None:
    album = _filled(100, 2.0)
    shown = album.nearest(1.004, within_s=0.05)
    assert shown is not None
    assert shown[0, 0].tolist() == pytest.approx([100] * 3, abs=1)
    assert album.nearest(2.1, within_s=0.05) is None
    assert Album().nearest(0.0, within_s=1.0) is None


def test_a_full_album_goes_on_with_every_other_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = _filled(100, 2.0)
    each = whole.bytes_kept / 200
    monkeypatch.setattr(album_module, "MOST_BYTES", 60 * each)
    album = _filled(100, 2.0)
    assert album.bytes_kept <= 60 * each
    times_s = _times_s(album)
    np.testing.assert_allclose(np.diff(times_s), 0.04, err_msg="halved twice: 200, 100, 50")
    assert times_s[0] == 0
    assert times_s[-1] > 1.95


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_turned_picture_is_kept_upright_in_colour_and_shrunk_to_its_rows(turn: int) -> None:
    displayed = np.zeros((1080, 720, 3), np.uint8)
    displayed[:540, :360] = (200, 40, 40)
    displayed[540:, 360:] = (40, 40, 200)
    coded = np.ascontiguousarray(np.rot90(displayed, -turn // 90))
    album = Album()
    album.keep(0.0, _frame(coded), rotation_deg=turn)
    shown = album.nearest(0.0, within_s=0.0)
    assert shown is not None
    assert shown.shape == (360, 240, 3)
    assert album.scale == pytest.approx((1 / 3, 1 / 3))
    for row, column, colour in ((90, 60, (200, 40, 40)), (270, 180, (40, 40, 200)), (90, 180, (0, 0, 0))):
        assert shown[row, column].tolist() == pytest.approx(colour, abs=6)
