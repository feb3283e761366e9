"""Whole profiles: alignment and clusters; checked against spm1d on its own data."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import spm1d

from pennyfall.kinematics.lesson.permutation import arrangements
from pennyfall.kinematics.lesson.profile_comparison import (
    clusters,
    compare_profiles,
    largest_mass,
    profile_band,
)
from pennyfall.kinematics.lesson.rules import standard_rules
from pennyfall.kinematics.lesson.stratified_difference import stratified_difference
from pennyfall.kinematics.lesson.stroke_table import PHASE, StrokeTable, aligned_acceleration, stroke_table
from pennyfall.kinematics.values import BoolArray, Estimate, FloatArray
from tests.kinematics.lesson_strokes import Habit, drawn_lesson, drawn_stroke

Curves = tuple[FloatArray, FloatArray]


@pytest.fixture(params=["PlantarArchAngle", "SimulatedTwoLocalMax", "SmallSampleLargePosNegEffects"])
def curves(request: pytest.FixtureRequest) -> Curves:
    """Two groups of curves of spm1d 0.4.55's example data for the two-sample t test, 10, 6 and 4 a group."""
    first, second = getattr(spm1d.data.uv1d.t2, request.param)().get_data()
    return first, second


def _t(first: FloatArray, second: FloatArray, labels: BoolArray | None = None) -> FloatArray:
    both = np.vstack([first, second])
    rows = (np.arange(len(both)) < len(first))[None, :] if labels is None else labels
    return stratified_difference(both, np.zeros_like(both), np.zeros(len(both)), rows).t


def _every_label(first: FloatArray, second: FloatArray) -> BoolArray:
    is_first = np.arange(len(first) + len(second)) < len(first)
    labels, _ = arrangements(is_first, np.zeros(len(is_first)), seed=1)
    return labels


def test_the_t_curve_is_spm1ds(curves: Curves) -> None:
    first, second = curves
    reference = spm1d.stats.ttest2(second, first, equal_var=True)  # equal group sizes: Welch's t is Student's
    np.testing.assert_allclose(_t(first, second)[0], reference.z, rtol=1e-9, atol=1e-9)


def test_every_arrangement_has_spm1ds_largest_t() -> None:
    first, second = spm1d.data.uv1d.t2.SimulatedTwoLocalMax().get_data()
    reference = spm1d.stats.nonparam.ttest2(second, first)
    reference.inference(0.05, two_tailed=True, iterations=-1)
    theirs = np.sort(np.abs(reference.mgr.ZZ).max(axis=1))
    ours = np.sort(np.abs(_t(first, second, _every_label(first, second))).max(axis=1))
    np.testing.assert_allclose(ours[::2], theirs, rtol=1e-9)  # spm1d visits one of each two mirror images
    np.testing.assert_allclose(ours[1::2], theirs, rtol=1e-9)


def test_clusters_lie_where_spm1ds_do_and_are_as_improbable() -> None:
    """Very large effects of both signs, 4 against 4: 70 arrangements, smallest p 2/70 = 0.0286."""
    first, second = spm1d.data.uv1d.t2.SmallSampleLargePosNegEffects().get_data()
    reference = spm1d.stats.nonparam.ttest2(second, first).inference(0.05, two_tailed=True, iterations=-1)
    found = clusters(_t(first, second, _every_label(first, second)), _t(first, second)[0], reference.zstar)
    assert len(found) == len(reference.clusters) == 3
    for ours, theirs in zip(found, reference.clusters, strict=True):
        low, high = theirs.endpoints  # interpolated to where t crosses, so up to a node wider at each end
        assert low <= ours.first <= low + 1
        assert high - 1 <= ours.last <= high
        assert ours.p == pytest.approx(2 / 70)
    assert [each.mass > 0 for each in found] == [True, False, True]


def test_the_heaviest_cluster_is_found_among_several() -> None:
    t = np.array([[0.0, 3, 3, 0, 5, 0, -9, 2.5, 2.5, 2.5], [-1, -1, -1, 0, 0, 0, 0, 0, 0, 0]])
    assert largest_mass(t, 2.0) == pytest.approx([7.5, 0.0])
    found = clusters(np.vstack([t, -t]), t[0], 2.0)
    assert [(each.first, each.last, each.mass) for each in found] == [
        (1, 2, 6),
        (4, 4, 5),
        (6, 6, -9),
        (7, 9, 7.5),
    ]


