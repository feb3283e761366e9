"""A coin in a scene is drawn where it lies, and goes where friction lets it."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest

from pennyfall.cli.lesson.demo import VERSIONS, demo_scenes
from pennyfall.demo_clips.coin import CoinWay, LooseCoin, coin_way, with_coin
from pennyfall.demo_clips.larch import EARLY_240, LATE_240, SCENES
from pennyfall.demo_clips.record import performance_of
from pennyfall.demo_clips.render import Renderer
from pennyfall.demo_clips.scene import Scene, Sensor, VisibleCoin
from pennyfall.demo_clips.strokes import Rest
from pennyfall.kinematics.coin.demand import head_motion
from pennyfall.kinematics.coin.friction import Friction
from pennyfall.kinematics.coin.ride import ride
from pennyfall.kinematics.values import Profile

COIN_DIAMETER_M, COIN_THICKNESS_M = 0.02425, 0.00238
"""50 euro cent (its source stands beside it in coins.toml)."""


def test_the_coin_is_seen_where_it_lies() -> None:
    """What the coin changes in the picture is a disc about its projected centre, as wide as a coin there."""
    performance = performance_of(EARLY_240)
    place, up = np.array([-0.31, 0.02, COIN_THICKNESS_M / 2]), np.array([0.0, 0.0, 1.0])
    time_s = performance.strokes[0].impact_s + 0.3
    bare = replace(EARLY_240, coin=None, sensor=Sensor(exposure_s=1e-4, blur_px=0.0))
    with_coin = Renderer(replace(bare, coin=VisibleCoin(path=lambda _time_s: (place, up))), performance)
    changed = np.abs(with_coin.frame(0, time_s) - Renderer(bare, performance).frame(0, time_s))
    rows, columns = np.nonzero(changed.max(axis=-1) > 0.02)
    centre = EARLY_240.camera.project(place[None])[0]
    np.testing.assert_allclose([columns.mean(), rows.mean()], centre, atol=0.3)
    depth = float((EARLY_240.camera.rotation @ place + EARLY_240.camera.translation)[2])
    wide = EARLY_240.camera.matrix[0, 0] * COIN_DIAMETER_M / depth
    assert np.ptp(columns) + 1 == pytest.approx(wide, abs=1.5)


def way_of(scene: Scene) -> CoinWay:
    assert scene.coin is not None
    assert isinstance(scene.coin.path, CoinWay)
    return scene.coin.path


def true_profile(scene: Scene) -> Profile:
    """Return the stroke of a scene as a faultless measurement would hold it."""
    performance = performance_of(scene)
    stroke = performance.strokes[0]
    t_s = np.arange(stroke.takeaway_s - 0.1, stroke.finish_s, 1 / 960)
    motion = performance.motion
    displacement = motion.position(t_s)
    return Profile(
        t_s=t_s,
        x_m=scene.putter.address_m[0] + displacement,
        v_mps=motion.velocity(t_s),
        a_mps2=motion.acceleration(t_s),
        a_sd_mps2=np.full_like(t_s, 0.01),
        tilt_rad=np.arcsin(displacement / scene.putter.hub_radius_m),
    )


def test_a_coin_on_a_head_at_rest_lies_where_it_was_laid() -> None:
    scene = replace(EARLY_240, script=(Rest(0.3),))
    coin = LooseCoin(static_friction=0.2, kinetic_friction=0.2)
    way = coin_way(performance_of(scene), scene.putter, coin)
    laid = np.array([way.shelf.coin_from_tag_m, 0.0, coin.thickness_m / 2])
    for time_s in (0.0, 0.17, 0.3):
        place, normal = way(time_s)
        np.testing.assert_allclose(place, scene.putter.address_m + laid, atol=1e-9)
        np.testing.assert_allclose(normal, [0.0, 0.0, 1.0], atol=1e-12)
    assert way.leave_s is None


def test_a_coin_held_by_friction_rides_on_the_head_to_the_end() -> None:
    coin = LooseCoin(static_friction=0.9, kinetic_friction=0.9)
    scene = with_coin(EARLY_240, coin)
    performance, way = performance_of(scene), way_of(scene)
    for time_s in np.linspace(0.0, performance.duration_s, 9):
        rotation, origin = scene.putter.pose(float(performance.motion.position(np.array(time_s))))
        expected = origin + rotation @ [way.shelf.coin_from_tag_m, 0.0, coin.thickness_m / 2]
        np.testing.assert_allclose(way(float(time_s))[0], expected, atol=1e-6)


@pytest.mark.parametrize("friction", [0.22, 0.25, 0.29])
def test_the_coin_leaves_when_the_measurements_own_physics_say(friction: float) -> None:
    """They hold the coin to lie where the tag does, 3 cm from there: it then leaves up to 3 ms later."""
    pair = Friction(static=friction, kinetic=0.85 * friction)
    coin = LooseCoin(static_friction=pair.static, kinetic_friction=pair.kinetic)
    way = way_of(with_coin(EARLY_240, coin))
    hub_m, stroke = EARLY_240.putter.hub_radius_m, performance_of(EARLY_240).strokes[0]
    motion = head_motion(true_profile(EARLY_240), impact_s=stroke.impact_s, hub_radius_m=hub_m)
    departure = ride(motion, way.shelf, pair).departure
    assert departure is not None
    assert way.leave_s == pytest.approx(departure.leave_s, abs=0.0035)
    falls = np.flatnonzero(way.centre_m[:, 1] < 0.02)[0]
    assert way.centre_m[falls, 0] == pytest.approx(departure.landing_x_m, abs=0.02)


@pytest.mark.parametrize("friction", [0.22, 0.26])
def test_the_coin_goes_where_a_physics_engine_takes_it(friction: float) -> None:
    """The engine's contact is soft, which delays a slide by a millisecond or two."""
    pytest.importorskip("mujoco")
    from tests.tracker.coin_clip import engine_way

    coin = LooseCoin(static_friction=friction, kinetic_friction=friction)
    way = way_of(with_coin(EARLY_240, coin))
    engine = engine_way(EARLY_240, way.shelf, friction)
    assert engine.leave_s is not None
    assert way.leave_s == pytest.approx(engine.leave_s, abs=0.0025)
    assert way.centre_m[-1, 0] == pytest.approx(engine.x_m[-1], abs=0.02)
    falling = int(1e4 * (engine.leave_s + 0.06))
    at_s = 1e-4 * falling
    assert way.centre_m[falling, 0] == pytest.approx(np.interp(at_s, engine.t_s, engine.x_m), abs=0.001)
    assert way.centre_m[falling, 1] == pytest.approx(np.interp(at_s, engine.t_s, engine.z_m), abs=0.003)


