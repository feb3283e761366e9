"""The worlds of the study: each law does what its paper says, each trouble what its source allows."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.polynomial import Polynomial

from pennyfall.cli.proof.performing import touching
from pennyfall.cli.proof.strokes import filmed_start, pulses, smooth_through_top, tau_guide
from pennyfall.cli.proof.worlds import WORLDS, world_named
from pennyfall.demo_clips.putter import Putter


def test_no_other_way_through_the_top_has_less_jerk() -> None:
    """Flash & Hogan 1985: the squared jerk adds up to the least; a bump that keeps the ends adds to it."""
    back_s, forward_s = 0.7, 0.8
    back, forward = smooth_through_top(0.24, 0.7, back_s, forward_s)

    def jerk(first: Polynomial, second: Polynomial) -> float:
        squares = [(each.deriv(3) ** 2).integ() for each in (first, second)]
        return float(squares[0](back_s) - squares[0](0) + squares[1](forward_s) - squares[1](0))

    # zero with two derivatives at the outer ends; at the top zero with its slope, curved alike on both sides
    t = Polynomial([0.0, 1.0])
    bumps = [t**3 * (t - back_s) ** 2, t**2 * (t - forward_s) ** 3]
    curved = [bumps[0].deriv(2)(back_s), bumps[1].deriv(2)(0.0)]
    for size in (-0.2, 0.2):
        other = back + size / curved[0] * bumps[0], forward + size / curved[1] * bumps[1]
        assert jerk(*other) > jerk(back, forward) * (1 + 1e-6)


def test_a_guide_of_coupling_one_arrives_at_twice_its_mean_speed() -> None:
    """Craig et al. 2000: the speed at contact is 2 D / T; half that coupling arrives at rest."""
    last = np.array([0.4 * (1 - 1e-9)])
    assert tau_guide(-0.24, 0.0, 0.4, 1.0)(last)[1, 0] == pytest.approx(2 * 0.24 / 0.4)
    assert tau_guide(-0.24, 0.0, 0.4, 0.5)(last)[1, 0] == pytest.approx(0.0, abs=1e-6)


def test_a_pulse_covers_its_way_and_is_fastest_at_the_mode_of_its_times() -> None:
    """A log-normal density has area one and its mode at median * exp(-spread^2) (any statistics text)."""
    pulse = pulses(np.array([0.1]), np.array([0.3]), np.array([0.25]), np.array([-0.2]))
    t = np.linspace(0.0, 3.0, 300_001)
    x, v, _ = pulse(t)
    assert x[-1] == pytest.approx(-0.2)
    assert t[np.argmin(v)] == pytest.approx(0.1 + 0.3 * np.exp(-(0.25**2)), abs=1e-4)


@pytest.mark.parametrize("seed", range(4))
def test_a_filmed_start_leaves_rest_by_its_power(seed: int) -> None:
    intent = filmed_start(Putter(), np.random.default_rng(seed))
    x = intent.path(np.array([1e-3, 2e-3]))[0]
    assert np.log2(x[1] / x[0]) == pytest.approx(intent.power, abs=0.05)
    assert 2.0 <= intent.power < 7.0


def test_the_tremor_swings_as_often_and_as_far_as_its_sources_say() -> None:
    """What it adds to the same stroke: 6 to 12 Hz, at most 0.3 mm; nothing before the takeaway."""
    world, generator = world_named("tremor"), np.random.default_rng(3)
    assert world.trouble is not None
    for _ in range(5):
        intent = world.intend(Putter(), generator)
        t = np.arange(intent.takeaway_s - 0.2, intent.takeaway_s + 2.0, 1e-3)
        added = world.trouble(intent, generator).path(t)
        assert np.all(added[:, t < intent.takeaway_s] == 0)
        assert 4e-5 < np.abs(added[0]).max() < 3e-4
        rate = np.fft.rfftfreq(8192, 1e-3)[
            np.argmax(np.abs(np.fft.rfft(added[0] * np.hanning(len(t)), 8192)))
        ]
        assert 5.5 < rate < 12.5


def test_a_contact_that_takes_time_ends_where_a_step_does() -> None:
    """Half of the speed is lost by its middle, so that both ways meet again at its end."""
    truth = WORLDS[1].draw(Putter(), np.random.default_rng(1)).truth
    seen = touching(truth, 1e-3)
    event = truth.strokes[0]
    at = event.impact_s + np.array([-0.6e-3, 0.0, 0.6e-3])
    apart = seen.motion.position(at) - truth.motion.position(at)
    lost = event.speed_before_mps - event.speed_after_mps
    # a half sine of force: lost * c * (1/4 - 1/(2 pi)) behind at its middle
    assert apart == pytest.approx([0.0, -lost * 1e-3 * (0.25 - 0.5 / np.pi), 0.0], abs=1e-12)
    ahead = seen.balls[0].position(at) - truth.balls[0].position(at)
    assert ahead == pytest.approx([0.0, event.ball_speed_mps * 1e-3 * (0.25 - 0.5 / np.pi), 0.0], abs=1e-12)


def test_every_world_says_what_it_is_and_has_a_name_of_its_own() -> None:
    assert len({each.name for each in WORLDS}) == len(WORLDS) >= 7
    assert all(each.meaning for each in WORLDS)
