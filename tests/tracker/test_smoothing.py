"""The smoother against independent routes and published values."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter
from scipy.stats import multivariate_normal
from statsmodels.datasets import nile
from statsmodels.tsa.statespace.structural import UnobservedComponents

from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.smoother.chain import OBSERVED_STATES, STATES, MotionChain, chain_matrices
from pennyfall.tracker.smoother.kalman import log_likelihoods, sample_paths, smooth_chain, step_response


def chain_of(
    time: FloatArray,
    position: FloatArray,
    *,
    diffusion: float,
    error_sd: float,
    lag_one: float = 0.0,
    independent_sd: float = 1e-6,
    start_sd: FloatArray | None = None,
) -> MotionChain:
    count = len(time)
    start = np.zeros(STATES)
    start[0] = position[np.isfinite(position)][0]
    sds = np.array([1.0, 10.0, 100.0, 1e4]) if start_sd is None else start_sd
    return MotionChain(
        time_s=time,
        position_m=position,
        variance_m2=np.full(count, independent_sd**2),
        error_carry=np.where(np.isfinite(position), lag_one, 1.0),
        error_sd_m=np.full(count, error_sd),
        diffusion=np.full(count, diffusion),
        jerk_decay_per_s=np.zeros(count),
        kick=np.zeros((count, 4)),
        start_mean=start,
        start_covariance=np.diag(np.append(sds, error_sd) ** 2),
    )


def log_likelihood(chain: MotionChain) -> float:
    F, Q = chain_matrices(chain)
    return float(
        log_likelihoods(
            chain.position_m, chain.variance_m2, F, Q[..., None], chain.start_mean, chain.start_covariance
        )[0]
    )


def impact_chain(generator: np.random.Generator) -> MotionChain:
    """Forty uneven frames, a gap, and a kick between two nodes at the same instant."""
    frames = np.cumsum(generator.uniform(0.003, 0.006, 40))
    time = np.sort(np.concatenate([frames, [frames[20] + 0.001] * 2]))
    position = 0.8 * time + 2.0 * time**2 + 1e-3 * generator.standard_normal(42)
    position[[21, 22, 27, 28, 29]] = np.nan
    chain = chain_of(
        time, position, diffusion=1e4, error_sd=1e-3, lag_one=0.3, start_sd=np.array([0.1, 1.0, 5.0, 50.0])
    )
    kick = np.zeros((42, 4))
    kick[22] = [0.0, 0.3**2, 5.0**2, 50.0**2]
    return replace(chain, variance_m2=np.full(42, 2e-4**2), kick=kick)


def prior_path(chain: MotionChain) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean and covariance of the whole path beforehand, and what the frames see of it."""
    F, Q = chain_matrices(chain)
    nodes = len(F)
    covariance = np.zeros((nodes * STATES, nodes * STATES))
    mean = np.zeros(nodes * STATES)
    # Prior covariance of the whole path: cov(k, k) = F P F' + Q, cov(k, j) = F cov(k - 1, j) for j < k.
    P, m = chain.start_covariance, chain.start_mean
    for k in range(nodes):
        here = slice(k * STATES, (k + 1) * STATES)
        P, m = F[k] @ P @ F[k].T + Q[k], F[k] @ m
        mean[here], covariance[here, here] = m, P
        if k:
            before = slice((k - 1) * STATES, k * STATES)
            covariance[here, : k * STATES] = F[k] @ covariance[before, : k * STATES]
            covariance[: k * STATES, here] = covariance[here, : k * STATES].T
    seen = np.flatnonzero(np.isfinite(chain.position_m))
    H = np.zeros((len(seen), nodes * STATES))
    for row, node in enumerate(seen):
        H[row, [node * STATES + state for state in OBSERVED_STATES]] = 1.0
    return mean, covariance, H


def test_smoother_gives_the_states_of_batch_least_squares(generator: np.random.Generator) -> None:
    """All nodes at once: generalised least squares with the prior covariance of the whole path."""
    chain = impact_chain(generator)
    mean, covariance, H = prior_path(chain)
    nodes = len(chain.time_s)
    seen = np.isfinite(chain.position_m)
    S = H @ covariance @ H.T + np.diag(chain.variance_m2[seen])
    gain = np.linalg.solve(S, H @ covariance).T
    batch = (mean + gain @ (chain.position_m[seen] - H @ mean)).reshape(nodes, STATES)
    batch_covariance = covariance - gain @ H @ covariance
    smoothed = smooth_chain(chain)
    scale = np.sqrt(np.diag(batch_covariance).reshape(nodes, STATES))
    np.testing.assert_allclose((smoothed.mean - batch) / scale, 0.0, atol=1e-5)
    blocks = np.stack(
        [batch_covariance[k * STATES : (k + 1) * STATES, k * STATES : (k + 1) * STATES] for k in range(nodes)]
    )
    np.testing.assert_allclose(
        np.sqrt(np.einsum("nii->ni", smoothed.covariance)),
        np.sqrt(np.einsum("nii->ni", blocks)),
        rtol=1e-5,
    )


