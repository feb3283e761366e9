"""The annotated clip: true to the original's instants, and such that any phone plays it."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import av
import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from pennyfall.cli.report.film.annotate import (
    Look,
    annotate_stroke,
    decoded_pictures,
    shown_from_s,
    thinned,
)
from pennyfall.cli.report.film.overlay import EDGE_COLOUR, FORWARD_COLOUR, HeadPath, PathOverlay, write
from pennyfall.cli.report.film.strip import AccelerationStrip
from tests.cli.filmed_stroke import FilmedStroke, filmed_stroke
from tests.cli.synthetic import plateau_stroke

LOOK = Look(height_px=360, slow=4.0, strip=False, quality=28)


@pytest.fixture(scope="module")
def filmed(footage: Path) -> FilmedStroke:
    return filmed_stroke(footage, "late120_hevc")


@pytest.fixture(scope="module")
def made(filmed: FilmedStroke, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("annotated") / "stroke.mp4"
    assert annotated(filmed, out, LOOK)
    return out


def annotated(filmed: FilmedStroke, out: Path, look: Look) -> bool:
    shown = decoded_pictures(filmed.clip, filmed.facts, filmed.stroke, look)
    return annotate_stroke(shown, filmed.facts, filmed.stroke, filmed.path, out, look)


def pictures(path: Path) -> list[tuple[float, NDArray[np.uint8]]]:
    with av.open(str(path)) as container:
        return [
            (float(each.time or 0), each.to_ndarray(format="rgb24").astype(np.uint8, copy=False))
            for each in container.decode(video=0)
        ]


@pytest.mark.footage
@pytest.mark.clip
def test_it_is_h264_that_phones_play_and_that_starts_at_once(made: Path) -> None:
    with av.open(str(made)) as container:
        assert len(container.streams) == 1
        stream = container.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.profile in ("Main", "Constrained Baseline")
        assert stream.codec_context.pix_fmt == "yuv420p"
        assert float(stream.average_rate or 0) <= 61
        assert (stream.width, stream.height) == (640, 360)
        assert set(container.metadata) <= {"major_brand", "minor_version", "compatible_brands", "encoder"}
    content = made.read_bytes()
    assert content.index(b"moov") < content.index(b"mdat"), "the index leads, so that it plays while loading"
    assert len(content) < 1_200_000


@pytest.mark.footage
@pytest.mark.clip
def test_every_frame_of_the_stroke_is_there_at_four_times_its_time(made: Path, filmed: FilmedStroke) -> None:
    from_s = shown_from_s(filmed.stroke, filmed.path)
    last_s = filmed.stroke.finish_s.value + 0.25
    inside = filmed.path.time_s[(filmed.path.time_s >= from_s) & (filmed.path.time_s <= last_s)]
    shown_s = np.array([time_s for time_s, _ in pictures(made)])
    assert shown_s[0] == 0
    np.testing.assert_allclose(from_s + shown_s / LOOK.slow, inside, atol=1e-4)


@pytest.mark.footage
@pytest.mark.clip
def test_the_ring_sits_on_the_head_in_every_frame(made: Path, filmed: FilmedStroke) -> None:
    from_s = shown_from_s(filmed.stroke, filmed.path)
    scale = 640 / filmed.facts.width
    for time_s, picture in pictures(made)[::20]:
        k = int(np.argmin(np.abs(filmed.path.time_s - (from_s + time_s / LOOK.slow))))
        u, v = (filmed.path.u_px[k] + 0.5) * scale - 0.5, (filmed.path.v_px[k] + 0.5) * scale - 0.5
        near = picture[round(v) - 10 : round(v) + 11, round(u) - 10 : round(u) + 11].astype(int)
        amber = (near[..., 0] > 180) & (near[..., 1] > 110) & (near[..., 2] < 130)
        rows, columns = np.nonzero(amber)
        assert len(rows) > 15
        if time_s < 1.0:  # later the path's own amber line runs through the ring and pulls the mean along
            assert np.hypot(columns.mean() - 10, rows.mean() - 10) < 1.5


@pytest.mark.footage
@pytest.mark.clip
def test_true_speed_thins_the_frames_and_keeps_their_times(filmed: FilmedStroke, tmp_path: Path) -> None:
    out = tmp_path / "true.mp4"
    look = Look(height_px=240, slow=1.0, strip=True, quality=30)
    assert annotated(filmed, out, look)
    times = np.array([time_s for time_s, _ in pictures(out)])
    assert np.diff(times).min() > 0.95 / 60
    stroke = filmed.stroke
    assert times[-1] == pytest.approx(stroke.finish_s.value - stroke.takeaway_s.value + 0.6, abs=0.03)
    _, picture = pictures(out)[0]
    assert picture.shape[0] <= 240
    assert picture.shape[0] % 2 == picture.shape[1] % 2 == 0


@pytest.mark.footage
@pytest.mark.clip
def test_a_clip_without_a_frame_of_the_stroke_is_no_annotated_clip(footage: Path, tmp_path: Path) -> None:
    filmed = filmed_stroke(footage)
    out = tmp_path / "none.mp4"
    late = dataclasses.replace(filmed, stroke=plateau_stroke(takeaway_s=100.0))
    assert not annotated(late, out, LOOK)
    assert not out.exists()


def test_frames_that_come_too_fast_are_thinned_evenly() -> None:
    frames = ((k / 240, k) for k in range(241))
    kept = [k for _, k in thinned(iter(frames), slow=1.0)]
    assert kept == list(range(0, 241, 4))
    frames = ((k / 240, k) for k in range(241))
    assert len(list(thinned(iter(frames), slow=4.0))) == 241


def test_a_head_that_was_not_seen_is_not_drawn() -> None:
    track = {"t_s": [0.0, 0.1, 0.2, 0.3], "u_px": [10, np.nan, 14, 16], "v_px": [20, np.nan, 20, 20]}
    path = HeadPath.of_track(pd.DataFrame(track))
    assert path.at(0.0) == (10, 20)
    assert path.at(0.11) is None
    runs = path.between(-1, 1)
    assert [run.tolist() for run in runs] == [[[224, 320], [256, 320]]]
    stroke = plateau_stroke(takeaway_s=5.0)
    frame = np.zeros((60, 60, 3), dtype=np.uint8)
    PathOverlay(stroke, path, 60).draw(frame, 0.1)
    assert not frame.any()
    PathOverlay(stroke, path, 60).draw(frame, 0.2)
    assert frame.any()


def test_words_stay_inside_the_picture_and_have_a_dark_edge() -> None:
    frame = np.full((40, 120, 3), 200, dtype=np.uint8)
    write(frame, "top", (0, 0), 14, FORWARD_COLOUR)
    changed = np.argwhere((frame != 200).any(axis=2))
    assert len(changed) > 50
    assert changed.min() >= 0
    darkest = frame.reshape(-1, 3).astype(int).sum(axis=1).min()
    assert darkest <= sum(EDGE_COLOUR) + 20
    untouched = np.full((3, 3, 3), 200, dtype=np.uint8)
    write(untouched, "top of the backswing", (1, 1), 14, FORWARD_COLOUR)
    assert (untouched == 200).all()


def test_the_strip_brightens_up_to_its_cursor() -> None:
    stroke = plateau_stroke()
    strip = AccelerationStrip(stroke, 320, 80)
    t = stroke.profile.t_s
    middle = strip.at(float(t[0] + t[-1]) / 2)
    assert middle.shape == (80, 320, 3)
    column = strip.column(float(t[0] + t[-1]) / 2)
    assert column == pytest.approx(160, abs=1)
    assert (middle[:, column - 1 : column + 1] == 255).all()
    end = strip.at(float(t[-1]))
    assert middle[:, column + 2 :].astype(int).sum() < end[:, column + 2 :].astype(int).sum()
    np.testing.assert_array_equal(middle[:, : column - 2], end[:, : column - 2])
