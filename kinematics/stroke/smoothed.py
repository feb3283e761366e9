"""The smoothed stroke: its curve, the uncertainty as joint samples, and where the events lie on it."""

from __future__ import annotations

from dataclasses import dataclass

from pennyfall.kinematics.values import Estimate, FloatArray, freeze_arrays

POSITION, VELOCITY, ACCELERATION, JERK = range(4)
"""Columns of a state."""
BEFORE_IMPACT_S = 0.020
"""The acceleration before impact is the mean over this time, by definition."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SmoothedStroke:
    """One stroke along the target line at a chain of instants (nodes).

    An event at which a derivative may jump is two nodes at the same instant, its left and its right limit.
    """

    time_s: FloatArray
    """Instant of each node, shape (n,) [s]; not decreasing."""
    state: FloatArray
    """Position, velocity, acceleration and jerk, shape (n, 4) [SI]."""
    state_sd: FloatArray
    """Standard deviation of each, shape (n, 4) [SI]."""
    samples: FloatArray
    """Joint samples of the whole path, shape (m, n, 4) [SI]."""
    takeaway: Estimate
    """Instant at which the head left rest [s]."""
    impact: Estimate
    """Impact instant, or the pass of the address position in a practice stroke [s]."""
    impact_samples_s: FloatArray
    """Samples of the impact instant, shape (m,) [s]."""
    takeaway_samples_s: FloatArray
    """Samples of the takeaway, shape (m,) [s]."""
    takeaway_node: int
    """The node at the takeaway."""
    top_node: int
    """The left limit at the top of the backswing; its right limit is the next node."""
    impact_node: int
    """The left limit at impact; its right limit is the next node."""
    pull_change_step_s: float
    """The curve may bend sharply at instants so far apart only [s]."""
    finish_node: int | None
    """The node nearest to the finish; None when the clip ends first."""

    def __post_init__(self) -> None:
        freeze_arrays(self)
