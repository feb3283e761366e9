"""Registering a ball's outline to the edges of the picture, to a fraction of a pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from pennyfall.kinematics.values import BoolArray, FloatArray, freeze_arrays
from pennyfall.tracker.ball.outline import Outline
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.marks.small_matrices import inverse, solved

_STEP_PX = 0.5
"""Sampling along the normals. Chosen by us: finer than the picture carries, so that it adds no error."""
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
_INLIER_SMEAR = 0.2
"""What the tolerance gains by half of the smear: a smeared edge is found less exactly. Chosen by us."""
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
NO_SHIFT = np.zeros(2)


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
    beyond_px: FloatArray
    """How far outside the outline each of its edges is seen, shape (m,) [px]; 0 where there is none."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

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
    origin_px: FloatArray = NO_SHIFT,
    faint: bool = False,
) -> OutlineFit | None:
    """Register an outline to the edges near it.

    Along each normal the edge is where the mean levels on either side differ most: the matched filter of a
    step in white noise (Canny 1986, IEEE PAMI 8:679-698). For a moving ball the flanks reach over half of the
    smear seen along that normal at least, so that the answer has one peak; a step smeared during the exposure
    is symmetric about its mid-exposure place, and so is the filter's answer. Not wider: where the ball's limb
    falls off into shade an edge is read the farther inside the wider the flanks, and so unlike at rest.
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
    origin_px : FloatArray
        Where the picture's first pixel lies in the frame of the outline, shape (2,) [px].
    faint : bool
        Whether edges beside it (a dark head's) outdo the outline: those from the median height on are
        then trusted alike, not those from the upper quartile on.

    Returns
    -------
    OutlineFit or None
        None where too few edges agree on a place.

    """
    near_px = _near(outline)
    if reach_px > near_px:
        # What is far off is moved near by half of the points, and looked at again.
        coarse = outline.thinned(2)
        matched = _matched(luma, coarse, reach_px, _flanks(coarse, smear_px), size_sd, origin_px, faint)
        if matched is None:
            return None
        shift = matched[2].change[:2]
        if math.hypot(*shift) > 1.2 * reach_px:
            return None
        outline = outline.moved(shift)
    return _register(luma, outline, min(reach_px, near_px), smear_px, size_sd, origin_px, faint)


