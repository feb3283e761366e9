"""The putt: the ball's roll, the stroke's growth with length, the drill's plan."""

from pennyfall.kinematics.putt.planner import Plan, plan_lengths
from pennyfall.kinematics.putt.roll import Green, roll_out
from pennyfall.kinematics.putt.scaling import Putt, Scaling, fit_scaling, putt

__all__ = [
    "Green",
    "Plan",
    "Putt",
    "Scaling",
    "fit_scaling",
    "plan_lengths",
    "putt",
    "roll_out",
]
