"""When the head left rest: the softest of the events, with an honest interval.

A backswing starts smoothly, so the head has moved by less than the measurement error long after it left
rest. The early motion is a polynomial in the time since the onset whose lowest power nobody knows, and the
hand may tremble (`beliefs.BACKSWING_START`, `FINISH_START`, `TREMBLING`). Each has a Gaussian prior for its
coefficients; the likelihood of every onset instant under each follows in closed form, and the onset's
distribution is their average.

A movement that ends at rest tells more: whatever its polynomial, it has covered its length when it ends and
is then as slow as it was at first. The prior is conditioned on both, loosely, since a real backswing is no
polynomial of so low a degree all the way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from pennyfall.kinematics.stroke.beliefs import BACKSWING_START, FINISH_START, TREMBLING, Start, Tremor
from pennyfall.kinematics.values import BoolArray, Estimate, FloatArray


@dataclass(frozen=True, kw_only=True, slots=True)
class Movement:
    """The whole movement whose onset is sought."""

    length_m: float
    """Signed length [m]."""
    end_s: float
    """When it has covered it [s]."""
    rests: bool
    """Whether it is then at rest, as at the top of a backswing."""


LENGTH_SD = 0.2
SPEED_SD = 1.0
"""Chosen by us: standard deviations of what the early polynomial misses at the end of the movement, of its
length and of its mean speed. A quarter of them narrows the interval by another 5 % on simulated backswings,
and holds the truth less often when the backswing changes its way."""
GRID_STEP_S = 0.002
REACH_S = (-0.16, 0.06)
"""Chosen by us: how far around the first visible motion the onset is sought."""
DEADBAND_SDS = 1.0
"""Chosen by us: a codec repeats a block while the change is below the tag's scatter or so; on the shipped
clips the picture of the rest stays until the head has moved by 0.02 to 0.15 px, and the tag scatters by 0.04
px. With a quarter, every takeaway of theirs came out late, by 5 ms on average; so, by 0.1 ms."""
ALIKE_M = 0.003
"""Chosen by us: in slow motion a codec moves blocks by quarters of a pixel and leaves the rest uncoded. On
clips rendered by path tracing and encoded at phone rates the place then wandered by a tenth of a millimetre,
alike over 1 to 5 mm of way, where the tag scattered by half of that. Taken as independent, finishes came out
9 and 22 ms early at 3.6 and 3.0 standard deviations, now at 1.2 and 1.0; takeaway intervals are a tenth
wider."""
MOST_ALIKE_SD_M = 5e-5
"""Chosen by us: errors up to an eighth of a pixel have a standard deviation of 0.07 px, some 0.05 mm."""
FREE_LEVEL_SD_M = 5e-3
"""The address position is unknown beforehand to this, which is as good as free."""
SAME_SDS = 0.03
"""Chosen by us: two frames of a moving head agree this closely once in sixty times, two of the same picture
always (a registration started from another point ends within a hundredth of the scatter)."""


def takeaway_instant(
    time_s: FloatArray,
    x_m: FloatArray,
    sd_m: FloatArray,
    lag_one: float,
    visible_s: float,
    movement: Movement,
) -> Estimate:
    """Return the instant at which the head left rest.

    Parameters
    ----------
    time_s, x_m, sd_m : ndarray, shape (n,)
        Seen frames from the rest at address until the head has moved by some centimetres: time [s], position
        [m], standard deviation of the error in motion [m].
    lag_one : float
        Correlation of the errors of neighbouring frames in motion.
    visible_s : float
        Instant at which the motion is plain [s].
    movement : Movement
        The whole movement.

    """
    noise = _error_covariance(x_m, sd_m, lag_one) + FREE_LEVEL_SD_M**2
    first = max(time_s[0], visible_s + REACH_S[0])
    candidates = np.arange(first, visible_s + REACH_S[1], GRID_STEP_S)
    since = np.maximum(time_s[None, :] - candidates[:, None], 0.0)
    whitening = np.linalg.inv(np.linalg.cholesky(noise))
    y_white = whitening @ (x_m - np.mean(x_m[: max(len(x_m) // 4, 1)]))
    share = since / np.maximum(movement.end_s - candidates, GRID_STEP_S)[:, None]
    log_all = []
    for chance, start in (BACKSWING_START if movement.rests else FINISH_START).answers:
        means, root = _prior(start, rests=movement.rests)
        powers = [movement.length_m * share**power for power in start.powers]
        for share_of, tremor in TREMBLING.answers:
            waves = [] if tremor is None else _trembling(tremor, since)
            design = np.stack([column @ whitening.T for column in powers + waves], axis=-1)
            evidence = _log_evidence(design, y_white, *_with_waves(means, root, len(waves)))
            log_all.append(np.log(chance * share_of) + evidence)
    posterior = np.exp(np.array(log_all) - np.max(log_all)).sum(axis=0)
    posterior /= posterior.sum()
    mean = float(posterior @ candidates)
    return Estimate(mean, float(np.sqrt(posterior @ (candidates - mean) ** 2 + GRID_STEP_S**2 / 12)))


def repeated(x_m: FloatArray, sd_m: FloatArray) -> BoolArray:
    """Return whether each frame is the same picture as the one before, its blocks skipped by the codec."""
    same = np.zeros(len(x_m), dtype=bool)
    same[1:] = np.abs(np.diff(x_m)) < SAME_SDS * sd_m[1:]
    return same


def _error_covariance(x_m: FloatArray, sd_m: FloatArray, lag_one: float) -> FloatArray:
    """Return the covariance of the position errors, shape (n, n) [m^2].

    Identical frames are the same picture with the same error; what the codec hid meanwhile is the deadband.
    Frames at nearly the same place have an error in common.
    """
    run = np.cumsum(~repeated(x_m, sd_m)) - 1
    correlation = max(lag_one, 1e-3) ** np.abs(run[:, None] - run[None, :])
    covariance: FloatArray = correlation * sd_m[:, None] * sd_m[None, :]
    alike_m = np.minimum(sd_m, MOST_ALIKE_SD_M)
    covariance += np.outer(alike_m, alike_m) * np.exp(-np.abs(x_m[:, None] - x_m[None, :]) / ALIKE_M)
    frozen = np.bincount(run)[run] > 1
    covariance[np.diag_indices(len(run))] += np.where(frozen, DEADBAND_SDS, 1e-3) ** 2 * sd_m**2
    return covariance


def _trembling(tremor: Tremor, since_s: FloatArray) -> list[FloatArray]:
    """Return what each wave of the tremor adds to the place, of the shape of the time since the onset [m]."""
    size = tremor.sd_m * np.minimum(since_s / tremor.rise_s, 1.0)
    angles = [2 * np.pi * hz * since_s for hz in tremor.hz]
    return [size * wave(angle) for angle in angles for wave in (np.sin, np.cos)]


def _with_waves(mean: FloatArray, root: FloatArray, waves: int) -> tuple[FloatArray, FloatArray]:
    """Return the prior's mean and root with independent unit amplitudes of so many waves."""
    return np.append(mean, np.zeros(waves)), np.asarray(block_diag(root, np.eye(waves)))


