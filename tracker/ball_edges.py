"""Registering a ball's outline to the edges of the picture, to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays
from pennyfall.tracker.ball_outline import Outline
from pennyfall.tracker.frame import LumaFrame

_STEP_PX = 0.5
"""Sampling along the normals. Chosen by us: finer than the picture carries, so that sampling adds no
error."""
_MAX_SAMPLES = 240
"""Chosen by us: bounds the work at 4K, where half a pixel is finer than any lens draws."""
_FLANK_PX, _FLANK_SHARE = 2.0, 0.09
"""Half-width of the edge filter on a still ball, in pixels and as a share of the radius, the larger counts.
Chosen by us: wide enough to average carpet and noise, narrow enough that shading and shadow do not pull the
edge."""
_FAINTEST_EDGE = 5.0
"""Luma step below which a crossing is not called an edge. Chosen by us: codec ripple on plain floor reaches 3
to 4."""
_INLIER_PX, _INLIER_SHARE = 1.0, 0.05
"""Distance from the fitted outline within which an edge belongs to it. Chosen by us: chance edges in a window
of +-0.3 radius fall inside it one time in five."""
_INLIER_FLANK = 0.2
"""What the tolerance gains by the widening of the flanks: a smeared edge is found less exactly. Chosen by
us."""
_ABSOLUTE_TURNS, _BIWEIGHT_TURNS = 3, 3
"""Turns of the robust fit by least absolute values and by the biweight: chosen by us, more changed under
0.005 px."""
NEAR_SHARE = 0.2
"""Shift, as a share of the radius, that one linear step takes out. Chosen by us: what the outline's curvature
leaves is a fiftieth of the radius at most, and less the more of it is seen."""
_LEAST_EDGES = 12
"""Fewer edges than this do not fix three unknowns against chance: chosen by us, four for each."""
_FLOOR_PX = 0.08
"""Least residual scale: chosen by us, so that a bit-identical resting picture does not claim a perfect
edge."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class OutlineFit:
    """Where an outline was found."""

    outline: Outline
    """The outline in its fitted place and size."""
    covariance_px2: FloatArray
    """Covariance of the centre, shape (2, 2) [px^2]."""
    scale: float
    """Fitted size over the size given."""
    support: float
    """Share of the whole outline that has an edge where the fit puts it, 0..1."""
    contrast: float
    """Median height of the luma steps over the supported part."""
    coherence: float
    """Share of the supporting edges whose luma steps the same way as 15 degrees on, 0..1."""
    visible: float
    """Share of the outline inside the picture, 0..1."""
    residual_px: float
    """Robust standard deviation of the supporting edges about the outline [px]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    def moved(self, shift_px: FloatArray) -> OutlineFit:
        """Return the same fit in a picture whose origin lies `shift_px` elsewhere."""
        return replace(self, outline=self.outline.moved(shift_px))

    @property
    def centre_px(self) -> FloatArray:
        """Image of the ball's centre, shape (2,) [px]."""
        return self.outline.centre_px

    @property
    def sd_px(self) -> float:
        """Standard deviation of the centre, root mean square of both directions [px]."""
        return float(np.sqrt(0.5 * np.trace(self.covariance_px2)))


