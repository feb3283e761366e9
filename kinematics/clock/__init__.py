"""From a file's timestamps to true seconds: time bases, speed ramps, jumps of apparent speed, even times."""

from pennyfall.kinematics.clock.even_times import nearest_samples, on_even_times
from pennyfall.kinematics.clock.speed_jump import SpeedJump, pulled_too_hard, speed_jump
from pennyfall.kinematics.clock.speed_ramp import RateSteps, rate_steps
from pennyfall.kinematics.clock.time_base import TimeBase, time_base, usual_interval

__all__ = [
    "RateSteps",
    "SpeedJump",
    "TimeBase",
    "nearest_samples",
    "on_even_times",
    "pulled_too_hard",
    "rate_steps",
    "speed_jump",
    "time_base",
    "usual_interval",
]
