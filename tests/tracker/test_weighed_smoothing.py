"""Several models of one stroke: their mean, their spread, and a hand that grabs at the top."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.polynomial import Polynomial

from pennyfall.kinematics.stroke.beliefs import STEADY_TOP, Kick
from pennyfall.kinematics.stroke.scale_errors import ScaleErrors
from pennyfall.kinematics.stroke.smoothed import VELOCITY
from pennyfall.tracker.measure.motion import smooth_strokes
from pennyfall.tracker.smoother import stroke as stroke_smoothing
from pennyfall.tracker.smoother.chain import StrokeModel, build_chain
from pennyfall.tracker.smoother.frames import StrokeFrames
from pennyfall.tracker.smoother.kalman import smooth_chain
from pennyfall.tracker.smoother.models import choose_models
from pennyfall.tracker.smoother.weighing import WeighedModel, smooth_weighed
from tests.tracker.known_strokes import known_stroke
from tests.tracker.simulated_strokes import TrueStroke, ball_track, head_track, stroke

COUNT = 200


@pytest.fixture
def told(generator: np.random.Generator) -> tuple[StrokeFrames, StrokeModel]:
    """Return the frames of a stroke at 120 frames/s, and its model."""
    true = stroke("plateau")
    head = head_track(true, generator, rate_hz=120.0, noise_m=8e-5)
    return known_stroke(true, head)


def test_one_model_gives_what_the_smoother_gives(
    told: tuple[StrokeFrames, StrokeModel], generator: np.random.Generator
) -> None:
    frames, model = told
    whole = smooth_chain(build_chain(frames, model, fill=True)[0])
    weighed = smooth_weighed(frames, [WeighedModel(weight=1.0, model=model)], COUNT, generator)
    np.testing.assert_array_equal(weighed.mean, whole.mean)
    np.testing.assert_allclose(weighed.covariance, whole.covariance, rtol=1e-12, atol=1e-30)
    assert weighed.samples.shape == (COUNT, len(whole.mean), 4)


def test_two_models_give_mean_and_spread_of_their_mixture(
    told: tuple[StrokeFrames, StrokeModel], generator: np.random.Generator
) -> None:
    """The law of total variance (any textbook of probability), and samples from each by its weight."""
    frames, model = told
    models = [model, replace(model, top_kick=Kick(acceleration=3.0, jerk=60.0))]
    one, other = (smooth_chain(build_chain(frames, each, fill=True)[0]) for each in models)
    weighed = smooth_weighed(
        frames,
        [WeighedModel(weight=weight, model=each) for weight, each in zip((0.7, 0.3), models, strict=True)],
        4000,
        generator,
    )
    np.testing.assert_allclose(weighed.mean, 0.7 * one.mean + 0.3 * other.mean, rtol=1e-9, atol=1e-12)
    node = weighed.nodes.top
    variances = [each.covariance[node, VELOCITY, VELOCITY] for each in (one, other)]
    apart = one.mean[node, VELOCITY] - other.mean[node, VELOCITY]
    expected = 0.7 * variances[0] + 0.3 * variances[1] + 0.21 * apart**2
    assert weighed.covariance[node, VELOCITY, VELOCITY] == pytest.approx(expected)
    assert len(weighed.samples) == 4000
    assert np.var(weighed.samples[:, node, VELOCITY]) == pytest.approx(expected, rel=0.1)


def test_a_steady_hand_is_hardly_taken_for_a_grab(told: tuple[StrokeFrames, StrokeModel]) -> None:
    frames, model = told
    models = choose_models(frames, model, 4.0)
    assert models[0].model.top_kick == STEADY_TOP
    assert sum(each.weight for each in models if each.model.top_kick == STEADY_TOP) > 0.8
    assert sum(each.weight for each in models) == pytest.approx(1.0)


def grabbing(step_mps2: float, generator: np.random.Generator) -> TrueStroke:
    """Return a stroke whose backswing is braked by so much less than the forward swing then pulls."""
    while True:
        true = stroke(
            "plateau",
            back_s=float(generator.uniform(0.55, 0.8)),
            back_m=float(generator.uniform(0.18, 0.28)),
        )
        lasts = true.top_s - true.takeaway_s
        since = Polynomial([0, 1 / lasts])
        late = since**3 * (1 - since) ** 2
        true.pieces[1] = true.pieces[1] - step_mps2 / late.deriv(2)(lasts) * late
        if np.all(true.pieces[1].deriv()(np.linspace(0, lasts, 200)[1:-1]) < 0):
            return true


@pytest.mark.slow
def test_the_top_of_a_hand_that_grabs_is_less_sure_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Steps of 1.5 m/s^2 at 240 frames/s; told that every hand is steady, the top lies 10 deviations off."""

    def deviations() -> float:
        draw = np.random.default_rng(5)
        off = []
        for _ in range(24):
            true = grabbing(1.5, draw)
            head = head_track(true, draw, noise_m=8e-5)
            top = (
                smooth_strokes(
                    head,
                    [ball_track(true, head, draw)],
                    scale=ScaleErrors.uniform(0.0),
                    direction="with the arrow",
                )
                .strokes[0]
                .top_s
            )
            off.append((top.value - true.top_s) / top.sd)
        return float(np.sqrt(np.mean(np.square(off))))

    def steady_only(frames: StrokeFrames, model: StrokeModel, pull_mps2: float) -> list[WeighedModel]:
        return [
            WeighedModel(weight=1.0, model=replace(each.model, top_kick=STEADY_TOP))
            for each in choose_models(frames, model, pull_mps2)
        ][:1]

    weighed = deviations()
    monkeypatch.setattr(stroke_smoothing, "choose_models", steady_only)
    steady = deviations()
    assert weighed < 2.0
    assert steady > 2 * weighed
