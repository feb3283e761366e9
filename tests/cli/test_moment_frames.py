"""The frames beside the curves are those of the events, and show the stroke."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from pennyfall.cli.report.film.overlay import HeadPath
from pennyfall.cli.report.pictures.moments import ALBUM_ROWS, moment_frames
from pennyfall.kinematics.values import Estimate, StrokeMeasures
from pennyfall.tracker.clip.album import Album
from tests.cli.synthetic import plateau_stroke

RATE_HZ = 100


@pytest.fixture
def stroke() -> StrokeMeasures:
    """Return a stroke with takeaway at 0.50 s, top at 1.15 s, impact at 1.47 s and finish at 1.92 s."""
    return plateau_stroke(takeaway_s=0.5)


@pytest.fixture
def path() -> HeadPath:
    """Return a head that goes to and fro between columns 600 and 1400 in row 700."""
    time_s = np.arange(300) / RATE_HZ
    u = 1000 + 400 * np.sin(2 * np.pi * time_s)
    return HeadPath(time_s=time_s, u_px=u, v_px=np.full(300, 700.0))


def _album(pictures: Iterable[NDArray[np.uint8]]) -> Album:
    album = Album(ALBUM_ROWS)
    for index, grey in enumerate(pictures):
        album.keep(index / RATE_HZ, av.VideoFrame.from_ndarray(grey, format="gray"), rotation_deg=0)
    return album


def _numbered(count: int = 300) -> Album:
    """Return an album of pictures that are as bright as their number, up to white."""
    return _album(np.full((90, 160), min(index, 255), dtype=np.uint8) for index in range(count))


def _marked() -> Album:
    """Return an album of full-size pictures, white where the head is at the top and at the finish."""
    grey = np.zeros((1080, 1920), dtype=np.uint8)
    for u in (TOP_U, FINISH_U):
        grey[690:710, round(u) - 10 : round(u) + 10] = 255
    return _album([grey] * 200)


TOP_U, FINISH_U = (1000 + 400 * np.sin(2 * np.pi * time_s) for time_s in (1.15, 1.92))


def _cut_px(stroke: StrokeMeasures) -> float:
    """Return the width that the cut should have in a picture of two thirds of the clip's size."""
    return float(2 / 3 * 0.30 * 800 / np.ptp(stroke.profile.x_m))


def test_each_moment_gets_the_frame_nearest_to_its_event(stroke: StrokeMeasures, path: HeadPath) -> None:
    found = moment_frames(_numbered(), stroke, path)
    shown = {moment: int(frame[0, 0]) for moment, frame in found.items()}
    # 50 ms before takeaway; a grey passes through RGB and JPEG within one level.
    assert shown == pytest.approx({"address": 45, "top": 115, "impact": 147, "finish": 192}, abs=1)


def test_the_head_stands_in_the_middle_of_a_cut_three_heads_wide(
    stroke: StrokeMeasures, path: HeadPath
) -> None:
    found = moment_frames(_marked(), stroke, path)
    wide = _cut_px(stroke)
    assert wide > 200, "more than two thirds of what a picture prints"
    assert {frame.shape for frame in found.values()} == {(round(wide * 3 / 4), round(wide))}
    for moment in ("top", "finish"):
        columns = np.nonzero(found[moment].max(axis=0) > 128)[0]
        assert columns.mean() == pytest.approx(wide / 2, abs=2)
        assert np.ptp(columns) == pytest.approx(20 * 2 / 3, abs=2)


def test_a_moment_beyond_the_clip_or_not_measured_has_no_frame(
    stroke: StrokeMeasures, path: HeadPath
) -> None:
    without_top = dataclasses.replace(stroke, top_s=Estimate.missing())
    found = moment_frames(_numbered(150), without_top, path)
    assert set(found) == {"address", "impact"}


def test_without_a_seen_head_the_whole_frame_is_shown(stroke: StrokeMeasures, path: HeadPath) -> None:
    nowhere = np.full(300, np.nan)
    unseen = HeadPath(time_s=path.time_s, u_px=nowhere, v_px=nowhere)
    found = moment_frames(_marked(), stroke, unseen)
    assert found["top"].shape == (270, 480)


def test_a_path_at_the_edge_of_the_picture_is_cut_within_it(stroke: StrokeMeasures, path: HeadPath) -> None:
    at_edge = HeadPath(time_s=path.time_s, u_px=path.u_px + 500, v_px=path.v_px + 370)
    found = moment_frames(_marked(), stroke, at_edge)
    wide = _cut_px(stroke)
    assert {frame.shape for frame in found.values()} == {(round(wide * 3 / 4), round(wide))}