def fit_outline(
    luma: LumaFrame,
    outline: Outline,
    *,
    reach_px: float,
    smear_px: FloatArray | None = None,
    size_sd: float = 0.01,
) -> OutlineFit | None:
    """Register an outline to the edges near it.

    Along each normal the edge is where the mean levels on either side differ most: the matched filter of a
    step in white noise (Canny 1986, IEEE PAMI 8:679-698). For a moving ball the flanks are widened by the
    smear seen along that normal, which turns the filter into the one matched to a smeared step; a step
    smeared during the exposure is symmetric about its mid-exposure place, and so is the filter's answer.
    Least squares over the normals, first by absolute then by Tukey's biweight, leaves out what is hidden, the
    mark and the shadow.

    Parameters
    ----------
    luma : LumaFrame
        The picture, shape (height, width); never written to.
    outline : Outline
        The outline where it is expected.
    reach_px : float
        How far off the outline may be [px].
    smear_px : FloatArray, optional
        Path of the ball's image during the exposure, shape (2,) [px].
    size_sd : float
        How well the size is known beforehand, as a share of it.

    Returns
    -------
    OutlineFit or None
        None where too few edges agree on a place.

    """
    near_px = _near(outline)
    if reach_px > near_px:
        shift = _nudge(luma, outline.thinned(2), reach_px, smear_px, size_sd)
        if shift is None or float(np.hypot(*shift)) > 1.2 * reach_px:
            return None
        outline = outline.moved(shift)
    return _register(luma, outline, min(reach_px, near_px), smear_px, size_sd)


def smear_length(luma: LumaFrame, outline: Outline, direction: FloatArray) -> float:
    """Estimate over how many pixels a moving ball was smeared during the exposure.

    A step smeared over L, seen through flanks of w on either side, keeps the share 1 - L / (4 w) of its
    height where L < 2 w, and w / L beyond. The ratio of the heights seen through narrow and wide flanks,
    ahead and behind the ball, gives L; the same ratio abeam, where nothing is smeared, gives the lens's own
    blur.

    Parameters
    ----------
    luma : LumaFrame
        The picture.
    outline : Outline
        The ball's outline where it was found.
    direction : FloatArray
        Unit vector of its motion in the picture, shape (2,).

    Returns
    -------
    float
        Length of the smear [px]; NaN where the edges do not tell.

    """
    narrow = max(_FLANK_PX, _FLANK_SHARE * outline.radius_px)
    wide = 0.6 * outline.radius_px
    facing = np.abs(outline.normals @ direction)
    heights = []
    for flank in (narrow, wide):
        edges = _edges(luma, outline, _near(outline), None, flank_px=flank)
        usable = edges.visible & (np.abs(edges.step) >= _FAINTEST_EDGE)
        heights.append(np.where(usable, np.abs(edges.step), np.nan))
    ratio = heights[0] / heights[1]
    lengths = np.linspace(0.0, 2.5 * outline.radius_px, 60)
    kept = _kept(lengths, narrow) / _kept(lengths, wide)  # falls steadily from 1
    seen = []
    for part in (facing > 0.8, facing < 0.5):
        known = ratio[part & np.isfinite(ratio)]
        if len(known) < 6:
            return float("nan")
        seen.append(float(np.interp(-_median(known), -kept, lengths)))
    return float(np.sqrt(max(seen[0] ** 2 - seen[1] ** 2, 0.0)))


def _kept(length: FloatArray, flank: float) -> FloatArray:
    """Return the share of a smeared step's height seen through flanks of a given width."""
    return np.where(length < 2.0 * flank, 1.0 - length / (4.0 * flank), flank / np.maximum(length, 1e-9))


def _near(outline: Outline) -> float:
    """Return how far off an outline may be to be fitted in one step [px]."""
    return max(2.5, NEAR_SHARE * outline.radius_px)


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    offset_px: FloatArray
    step: FloatArray
    flank_px: FloatArray
    visible: BoolArray


