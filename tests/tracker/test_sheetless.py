"""Without a sheet the head tag gives the scale: several per cent unsure, and saying so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pennyfall.calibration.attitude import projection_gradient, tag_axes
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.club import Club
from pennyfall.cli.report.tables.stroke import measurement_table
from pennyfall.cli.report.tables.truth import compare
from pennyfall.demo_clips.larch import PLAIN_60
from pennyfall.demo_clips.record import render_clip, truth_path
from pennyfall.demo_clips.truth import load_truth
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Estimate, FloatArray
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.measure.clip import measure_clip
from pennyfall.tracker.measure.placed import with_unknown_size
from pennyfall.tracker.measure.refusals import refuse_unusable
from pennyfall.tracker.measure.settings import Settings
from pennyfall.tracker.place.placing import place_tracks
from pennyfall.tracker.place.without_sheet import posed_by_head_tag
from tests.calibration.scenes import camera_over_floor

HUB_M, HEIGHT_M, SIZE = 1.25, 0.027, (1280, 720)
USUAL_FOCAL_PX = 0.82 * 1280


def _stroke() -> tuple[FloatArray, FloatArray]:
    """Return times and places: 0.5 s of rest, 0.6 s back by 24 cm, 0.5 s forward by 45 cm, rest."""
    time = np.arange(0, 2.2, 1 / 120)
    back, on = (np.clip((time - start) / lasts, 0, 1) for start, lasts in ((0.5, 0.6), (1.1, 0.5)))
    ease = [share**3 * (10 - 15 * share + 6 * share**2) for share in (back, on)]  # minimum jerk
    return time, -0.24 * ease[0] + 0.45 * ease[1]


def _followed(
    camera: Camera, heading_rad: float, *, level: tuple[float, float] = (0.0, 0.0), size_error: float = 0.0
) -> tuple[Followed, FloatArray]:
    """Return a head on an arc along a heading, its tag square to its path, tilted and misprinted as told."""
    time, along = _stroke()
    ahead = np.array([np.cos(heading_rad), np.sin(heading_rad), 0.0])
    rise = HUB_M - np.sqrt(HUB_M**2 - along**2)
    points = along[:, None] * ahead + np.column_stack([0 * rise, 0 * rise, HEIGHT_M + rise])
    axes = tag_axes(
        np.full_like(along, heading_rad), np.arcsin(along / HUB_M) + level[0], np.full_like(along, level[1])
    )
    count = len(along)
    track = PixelTrack(
        time_s=time,
        seen=np.ones(count, dtype=np.bool_),
        centre_px=camera.project(points),
        covariance_px2=np.tile(1e-3 * np.eye(2), (count, 1, 1)),
        jacobian=(1 + size_error) * projection_gradient(camera, points) @ axes,
        stretch_covariance=np.tile(1e-5 * np.eye(4), (count, 1, 1)),
        exposure_s=float("nan"),
    )
    return Followed(head=track, pose=None, sheet=None, moved={}, sheet_lost=(), balls=(),
                    head_ever_seen=True, sheet_tags_seen=0), along  # fmt: skip


def _posed(followed: Followed, *, stated_height: Estimate | None = None) -> Followed:
    pose = posed_by_head_tag(followed.head, picture_size=SIZE, stated_height=stated_height)
    return replace(followed, pose=pose)


@pytest.mark.parametrize("heading_deg", [-25.0, 0.0, 40.0, 170.0])
def test_the_strokes_own_direction_is_taken_for_the_target_line(heading_deg: float) -> None:
    camera = camera_over_floor(place=(0.1, -0.8, 0.75), look=(0.1, 0.0, 0.0), focal_px=USUAL_FOCAL_PX)
    followed, along = _followed(camera, np.deg2rad(heading_deg))
    posed = _posed(followed, stated_height=Estimate(HEIGHT_M, 0.001))
    placed = place_tracks(posed, stated_height=Estimate(HEIGHT_M, 0.001))
    assert placed.head.x_m - placed.head.x_m[0] == pytest.approx(along, abs=0.004)
    assert placed.direction == "with the arrow"
    assert placed.balls == ()


def test_the_scales_interval_holds_the_truth_over_lenses_tilts_and_prints(
    generator: np.random.Generator,
) -> None:
    """Draw what is not known from its stated spread: the intervals hold the length 17 times of 20."""
    inside, sds = [], []
    for _ in range(30):
        focal = USUAL_FOCAL_PX * float(np.exp(generator.normal(0, 0.2)))
        camera = camera_over_floor(place=(0.1, -0.8, 0.75), look=(0.0, 0.0, 0.0), focal_px=focal)
        tilt, roll = generator.normal(0, 0.045, 2)
        followed, along = _followed(
            camera, generator.normal(0, 0.1), level=(tilt, roll), size_error=generator.normal(0, 0.012)
        )
        posed = _posed(followed)
        placed = place_tracks(posed, stated_height=None)
        scale = np.ptp(placed.head.x_m) / np.ptp(along)
        inside.append(abs(scale - 1) < 1.96 * placed.scale_rel_sd)
        sds.append(placed.scale_rel_sd)
    assert np.mean(inside) >= 0.85
    assert 0.01 < np.median(sds) < 0.08, "several per cent, said"


def test_an_unstated_size_widens_the_scale_to_hold_every_printed_one() -> None:
    camera = camera_over_floor(look=(0.0, 0.0, 0.0), focal_px=USUAL_FOCAL_PX)
    followed, _ = _followed(camera, 0.0)
    placed = place_tracks(_posed(followed), stated_height=None)
    half_width = 1.96 * with_unknown_size(placed).scale_rel_sd
    for side_m in (0.016, 0.020, 0.032):
        assert abs(side_m / 0.024 - 1) < half_width


def test_a_dot_without_a_sheet_has_no_scale_and_is_refused() -> None:
    camera = camera_over_floor(look=(0.0, 0.0, 0.0))
    followed, _ = _followed(camera, 0.0)
    head = replace(followed.head, jacobian=np.full_like(followed.head.jacobian, np.nan))
    bare = replace(followed, head=head)
    assert posed_by_head_tag(head, picture_size=SIZE, stated_height=None) is None
    with pytest.raises(CannotMeasure) as refused:
        refuse_unusable("larch.mp4", bare, method="dot", posed=False)
    assert "a tag of the printed sheet" in refused.value.message
    assert "lay the sheet" in refused.value.fix


@pytest.mark.clip
@pytest.mark.slow
def test_a_rendered_clip_without_its_sheet_is_measured_within_its_intervals(tmp_path: Path) -> None:
    path = tmp_path / "bare.mp4"
    scene = replace(PLAIN_60, name="bare", sheet=None)
    render_clip(scene, path)
    club = Club(tag_height_m=Estimate(scene.putter.tag_height_m, 0.001), tag_side_m=scene.putter.tag_side_m)
    result = measure_clip(path, Settings(club=club)).measurement
    assert result.calibration.source == "head-tag"
    assert result.calibration.focal_source == "assumed"
    assert 0.01 < result.calibration.scale_rel_sd < 0.06
    compared = compare(result, load_truth(truth_path(path)))[1]
    told = [one for one in compared if one.measured.known]
    assert len(told) >= 16
    assert sum(one.inside for one in told) >= len(told) - 1
    length = next(one for one in compared if one.name == "backswing_length_m")
    assert length.inside
    words = measurement_table(result)
    assert "Fewer than two tags of the printed sheet" in words
    assert "from the head tag" in words
    assert "nan" not in words
