"""Impact, ball and putter obey mechanics and the published sizes."""

from __future__ import annotations

import numpy as np
import pytest

from pennyfall.demo_clips.ball import BALL_MASS_KG, BALL_RADIUS_M, GRAVITY_MPS2, PlayedBall
from pennyfall.demo_clips.putter import Putter, contact_displacement
from pennyfall.demo_clips.scene import VisibleCoin
from pennyfall.demo_clips.strokes import NewBall, Rest, Stroke, perform


def test_the_ball_has_the_limits_of_the_rules() -> None:
    """Rules of Golf 2016, Appendix III: at most 1.620 oz av (45.93 g), at least 1.680 in (42.67 mm)."""
    assert pytest.approx(1.620 * 0.028349523, abs=5e-6) == BALL_MASS_KG
    assert pytest.approx(1.680 * 0.0254 / 2, abs=2e-6) == BALL_RADIUS_M


def test_the_coin_has_the_regulation_diameter() -> None:
    """50 euro cent: 24.25 mm, Council Regulation (EC) 975/98."""
    coin = VisibleCoin(path=lambda t: (np.zeros(3), np.array([0.0, 0.0, 1.0])))
    assert coin.diameter_m == 0.02425


def test_impact_conserves_momentum_and_restitution() -> None:
    """M = 350 g, e = 0.78: ratio 1.5735, loss 20.65 % (worked from momentum and restitution)."""
    putter = Putter(head_mass_kg=0.350, restitution=0.78)
    events = perform((Stroke(),), putter).strokes[0]
    v, w, u = events.speed_before_mps, events.speed_after_mps, events.ball_speed_mps
    assert 0.350 * v == pytest.approx(0.350 * w + BALL_MASS_KG * u, rel=1e-12)
    assert (u - w) / v == pytest.approx(0.78, rel=1e-12)
    assert u / v == pytest.approx(1.5735, abs=1e-4)
    assert 1 - w / v == pytest.approx(0.2065, abs=1e-4)


def test_a_measured_ratio_of_one_point_six_needs_the_restitution_worked_from_it() -> None:
    """Club to ball 1 : 1.6 (Korean J. Appl. Biomech., e-kjab.org/archive/detail/89); M = 350 g: e = 0.81."""
    assert Putter(head_mass_kg=0.350, restitution=0.81).ball_to_head_ratio == pytest.approx(1.6, abs=5e-4)


def test_the_ball_slides_and_then_rolls_as_in_the_textbook() -> None:
    """Rolling from 5/7 v0, after 12 v0^2 / (49 mu g) and 2 v0 / (7 mu g)."""
    ball = PlayedBall(placed_s=0.0, struck_s=1.0, launch_mps=2.0, friction=0.4)
    rolling = np.array(1.0 + 2 * 2.0 / (7 * 0.4 * GRAVITY_MPS2))
    assert float(ball.speed(rolling)) == pytest.approx(5 / 7 * 2.0, rel=1e-12)
    assert float(ball.position(rolling)) == pytest.approx(12 * 4.0 / (49 * 0.4 * GRAVITY_MPS2), rel=1e-12)


def test_a_rolling_ball_turns_as_far_as_it_goes() -> None:
    ball = PlayedBall(placed_s=0.0, struck_s=0.0, launch_mps=2.0)
    t = np.array([0.5, 0.7])
    turned, gone = np.diff(ball.turn(t)), np.diff(ball.position(t))
    np.testing.assert_allclose(turned * BALL_RADIUS_M, gone, rtol=1e-12)


def test_the_balls_speed_is_the_derivative_of_its_travel() -> None:
    ball = PlayedBall(placed_s=0.0, struck_s=0.2, launch_mps=1.8)
    t = np.linspace(0.21, 1.5, 301)
    slope = (ball.position(t + 1e-5) - ball.position(t - 1e-5)) / 2e-5
    np.testing.assert_allclose(ball.speed(t), slope, atol=1e-4)  # the deceleration steps where rolling begins
    assert float(ball.speed(np.array(0.1))) == 0.0


def test_the_ball_comes_to_rest_and_stays() -> None:
    ball = PlayedBall(placed_s=0.0, struck_s=0.0, launch_mps=1.0, rolling_mps2=0.5)
    np.testing.assert_allclose(ball.speed(np.array([20.0, 30.0])), 0.0, atol=1e-12)
    assert float(ball.position(np.array(20.0))) == float(ball.position(np.array(30.0)))


def test_each_new_ball_is_struck_once() -> None:
    script = (Rest(0.2), Stroke(), NewBall(), Rest(0.2), Stroke(), Rest(0.1))
    performance = perform(script, Putter())
    first, second = performance.balls
    assert first.struck_s == performance.strokes[0].impact_s
    assert first.gone_s == second.placed_s == pytest.approx(performance.strokes[0].finish_s)
    assert second.struck_s == performance.strokes[1].impact_s
    with pytest.raises(ValueError, match="struck once"):
        perform((Stroke(), Stroke()), Putter())


@pytest.mark.parametrize("tilt", [0.0, 0.3])
@pytest.mark.parametrize("side", [1, -1])
def test_the_head_stays_on_its_circle_and_goes_where_it_is_told(tilt: float, side: int) -> None:
    putter = Putter(plane_tilt_rad=tilt, player_side=side, hub_radius_m=1.2)
    for displacement in (-0.25, 0.0, 0.1):
        rotation, origin = putter.pose(displacement)
        np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-14)
        assert origin[0] - putter.address_m[0] == pytest.approx(displacement, abs=1e-14)
        assert np.linalg.norm(origin - putter.hub_m) == pytest.approx(1.2, rel=1e-14)
        rise = 1.2 - np.sqrt(1.2**2 - displacement**2)
        assert origin[2] - putter.tag_height_m == pytest.approx(rise * np.cos(tilt), abs=1e-14)
        assert origin[1] == pytest.approx(side * rise * np.sin(tilt), abs=1e-14)


def test_the_back_of_the_head_drops_in_the_backswing() -> None:
    """The head pitches about the hub: its face looks down before the ball, up after it."""
    rotation, _ = Putter().pose(-0.2)
    assert rotation[2, 0] < 0


def test_the_face_touches_the_ball_at_the_contact_displacement() -> None:
    putter = Putter(gap_m=0.010, tag_height_m=0.0303, tag_to_face_m=0.040, hub_radius_m=1.25)
    displacement = contact_displacement(putter)
    rotation, origin = putter.pose(displacement)
    face = origin + putter.tag_to_face_m * rotation[:, 0]
    gap = (np.array([0.0, 0.0, BALL_RADIUS_M]) - face) @ rotation[:, 0] - BALL_RADIUS_M
    assert gap == pytest.approx(0.0, abs=1e-12)
    assert displacement == pytest.approx(0.010, abs=1e-4)
    assert contact_displacement(Putter(gap_m=0.0)) == pytest.approx(0.0, abs=1e-12)