def _edges(
    luma: LumaFrame,
    outline: Outline,
    reach_px: float,
    smear_px: FloatArray | None,
    flank_px: float | None = None,
) -> _Edges:
    """Find the strongest edge along every normal, preferring those near the outline."""
    still_px = max(_FLANK_PX, _FLANK_SHARE * outline.radius_px) if flank_px is None else flank_px
    flanks_px = np.full(len(outline.normals), still_px)
    if smear_px is not None:
        flanks_px = np.minimum(flanks_px + 0.5 * np.abs(outline.normals @ smear_px), 0.8 * outline.radius_px)
    half = reach_px + float(flanks_px.max()) + 2.0
    step_px = max(_STEP_PX, 2.0 * half / _MAX_SAMPLES)
    count = int(np.ceil(2.0 * half / step_px))
    offsets = (np.arange(count) - 0.5 * (count - 1)) * step_px

    at = (outline.points_px[:, None, :] + offsets[None, :, None] * outline.normals[:, None, :]).astype(
        np.float32
    )
    profiles = cv2.remap(
        luma, at[..., 0], at[..., 1], interpolation=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    total = np.zeros((len(profiles), count + 1))
    np.cumsum(profiles, axis=1, dtype=np.float64, out=total[:, 1:])

    # Boundary i lies between samples i - 1 and i; the flanks are the w samples on either side of it.
    w = np.maximum(np.rint(flanks_px / step_px).astype(np.intp), 1)[:, None]
    boundary = np.arange(int(w.max()), count + 1 - int(w.max()))[None, :]
    place = (boundary[0] - 0.5 * count) * step_px
    rows = np.arange(len(profiles))[:, None]
    step = (total[rows, boundary + w] - 2.0 * total[:, boundary[0]] + total[rows, boundary - w]) / w

    size = np.abs(step)
    within = np.abs(place) <= reach_px
    liking = np.where(within, size * np.exp(-0.5 * (place / (0.7 * reach_px)) ** 2), -1.0)
    best = np.argmax(liking, axis=1)
    spread = np.maximum(w[:, 0] // 3, 1)
    last = size.shape[1] - 1
    low, high = np.maximum(best - spread, 0), np.minimum(best + spread, last)
    row = rows[:, 0]
    left, middle, right = size[row, low], size[row, best], size[row, high]
    bend = left - 2.0 * middle + right
    with np.errstate(divide="ignore", invalid="ignore"):
        fraction = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0)
    offset = place[best] + np.clip(fraction, -1.0, 1.0) * spread * step_px

    height, width = luma.shape
    margin = reach_px + flanks_px[:, None]
    ends = np.concatenate(
        [outline.points_px - margin * outline.normals, outline.points_px + margin * outline.normals]
    )
    inside = np.all((ends >= 0.0) & (ends <= [width - 1, height - 1]), axis=1)
    visible = inside[: len(row)] & inside[len(row) :]
    return _Edges(offset, step[row, best], flanks_px, visible)


def _system(edges: _Edges, outline: Outline) -> tuple[BoolArray, FloatArray, FloatArray, FloatArray]:
    """Return which edges are usable, and for those the design matrix (shift, growth), offsets and trust."""
    strength = np.abs(edges.step)
    usable = edges.visible & (strength >= _FAINTEST_EDGE)
    spokes = np.einsum("ij,ij->i", outline.points_px - outline.centre_px, outline.normals)
    design = np.column_stack([outline.normals, spokes])[usable]
    strength = strength[usable]
    trust = np.minimum(strength / _strong(strength), 1.0) ** 2 if len(strength) else strength
    return usable, design, edges.offset_px[usable], trust


def _nudge(
    luma: LumaFrame, outline: Outline, reach_px: float, smear_px: FloatArray | None, size_sd: float
) -> FloatArray | None:
    """Return a first shift toward the edges; what is far off is looked at again afterwards."""
    usable, design, offset, trust = _system(_edges(luma, outline, reach_px, smear_px), outline)
    if np.count_nonzero(usable) < _LEAST_EDGES:
        return None
    solution = _robust(design, offset, trust, size_sd)
    return None if solution is None else solution[0][:2]


def _register(
    luma: LumaFrame, outline: Outline, reach_px: float, smear_px: FloatArray | None, size_sd: float
) -> OutlineFit | None:
    """Move the outline onto the edges and say how well they agree."""
    edges = _edges(luma, outline, reach_px, smear_px)
    usable, design, offset, trust = _system(edges, outline)
    if np.count_nonzero(usable) < _LEAST_EDGES:
        return None
    flank = edges.flank_px[usable]
    tolerance = max(_INLIER_PX, _INLIER_SHARE * outline.radius_px) + _INLIER_FLANK * (flank - flank.min())
    solution = _robust(design, offset, trust, size_sd)
    if solution is None:
        return None
    change, weights, residual, penalty = solution
    supporting = (np.abs(residual) < tolerance) & (weights > 0)
    if np.hypot(change[0], change[1]) > 1.2 * reach_px or np.count_nonzero(supporting) < _LEAST_EDGES:
        return None
    spread = max(_FLOOR_PX, 1.4826 * _median(np.abs(residual[supporting])))
    # Neighbouring normals share texture: edges closer than a filter's two flanks are not independent.
    pitch = 2.0 * np.pi * outline.radius_px / len(outline.normals)
    shared = max(1.0, 2.0 * _median(flank) / pitch)
    information = (design * weights[:, None]).T @ design
    information[2, 2] += penalty
    try:
        covariance = np.asarray(shared * spread**2 * np.linalg.inv(information), dtype=np.float64)
    except np.linalg.LinAlgError:
        return None
    return OutlineFit(
        outline=outline.moved(change[:2], 1.0 + float(change[2])),
        covariance_px2=covariance[:2, :2],
        scale=1.0 + float(change[2]),
        support=float(np.count_nonzero(supporting)) / len(outline.normals),
        contrast=_median(np.abs(edges.step[usable][supporting])),
        coherence=_coherence(edges.step, usable, supporting),
        visible=float(np.mean(edges.visible)),
        residual_px=spread,
    )


def _robust(
    design: FloatArray, offset: FloatArray, trust: FloatArray, size_sd: float
) -> tuple[FloatArray, FloatArray, FloatArray, float] | None:
    """Solve design @ change = offset by reweighted least squares, the growth held to zero within `size_sd`.

    Returns change, weights, residuals and the weight of the prior on growth.
    """
    both = np.column_stack([design, offset])
    weights, residual = trust, offset
    change: FloatArray = np.zeros(3)
    penalty = 0.0
    scale = max(_FLOOR_PX, 1.4826 * _median(np.abs(offset)))
    for turn in range(_ABSOLUTE_TURNS + _BIWEIGHT_TURNS):
        normal = (design * weights[:, None]).T @ both
        penalty = (scale / size_sd) ** 2
        normal[2, 2] += penalty
        try:
            change = np.asarray(np.linalg.solve(normal[:, :3], normal[:, 3]), dtype=np.float64)
        except np.linalg.LinAlgError:
            return None
        residual = offset - design @ change
        size = np.abs(residual)
        scale = max(_FLOOR_PX, 1.4826 * _median(size))
        if turn < _ABSOLUTE_TURNS:  # first, so that a third of foreign edges does not steer the start
            weights = trust * (scale / np.maximum(size, 0.5 * scale))
        else:
            weights = trust * np.maximum(1.0 - (size / (4.685 * scale)) ** 2, 0.0) ** 2
    return change, weights, residual, penalty


def _median(values: FloatArray) -> float:
    """Return the upper median; numpy's own spends ten times as long on checks."""
    half = len(values) // 2
    return float(np.partition(values, half)[half])


def _strong(values: FloatArray) -> float:
    """Return the upper quartile."""
    place = (3 * len(values)) // 4
    return float(np.partition(values, place)[place])


def _coherence(step: FloatArray, usable: BoolArray, supporting: BoolArray) -> float:
    """Return how often supporting edges step the way of their neighbour a twenty-fourth of the outline on."""
    sign = np.zeros(len(step))
    sign[np.flatnonzero(usable)[supporting]] = np.sign(step[usable][supporting])
    pair = sign * np.roll(sign, max(1, len(step) // 24))
    known = np.count_nonzero(pair)
    return float(np.count_nonzero(pair > 0)) / known if known else 0.0
