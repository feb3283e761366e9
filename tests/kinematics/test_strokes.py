"""What is a stroke and what is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.stroke.finding import coarse_velocity, find_strokes
from tests.tracker.simulated_strokes import Motion, hold, motion_track, move, part_of, stroke, swing

A = -0.06
"""Address position [m]."""
RATES = pytest.mark.parametrize("rate_hz", [60.0, 120.0, 240.0])


def one_stroke(kind: str = "plateau", back_m: float = 0.24) -> tuple[list[Motion], float, float]:
    """Return a stroke's motion up to a rest at its finish, its impact instant and its end position."""
    true = stroke(kind, back_m=back_m, rest_s=0.0)
    motion = swing(true)
    end = float(motion[1](np.array([motion[0]]))[0])
    return [motion, hold(end, 0.4)], true.impact_s, end


@RATES
def test_two_strokes_come_out_as_two(rate_hz: float, generator: np.random.Generator) -> None:
    first, impact, end = one_stroke()
    second, second_impact, _ = one_stroke("early", 0.12)
    between = [move(end, A, 1.0), hold(A, 0.8)]
    offset = 0.8 + sum(duration for duration, _ in [*first, *between])
    head = motion_track([hold(A, 0.8), *first, *between, *second], generator, rate_hz)
    departures = (0.8 + impact, offset + second_impact)
    found, cautions = find_strokes(head, departures)
    assert [each.struck_s for each in found] == pytest.approx(departures)
    assert [each.top_s for each in found] == pytest.approx([1.5, offset + 0.7], abs=0.02)
    assert cautions == ()


@RATES
@pytest.mark.parametrize(
    "before",
    [
        [
            move(A, A - 0.025, 0.3),
            move(A - 0.025, A, 0.3),
            hold(A, 0.3),
            move(A, A - 0.05, 0.4),
            move(A - 0.05, A, 0.4),
        ],
        [move(A, A + 0.02, 0.25), move(A + 0.02, A, 0.15)],
        [move(A, A - 0.1, 0.6), hold(A - 0.1, 0.3), move(A - 0.1, A, 0.7)],
    ],
    ids=["waggle", "forward press", "re-address"],
)
def test_only_the_stroke_counts_after(
    before: list[Motion], rate_hz: float, generator: np.random.Generator
) -> None:
    motions, impact, _ = one_stroke()
    lead = [hold(A, 0.6), *before, hold(A, 0.5)]
    offset = sum(duration for duration, _ in lead)
    found, _ = find_strokes(motion_track([*lead, *motions], generator, rate_hz), [offset + impact])
    assert len(found) == 1
    assert found[0].takeaway_s == pytest.approx(offset, abs=0.2)
    assert found[0].rested


@RATES
def test_a_practice_stroke_is_found_without_a_ball(rate_hz: float, generator: np.random.Generator) -> None:
    motions, _, _ = one_stroke()
    found, _ = find_strokes(motion_track([hold(A, 0.6), *motions], generator, rate_hz), [])
    assert len(found) == 1
    assert found[0].struck_s is None


@RATES
def test_a_stroke_broken_off_at_the_top_is_told_not_counted(
    rate_hz: float, generator: np.random.Generator
) -> None:
    motions, impact, _ = one_stroke()
    lead = [hold(A, 0.6), move(A, A - 0.2, 0.8), hold(A - 0.2, 0.3), move(A - 0.2, A, 0.9), hold(A, 0.6)]
    found, cautions = find_strokes(motion_track([*lead, *motions], generator, rate_hz), [3.2 + impact])
    assert len(found) == 1
    assert [each.code for each in cautions] == ["aborted-stroke"]
    assert cautions[0].numbers["back_cm"] == pytest.approx(20, abs=0.5)


@RATES
@pytest.mark.parametrize(
    ("motions", "words", "remedy"),
    [
        ([hold(A, 2.0)], "moved 0.0 cm", "Film a whole stroke"),
        ([move(-0.4, 0.4, 1.2), hold(0.4, 0.5)], r"moved (79.9|80.0|80.1) cm", "long axis"),
        ([move(-0.4, A, 1.0), hold(A, 1.0), move(A, 0.4, 1.0)], "No stroke", "Film a whole stroke"),
        (
            [hold(A, 0.5), move(A, A - 0.2, 0.8), hold(A - 0.2, 1.0), move(A - 0.2, A, 0.9)],
            "went back 20",
            "whole",
        ),
    ],
    ids=["rest", "walk through", "walk in and out", "broken off"],
)
def test_a_clip_without_a_stroke_is_refused_with_the_travel(
    motions: list[Motion], words: str, remedy: str, rate_hz: float, generator: np.random.Generator
) -> None:
    with pytest.raises(CannotMeasure, match=words) as refused:
        find_strokes(motion_track(motions, generator, rate_hz), [])
    assert remedy in refused.value.fix


@RATES
@pytest.mark.parametrize(
    ("first_s", "last_s", "words", "remedy"),
    [
        (0.9, 9.0, "starts after the backswing began", "a second before"),
        (1.45, 9.0, "starts after the backswing began", "a second before"),
        (0.0, 1.55, "ends before the stroke reached the ball", "a second after"),
        (0.0, 1.1, "ends before the stroke reached the ball", "a second after"),
    ],
)
def test_a_stroke_cut_off_is_refused_with_its_remedy(
    first_s: float, last_s: float, words: str, remedy: str, rate_hz: float, generator: np.random.Generator
) -> None:
    motions, impact, _ = one_stroke()
    head = motion_track([hold(A, 0.6), *motions], generator, rate_hz)
    departures = [0.6 + impact] if last_s > 0.6 + impact else []
    with pytest.raises(CannotMeasure, match=words) as refused:
        find_strokes(part_of(head, first_s, last_s), departures)
    assert remedy in refused.value.fix


def test_a_head_made_out_too_late_is_told_from_a_clip_begun_too_late(generator: np.random.Generator) -> None:
    motions, impact, _ = one_stroke()
    head = motion_track([hold(A, 0.6), *motions], generator)
    late = replace(
        head, seen=head.seen & (head.time_s > 0.9), x_m=np.where(head.time_s > 0.9, head.x_m, np.nan)
    )
    with pytest.raises(CannotMeasure, match=r"made out only 0\.9\d s into the clip") as refused:
        find_strokes(late, [0.6 + impact])
    assert "from nearer" in refused.value.fix


def test_a_clip_that_ends_after_impact_gives_a_stroke_without_finish(generator: np.random.Generator) -> None:
    motions, impact, _ = one_stroke()
    head = part_of(motion_track([hold(A, 0.6), *motions], generator), 0.0, 0.6 + impact + 0.1)
    found, _ = find_strokes(head, [0.6 + impact])
    assert len(found) == 1
    assert not found[0].finished


def test_too_few_frames_with_the_head_are_refused(generator: np.random.Generator) -> None:
    head = part_of(motion_track([hold(A, 0.6)], generator), 0.0, 0.02)
    with pytest.raises(CannotMeasure, match="frames only") as refused:
        find_strokes(head, [])
    assert "uncovered" in refused.value.fix


def test_coarse_velocity_of_a_straight_line_is_its_slope_over_gaps_too() -> None:
    time = np.array([0.0, 0.004, 0.009, 0.012, 0.08, 0.084, 0.2])
    np.testing.assert_allclose(coarse_velocity(time, 0.3 + 0.7 * time), 0.7, rtol=1e-9)
