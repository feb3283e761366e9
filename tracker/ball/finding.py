"""Finding a ball that lies on the floor near the head."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import BALL_RADIUS_M, FloatArray, freeze_arrays
from pennyfall.tracker.ball.edges import OutlineFit, fit_outline, upper_median
from pennyfall.tracker.ball.outline import (
    Outline,
    ball_outline,
    floor_ball,
    on_floor,
    rough_outlines,
)
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.marks.small_matrices import solved

SEARCH_ALONG_M, SEARCH_ACROSS_M = 0.25, 0.08
"""How far from the head tag a ball is looked for, along and across the target line. Chosen by us: the largest
heads put 60 mm between tag and face, a ball is addressed within 30 mm of it, and the player may still be
stepping in."""
NEAREST_TO_TAG_M = 0.032
"""A ball's centre is never nearer than this to the tag's along the target line: its radius and half a small
tag."""
_TAG_HEIGHT_M = 0.030
"""Assumed height of the tag when only a rough place on the floor is wanted (heads are 25 to 35 mm high). Not
`tag_height.TYPICAL_HEIGHT`, which would shift the search by 3 mm: the limits here were chosen with it."""
_GRID_M = 0.006
"""Pitch of the places tried: chosen by us, so that the fit that follows reaches from one to the next."""
_VOTERS = 20
"""Outline points voting for a place: chosen by us, twice what tells a ball from a square tag."""
_COARSE_RADIUS_PX = 10.0
"""The picture is reduced until the ball has this radius: carpet averages out, the ball's outline stays."""
_CANDIDATES = 8
"""Places carried on to the exact fit: chosen by us, the true one was among the first three in every trial."""
_APART_M = 0.016
"""Two candidates nearer than this are the same ball."""
_LEAST_SUPPORT = 0.45
"""Share of the outline that must be seen: chosen by us, below it too little is left of a ball a third of
which is hidden."""
_FIRST_SUPPORT = 0.3
"""Where the first fit shows less, the place is not fitted again. Chosen by us: over clips of every kind half
the places tried show less, and none that held a ball less than 0.36."""
_LEAST_CONFIDENCE = 0.28
"""Chosen by us: over rendered scenes of every light, angle and carpet, 95 % of the balls exceed it and under
2 % of the best impostors (head, tag, sheet, carpet)."""
_BEFORE, _AFTER = (np.roll(np.arange(_VOTERS), shift) for shift in (1, -1))
_INSIDE = 0.75
"""Share of the radius inside which a ball is smooth."""
_SIZE_SD = 0.03
"""How well a calibrated camera knows the size of a ball on the floor beforehand, its shaded rim included."""
_SIZE_TOLERANCE = 0.08
"""A ball must have its size to this: twice the scale error of a camera calibrated from one tag."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class RestingBall:
    """A ball found at rest."""

    centre_m: FloatArray
    """Its centre in the camera's world, shape (3,) [m]."""
    fit: OutlineFit
    """Its outline in the picture; the centre there is the image of the ball's centre."""
    confidence: float
    """0..1: share of the outline seen, times how sharply and coherently it agrees and how smooth it is
    inside."""
    faint: bool
    """Whether its outline is fainter than edges beside it."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def find_resting_ball(luma: LumaFrame, camera: Camera, head_px: FloatArray) -> RestingBall | None:
    """Find the ball nearest to the head, on either side of it.

    Parameters
    ----------
    luma : LumaFrame
        The picture, shape (height, width).
    camera : Camera
        The calibrated camera.
    head_px : FloatArray
        Where the head's tag is, shape (2,) [px].

    Returns
    -------
    RestingBall or None
        None where nothing with a ball's outline and size lies there.

    """
    head = head_on_floor(camera, head_px)
    if head is None:
        return None
    along = np.arange(-SEARCH_ALONG_M, SEARCH_ALONG_M + 0.5 * _GRID_M, _GRID_M)
    across = np.arange(-SEARCH_ACROSS_M, SEARCH_ACROSS_M + 0.5 * _GRID_M, _GRID_M)
    x, y = (axis.ravel() for axis in np.meshgrid(head[0] + along, head[1] + across))
    apart = np.abs(x - head[0]) > NEAREST_TO_TAG_M
    places = np.column_stack([x[apart], y[apart], np.full(np.count_nonzero(apart), BALL_RADIUS_M)])
    found: list[RestingBall] = []
    for place in vote(luma, camera, places, keep=_CANDIDATES):
        ball = _confirm(luma, camera, place, faint=False) or _confirm(luma, camera, place, faint=True)
        if ball is not None and abs(ball.centre_m[0] - head[0]) > NEAREST_TO_TAG_M:
            found.append(ball)
    found.sort(key=lambda ball: ball.confidence, reverse=True)
    distinct: list[RestingBall] = []
    for ball in found:
        if all(np.hypot(*(ball.centre_m - other.centre_m)[:2]) > BALL_RADIUS_M for other in distinct):
            distinct.append(ball)
    if not distinct:
        return None
    likely = [ball for ball in distinct if ball.confidence > 0.7 * distinct[0].confidence]
    return min(likely, key=lambda ball: float(np.hypot(*(ball.centre_m[:2] - head[:2]))))


def head_on_floor(camera: Camera, head_px: FloatArray) -> FloatArray | None:
    """Return roughly where the head's tag is, shape (3,) [m]; None where its ray does not come down."""
    head = camera.meet_level(np.asarray(head_px)[None, :], _TAG_HEIGHT_M)[0]
    return head if np.isfinite(head).all() else None


