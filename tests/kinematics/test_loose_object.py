from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from pennyfall.kinematics.coin.band import loose_object_band, peak_demand
from pennyfall.kinematics.coin.demand import HeadMotion, head_motion
from pennyfall.kinematics.coin.friction import Coin, Friction, FrictionRange, known_coin, published_friction
from pennyfall.kinematics.coin.ride import CoinRide, ride
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import STANDARD_GRAVITY_MPS2, Profile
from tests.kinematics.coin_strokes import EARLY, LATE, Stroke

G = STANDARD_GRAVITY_MPS2
GRAIN = Coin(name="grain", diameter_m=1e-3, thickness_m=1e-3)
"""So small that it hardly tips: its rim follows its centre over the edge within 2 ms."""


def motion_of(stroke: Stroke) -> HeadMotion:
    return head_motion(stroke.profile(), impact_s=stroke.impact_s)


def ridden(stroke: Stroke, static: float, shelf: Shelf | None = None) -> CoinRide:
    return ride(motion_of(stroke), shelf or Shelf(), Friction(static=static, kinetic=0.85 * static))


def along_x(t_s: np.ndarray, x: np.ndarray, v: np.ndarray, a: np.ndarray, tilt: np.ndarray) -> Profile:
    return Profile(t_s=t_s, x_m=x, v_mps=v, a_mps2=a, a_sd_mps2=np.zeros_like(t_s), tilt_rad=tilt)


# --- closed forms


@pytest.mark.parametrize("static", [0.1, 0.23, 0.36])
def test_a_block_on_a_platform_in_harmonic_motion_slips_where_the_acceleration_reaches_mu_g(
    static: float,
) -> None:
    """With x = -A (1 - cos wt) the acceleration -A w^2 cos(wt) passes mu g after the first quarter."""
    amplitude_m, rate = 0.1, 2 * math.pi
    t_s = np.linspace(0, 0.5, 121)
    profile = along_x(
        t_s,
        -amplitude_m * (1 - np.cos(rate * t_s)),
        -amplitude_m * rate * np.sin(rate * t_s),
        -amplitude_m * rate**2 * np.cos(rate * t_s),
        np.zeros_like(t_s),
    )
    motion = head_motion(profile, impact_s=math.nan)
    expected_s = math.acos(-static * G / (amplitude_m * rate**2)) / rate

    slip_s = ride(motion, Shelf(), Friction(static=static, kinetic=static)).slip_s

    assert slip_s == pytest.approx(
        expected_s, abs=1e-4
    )  # linear interpolation of a: dt^2/8 |a''| / |a'| < 0.1 ms


def test_a_plane_at_rest_slips_at_the_angle_whose_tangent_is_the_friction() -> None:
    """Tilted slowly upward toward the target at 0.1 rad/s, the coin slides back at theta = atan(mu)."""
    static = 0.3
    t_s = np.linspace(0, 5, 1201)
    zero = np.zeros_like(t_s)
    motion = head_motion(along_x(t_s, zero, zero, zero, 0.1 * t_s), impact_s=math.nan)

    result = ride(motion, Shelf(), Friction(static=static, kinetic=static))

    assert result.slip_s == pytest.approx(math.atan(static) / 0.1, abs=1e-3)


