"""What is believed of a stroke before its clip is seen: one table of questions that likelihood answers.

Every row says what is asked, what each answer changes, how probable it is beforehand, by which source, and
what evidence moved it. Who knows better about hands and clubs changes a row here, and nothing else. All rows
are weighed by one rule: probability beforehand times the likelihood of the frames.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import numpy as np

from pennyfall.kinematics.values import FloatArray

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True, slots=True)
class Belief(Generic[T]):
    """One question about a stroke, and its possible answers."""

    question: str
    changes: str
    """What an answer changes in the model of the motion."""
    answers: tuple[tuple[float, T], ...]
    """Probability beforehand, and what holds then."""
    source: str
    evidence: str = ""
    """What moved this row to where it is."""

    def log_prior(self) -> FloatArray:
        """Return the log probability of each answer beforehand, shape (answers,)."""
        return np.log([probability for probability, _ in self.answers])

    def certain(self) -> T:
        """Return the answer of a row that has but one."""
        ((_, answer),) = self.answers
        return answer


@dataclass(frozen=True, kw_only=True, slots=True)
class Start:
    """One way of leaving rest: powers of the time since, in units of length / duration^power."""

    powers: tuple[int, ...]
    means: tuple[float, ...]
    sds: tuple[float, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Tremor:
    """A trembling of the hand."""

    hz: tuple[float, ...]
    """Frequencies that together stand for the band [Hz]."""
    sd_m: float
    """Sd of the sine's and the cosine's amplitude at each of them [m]."""
    rise_s: float
    """How long it takes to build up from rest [s]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Kick:
    """What an instant may change at once: sds of velocity [m/s], acceleration [m/s^2] and jerk [m/s^3]."""

    velocity: float = 0.0
    acceleration: float = 0.0
    jerk: float = 0.0

    def variances(self) -> FloatArray:
        """Return the variances of position, velocity, acceleration and jerk, shape (4,) [SI^2]."""
        return np.square([0.0, self.velocity, self.acceleration, self.jerk])


@dataclass(frozen=True, kw_only=True, slots=True)
class LogNormal:
    """A positive number known to a factor."""

    median: float
    log_sd: float

    def log_density(self, value: FloatArray | float) -> FloatArray:
        """Return the log density of values over their logarithm, but for a constant."""
        return np.asarray(-0.5 * (np.log(np.asarray(value) / self.median) / self.log_sd) ** 2)


@dataclass(frozen=True, kw_only=True, slots=True)
class Normal:
    """A number known to a standard deviation."""

    mean: float
    sd: float

    def log_density(self, value: FloatArray | float) -> FloatArray:
        """Return the log density of values, but for a constant."""
        return np.asarray(-0.5 * ((np.asarray(value) - self.mean) / self.sd) ** 2)


