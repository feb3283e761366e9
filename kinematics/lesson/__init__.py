"""A lesson's statistics: comparison, permutation, minimal change, whole profiles, rules.

Knows strokes by condition and putt length. Ask it what a lesson says (`compare_conditions`).
"""

from pennyfall.kinematics.lesson.reference_bands import ReferenceBand
from pennyfall.kinematics.lesson.rules import Rules, standard_rules
from pennyfall.kinematics.lesson.scatter import Scatter, Spread, scatter
from pennyfall.kinematics.lesson.verdict import LessonComparison, compare_conditions

__all__ = [
    "LessonComparison",
    "ReferenceBand",
    "Rules",
    "Scatter",
    "Spread",
    "compare_conditions",
    "scatter",
    "standard_rules",
]