def test_a_fallen_coin_lies_flat_and_still() -> None:
    way = way_of(EARLY_240)
    assert way.leave_s is not None
    assert way.centre_m[-1, 1] == pytest.approx(way.coin.thickness_m / 2)
    assert abs(np.sin(way.turn_rad[-1])) < 1e-9
    assert np.ptp(way.centre_m[-500:, 0]) == 0


def test_a_coin_is_refused_where_its_way_is_not_known() -> None:
    with pytest.raises(ValueError, match="vertical plane"):
        with_coin(LATE_240, LooseCoin(static_friction=0.3, kinetic_friction=0.3))


def test_one_shipped_clip_shows_a_coin_that_leaves_and_one_a_coin_that_stays() -> None:
    left = [way_of(scene).leave_s is not None for scene in SCENES.values() if scene.coin is not None]
    assert {True, False} <= set(left)


def test_in_the_demo_lesson_the_coin_is_let_go_where_its_version_says_so_and_else_kept() -> None:
    for version in VERSIONS:
        for name, scene in demo_scenes().items():
            if not name.startswith(version.name.replace(" ", "-")):
                continue
            stroke, leave_s = performance_of(scene).strokes[0], way_of(scene).leave_s
            if version.name == "coin let go":
                assert leave_s is not None
                assert leave_s < stroke.impact_s
            else:
                assert leave_s is None


def test_a_scene_with_a_coin_can_be_handed_to_another_process() -> None:
    scene = next(iter(demo_scenes().values()))
    again = pickle.loads(pickle.dumps(scene))
    np.testing.assert_array_equal(way_of(again).centre_m, way_of(scene).centre_m)