BACKSWING_START = Belief(
    question="How does the head leave rest?",
    changes="powers of the time since takeaway of which the early backswing is made",
    answers=(
        (0.3, Start(powers=(2, 3, 4, 5), means=(3.0, -2.0, -2.0, 2.0), sds=(3.0, 8.0, 12.0, 10.0))),
        (0.4, Start(powers=(3, 4, 5, 6), means=(8.0, -10.0, 3.0, 0.0), sds=(6.0, 15.0, 15.0, 10.0))),
        (0.3, Start(powers=(4, 5, 6, 7), means=(15.0, -24.0, 10.0, 0.0), sds=(10.0, 20.0, 20.0, 10.0))),
    ),
    source="chosen by us around a half cosine (2.5 at the second power, -2 at the fourth), the lowest "
    "polynomial with a constant start (6, -8, 3), the minimum-jerk movement (10, -15, 6 from the third; "
    "Flash & Hogan 1985, J Neurosci 5:1688-1703) and the next smoother one (15, -24, 10 from the fourth)",
    evidence="conditioned on covering its length and resting at the top, the takeaway's error on simulated "
    "strokes fell from 8.5 to 5 ms (0.05 mm noise) and from 23 to 13 ms (0.18 mm)",
)
FINISH_START = Belief(
    question="How does the head come to rest at the finish, seen backward in time?",
    changes="powers of the time since the finish of which the last of the follow-through is made",
    answers=(
        (0.3, Start(powers=(2, 3, 4, 5), means=(3.0, -2.0, -2.0, 0.0), sds=(3.0, 6.0, 10.0, 10.0))),
        (0.5, Start(powers=(3, 4, 5), means=(6.0, -6.0, 2.0), sds=(5.0, 10.0, 10.0))),
        (0.2, Start(powers=(4, 5), means=(12.0, -12.0), sds=(12.0, 20.0))),
    ),
    source="chosen by us, as for the backswing, of a movement that goes on",
)
TREMBLING: Belief[Tremor | None] = Belief(
    question="Does the hand tremble as the head leaves rest?",
    changes="sines and cosines added to those powers",
    answers=((0.75, None), (0.25, Tremor(hz=(8.0, 10.0), sd_m=1e-4, rise_s=0.05))),
    source="physiological tremor of the hand lies at 8 to 12 Hz (Elble & Randall 1978, Electroencephalogr "
    "Clin Neurophysiol 44:72-82, from memory); its share and size at the putter's head are chosen by us",
    evidence="a path-traced stroke whose hand trembled by 0.15 mm: takeaway 17 ms late at 8.2 deviations "
    "without this row, 7 ms at 0.8 with it. 150 simulated strokes with 0.15 mm of 8 to 10 Hz at 240 "
    "frames/s: root mean square of 2.4 deviations without, 1.1 with it; strokes that do not tremble are "
    "dated as before",
)
TAKEAWAY = Belief(
    question="What may begin at once at takeaway?",
    changes="kick of the motion's state there",
    answers=((1.0, Kick(velocity=1e-3, acceleration=1.0, jerk=50.0)),),
    source="chosen by us: accelerations up to 2 m/s^2, jerks up to 100 m/s^3",
)
TOP: Belief[float] = Belief(
    question="Does the hand grab at the top of the backswing?",
    changes="sd of a step of the acceleration there, as a share of the pull",
    answers=((0.82, 0.0), (0.18, 0.35)),
    source="chosen by us: nearly one stroke in five grabs",
    evidence="taking the likelier alone left tops with a step of 1 m/s^2 4 deviations off, held in 7 to 22 "
    "%; weighing both holds them in 65 to 80 %, and tops without a step err by 0.32 ms instead of 0.28 (240 "
    "frames/s). Where one in eight grabbed, in simulation, the top was held in 94.8 % (94.0 with odds of "
    "e^-2, 92.0 with e^-4)",
)
STEADY_TOP = Kick(acceleration=0.01, jerk=60.0)
"""What a hand that pulls steadily may change at the top, chosen by us; 60 is twice the jerk of a brisk
stroke."""
PULL_CHANGE: Belief[Kick] = Belief(
    question="Does the pull of the forward swing change at once: nowhere, on the way, or in the last 90 ms?",
    changes="kick of the jerk at that instant; one just before the ball makes a model of its own",
    answers=((0.87, Kick()), (0.03, Kick(jerk=100.0)), (0.1, Kick(jerk=200.0))),
    source="chosen by us: one stroke in thirty on the way, by a hand that lets go of 5 m/s^2 within a "
    "twentieth of a second; one in ten just before the ball, twice as fast",
    evidence="on the way: of 1,200 simulated strokes at 240 frames/s, half of them with one, 88 % had their "
    "peak acceleration within 3 % with odds of e^-3 or e^-4, 87 with e^-2, without any 82 %. Before the "
    "ball, 40 simulated strokes each at 240 and 60 frames/s: where the pull is lost along a half cosine the "
    "acceleration at impact was held in 78 and 70 %, with this row in 85 and 88; after a push of 2 to 6 "
    "m/s^2 the mean of the last 20 ms is now held in 82 and 57 % (at 60 frames/s it lasts a few frames only "
    "and is hardly seen). Strokes without either err by 2 % more, in 0.18 mm of noise by 3 %, and are stated "
    "a tenth wider at 240, a third wider at 60 frames/s",
)
EASING: Belief[float] = Belief(
    question="Does a pull that falls level off before impact?",
    changes="rate at which the jerk decays in the last 60 ms before impact [1/s]",
    answers=((0.5, 0.0), (0.5, 10.0)),
    source="chosen by us",
    evidence="over 2,400 simulated strokes at 240 frames/s acceleration at impact erred by 0.40 m/s^2 RMS "
    "instead of 0.44, its bias was -0.09 instead of -0.15, and it was held in 95.2 % instead of 92.7; over "
    "28 rendered strokes it erred by 0.27 instead of 0.33",
)
IMPACT = Belief(
    question="What does the impact change?",
    changes="kick of the motion's state there",
    answers=((1.0, Kick(velocity=0.6, acceleration=12.0, jerk=400.0)),),
    source="chosen by us: a head of 0.35 kg loses 21 % of 1 to 3 m/s to a ball of 0.046 kg (momentum, "
    "restitution 0.8), and the hands start anew",
)
BEFORE = Kick(velocity=3.0, acceleration=15.0, jerk=400.0)
"""Sds of the motion before the first frame, as good as unknown."""
PROCESS_NOISE = Belief(
    question="How fast does the jerk of a stroke change?",
    changes="spectral density of the noise on jerk, each phase its own [m^2/s^7]",
    answers=((1.0, LogNormal(median=1e4, log_sd=2.5)),),
    source="chosen by us: by about 30 m/s^3 within a tenth of a second; the sd spans a factor of 150 up and "
    "down, so that only a nearly silent likelihood feels it",
    evidence="what simulated and rendered strokes ask for is 200 to 2000",
)
NOISE_SCALE = Belief(
    question="How large is the error of a place in motion?",
    changes="the sd that the follower states, by this factor",
    answers=((1.0, LogNormal(median=1.0, log_sd=0.5)),),
    source="chosen by us: the stated one is right within a factor of three",
)
NOISE_LAG_ONE = Belief(
    question="How alike are the errors of neighbouring frames?",
    changes="correlation of a frame's error with that of the frame before",
    answers=((1.0, Normal(mean=0.15, sd=0.25)),),
    source="chosen by us around what filmed tags showed (0.07 to 0.4)",
)

TABLE: tuple[Belief[Any], ...] = (
    BACKSWING_START,
    FINISH_START,
    TREMBLING,
    TAKEAWAY,
    TOP,
    PULL_CHANGE,
    EASING,
    IMPACT,
    PROCESS_NOISE,
    NOISE_SCALE,
    NOISE_LAG_ONE,
)
"""Every question, in the order in which a stroke is measured."""