def test_a_coin_on_a_freely_swinging_point_mass_feels_no_tangential_force() -> None:
    """Pendulum of length R by its own equation, theta'' = -(g/R) sin(theta), let go at -0.3 rad."""
    radius_m, t_s = 1.5, np.linspace(0, 1.2, 289)
    swing = solve_ivp(
        lambda _t, y: [y[1], -G / radius_m * math.sin(y[0])], (0, 1.2), [-0.3, 0.0], t_eval=t_s, rtol=1e-10
    )
    angle, rate = swing.y
    turn = -G / radius_m * np.sin(angle)
    profile = along_x(
        t_s,
        radius_m * np.sin(angle),
        radius_m * rate * np.cos(angle),
        radius_m * (turn * np.cos(angle) - rate**2 * np.sin(angle)),
        angle,
    )
    # the profile starts away from the lowest point, so the arc is given about x = 0 by a sample at address
    profile = dataclasses.replace(
        profile,
        t_s=np.concatenate([[-1.0], t_s]),
        x_m=np.concatenate([[0.0], profile.x_m]),
        v_mps=np.concatenate([[0.0], profile.v_mps]),
        a_mps2=np.concatenate([[0.0], profile.a_mps2]),
        a_sd_mps2=np.zeros(len(t_s) + 1),
        tilt_rad=np.full(len(t_s) + 1, math.nan),
    )
    motion = head_motion(profile, impact_s=math.nan, hub_radius_m=radius_m)

    swinging = motion.t_s > 0.01
    assert np.abs(motion.tangential_mps2[swinging]).max() < 2e-3
    # normal force of a pendulum: m (g cos(theta) + R theta'^2)
    expected = G * np.cos(angle) + radius_m * rate**2
    assert np.interp(t_s[5:], motion.t_s, motion.normal_mps2) == pytest.approx(expected[5:], abs=2e-3)


def test_a_sliding_coin_on_a_steadily_driven_platform_leaves_when_the_parabola_reaches_the_edge() -> None:
    """Constant a from rest: s = -(a - mu_k g) t^2 / 2, so it passes d at sqrt(2 d / (a - mu_k g))."""
    accel, kinetic, edge_m = 5.0, 0.2, 0.02
    t_s = np.linspace(0, 0.5, 121)
    profile = along_x(t_s, accel * t_s**2 / 2, accel * t_s, np.full_like(t_s, accel), np.zeros_like(t_s))
    motion = head_motion(profile, impact_s=math.nan)

    left = ride(
        motion, Shelf(edge_distance_m=edge_m), Friction(static=0.25, kinetic=kinetic), coin=GRAIN
    ).departure

    leave_s = math.sqrt(2 * edge_m / (accel - kinetic * G))
    fall_s = math.sqrt(2 * 0.025 / G)
    coin_speed = kinetic * G * leave_s  # friction alone carries the coin
    assert left is not None
    assert left.side == "behind"
    assert left.leave_s == pytest.approx(leave_s, abs=1e-6)
    assert left.landing_s - left.leave_s == pytest.approx(fall_s, abs=0.002)
    tolerance_m = 1.2 * accel / 240**2 / 8  # x between samples is linear: it errs by a dt^2 / 8
    assert left.leave_x_m == pytest.approx(coin_speed * leave_s / 2, abs=tolerance_m)
    assert left.landing_x_m == pytest.approx(
        coin_speed * leave_s / 2 + coin_speed * fall_s, abs=tolerance_m + coin_speed * 0.002
    )


def test_on_a_flat_top_the_impact_sends_the_coin_toward_the_face_by_the_square_of_the_speed_step() -> None:
    """Head at constant speed loses dv: the coin slides dv^2 / (2 mu_k g) ahead and rests if there is room."""
    before, after, friction = 1.5, 1.2, Friction(static=0.3, kinetic=0.25)
    t_s = np.array([0.0, 0.25, 0.5, 0.5 + 1e-6, 0.75, 1.0])
    v = np.where(t_s <= 0.5, before, after)
    profile = along_x(t_s, np.cumsum(np.gradient(t_s) * v), v, np.zeros(6), np.zeros(6))
    motion = head_motion(profile, impact_s=0.5)
    slide_m = (before - after) ** 2 / (2 * friction.kinetic * G)

    stays = ride(motion, Shelf(cavity_depth_m=0.0, front_room_m=1.01 * slide_m), friction)
    leaves = ride(motion, Shelf(cavity_depth_m=0.0, front_room_m=0.99 * slide_m), friction)
    walled = ride(motion, Shelf(), friction)

    assert stays.slip_s == pytest.approx(0.5, abs=1e-5)
    assert stays.departure is None
    assert leaves.departure is not None
    assert leaves.departure.side == "toward the face"
    assert walled.slip_s is None