def smear_length(
    luma: LumaFrame, outline: Outline, direction: FloatArray, *, origin_px: FloatArray = NO_SHIFT
) -> float:
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
    origin_px : FloatArray
        Where the picture's first pixel lies in the frame of the outline, shape (2,) [px].

    Returns
    -------
    float
        Length of the smear [px]; NaN where the edges do not tell.

    """
    narrow = still_flank(outline)
    wide = 0.6 * outline.radius_px
    facing = np.abs(outline.normals @ direction)
    heights = []
    for flank in (narrow, wide):
        edges = _edges(luma, outline, _near(outline), np.full(len(facing), flank), origin_px)
        height = np.abs(edges.step)
        heights.append(np.where(edges.visible & (height >= _FAINTEST_EDGE), height, np.nan))
    ratio = heights[0] / heights[1]
    lengths = np.linspace(0.0, 2.5 * outline.radius_px, 60)
    kept = _kept(lengths, narrow) / _kept(lengths, wide)  # falls steadily from 1
    seen = []
    for part in (facing > 0.8, facing < 0.5):
        known = ratio[part & np.isfinite(ratio)]
        if len(known) < 6:
            return float("nan")
        seen.append(float(np.interp(-upper_median(known), -kept, lengths)))
    return math.sqrt(max(seen[0] ** 2 - seen[1] ** 2, 0.0))


def upper_median(values: FloatArray) -> float:
    """Return the upper median; of a hundred values, numpy's own takes ten times as long."""
    return float(np.sort(values)[len(values) // 2])


def _kept(length: FloatArray, flank: float) -> FloatArray:
    """Return the share of a smeared step's height seen through flanks of a given width."""
    return np.where(length < 2.0 * flank, 1.0 - length / (4.0 * flank), flank / np.maximum(length, 1e-9))


def _near(outline: Outline) -> float:
    """Return how far off an outline may be to be fitted in one step [px]."""
    return max(2.5, NEAR_SHARE * outline.radius_px)


def still_flank(outline: Outline) -> float:
    """Return the half-width of the edge filter on a still ball [px]."""
    return max(_FLANK_PX, _FLANK_SHARE * outline.radius_px)


def _flanks(outline: Outline, smear_px: FloatArray | None) -> FloatArray:
    """Return the half-width of the edge filter along every normal, shape (m,) [px]."""
    half_px = _half_smear(outline, smear_px)
    return np.minimum(np.maximum(still_flank(outline), half_px), 0.8 * outline.radius_px)


def _half_smear(outline: Outline, smear_px: FloatArray | None) -> FloatArray:
    """Return half of the smear seen along every normal, shape (m,) [px]."""
    if smear_px is None:
        return np.zeros(len(outline.normals))
    return np.asarray(0.5 * np.abs(outline.normals @ smear_px))


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    offset_px: FloatArray
    step: FloatArray
    visible: BoolArray

    def __post_init__(self) -> None:
        freeze_arrays(self)


def _edges(
    luma: LumaFrame, outline: Outline, reach_px: float, flanks_px: FloatArray, origin_px: FloatArray
) -> _Edges:
    """Find the strongest edge along every normal, preferring those near the outline.

    The arrays are a few thousand numbers: what counts is how many operations there are, not how long each is.
    """
    points, normals = outline.points_px - origin_px, outline.normals
    half = reach_px + float(flanks_px.max()) + 2.0
    step_px = max(_STEP_PX, 2.0 * half / _MAX_SAMPLES)
    count = math.ceil(2.0 * half / step_px)
    offsets = (np.arange(count) - 0.5 * (count - 1)) * step_px
    at = (points.T[:, :, None] + normals.T[:, :, None] * offsets).astype(np.float32)
    profiles = cv2.remap(luma, at[0], at[1], interpolation=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    # Sums up to every sample, by the differences of the summed-area table: a third of the time of a cumsum.
    table = cv2.integral(profiles, sdepth=cv2.CV_64F)
    total = table[1:] - table[:-1]

    # Boundary i lies between samples i - 1 and i; the flanks are the w samples on either side of it.
    w = np.maximum(np.rint(flanks_px / step_px).astype(np.intp), 1)
    margin = int(w.max())
    column = np.arange(margin, count + 1 - margin)
    place = (column - 0.5 * count) * step_px
    row = np.arange(len(profiles))
    boundary = (row * (count + 1))[:, None] + column
    ahead, behind = total.take(boundary + w[:, None]), total.take(boundary - w[:, None])
    step = (ahead - 2.0 * total[:, margin : count + 1 - margin] + behind) / w[:, None]

    size = np.abs(step)
    preference = np.exp(-0.5 * (place / (0.7 * reach_px)) ** 2) * (np.abs(place) <= reach_px)
    best = (size * preference).argmax(axis=1)
    spread = np.maximum(w // 3, 1)
    left = size[row, np.maximum(best - spread, 0)]
    right = size[row, np.minimum(best + spread, len(place) - 1)]
    bend = left - 2.0 * size[row, best] + right
    peak = 0.5 * (left - right) / np.minimum(bend, -1e-9)  # of the parabola through the three
    fraction = np.where(bend < 0, np.minimum(np.maximum(peak, -1.0), 1.0), 0.0)
    offset = place[best] + fraction * spread * step_px

    height, width = luma.shape
    reached = (reach_px + flanks_px)[:, None] * np.abs(normals)
    inside = (points >= reached) & (points + reached <= (width - 1.0, height - 1.0))
    return _Edges(offset, step[row, best], inside[:, 0] & inside[:, 1])


@dataclass(frozen=True, slots=True, eq=False)
class _Equations:
    """One equation a usable edge: normal . shift + spoke * growth = offset."""

    usable: BoolArray
    columns: FloatArray
    """Normal (u, v), spoke and offset, shape (4, n)."""
    strength: FloatArray
    trust: FloatArray

    def __post_init__(self) -> None:
        freeze_arrays(self)


def _equations(edges: _Edges, outline: Outline, faint: bool) -> _Equations | None:
    """Return the equations of the usable edges; None where they are too few."""
    strength = np.abs(edges.step)
    usable = edges.visible & (strength >= _FAINTEST_EDGE)
    if np.count_nonzero(usable) < _LEAST_EDGES:
        return None
    columns = np.empty((4, len(usable)))
    columns[:2] = outline.normals.T
    columns[2] = ((outline.points_px - outline.centre_px) * outline.normals).sum(axis=1)
    columns[3] = edges.offset_px
    strength = strength[usable]
    strong = np.sort(strength)[len(strength) // 2 if faint else (3 * len(strength)) // 4]
    trust = np.minimum(strength / strong, 1.0) ** 2
    return _Equations(usable, columns.compress(usable, axis=1), strength, trust)


def _matched(
    luma: LumaFrame,
    outline: Outline,
    reach_px: float,
    flanks_px: FloatArray,
    size_sd: float,
    origin_px: FloatArray,
    faint: bool,
) -> tuple[_Edges, _Equations, _Solution] | None:
    """Return the edges near the outline, their equations and what solves them; None where too few."""
    edges = _edges(luma, outline, reach_px, flanks_px, origin_px)
    equations = _equations(edges, outline, faint)
    solution = None if equations is None else _robust(equations, size_sd)
    return None if equations is None or solution is None else (edges, equations, solution)


def _register(
    luma: LumaFrame,
    outline: Outline,
    reach_px: float,
    smear_px: FloatArray | None,
    size_sd: float,
    origin_px: FloatArray,
    faint: bool,
) -> OutlineFit | None:
    """Move the outline onto the edges and say how well they agree."""
    flanks = _flanks(outline, smear_px)
    matched = _matched(luma, outline, reach_px, flanks, size_sd, origin_px, faint)
    if matched is None:
        return None
    edges, equations, solution = matched
    half_smear_px = _half_smear(outline, smear_px)[equations.usable]
    tolerance = max(_INLIER_PX, _INLIER_SHARE * outline.radius_px) + _INLIER_SMEAR * half_smear_px
    supporting = (solution.misfit_px < tolerance) & (solution.weights > 0)
    support = np.count_nonzero(supporting)
    shift, scale = solution.change[:2], 1.0 + float(solution.change[2])
    if math.hypot(*shift) > 1.2 * reach_px or support < _LEAST_EDGES:
        return None
    residual_px = max(_FLOOR_PX, 1.4826 * upper_median(solution.misfit_px[supporting]))
    # Neighbouring normals share texture: edges closer than a filter's two flanks, or than what the exposure
    # smears over one another, are not independent.
    pitch = 2.0 * np.pi * outline.radius_px / len(outline.normals)
    shared = max(1.0, 2.0 * upper_median(still_flank(outline) + half_smear_px) / pitch)
    covariance = shared * residual_px**2 * inverse(solution.information)
    if not covariance.any():  # a singular system
        return None
    supported = np.zeros(len(edges.step), dtype=np.bool_)
    supported[equations.usable] = supporting
    beyond_px = np.zeros(len(edges.step))
    beyond_px[equations.usable] = equations.columns[3] - solution.change @ equations.columns[:3]
    return OutlineFit(
        outline=outline.moved(shift, scale),
        covariance_px2=covariance[:2, :2],
        scale=scale,
        support=support / len(supported),
        contrast=upper_median(equations.strength[supporting]),
        coherence=_coherence(edges.step * supported),
        visible=np.count_nonzero(edges.visible) / len(supported),
        residual_px=residual_px,
        beyond_px=beyond_px,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Solution:
    change: FloatArray
    """Shift (u, v) [px] and growth, shape (3,)."""
    weights: FloatArray
    misfit_px: FloatArray
    information: FloatArray
    """Inverse of the change's covariance for edges of unit error, shape (3, 3)."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def _normal_equations(columns: FloatArray, weights: FloatArray, penalty: float) -> FloatArray:
    """Return the weighted products of the equations' columns, shape (4, 4), growth held to zero."""
    products: FloatArray = (columns * weights) @ columns.T
    products[2, 2] += penalty
    return products


def _robust(equations: _Equations, size_sd: float) -> _Solution | None:
    """Solve by reweighted least squares, the growth held to zero within `size_sd`."""
    columns, trust = equations.columns, equations.trust
    weights, misfit = trust, np.abs(columns[3])
    change: FloatArray = np.zeros(3)
    penalty = 0.0
    scale = max(_FLOOR_PX, 1.4826 * upper_median(misfit))
    for turn in range(_ABSOLUTE_TURNS + _BIWEIGHT_TURNS):
        penalty = (scale / size_sd) ** 2
        products = _normal_equations(columns, weights, penalty)
        solution = solved(products[:3, :3], products[:3, 3])
        if solution is None:
            return None
        change = solution
        misfit = np.abs(columns[3] - change @ columns[:3])
        scale = max(_FLOOR_PX, 1.4826 * upper_median(misfit))
        if turn < _ABSOLUTE_TURNS:  # first, so that a third of foreign edges does not steer the start
            weights = trust * (scale / np.maximum(misfit, 0.5 * scale))
        else:
            weights = trust * np.maximum(1.0 - (misfit / (4.685 * scale)) ** 2, 0.0) ** 2
    information = _normal_equations(columns, weights, penalty)[:3, :3]
    return _Solution(change, weights, misfit, information)


def _coherence(step: FloatArray) -> float:
    """Return how often supporting edges step the way of their neighbour a twenty-fourth of the outline on.

    The step is zero where no edge supports the outline.
    """
    apart = max(1, len(step) // 24)
    pair = step * np.concatenate([step[-apart:], step[:-apart]])
    known = np.count_nonzero(pair)
    return np.count_nonzero(pair > 0) / known if known else 0.0