def test_smoother_gives_what_filterpys_backward_pass_gives(generator: np.random.Generator) -> None:
    chain = impact_chain(generator)
    F, Q = chain_matrices(chain)
    smoothed = smooth_chain(chain)
    kalman = KalmanFilter(dim_x=STATES, dim_z=1)
    mean, covariance, gain, _ = kalman.rts_smoother(
        smoothed.filtered_mean, smoothed.filtered_covariance, Fs=F, Qs=Q
    )
    np.testing.assert_allclose(smoothed.mean, mean, rtol=1e-12)
    np.testing.assert_allclose(smoothed.covariance, covariance, rtol=1e-12, atol=1e-30)
    np.testing.assert_allclose(smoothed.gain, gain, rtol=1e-12, atol=1e-30)


def test_a_step_of_position_is_answered_as_by_data_that_step(generator: np.random.Generator) -> None:
    """A head further on by 1 mm after impact is one whose later frames are told 1 mm too far back."""
    chain, step_m, right = impact_chain(generator), 1e-3, 22
    smoothed = smooth_chain(chain)
    after = np.where(np.arange(len(chain.time_s)) >= right, step_m, 0.0)
    moved = smooth_chain(replace(chain, position_m=chain.position_m - after)).mean.copy()
    moved[:, 0] += after
    sd = np.sqrt(np.einsum("nii->ni", smoothed.covariance))[:, :4]
    answer = step_m * step_response(chain, right)
    np.testing.assert_allclose((moved - smoothed.mean)[:, :4] / sd, answer / sd, atol=1e-6)
    assert np.abs(answer / sd).max() > 0.5


def test_position_is_joined_at_impact_while_velocity_may_step(generator: np.random.Generator) -> None:
    smoothed = smooth_chain(impact_chain(generator))
    left, right = smoothed.mean[21], smoothed.mean[22]
    assert left[0] == pytest.approx(right[0], abs=1e-12)
    assert abs(left[1] - right[1]) > 1e-4


def test_sampled_paths_have_the_smoothed_mean_and_covariance(generator: np.random.Generator) -> None:
    """4000 paths know a standard deviation to 1.1 %; five standard errors are allowed over 168 of them."""
    smoothed = smooth_chain(impact_chain(generator))
    paths = sample_paths(smoothed, 4000, generator)
    sd = np.sqrt(np.einsum("nii->ni", smoothed.covariance))[:, :4]
    np.testing.assert_allclose((paths.mean(axis=0) - smoothed.mean[:, :4]) / sd, 0.0, atol=5 / np.sqrt(4000))
    np.testing.assert_allclose(paths.std(axis=0) / sd, 1.0, atol=5 / np.sqrt(8000))


def test_a_change_in_the_last_digit_leaves_the_drawn_paths_as_they_are(
    generator: np.random.Generator,
) -> None:
    """Variances are changed by 1e-13 of them; the paths may move by 1e-5 of their spread, no more."""
    chain = impact_chain(generator)
    nudged = replace(chain, diffusion=chain.diffusion * (1 + 1e-13))
    smoothed = smooth_chain(chain)
    drawn, again = (
        sample_paths(each, 50, np.random.default_rng(1)) for each in (smoothed, smooth_chain(nudged))
    )
    sd = np.sqrt(np.einsum("nii->ni", smoothed.covariance))[:, :4]
    np.testing.assert_allclose((again - drawn) / sd, 0.0, atol=1e-5)


def test_likelihood_from_innovations_is_that_of_the_joint_normal(generator: np.random.Generator) -> None:
    chain = impact_chain(generator)
    mean, covariance, H = prior_path(chain)
    seen = np.isfinite(chain.position_m)
    joint = multivariate_normal(H @ mean, H @ covariance @ H.T + np.diag(chain.variance_m2[seen]))
    expected = joint.logpdf(chain.position_m[seen])
    assert log_likelihood(chain) == pytest.approx(expected, rel=1e-9)


