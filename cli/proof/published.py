"""Published recordings with a measured acceleration, through our smoother and the usual methods."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pennyfall.cli.proof.alternatives import METHODS
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.smoother.chain import STATES, MotionChain, chain_matrices  # noqa: TID251
from pennyfall.tracker.smoother.kalman import log_likelihoods, smooth_chain  # noqa: TID251 (what is tried here)

START_SDS = np.array([1.0, 10.0, 100.0, 1e4])
"""Standard deviations before the first sample, angle in rad: as good as unknown."""
DIFFUSIONS = 10.0 ** np.arange(5.5, 7.6, 0.5)
NOISES_RAD = 10.0 ** np.arange(-3.0, -1.9, 0.15)
BURST = 1e12
"""Process noise of a contact [rad^2/s^7]: any larger one gives the same."""
BURST_LENGTHS_S = (0.016, 0.024, 0.032)
BURST_STEP_S = 0.002
COARSE_S = 0.010


@dataclass(frozen=True, kw_only=True, slots=True)
class Recording:
    """One published recording."""

    title: str
    file: str
    angle: str
    """Column of the angle [rad]."""
    acceleration: str
    """Column of the true angular acceleration [rad/s^2]."""
    source: str
    published: str
    """What others reached on it."""
    contact: bool
    """Whether it holds an impact."""


RECORDINGS = (
    Recording(
        title="arm swing, raw angle",
        file="pezzack1977.csv",
        angle="angle_raw_rad",
        acceleration="angacc_true_rad_s2",
        source="Pezzack, Norman & Winter 1977, J Biomech 10:377-382",
        published="none for this error; residual analysis gives 5.59 Hz",
        contact=False,
    ),
    Recording(
        title="arm swing, noisier angle",
        file="pezzack1977.csv",
        angle="angle_noisy_rad",
        acceleration="angacc_true_rad_s2",
        source="the same",
        published="none for this error",
        contact=False,
    ),
    Recording(
        title="pendulum that meets a barrier",
        file="dowling1985.csv",
        angle="disp_rad",
        acceleration="acc_rad_s2",
        source="Dowling 1985, Biomechanics X-B 1163-1167",
        published="quintic spline 23.6, Butterworth 25.5, segmented filter 16.4 (Davis & Challis 2020, "
        "J Biomech 101:109619, table 1)",
        contact=True,
    ),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Result:
    """Root mean square error of the angular acceleration of one recording, by method [rad/s^2]."""

    recording: Recording
    rms: dict[str, float]


def published_results(folder: Path) -> list[Result]:
    """Return the result of every recording found below a folder.

    Raises
    ------
    CannotMeasure
        When none is there.

    """
    results = []
    for recording in RECORDINGS:
        for path in sorted(folder.rglob(recording.file))[:1]:
            results.append(_result(recording, path))
    if not results:
        names = " and ".join(sorted({each.file for each in RECORDINGS}))
        raise CannotMeasure(
            f"{folder} holds none of the published recordings.", fix=f"Put {names} there, or leave it out."
        )
    return results


def _result(recording: Recording, path: Path) -> Result:
    table = np.genfromtxt(path, delimiter=",", names=True)
    time, angle, truth = (
        np.asarray(table[name], dtype=np.float64)
        for name in ("time_s", recording.angle, recording.acceleration)
    )
    ours = contact_acceleration if recording.contact else plain_acceleration
    rms = {"pennyfall": _rms(ours(time, angle) - truth)}
    even = np.linspace(time[0], time[-1], len(time))
    for method in METHODS:
        curve = method.smooth(even, angle, method.choose(even, angle))
        rms[method.name] = _rms(curve.a_mps2 - truth)
    return Result(recording=recording, rms=rms)


def plain_acceleration(time_s: FloatArray, angle_rad: FloatArray) -> FloatArray:
    """Return the smoothed acceleration, both noises by likelihood [rad/s^2]."""
    chains = [_chain(time_s, angle_rad, q, noise) for q in DIFFUSIONS for noise in NOISES_RAD]
    return smooth_chain(max(chains, key=_log_likelihood)).mean[:, 2]


def contact_acceleration(time_s: FloatArray, angle_rad: FloatArray) -> FloatArray:
    """Return the smoothed acceleration of a motion with a contact; its time and length by likelihood, too.

    A contact that lasts many samples is no step of velocity but a burst of process noise. It is sought over
    the whole recording first, then finely together with both noises.
    """
    middling = _chain(time_s, angle_rad, DIFFUSIONS[len(DIFFUSIONS) // 2], NOISES_RAD[-2])
    rough = _with_bursts(middling, time_s[: -1 : max(round(COARSE_S / float(time_s[1] - time_s[0])), 1)])
    best = rough[int(np.argmax(_log_likelihoods(rough)))]
    centre = float(time_s[np.argmax(best.diffusion)])
    starts = np.arange(centre - COARSE_S, centre + COARSE_S, BURST_STEP_S)
    fine = [
        _with_bursts(_chain(time_s, angle_rad, q, noise), starts) for q in DIFFUSIONS for noise in NOISES_RAD
    ]
    values = [_log_likelihoods(chains) for chains in fine]
    likeliest = int(np.argmax([each.max() for each in values]))
    return smooth_chain(fine[likeliest][int(np.argmax(values[likeliest]))]).mean[:, 2]


def _with_bursts(chain: MotionChain, starts_s: FloatArray) -> list[MotionChain]:
    time = chain.time_s
    return [
        replace(chain, diffusion=np.where((time > start) & (time <= start + length), BURST, chain.diffusion))
        for start in starts_s
        for length in BURST_LENGTHS_S
    ]


def _chain(time_s: FloatArray, angle: FloatArray, diffusion: float, noise: float) -> MotionChain:
    count = len(time_s)
    start = np.zeros(STATES)
    start[0] = angle[0]
    return MotionChain(
        time_s=time_s,
        position_m=angle,
        variance_m2=np.full(count, noise**2),
        error_carry=np.zeros(count),
        error_sd_m=np.full(count, 1e-9),
        diffusion=np.full(count, diffusion),
        jerk_decay_per_s=np.zeros(count),
        kick=np.zeros((count, 4)),
        start_mean=start,
        start_covariance=np.diag(np.append(START_SDS, 1e-9) ** 2),
    )


def _log_likelihood(chain: MotionChain) -> float:
    return float(_log_likelihoods([chain])[0])


def _log_likelihoods(chains: list[MotionChain]) -> FloatArray:
    """Return the log likelihood of chains that differ in their process noise only."""
    first = chains[0]
    F, _ = chain_matrices(first)
    Q = np.stack([chain_matrices(each)[1] for each in chains], axis=-1)
    return log_likelihoods(
        first.position_m, first.variance_m2, F, Q, first.start_mean, first.start_covariance
    )


def _rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))