# --- the lip and the wall


def test_a_lip_of_half_the_coins_thickness_holds_whatever_the_demand() -> None:
    coin = known_coin("us-quarter")
    assert ridden(EARLY, 0.2).departure is not None
    held = ride(
        motion_of(EARLY),
        Shelf(lip_height_m=coin.thickness_m / 2),
        Friction(static=0.2, kinetic=0.17),
        coin=coin,
    )
    assert held.slip_s is not None
    assert held.departure is None


def test_a_low_lip_lets_a_narrow_object_tip_over_once_the_demand_exceeds_radius_over_lever() -> None:
    """Radius 2 mm, thickness 10 mm, lip 1 mm: tips at 2 / (5 - 1) = 0.5 of the normal force."""
    tower = Coin(name="tower", diameter_m=0.004, thickness_m=0.010)
    assert tower.tipping_demand(0.001) == pytest.approx(0.5)
    motion = motion_of(EARLY)
    shelf = Shelf(lip_height_m=0.001, edge_distance_m=0.002)  # it leans on the lip from the start

    left = ride(motion, shelf, Friction(static=0.2, kinetic=0.17), coin=tower).departure

    crossing = motion.t_s[np.flatnonzero(motion.demand > 0.5)[0]]
    assert left is not None
    assert left.leave_s == pytest.approx(crossing, abs=5e-4)


# --- what a stroke asks for


def test_a_stroke_driven_at_the_top_throws_the_coin_earlier_than_one_driven_at_impact() -> None:
    early, late = ridden(EARLY, 0.3).departure, ridden(LATE, 0.3).departure
    assert early is not None
    assert late is not None
    assert early.leave_s - EARLY.top_s < late.leave_s - LATE.top_s
    assert early.landing_x_m < late.landing_x_m


def test_ignoring_the_tilt_overstates_the_demand_at_the_top_by_the_slope_of_the_floor() -> None:
    stroke = dataclasses.replace(EARLY, top_mps2=5.0)
    motion = motion_of(stroke)
    at_top = float(np.interp(stroke.top_s, motion.t_s, motion.demand))
    slope = stroke.backswing_m / stroke.hub_m
    expected = (5.0 - G * math.sin(slope)) / (G * math.cos(slope))  # at rest at the top: no other term
    assert at_top == pytest.approx(expected, abs=1e-3)


def test_the_arc_serves_as_well_as_the_tags_tilt_when_the_head_follows_it() -> None:
    tagged = motion_of(EARLY)
    arced = head_motion(EARLY.profile(with_tilt=False), impact_s=EARLY.impact_s, hub_radius_m=EARLY.hub_m)
    assert (tagged.tilt_source, arced.tilt_source) == ("tag", "arc")
    assert np.abs(tagged.demand - arced.demand).max() < 3e-3


def test_without_tilt_and_hub_the_band_is_wider_and_covers_the_right_one() -> None:
    known = loose_object_band(EARLY.profile(), Shelf(), published_friction(), impact_s=EARLY.impact_s)
    unknown = loose_object_band(
        EARLY.profile(with_tilt=False), Shelf(), published_friction(), impact_s=EARLY.impact_s
    )
    assert known.landing_x_m is not None
    assert unknown.landing_x_m is not None
    assert unknown.landing_x_m[0] < known.landing_x_m[0] < known.landing_x_m[1] < unknown.landing_x_m[1]
    assert unknown.peak_friction_demand.sd > 3 * known.peak_friction_demand.sd


def test_the_demands_spread_follows_that_of_the_acceleration() -> None:
    loose = peak_demand(head_motion(EARLY.profile(a_sd_mps2=0.5), impact_s=EARLY.impact_s))
    assert loose.sd == pytest.approx(
        0.5 / G, rel=0.05
    )  # d(f_t / f_n) / da = 1 / f_n, and f_n is within 3 % of g