def vote(luma: LumaFrame, camera: Camera, places_m: FloatArray, *, keep: int) -> list[FloatArray]:
    """Let the gradients along each place's outline vote for a ball there.

    A variant of the gradient-weighted Hough transform for circles (Kimme, Ballard & Sklansky 1975, CACM
    18:120-122) with the outline projected exactly, so that one unknown, the size, is gone. The gradient's
    component along the outline's normal counts, averaged over three neighbours so that carpet cancels,
    without its sign, so that a ball may be brighter than the floor on one side and darker on the other.

    Parameters
    ----------
    luma : LumaFrame
        The picture.
    camera : Camera
        The camera.
    places_m : FloatArray
        Ball centres to try, shape (n, 3) [m].
    keep : int
        How many places to return at most.

    Returns
    -------
    list[FloatArray]
        The best places, best first, no two within a third of a ball.

    """
    points, normals = rough_outlines(camera, places_m, _VOTERS)
    height, width = luma.shape
    (u, v), normals = points.T, normals.T
    inside = (u.min(axis=0) >= 1.0) & (u.max(axis=0) <= width - 2.0)
    inside &= (v.min(axis=0) >= 1.0) & (v.max(axis=0) <= height - 2.0)
    if not inside.any():
        return []
    if not inside.all():
        places_m, u, v, normals = places_m[inside], u[:, inside], v[:, inside], normals[:, :, inside]
    half = _VOTERS // 2
    radius = 0.5 * upper_median(np.hypot(u[0] - u[half], v[0] - v[half]))
    reduction = max(1.0, radius / _COARSE_RADIUS_PX)
    columns, rows = slice(int(u.min()), int(u.max()) + 2), slice(int(v.min()), int(v.max()) + 2)
    window = luma[rows, columns]
    size = tuple(max(3, round(extent / reduction)) for extent in window.shape[::-1])
    coarse = cv2.GaussianBlur(cv2.resize(window, size, interpolation=cv2.INTER_AREA), (0, 0), 1.0)
    at_u = _nearest((u - columns.start + 0.5) * (size[0] / window.shape[1]) - 0.5, size[0])
    at_v = _nearest((v - rows.start + 0.5) * (size[1] / window.shape[0]) - 0.5, size[1])
    pixel = at_v * size[0] + at_u
    outward = cv2.Sobel(coarse, cv2.CV_32F, 1, 0, ksize=3).take(pixel) * normals[0]
    outward += cv2.Sobel(coarse, cv2.CV_32F, 0, 1, ksize=3).take(pixel) * normals[1]
    # The root, since one blazing edge must not outvote a whole outline.
    outward = np.copysign(np.sqrt(np.abs(outward)), outward)
    smooth = outward[_BEFORE] + outward + outward[_AFTER]
    score = np.abs(smooth).sum(axis=0)

    best: list[FloatArray] = []
    while len(best) < keep and score.max() >= 0.0:
        place = places_m[score.argmax()]
        best.append(place)
        score[np.hypot(places_m[:, 0] - place[0], places_m[:, 1] - place[1]) < _APART_M] = -1.0
    return best


