"""The models of a stroke that its clip asks for: process noises, the top, changes of the pull, its end.

Each question is put to the same frames by the same rule (`weighing.log_weights`), one after the other.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import expit, logit, logsumexp, ndtr

from pennyfall.kinematics.stroke.beliefs import EASING, PULL_CHANGE, STEADY_TOP, TOP, Kick
from pennyfall.kinematics.stroke.smoothed import BEFORE_IMPACT_S, JERK
from pennyfall.kinematics.values import FloatArray, IntArray
from pennyfall.tracker.smoother.chain import (
    BACK,
    EASING_S,
    MOTION_STATES,
    MotionChain,
    PullChange,
    StrokeModel,
    StrokeNodes,
    build_chain,
    chain_matrices,
    unknown_start,
)
from pennyfall.tracker.smoother.frames import StrokeFrames
from pennyfall.tracker.smoother.kalman import log_likelihoods, smooth_chain
from pennyfall.tracker.smoother.weighing import (
    DIFFUSION_GRID,
    NO_KICK,
    Hypotheses,
    WeighedModel,
    likeliest,
    log_mean,
    log_weights,
    noise_prior,
)

FEWEST_FRAMES_AFTER = 6
"""Chosen by us: fewer frames after impact say nothing about the process noise there."""
PULL_CHANGE_SPACING_S = 0.008
"""Chosen by us: instants nearer to each other the picture hardly tells apart."""
ON_THE_WAY_S = (np.inf, 2 * BEFORE_IMPACT_S)
"""Chosen by us: so long before impact a change on the way is sought; a later one cannot be told from noise
there, and would only let it in."""
LATE_S = (0.09, BEFORE_IMPACT_S / 2)
"""Chosen by us: so long before impact a hand may push at the ball, or shy from it. A still later change
hardly moves the mean before impact."""
UNLIKELY = 1e-3
"""Chosen by us: a change less likely than this changes nothing."""
NOTHING = Kick().variances()


def choose_models(frames: StrokeFrames, model: StrokeModel, pull_mps2: float) -> tuple[WeighedModel, ...]:
    """Return a model for each likely top and end of the forward swing, the likeliest first.

    Parameters
    ----------
    frames : StrokeFrames
        The frames of the stroke.
    model : StrokeModel
        Its events.
    pull_mps2 : float
        About the acceleration at the top [m/s^2].

    """
    chain, nodes = build_chain(frames, model, fill=False)
    through = _through_noise(chain, nodes, float(frames.errors.sd_m[-1]))
    tops = [
        WeighedModel(weight=each.weight, model=_with_through(each.model, through))
        for each in _weigh_tops(chain, nodes, model, pull_mps2)
    ]
    first = tops[0].model
    on_the_way, late, is_late = find_pull_changes(frames, first)
    eases = easing_probability(frames, replace(first, pull_changes=on_the_way))
    rates = [rate for _, rate in EASING.answers]
    ends = [
        ((1 - is_late) * (1 - eases), on_the_way, rates[0]),
        ((1 - is_late) * eases, on_the_way, rates[1]),
        (is_late, on_the_way + late, rates[0]),
    ]
    return likeliest(
        [
            WeighedModel(
                weight=each.weight * share,
                model=replace(each.model, pull_changes=changes, easing_per_s=rate),
            )
            for each in tops
            for share, changes, rate in ends
        ]
    )


def _weigh_tops(
    chain: MotionChain, nodes: StrokeNodes, model: StrokeModel, pull_mps2: float
) -> list[WeighedModel]:
    """Return how likely each kick at the top is, with the model it makes; the likeliest first."""
    grid, answers = len(DIFFUSION_GRID), len(TOP.answers)
    kicks = [replace(STEADY_TOP, acceleration=_step(share, pull_mps2)) for _, share in TOP.answers]
    back = np.repeat(DIFFUSION_GRID, grid * answers)
    forward = np.tile(DIFFUSION_GRID, grid * answers)
    which = np.tile(np.repeat(np.arange(answers), grid), grid)
    more = np.array([each.variances() for each in kicks]) - model.top_kick.variances()
    log_weight = log_weights(
        chain,
        nodes.phase[: nodes.impact + 1],
        Hypotheses(
            log_prior=noise_prior(back) + noise_prior(forward) + TOP.log_prior()[which],
            diffusion=(back, forward),
            kick_node=np.array([nodes.top + 1]),
            kick=more[which].T,
        ),
    )
    of_kick = [log_weight[which == each] for each in range(answers)]
    likely = np.exp([logsumexp(each) - logsumexp(log_weight) for each in of_kick])
    models = [
        WeighedModel(
            weight=float(likely[each]),
            model=replace(
                model,
                diffusion=(
                    log_mean(back[which == each], of_kick[each]),
                    log_mean(forward[which == each], of_kick[each]),
                    log_mean(forward, log_weight),
                ),
                top_kick=kicks[each],
            ),
        )
        for each in range(answers)
    ]
    return sorted(models, key=lambda each: -each.weight)


def _step(share: float, pull_mps2: float) -> float:
    return max(share * abs(pull_mps2), STEADY_TOP.acceleration)


def _with_through(model: StrokeModel, through: float | None) -> StrokeModel:
    return model if through is None else replace(model, diffusion=(*model.diffusion[:2], through))


def _through_noise(chain: MotionChain, nodes: StrokeNodes, error_sd_m: float) -> float | None:
    """Return the process noise of the follow-through; None where too few frames show it.

    Position alone ties it to what came before, so it is chosen by itself.
    """
    after = slice(nodes.impact + 1, len(chain.time_s))
    seen = chain.position_m[after][np.isfinite(chain.position_m[after])]
    if len(seen) < FEWEST_FRAMES_AFTER:
        return None
    start, covariance = unknown_start(float(seen[0]), error_sd_m)
    arrays = ("position_m", "variance_m2", "error_carry", "error_sd_m", "diffusion", "jerk_decay_per_s")
    through = replace(
        chain,
        **{name: getattr(chain, name)[after] for name in (*arrays, "time_s")},
        kick=np.zeros_like(chain.kick[after]),
        start_mean=start,
        start_covariance=covariance,
    )
    log_weight = log_weights(
        through,
        np.zeros(len(through.time_s), dtype=np.int64),
        Hypotheses(
            log_prior=noise_prior(DIFFUSION_GRID),
            diffusion=(DIFFUSION_GRID,),
            kick_node=NO_KICK,
            kick=NOTHING,
        ),
    )
    return log_mean(DIFFUSION_GRID, log_weight)


def pull_change_step_s(frames: StrokeFrames) -> float:
    """Return how far apart the instants lie at which changes are sought [s]."""
    return max(PULL_CHANGE_SPACING_S, float(np.median(np.diff(frames.time))))


def find_pull_changes(
    frames: StrokeFrames, model: StrokeModel
) -> tuple[tuple[PullChange, ...], tuple[PullChange, ...], float]:
    """Return where the pull may change on the way and just before the ball, and how probable the latter is.

    A hand that lets go, or pushes, within a few frames bends the acceleration sharper than the process noise
    of an even swing allows. A change competes with an even pull and with changes elsewhere. Each instant then
    gets the variance of a change times its weight: where nothing tells, that is the little which a change
    unseen there would add. The process noise between them stays that of an even pull: a smooth, S-shaped
    decline reads as a change where it begins, and a smaller noise would miss its end. Just before the ball
    too little is seen for that: a change there is a model of its own, so that an even pull is not blurred by
    it.
    """
    chain, nodes = build_chain(frames, model, fill=False)
    step_s = pull_change_step_s(frames)
    way, late = (_places(chain.time_s, nodes, step_s, when) for when in (ON_THE_WAY_S, LATE_S))
    (even, _), *changes = PULL_CHANGE.answers
    chance = [
        np.full(len(at), of / max(len(at), 1)) for at, (of, _) in zip((way, late), changes, strict=True)
    ]
    jerk = np.repeat([kick.jerk for _, kick in changes], (len(way), len(late)))
    noises = len(DIFFUSION_GRID)
    diffusion = np.repeat(DIFFUSION_GRID, len(jerk) + 1)
    log_weight = log_weights(
        chain,
        nodes.phase[: nodes.impact + 1],
        Hypotheses(
            log_prior=np.tile(np.log(np.concatenate([*chance, [even]])), noises) + noise_prior(diffusion),
            diffusion=(np.array([model.diffusion[BACK]]), diffusion),
            kick_node=np.tile(np.concatenate([way, late, NO_KICK]), noises),
            kick=np.eye(MOTION_STATES)[:, [JERK]] * np.tile(np.append(jerk, 0.0), noises) ** 2,
        ),
    )
    weight = np.exp(log_weight - logsumexp(log_weight)).reshape(noises, -1).sum(axis=0)
    is_late = float(weight[len(way) : -1].sum())
    return (
        _changes(chain.time_s[way], jerk[: len(way)], weight[: len(way)] / max(1 - is_late, UNLIKELY)),
        _changes(chain.time_s[late], jerk[len(way) :], weight[len(way) : -1] / max(is_late, UNLIKELY)),
        is_late,
    )


def _changes(time_s: FloatArray, jerk: FloatArray, share: FloatArray) -> tuple[PullChange, ...]:
    """Return the changes at these instants, each by its share of the variance, but for unlikely ones."""
    return tuple(
        PullChange(instant_s=float(time_s[each]), jerk_sd_mps3=float(jerk[each] * np.sqrt(share[each])))
        for each in np.flatnonzero(share > UNLIKELY)
    )


def _places(time: FloatArray, nodes: StrokeNodes, step_s: float, when_s: tuple[float, float]) -> IntArray:
    """Return the nodes of the forward swing, so long before impact and a step apart."""
    places: list[int] = []
    last = time[nodes.top]
    for node in range(nodes.top + 2, nodes.impact):
        inside = when_s[0] >= time[nodes.impact] - time[node] >= when_s[1]
        if inside and time[node] - last >= 0.9 * step_s:
            places.append(node)
            last = time[node]
    return np.array(places, dtype=np.int64)


def easing_probability(frames: StrokeFrames, model: StrokeModel) -> float:
    """Return how probable it is that the pull levels off before impact, 0 to 1.

    One sided, the smoother carries the slope of the last tenth of a second on to impact, and a pull that
    eases off in an S would seem to end below zero: 0.3 to 0.7 m/s^2 too low. Where jerk decays in the last
    60 ms that is halved, but every rising pull then seems to end 0.1 too low.

    Only a pull that falls may level off (one that rises would seem to end too low), and only an impact ends
    it: a pass in practice has frames on both sides.
    """
    if not model.struck:
        return 0.0
    chain = build_chain(frames, model, fill=False)[0]
    smoothed = smooth_chain(chain)
    first = int(np.searchsorted(chain.time_s, model.impact - EASING_S))
    falls = ndtr(-smoothed.mean[first, JERK] / np.sqrt(smoothed.covariance[first, JERK, JERK]))
    steady, eases = (_evidence(frames, replace(model, easing_per_s=rate)) for _, rate in EASING.answers)
    beforehand = EASING.answers[1][0]
    return float(expit(logit(beforehand * falls) + eases - steady))


def _evidence(frames: StrokeFrames, model: StrokeModel) -> float:
    """Return the log likelihood of the frames up to impact."""
    chain, nodes = build_chain(frames, model, fill=False)
    F, Q = chain_matrices(chain)
    steps = Q[: nodes.impact + 1, :, :, None]
    passed = log_likelihoods(
        chain.position_m, chain.variance_m2, F, steps, chain.start_mean, chain.start_covariance
    )
    return float(passed[0])