def test_a_noisy_tilt_does_not_make_the_coin_slip_early(generator: np.random.Generator) -> None:
    clean = EARLY.profile()
    noisy = dataclasses.replace(
        clean, tilt_rad=clean.tilt_rad + generator.normal(0, math.radians(0.5), len(clean.t_s))
    )
    friction = Friction(static=0.3, kinetic=0.25)
    true = ride(head_motion(clean, impact_s=EARLY.impact_s), Shelf(), friction)
    seen = ride(head_motion(noisy, impact_s=EARLY.impact_s), Shelf(), friction)
    assert true.slip_s is not None
    assert seen.slip_s == pytest.approx(true.slip_s, abs=0.004)


def test_a_stroke_gentle_enough_keeps_the_coin_on() -> None:
    gentle = Stroke(backswing_m=0.06, impact_speed_mps=0.4, top_mps2=1.2, impact_mps2=0.5)
    band = loose_object_band(
        gentle.profile(), Shelf(), FrictionRange(low=0.25, high=0.4), impact_s=gentle.impact_s
    )
    assert band.outcome == "stays on"
    assert band.slip_s is None
    assert band.leave_s is None
    assert band.landing_x_m is None
    assert band.peak_friction_demand.value < 0.25


def test_the_profile_is_left_as_it_was() -> None:
    profile = EARLY.profile()
    before = profile.a_mps2.copy(), profile.tilt_rad.copy()
    loose_object_band(profile, Shelf(), published_friction(), impact_s=EARLY.impact_s)
    assert np.array_equal(profile.a_mps2, before[0])
    assert np.array_equal(profile.tilt_rad, before[1])


# --- invariances

frictions = st.floats(0.05, 0.6)
strokes = st.builds(
    Stroke,
    backswing_m=st.floats(0.1, 0.4),
    forward_s=st.floats(0.26, 0.38),
    impact_speed_mps=st.floats(0.8, 1.8),
    top_mps2=st.floats(2.0, 9.0),
    hub_m=st.floats(1.2, 2.0),
)


@settings(max_examples=60, deadline=None)
@given(stroke=strokes, low=frictions, more=st.floats(0.0, 0.3))
def test_more_friction_never_slips_earlier(stroke: Stroke, low: float, more: float) -> None:
    less, firm = ridden(stroke, low), ridden(stroke, low + more)
    assert (firm.slip_s or math.inf) >= (less.slip_s or math.inf)


@settings(max_examples=60, deadline=None)
@given(stroke=strokes, low=frictions, more=st.floats(0.0, 0.3))
def test_more_friction_never_leaves_earlier_while_the_push_is_rearward(
    stroke: Stroke, low: float, more: float
) -> None:
    """A coin so loose that the backswing slides it to the front wall has further to go to the rear edge.

    So it may leave up to a few milliseconds after a firmer one that never moved: found by chance. From the
    same place, with a push that keeps its direction, the looser one is always ahead.
    """
    less, firm = ridden(stroke, low), ridden(stroke, low + more)
    assume(less.slip_s is not None)
    assert less.slip_s is not None
    until_s = less.departure.leave_s if less.departure else math.inf
    motion = motion_of(stroke)
    assume(np.all(motion.demand[(motion.t_s > less.slip_s) & (motion.t_s < until_s)] > 0.0))
    if firm.departure is not None:
        assert less.departure is not None
        assert firm.departure.leave_s >= less.departure.leave_s