def _prior(start: Start, *, rests: bool) -> tuple[FloatArray, FloatArray]:
    """Return mean and a root of the covariance of the coefficients, shapes (k,) and (k, k)."""
    mean, covariance = np.array(start.means), np.diag(np.square(start.sds))
    if rests:
        # At the end the powers of the share are all one: length and speed are sums over the coefficients.
        ending = np.array([np.ones(len(mean)), start.powers], dtype=np.float64)
        miss = ending @ covariance @ ending.T + np.diag([LENGTH_SD**2, SPEED_SD**2])
        gain = np.linalg.solve(miss, ending @ covariance).T
        mean = mean + gain @ (np.array([1.0, 0.0]) - ending @ mean)
        covariance = covariance - gain @ ending @ covariance
    return mean, np.linalg.cholesky(covariance)


def _log_evidence(design: FloatArray, y: FloatArray, mean: FloatArray, root: FloatArray) -> FloatArray:
    """Return the log evidence of y = design @ coefficients + white noise for each design, shape (b,)."""
    misfit = y - design @ mean
    scaled = design @ root
    gram = scaled.swapaxes(1, 2) @ scaled + np.eye(len(mean))
    projected = (scaled.swapaxes(1, 2) @ misfit[:, :, None])[:, :, 0]
    explained = np.einsum("bi,bi->b", projected, np.linalg.solve(gram, projected[:, :, None])[:, :, 0])
    evidence: FloatArray = 0.5 * (explained - np.sum(misfit**2, axis=1)) - 0.5 * np.linalg.slogdet(gram)[1]
    return evidence
