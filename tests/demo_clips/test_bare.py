"""Clips without sheet and tag: the shaft lies where the truth says, and what makes them hard is there."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import av
import cv2
import numpy as np
import pytest

from pennyfall.calibration.layout import tag_dictionary
from pennyfall.demo_clips.clips import clip_folder
from pennyfall.demo_clips.larch import BARE_60, BARE_240
from pennyfall.demo_clips.record import performance_of
from pennyfall.demo_clips.render import Renderer
from pennyfall.demo_clips.scene import Light, Pile, Room, Scene
from pennyfall.demo_clips.textures import carpet
from pennyfall.demo_clips.truth import truth_document
from pennyfall.demo_clips.view import Image
from pennyfall.kinematics.values import FloatArray

SCENES = {scene.name: scene for scene in (BARE_240, BARE_60)}
BARE = pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES)
ONE_AT_ONCE = pytest.mark.parametrize(
    "scene", [BARE_240, pytest.param(BARE_60, marks=pytest.mark.slow)], ids=SCENES
)
"""Where renderers are built anew, which takes seconds."""
STEPS = {"address": 0.0, "top": 1.0, "before impact": 1.9, "after impact": 2.2}


def at_step(scene: Scene, step: float) -> float:
    """Return a time of the stroke: 0 is its takeaway, 1 its top, 2 its impact."""
    stroke = performance_of(scene).strokes[0]
    events = [stroke.takeaway_s, stroke.top_s, stroke.impact_s, stroke.finish_s]
    return float(np.interp(step, range(4), events))


@cache
def plain(name: str) -> tuple[Scene, Renderer]:
    """Return a scene on a floor of one colour, its club matt, without shadow or player, and its renderer.

    Polished steel mirrors the floor along its sides, so that its edges there are no edges.
    """
    scene = replace(
        SCENES[name],
        finish=replace(SCENES[name].finish, gloss=0.0),
        room=Room(floor=SCENES[name].room.floor, contrast=0.0, player=False),
        light=Light(depth=0.0, falloff=0.0),
    )
    return scene, Renderer(scene, performance_of(scene))


def shaft_in_truth(scene: Scene, time_s: float) -> FloatArray:
    """Return the ends of the shaft's axis in the world as the truth has them, shape (2, 3) [m]."""
    document = truth_document(scene, performance_of(scene), np.array([time_s - scene.phase_s]))
    return np.array(document["frames"]["shaft_ends_xyz_m"][0])


def seen_edges(scene: Scene, picture: Image, rows: FloatArray, near: FloatArray) -> FloatArray:
    """Return the first and last column of what is not floor, in each row, shape (n, 2) [px]."""
    edges = []
    for row, column in zip(rows.astype(int), near.astype(int), strict=True):
        window = picture[row, column - 15 : column + 16]
        apart = np.abs(window - scene.light.gain * np.array(scene.room.floor)).max(axis=-1)
        over = np.flatnonzero(apart > 0.02)
        edges.append([column - 15 + over[0], column - 15 + over[-1]])
    return np.array(edges, dtype=float)


@BARE
@pytest.mark.parametrize("step", STEPS)
def test_a_line_fitted_to_the_shaft_in_the_picture_is_the_projected_axis(scene: Scene, step: str) -> None:
    """Middles between edges, a line through them, by rows alone: right to 0.3 px anywhere on the shaft."""
    time_s = at_step(scene, STEPS[step])
    bare, renderer = plain(scene.name)
    ends = shaft_in_truth(scene, time_s)
    foot, high = scene.camera.project(ends[0] + np.array([[0.10], [0.32]]) * (ends[1] - ends[0]))
    rows = np.arange(max(np.ceil(high[1]), 2), np.floor(foot[1]))
    expected = np.interp(rows, [high[1], foot[1]], [high[0], foot[0]])
    edges = seen_edges(bare, renderer.frame(0, time_s), rows, expected)
    fitted = np.polyval(np.polyfit(rows, edges.mean(axis=1), 1), rows)
    assert len(rows) > 100
    np.testing.assert_allclose(fitted, expected, atol=0.3)


@BARE
def test_the_shaft_widens_from_head_to_hands_as_steel_does(scene: Scene) -> None:
    """Its width in the picture is f d / z; the lens's blur and the threshold add the same at either end."""
    bare, renderer = plain(scene.name)
    time_s = at_step(scene, 0.0)
    ends = shaft_in_truth(scene, time_s)
    points = ends[0] + np.array([[0.12], [0.32]]) * (ends[1] - ends[0])
    pixels = scene.camera.project(points)
    depth = (points @ scene.camera.rotation.T + scene.camera.translation)[:, 2]
    tip, hands = scene.finish.shaft_m
    from_tip = (np.array([0.12, 0.32]) - 0.06 / 0.80) / (1 - 0.06 / 0.80)
    expected = scene.camera.matrix[0, 0] * (tip + from_tip * (hands - tip)) / depth
    picture = renderer.frame(0, time_s)
    widths = []
    for u, v in pixels:
        rows = np.arange(round(v) - 6, round(v) + 7)
        widths.append(np.mean(np.ptp(seen_edges(bare, picture, rows, np.full(13, round(u))), axis=1)))
    assert 0.009 <= tip < hands <= 0.015
    assert widths[1] - widths[0] == pytest.approx(expected[1] - expected[0], abs=0.6)