@settings(max_examples=30, deadline=None)
@given(stroke=strokes, static=frictions)
def test_a_mirrored_stroke_on_a_mirrored_shelf_gives_the_mirrored_answer(
    stroke: Stroke, static: float
) -> None:
    profile = stroke.profile()
    mirrored = dataclasses.replace(
        profile,
        x_m=-profile.x_m,
        v_mps=-profile.v_mps,
        a_mps2=-profile.a_mps2,
        tilt_rad=-profile.tilt_rad,
    )
    friction = Friction(static=static, kinetic=0.85 * static)
    flat = Shelf(edge_distance_m=0.015, cavity_depth_m=0.0, front_room_m=0.03)
    turned = Shelf(edge_distance_m=0.03, cavity_depth_m=0.0, front_room_m=0.015)
    one = ride(head_motion(profile, impact_s=stroke.impact_s), flat, friction)
    other = ride(head_motion(mirrored, impact_s=stroke.impact_s), turned, friction)
    assert one.slip_s == pytest.approx(other.slip_s)
    assert (one.departure is None) == (other.departure is None)
    if one.departure is not None and other.departure is not None:
        assert one.departure.side != other.departure.side
        assert one.departure.leave_s == pytest.approx(other.departure.leave_s)
        assert one.departure.landing_x_m == pytest.approx(-other.departure.landing_x_m)


@settings(max_examples=40, deadline=None)
@given(stroke=strokes, slower=st.floats(1.05, 2.0))
def test_a_slower_stroke_of_the_same_shape_demands_less(stroke: Stroke, slower: float) -> None:
    slow = dataclasses.replace(
        stroke,
        backswing_s=stroke.backswing_s * slower,
        forward_s=stroke.forward_s * slower,
        through_s=stroke.through_s * slower,
        impact_speed_mps=stroke.impact_speed_mps / slower,
        top_mps2=stroke.top_mps2 / slower**2,
        impact_mps2=stroke.impact_mps2 / slower**2,
    )
    assert peak_demand(motion_of(slow)).value < peak_demand(motion_of(stroke)).value


@settings(max_examples=20, deadline=None)
@given(shift_s=st.floats(-5, 5), static=frictions)
def test_a_shift_of_the_clock_shifts_the_answer(shift_s: float, static: float) -> None:
    profile = EARLY.profile()
    later = dataclasses.replace(profile, t_s=profile.t_s + shift_s)
    friction = Friction(static=static, kinetic=static)
    one = ride(head_motion(profile, impact_s=EARLY.impact_s), Shelf(), friction)
    other = ride(head_motion(later, impact_s=EARLY.impact_s + shift_s), Shelf(), friction)
    assert (one.slip_s or 0) == pytest.approx((other.slip_s or shift_s) - shift_s, abs=1e-5)
    if one.departure is not None and other.departure is not None:
        assert one.departure.leave_s == pytest.approx(other.departure.leave_s - shift_s, abs=1e-5)
        assert one.departure.landing_x_m == pytest.approx(other.departure.landing_x_m, abs=1e-5)


# --- what cannot be


def test_negative_friction_is_refused_with_a_remedy() -> None:
    with pytest.raises(CannotMeasure, match="negative") as refusal:
        Friction(static=-0.1, kinetic=-0.2)
    assert "positive" in refusal.value.fix


def test_kinetic_friction_above_static_is_refused_with_a_remedy() -> None:
    with pytest.raises(CannotMeasure, match="above static") as refusal:
        FrictionRange(low=0.2, high=0.3, kinetic_share=1.1)
    assert "at most" in refusal.value.fix


def test_an_edge_at_zero_distance_is_refused_with_a_remedy() -> None:
    with pytest.raises(CannotMeasure, match="rear edge") as refusal:
        Shelf(edge_distance_m=0.0)
    assert "more than zero" in refusal.value.fix


def test_an_unknown_surface_or_coin_is_refused_by_naming_the_known_ones() -> None:
    with pytest.raises(CannotMeasure) as refusal:
        published_friction("velvet")
    assert "coated" in refusal.value.fix
    with pytest.raises(CannotMeasure) as refusal:
        known_coin("doubloon")
    assert "us-quarter" in refusal.value.fix