def _nearest(along: FloatArray, size: int) -> NDArray[np.int32]:
    """Return the nearest of `size` pixels."""
    return np.minimum(np.maximum(np.rint(along), 0.0), size - 1.0).astype(np.int32)


def _confirm(luma: LumaFrame, camera: Camera, place: FloatArray, *, faint: bool) -> RestingBall | None:
    """Fit the outline exactly and keep what has a ball's size all round."""
    outline = ball_outline(camera, place)
    reach_px = max(3.0, 0.35 * outline.radius_px)
    fit = fit_outline(luma, outline, reach_px=reach_px, size_sd=_SIZE_SD, faint=faint)
    if fit is None or fit.support < _FIRST_SUPPORT:
        return None
    exact = on_floor(camera, fit.centre_px[None, :])[0]
    if not np.isfinite(exact).all():
        return None
    fit = fit_outline(
        luma,
        ball_outline(camera, floor_ball(exact[0], exact[1])),
        reach_px=max(2.5, 0.2 * outline.radius_px),
        size_sd=_SIZE_SD,
        faint=faint,
    )
    if fit is None or fit.support < _LEAST_SUPPORT or abs(fit.scale - 1.0) > _SIZE_TOLERANCE:
        return None
    exact = on_floor(camera, fit.centre_px[None, :])[0]
    sharpness = 1.0 / (1.0 + fit.residual_px / max(1.0, 0.06 * fit.outline.radius_px))
    smoothness = 1.0 / (1.0 + roughness(luma, fit.outline) / fit.contrast)
    confidence = fit.support * fit.coherence * sharpness * smoothness
    if confidence < _LEAST_CONFIDENCE:
        return None
    return RestingBall(centre_m=exact, fit=fit, confidence=confidence, faint=faint)


def roughness(luma: LumaFrame, outline: Outline) -> float:
    """Return the robust scatter of luma inside an outline about a smooth shading (a quadratic surface).

    A ball is smooth inside but for a thin mark; carpet is not, nor is anything whose edge runs through.
    """
    u, v = outline.centre_px
    reach = _INSIDE * outline.radius_px
    height, width = luma.shape
    thin = max(1, int(reach / 12.0))
    columns = slice(max(0, int(u - reach)), min(width, int(u + reach) + 2), thin)
    rows = slice(max(0, int(v - reach)), min(height, int(v + reach) + 2), thin)
    a = (np.arange(width)[columns] - u) / reach
    b = (np.arange(height)[rows] - v) / reach
    a, b = np.broadcast_arrays(a, b[:, None])
    inside = a**2 + b**2 < 1.0
    level = luma[rows, columns][inside].astype(np.float64)
    a, b = a[inside], b[inside]
    if len(level) < 12:
        return float("inf")
    shading = np.column_stack([np.ones(len(a)), a, b, a * a, a * b, b * b])
    weights = np.ones(len(level))
    scatter = float("inf")
    for _ in range(3):
        weighted = shading.T * weights
        surface = solved(weighted @ shading, weighted @ level)
        if surface is None:
            return float("inf")
        residual = np.abs(level - shading @ surface)
        scatter = 1.4826 * upper_median(residual) + 0.3  # 0.3: rounding to whole levels
        weights = 1.0 / (1.0 + (residual / (2.0 * scatter)) ** 2)
    return scatter