@ONE_AT_ONCE
def test_the_shadow_of_the_shaft_lies_where_the_lamp_throws_it(scene: Scene) -> None:
    """A point at height h darkens the floor at h times the lamp's slope beside its foot, and only there."""
    room = Room(floor=scene.room.floor, contrast=0.0, player=False)
    shown, unlit = (
        replace(scene, room=room, light=replace(scene.light, depth=depth)) for depth in (scene.light.depth, 0)
    )
    time_s = at_step(scene, 1.0)
    lit, dark = (Renderer(each, performance_of(each)).frame(0, time_s) for each in (unlit, shown))
    share = (dark / lit).mean(axis=-1)
    ends = shaft_in_truth(scene, time_s)
    high = ends[0] + np.linspace(0.25, 0.7, 12)[:, None] * (ends[1] - ends[0])
    thrown = np.column_stack([high[:, :2] + high[:, 2:] * scene.light.slope, np.zeros(len(high))])
    way = (thrown[-1] - thrown[0]) / np.linalg.norm(thrown[-1] - thrown[0])
    far_from_ball = [point for point in thrown if np.hypot(*point[:2]) > 0.1]
    assert len(far_from_ball) > 5
    for point in far_from_ball:
        across = point + np.linspace(-0.05, 0.05, 41)[:, None] * np.array([-way[1], way[0], 0.0])
        columns, rows = np.round(scene.camera.project(across)).astype(int).T
        there = share[rows, columns]
        assert there.min() < 0.92
        assert abs(int(np.argmin(there)) - 20) <= 1
        assert there[[0, -1]].min() > 0.98


@ONE_AT_ONCE
def test_what_the_head_mirrors_changes_while_it_swings(scene: Scene) -> None:
    """A matt head keeps its brightness; a polished one shows the lamps as it comes to face them."""

    def brightness(of: Scene) -> FloatArray:
        renderer = Renderer(of, performance_of(of))
        seen = []
        for step in np.linspace(0.8, 2.9, 5):
            time_s = at_step(of, float(step))
            rotation, origin = of.putter.pose(renderer.painter.displacement(time_s))
            beside_lines = np.array([[x, y, 0] for x in (-0.3, 0.0, 0.3) for y in (-0.3, -0.1, 0.1, 0.3)])
            spots = beside_lines * [of.putter.depth_m, of.putter.width_m, 0]
            columns, rows = np.round(of.camera.project(spots @ rotation.T + origin)).astype(int).T
            seen.append(renderer.frame(0, time_s)[rows, columns].mean(axis=-1))
        return np.array(seen)

    room = Room(floor=scene.room.floor, player=False)
    still = replace(scene, light=replace(scene.light, falloff=0.0), room=room)
    matt = replace(still, finish=replace(scene.finish, gloss=0.0))
    assert np.ptp(brightness(matt), axis=0).max() < 0.01
    assert np.ptp(brightness(still), axis=0).max() > 0.2


def test_trousers_sway_more_than_shoes_and_only_where_told() -> None:
    still = replace(BARE_240, room=replace(BARE_240.room, sway_m=0.0))
    changes = []
    for scene in (BARE_240, still):
        renderer = Renderer(scene, performance_of(scene))
        changes.append(np.abs(renderer.frame(0, 0.40) - renderer.frame(0, 0.02)).max(axis=-1))
        assert (renderer.key(0.40) == renderer.key(0.02)) == (scene is still)
    ankle = round(BARE_240.camera.project(np.array([[-0.16, 0.42, 0.08]]))[0, 1])
    assert np.count_nonzero(changes[0][:ankle] > 0.02) > 4 * np.count_nonzero(changes[0][ankle:] > 0.02) > 0
    assert not changes[1].any()


@pytest.mark.parametrize(
    ("pile", "least", "most"), [("tufts", 0.8, 1.25), ("blades", 0.7, 1.4), ("brushed", 4, 30)]
)
def test_a_floor_repeats_without_a_seam_and_has_the_grain_of_its_pile(
    pile: Pile, least: float, most: float, generator: np.random.Generator
) -> None:
    """Grain: how much longer the pattern stays alike along the target line than across it."""
    tile = np.log(carpet(generator, 0.3, pile).image.astype(float))
    assert np.exp(tile).mean() == pytest.approx(1.0, abs=0.05)

    def unlike(axis: int) -> float:
        return float(np.mean((tile - np.roll(tile, 3, axis=axis)) ** 2))

    for axis in (0, 1):
        seam = np.mean((np.take(tile, 0, axis) - np.take(tile, -1, axis)) ** 2)
        inside = np.mean(np.diff(tile, axis=axis) ** 2)
        assert seam == pytest.approx(inside, rel=0.35)
    assert least < unlike(0) / unlike(1) < most


@BARE
@pytest.mark.clip
def test_nothing_printed_is_found_in_a_bare_clip(scene: Scene) -> None:
    detector = cv2.aruco.ArucoDetector(tag_dictionary())
    with av.open(str(clip_folder() / f"{scene.name}.mp4")) as container:
        for number, frame in enumerate(container.decode(video=0)):
            if number % 12 == 0:
                _, ids, _ = detector.detectMarkers(frame.to_ndarray(format="gray"))
                assert ids is None


@BARE
def test_the_truth_of_a_bare_clip_knows_neither_sheet_nor_tag(scene: Scene) -> None:
    document: dict[str, Any] = truth_document(scene, performance_of(scene), np.array([0.0, 0.5]))
    assert document["markers"]["head"] is None
    assert document["markers"]["sheet"] == document["sheet_marker_corners_px"] == {}
    assert "head_marker_corners_px" not in document["frames"]
    assert np.shape(document["frames"]["shaft_ends_xyz_m"]) == (2, 2, 3)


def test_one_bare_clip_is_played_right_handed_and_one_left_handed() -> None:
    assert {scene.putter.player_side for scene in SCENES.values()} == {1, -1}