def test_bandwidth_is_that_of_a_smoothing_spline() -> None:
    """A sine through the smoother is damped like through a natural spline of half order M.

    H(w) = 1 / (1 + (w / w0)^(2 M)), w0 = (q / (s^2 T))^(1 / (2 M)): H. J. Woltring, gcvspl.memo
    (1986-05-12), isbweb.org, there for M = 2 and 3; white noise on jerk is M = 4. Sampling at 240 Hz adds
    less than 1e-4 at these frequencies.
    """
    dt, q, s = 1 / 240, 1e4, 2e-4
    cutoff = (q / (s**2 * dt)) ** (1 / 8)
    time = np.arange(0, 8, dt)
    for frequency in (0.5 * cutoff, 0.9 * cutoff, cutoff, 1.3 * cutoff):
        phase = frequency * (time - time[len(time) // 2])
        chain = chain_of(time, np.cos(phase), diffusion=q, error_sd=1e-9, independent_sd=s)
        gain = smooth_chain(chain).mean[len(time) // 2, 0]
        assert gain == pytest.approx(1 / (1 + (frequency / cutoff) ** 8), abs=2e-4)


def test_local_level_of_the_nile() -> None:
    """Durbin & Koopman's Nile example, s2_eps 15099 and s2_eta 1469.1, against statsmodels, exactly diffuse.

    Its log likelihood counts the first observation's log(2 pi) / 2. The values printed in its tests (first
    and last level 1111.668 and 798.370, filtered variance 4032.16, likelihood -633.4646) are asked as well.
    """
    volume = np.asarray(nile.load_pandas().data["volume"], dtype=np.float64)
    known = UnobservedComponents(volume, "local level", use_exact_diffuse=True).smooth([15099.0, 1469.1])
    chain = chain_of(
        np.zeros(100),
        volume,
        diffusion=0.0,
        error_sd=1e-6,
        independent_sd=np.sqrt(15099.0),
        start_sd=np.array([1e5, 1e-3, 1e-3, 1e-3]),
    )
    kick = np.zeros((100, 4))
    kick[1:, 0] = 1469.1
    chain = replace(chain, kick=kick)
    smoothed = smooth_chain(chain)
    assert smoothed.mean[[0, -1], 0] == pytest.approx([1111.668, 798.370], abs=1e-2)
    assert smoothed.filtered_covariance[-1, 0, 0] == pytest.approx(4032.16, abs=0.01)
    np.testing.assert_allclose(smoothed.mean[:, 0], known.smoothed_state[0], atol=0.02)
    np.testing.assert_allclose(smoothed.covariance[:, 0, 0], known.smoothed_state_cov[0, 0], rtol=1e-4)
    filtered = smoothed.filtered_covariance[:, 0, 0]
    np.testing.assert_allclose(filtered[1:], known.filtered_state_cov[0, 0, 1:], rtol=1e-4)
    later = replace(
        chain,
        time_s=chain.time_s[1:],
        position_m=volume[1:],
        variance_m2=chain.variance_m2[1:],
        error_carry=chain.error_carry[1:],
        error_sd_m=chain.error_sd_m[1:],
        diffusion=chain.diffusion[1:],
        jerk_decay_per_s=chain.jerk_decay_per_s[1:],
        kick=kick[1:],
        start_mean=np.array([volume[0], 0, 0, 0, 0]),
        start_covariance=np.diag([15099.0, 1e-6, 1e-6, 1e-6, 1e-12]),
    )
    assert known.llf == pytest.approx(-633.4646, abs=1e-4)
    assert log_likelihood(later) - 0.5 * np.log(2 * np.pi) == pytest.approx(known.llf, abs=1e-3)


def test_steady_state_gain_of_a_local_level() -> None:
    """Tracking index L of one state: L^2 = alpha^2 / (1 - alpha) (Kalata 1984, from memory)."""
    index = 0.5
    chain = chain_of(
        np.zeros(60),
        np.zeros(60),
        diffusion=0.0,
        error_sd=1e-9,
        independent_sd=1.0,
        start_sd=np.array([10.0, 1e-6, 1e-6, 1e-6]),
    )
    kick = np.zeros((60, 4))
    kick[:, 0] = index**2
    smoothed = smooth_chain(replace(chain, kick=kick))
    alpha = smoothed.filtered_covariance[-1, 0, 0]
    assert alpha**2 / (1 - alpha) == pytest.approx(index**2, rel=1e-6)


def test_angular_acceleration_of_pezzack(refdata: Path) -> None:
    """Pezzack, Norman & Winter 1977 (J Biomech 10:377), acceleration measured directly.

    Noise and process noise by likelihood. A Butterworth filter at the cutoff that residual analysis chooses
    (5.59 Hz) errs by 4.29 rad/s^2 rms on the raw angle; measured for this smoother: 4.16 on the raw and
    4.17 on the noisy angle.
    """
    table = np.genfromtxt(refdata / "pezzack1977" / "pezzack1977.csv", delimiter=",", names=True)
    time = np.asarray(table["time_s"], dtype=np.float64)
    for column in ("angle_raw_rad", "angle_noisy_rad"):
        angle = np.asarray(table[column], dtype=np.float64)
        chains = [
            chain_of(time, angle, diffusion=q, error_sd=1e-9, independent_sd=s)
            for q in 10.0 ** np.arange(5.5, 7.6, 0.5)
            for s in 10.0 ** np.arange(-3.0, -1.9, 0.25)
        ]
        best = max(chains, key=log_likelihood)
        error = smooth_chain(best).mean[:, 2] - table["angacc_true_rad_s2"]
        assert np.sqrt(np.mean(error**2)) < 4.29