def test_landmarks_fall_on_their_nodes_whatever_the_tempo(generator: np.random.Generator) -> None:
    """Acceleration equal to the phase itself, in a slow and a quick stroke, comes back as the phase."""
    for backswing, forward in ((0.60, 0.30), (0.95, 0.40)):
        stroke = drawn_stroke(generator, Habit(backswing_s=backswing, forward_swing_s=forward), scatter=0)
        landmarks = [stroke.takeaway_s.value, stroke.top_s.value, stroke.impact_s.value]
        ramp = np.interp(stroke.profile.t_s, landmarks, [0, 1, 2])
        profile = dataclasses.replace(stroke.profile, a_mps2=ramp)
        known_end = dataclasses.replace(
            stroke, profile=profile, acceleration_at_impact_mps2=Estimate(2.0, 0.1)
        )
        aligned, sd = aligned_acceleration(known_end)
        # a node next to the top falls between two frames on either side of the kink
        np.testing.assert_allclose(aligned, PHASE, atol=0.01)
        assert (aligned[0], aligned[-1]) == pytest.approx((0, 2), abs=1e-9)
        assert np.isfinite(sd).all()


def test_the_balls_blow_never_leaks_into_the_aligned_profile(generator: np.random.Generator) -> None:
    stroke = drawn_stroke(generator, Habit())
    assert stroke.profile.a_mps2.min() == -300
    for late_s in (0.0, 0.001):  # the stated instant may lie a little after the profile's own
        stated = dataclasses.replace(stroke, impact_s=Estimate(stroke.impact_s.value + late_s, 0.0005))
        assert aligned_acceleration(stated)[0].min() > -10


@pytest.mark.parametrize("event", ["takeaway_s", "top_s", "impact_s"])
def test_a_stroke_without_an_event_has_no_aligned_profile(generator: np.random.Generator, event: str) -> None:
    change = {event: Estimate.missing()}
    stroke = dataclasses.replace(drawn_stroke(generator, Habit()), **change)  # type: ignore[arg-type]
    assert np.isnan(aligned_acceleration(stroke)[0]).all()


def _table(generator: np.random.Generator, second: Habit, strokes: int = 4) -> tuple[StrokeTable, BoolArray]:
    lesson = drawn_lesson(generator, {"first": Habit(), "second": second}, strokes=strokes)
    table = stroke_table(lesson, standard_rules().quantities)
    return table, table.rows("first")


def test_a_push_before_impact_is_found_before_impact(generator: np.random.Generator) -> None:
    table, is_first = _table(generator, Habit(acceleration_at_impact_mps2=4.0))
    labels, _ = arrangements(is_first, table.putt_length_m, seed=1)
    found = compare_profiles(table, is_first, labels, level=0.01, pairs=1, claims=True, seed=0)
    assert found is not None
    (stretch,) = [each for each in found.stretches if each.claimed]
    assert stretch.from_phase > 1.1
    assert stretch.to_phase == pytest.approx(2)
    assert 0.5 < stretch.difference_mps2 < 3.5  # it grows evenly from 0 at the peak to 3.5 at impact


def test_too_few_strokes_claim_no_stretch(generator: np.random.Generator) -> None:
    table, is_first = _table(generator, Habit(acceleration_at_impact_mps2=4.0))
    labels, _ = arrangements(is_first, table.putt_length_m, seed=1)
    found = compare_profiles(table, is_first, labels, level=0.01, pairs=1, claims=False, seed=0)
    assert found is not None
    assert not found.claimed


def test_the_band_is_mean_and_students_t_at_each_phase(generator: np.random.Generator) -> None:
    table, _ = _table(generator, Habit(), strokes=3)
    band = profile_band(table, "first", 1.83)
    assert band.strokes_mps2.shape == (3, 201)
    # t(0.975; 2) = 4.303 (any table of Student's t)
    half = 4.3027 * band.strokes_mps2.std(axis=0, ddof=1) / np.sqrt(3)
    np.testing.assert_allclose(band.high_mps2 - band.mean_mps2, half, rtol=1e-4, atol=1e-12)
    with pytest.raises(ValueError, match="read-only"):
        band.mean_mps2[0] = 1
