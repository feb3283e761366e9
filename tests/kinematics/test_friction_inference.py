from __future__ import annotations

import numpy as np
import pytest

from pennyfall.kinematics.coin.demand import head_motion
from pennyfall.kinematics.coin.friction import Friction, known_coin
from pennyfall.kinematics.coin.inference import ObservedCoin, infer_friction, resting_place
from pennyfall.kinematics.coin.ride import ride
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import Estimate
from tests.kinematics.coin_strokes import EARLY, random_stroke

NOTHING = Estimate.missing()
MOTION = head_motion(EARLY.profile(), impact_s=EARLY.impact_s)


@pytest.mark.parametrize("static", [0.15, 0.25, 0.35, 0.45])
def test_the_friction_is_found_again_from_leave_and_landing(static: float) -> None:
    left = ride(MOTION, Shelf(), Friction(static=static, kinetic=0.85 * static)).departure
    assert left is not None
    observed = ObservedCoin(
        leave_s=Estimate(left.leave_s, 0.002), landing_x_m=Estimate(left.landing_x_m, 0.005)
    )
    found = infer_friction(MOTION, Shelf(), observed)
    assert found.static.value == pytest.approx(static, abs=0.03)
    assert found.static.sd < 0.05


@pytest.mark.slow
def test_its_spread_covers_the_truth_over_random_strokes_shares_and_errors(
    generator: np.random.Generator,
) -> None:
    """Truth drawn from the shares assumed, observations with their stated errors: z is a unit normal."""
    z: list[float] = []
    while len(z) < 40:
        stroke = random_stroke(generator)
        static = generator.uniform(0.12, 0.35)
        share = generator.choice([0.7, 0.85, 1.0], p=[0.25, 0.5, 0.25])
        motion = head_motion(stroke.profile(a_sd_mps2=0.0), impact_s=stroke.impact_s, step_s=0.001)
        left = ride(motion, Shelf(), Friction(static=static, kinetic=share * static)).departure
        if left is None:
            continue
        place = resting_place(left, known_coin())
        observed = ObservedCoin(
            leave_s=Estimate(generator.normal(left.leave_s, 0.004), 0.004),
            landing_x_m=Estimate(generator.normal(generator.normal(place.value, place.sd), 0.005), 0.005),
        )
        found = infer_friction(motion, Shelf(), observed)
        z.append((found.static.value - static) / found.static.sd)
    assert abs(np.mean(z)) < 0.5
    assert 0.6 < np.std(z) < 1.4  # 40 draws: the standard deviation of a unit normal errs by 0.11
    assert np.mean(np.abs(z) < 1.96) >= 0.85


def test_a_landing_spot_alone_gives_a_wider_answer_than_with_the_leave_instant() -> None:
    left = ride(MOTION, Shelf(), Friction(static=0.3, kinetic=0.255)).departure
    assert left is not None
    spot = Estimate(left.landing_x_m, 0.01)
    alone = infer_friction(MOTION, Shelf(), ObservedCoin(leave_s=NOTHING, landing_x_m=spot))
    both = infer_friction(
        MOTION, Shelf(), ObservedCoin(leave_s=Estimate(left.leave_s, 0.002), landing_x_m=spot)
    )
    assert alone.static.sd > both.static.sd
    assert abs(alone.static.value - 0.3) < 2 * alone.static.sd


@pytest.mark.parametrize("spot_m", [-0.9, 0.6])
def test_a_landing_spot_beyond_reach_is_refused_with_what_can_be_reached(spot_m: float) -> None:
    observed = ObservedCoin(leave_s=NOTHING, landing_x_m=Estimate(spot_m, 0.01))
    with pytest.raises(CannotMeasure, match="No friction explains") as refusal:
        infer_friction(MOTION, Shelf(), observed)
    assert "sign" in refusal.value.fix
    assert "between" in refusal.value.message


def test_a_coin_that_cannot_leave_but_was_seen_to_is_refused() -> None:
    observed = ObservedCoin(leave_s=NOTHING, landing_x_m=Estimate(-0.2, 0.01))
    with pytest.raises(CannotMeasure, match="stays on") as refusal:
        infer_friction(MOTION, Shelf(lip_height_m=0.003), observed)
    assert "lip" in refusal.value.fix


def test_nothing_observed_is_refused_by_naming_the_option() -> None:
    with pytest.raises(CannotMeasure) as refusal:
        infer_friction(MOTION, Shelf(), ObservedCoin(leave_s=NOTHING, landing_x_m=NOTHING))
    assert refusal.value.setting == "coin_landed"
