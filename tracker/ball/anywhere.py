"""Finding balls anywhere in a picture, by their outline alone: no camera, no head, no place is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.camera import Camera
from pennyfall.calibration.pose import TYPICAL_FOCAL_SHARE
from pennyfall.kinematics.values import BALL_RADIUS_M, FloatArray, freeze_arrays
from pennyfall.tracker.ball.edges import OutlineFit, fit_outline
from pennyfall.tracker.ball.finding import roughness
from pennyfall.tracker.ball.outline import Outline, ball_outline
from pennyfall.tracker.clip.frame import LumaFrame

SMALLEST_PX, LARGEST_PX = 8.0, 70.0
"""Radii looked for, in a picture up to 1920 px wide: chosen by us, a ball from 0.4 to 3 m away."""
_USUAL_WIDTH_PX = 1920
"""Wider pictures are reduced to about this before balls are looked for."""
_VOTED_RADII_PX = (4.0, 5.0, 6.2, 7.7)
"""Radii voted for in each reduced picture: chosen by us, each a fourth more than the one before, so that a
ball is at most an eighth off, which the fit takes out."""
_VOTER_SHARE = 0.08
"""Share of the pixels, those with the steepest luma, that vote: chosen by us, carpet's own have no say."""
_PEAKS = 12
"""Places of each reduced picture that are looked at closely."""
_STRETCHES = (0.8, 0.87, 0.94, 1.0, 1.08, 1.17, 1.27)
"""Radii tried there, over the one that was voted for."""
_FITTED, _FITTED_QUICKLY = 24, 8
"""Places of all reduced pictures carried on to the exact fit."""
_LOWEST = 16
"""Of 24 points of a circle those with the least steps decide. Chosen by us: of the means, quantiles and sums
tried on clips of three renderers this ranked the ball highest."""
_OTHER_SIZES = (0.85, 1.2, 1.45)
_CIRCLE_ANGLES = np.arange(24) * (2.0 * np.pi / 24)
_CIRCLE = np.vstack([np.cos(_CIRCLE_ANGLES), np.sin(_CIRCLE_ANGLES)])
_LOOSE_SIZE_SD = 0.15
"""How well a vote knows the radius."""
_LEAST_SUPPORT, _FIRST_SUPPORT = 0.5, 0.4
"""Share of the outline that must be seen at last and at first."""
_LEAST_CONFIDENCE, SURE = 0.3, 0.5
"""Confidence of what is kept, and of a ball beside which no fainter one is looked for. Chosen by us: in the
clips at hand balls reach 0.62 to 0.82, parts of tags, heads and letters 0.40 at most."""
_MOST_BALLS = 4


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SeenBall:
    """Something with the outline of a ball."""

    fit: OutlineFit
    """Its outline in the picture."""
    confidence: float
    """0..1, as of `finding.RestingBall`."""
    faint: bool
    """Whether its outline is fainter than edges beside it."""

    @property
    def centre_px(self) -> FloatArray:
        """Image of its centre, shape (2,) [px]."""
        return self.fit.outline.centre_px

    @property
    def radius_px(self) -> float:
        """Mean radius of its outline [px]."""
        return self.fit.outline.radius_px


def lens_alone(picture_size: tuple[int, int]) -> Camera:
    """Return a usual phone's camera at the world's origin, looking along z."""
    width, height = picture_size
    focal = TYPICAL_FOCAL_SHARE * max(picture_size)
    matrix = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    return Camera(matrix=matrix, distortion=np.zeros(5), rotation=np.eye(3), translation=np.zeros(3))


def outline_seen(camera: Camera, centre_px: FloatArray, radius_px: float) -> Outline:
    """Return the outline of a ball of which the picture shows centre and mean radius.

    An ellipse whose shape follows from its place in the picture, by the lens alone.
    """
    ray = camera.rays(np.asarray(centre_px, dtype=np.float64)[None, :])[0]
    ray /= np.linalg.norm(ray)
    distance = camera.matrix[0, 0] * BALL_RADIUS_M / radius_px
    for _ in range(3):
        outline = ball_outline(camera, camera.centre + distance * ray)
        distance *= outline.radius_px / radius_px
    return outline


def find_balls(luma: LumaFrame, *, most: int = _MOST_BALLS, thorough: bool = True) -> tuple[SeenBall, ...]:
    """Find what has the outline of a ball, the surest first.

    Parameters
    ----------
    luma : LumaFrame
        The picture, shape (height, width).
    most : int
        How many to return at most.
    thorough : bool
        Whether small balls, faint ones and ones darker than the floor are sought, too, where no sure one
        shows: it takes several times as long.

    Notes
    -----
    Steep pixels vote along their gradient for centres (Kimme, Ballard & Sklansky 1975, CACM 18:120-122) in
    pictures reduced by 8, 4 and, where no sure ball shows, 2: there a ball has a radius of 4 to 9 px and
    grass averages out. The most voted places are fitted exactly and kept if a ball's outline is there, smooth
    inside.

    """
    camera = lens_alone((luma.shape[1], luma.shape[0]))
    base = max(1, round(luma.shape[1] / _USUAL_WIDTH_PX))
    fitted = _FITTED if thorough else _FITTED_QUICKLY
    found: list[SeenBall] = []
    for bright, faint in ((True, False), (True, True), (False, False))[: None if thorough else 1]:
        seen = luma if bright else np.bitwise_not(luma)
        for reductions in ((4, 8), (2,))[: None if thorough else 1]:
            for centre, radius in _voted(seen, [base * each for each in reductions])[:fitted]:
                if any(np.hypot(*(centre - each.centre_px)) < 0.5 * each.radius_px for each in found):
                    continue
                ball = _confirmed(luma, camera, centre, radius, faint=faint)
                if ball is not None and base * SMALLEST_PX <= ball.radius_px <= base * LARGEST_PX:
                    found.append(_best_sized(luma, camera, ball))
            if any(ball.confidence > SURE for ball in found):
                return _distinct(found)[:most]
    return _distinct(found)[:most]


def _distinct(found: list[SeenBall]) -> tuple[SeenBall, ...]:
    """Return balls that do not cover each other, the surest first."""
    found.sort(key=lambda each: each.confidence, reverse=True)
    distinct: list[SeenBall] = []
    for ball in found:
        if all(
            np.hypot(*(ball.centre_px - other.centre_px)) > max(ball.radius_px, other.radius_px)
            for other in distinct
        ):
            distinct.append(ball)
    return tuple(distinct)


def _voted(luma: LumaFrame, reductions: Sequence[int]) -> list[tuple[FloatArray, float]]:
    """Return the most voted centres and radii [px], best first."""
    voted: list[tuple[float, FloatArray, float]] = []
    for reduction in reductions:
        size = (luma.shape[1] // reduction, luma.shape[0] // reduction)
        if min(size) < 32:
            continue
        whole = luma[: size[1] * reduction, : size[0] * reduction]
        slopes = _Slopes.of(cv2.resize(whole, size, interpolation=cv2.INTER_AREA).astype(np.float32))
        for peak in _peaks(slopes):
            score, centre, radius = _sharpened(slopes, *peak)
            voted.append((score, (centre + 0.5) * reduction - 0.5, radius * reduction))
    voted.sort(key=lambda each: -each[0])
    return [(centre, radius) for _, centre, radius in voted]


@dataclass(frozen=True, slots=True, eq=False)
class _Slopes:
    """The slopes of a reduced picture's luma, the steep ones held down to their root."""

    along_u: NDArray[np.floating]
    along_v: NDArray[np.floating]
    root: NDArray[np.floating]
    """Root of the steepness; the slopes are divided by it."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @classmethod
    def of(cls, coarse: NDArray[np.float32]) -> _Slopes:
        smooth = cv2.GaussianBlur(coarse, (0, 0), 0.8)
        u = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3)
        v = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3)
        # The root, since one blazing edge must not outvote a whole outline.
        root = np.sqrt(np.hypot(u, v))
        held = np.maximum(root, np.float32(1e-3))
        return cls(u / held, v / held, root)


def _peaks(slopes: _Slopes) -> list[tuple[FloatArray, float]]:
    """Return the most voted pixels (u, v) of a reduced picture with their radii."""
    height, width = slopes.root.shape
    flat = slopes.root.ravel()
    rank = int((1.0 - _VOTER_SHARE) * flat.size)
    steep = np.flatnonzero(flat > max(float(np.partition(flat, rank)[rank]), 2.0))
    weight = flat[steep]
    row, column = np.divmod(steep, width)
    a, b = slopes.along_u.ravel()[steep] / weight, slopes.along_v.ravel()[steep] / weight
    best = np.full((height, width), -np.inf, dtype=np.float32)
    radius_of = np.zeros((height, width), dtype=np.float32)
    for radius in _VOTED_RADII_PX:
        u = np.rint(column + radius * a).astype(np.intp)
        v = np.rint(row + radius * b).astype(np.intp)
        inside = (u >= 0) & (u < width) & (v >= 0) & (v < height)
        votes = np.bincount((v * width + u)[inside], weights=weight[inside], minlength=height * width)
        votes = votes.reshape(height, width).astype(np.float32)
        score = cv2.GaussianBlur(votes, (0, 0), 1.0) / np.float32(radius)
        better = score > best
        best[better], radius_of[better] = score[better], radius
    peaks = []
    for _ in range(_PEAKS):
        v, u = divmod(int(best.argmax()), width)
        if best[v, u] <= 0:
            break
        radius = float(radius_of[v, u])
        peaks.append((np.array([u, v], dtype=np.float64), radius))
        reach = int(0.7 * radius) + 1
        best[max(0, v - reach) : v + reach + 1, max(0, u - reach) : u + reach + 1] = -1.0
    return peaks


def _sharpened(slopes: _Slopes, centre: FloatArray, radius: float) -> tuple[float, FloatArray, float]:
    """Return score, centre and radius of the best circle about a peak, all of the outline counting alike."""
    shifts = np.arange(-0.3, 0.31, 0.15) * radius
    du, dv, radii = (
        each.ravel()[:, None]
        for each in np.meshgrid(shifts, shifts, radius * np.array(_STRETCHES), indexing="ij")
    )
    height, width = slopes.root.shape
    u = np.rint(centre[0] + du + radii * _CIRCLE[0]).astype(np.intp)
    v = np.rint(centre[1] + dv + radii * _CIRCLE[1]).astype(np.intp)
    inside = (u >= 0) & (u < width) & (v >= 0) & (v < height)
    at = np.where(inside, v * width + u, 0)
    outward = slopes.along_u.take(at) * _CIRCLE[0] + slopes.along_v.take(at) * _CIRCLE[1]
    outward *= inside
    inward = -(np.roll(outward, 1, axis=1) + outward + np.roll(outward, -1, axis=1))
    # A ball is brighter than the floor on most of its outline; a tag or a shoe is on a part of such a circle.
    score = np.partition(inward, _LOWEST, axis=1)[:, :_LOWEST].mean(axis=1)
    best = int(score.argmax())
    place = centre + np.array([du[best, 0], dv[best, 0]])
    return float(score[best]), place, float(radii[best, 0])


def _best_sized(luma: LumaFrame, camera: Camera, ball: SeenBall) -> SeenBall:
    """Return the ball fitted from larger and smaller outlines, too, where that shows more of one.

    The lit part of a ball, a mark on it and its shadow have outlines of their own within or about it.
    """
    others = [
        _confirmed(luma, camera, ball.centre_px, stretch * ball.radius_px, faint=ball.faint)
        for stretch in _OTHER_SIZES
    ]
    return max([ball, *(each for each in others if each)], key=lambda each: each.confidence)


def _confirmed(
    luma: LumaFrame,
    camera: Camera,
    centre_px: FloatArray,
    radius_px: float,
    *,
    faint: bool,
    size_sd: float = _LOOSE_SIZE_SD,
) -> SeenBall | None:
    """Fit the outline exactly, its size free, and keep what has a ball's outline."""
    fit: OutlineFit | None = None
    for turn in range(3):
        outline = outline_seen(camera, centre_px, radius_px)
        reach_px = max(3.0, (0.35, 0.25, 0.2)[turn] * radius_px)
        fit = fit_outline(luma, outline, reach_px=reach_px, size_sd=size_sd, faint=faint)
        if fit is None or fit.support < _FIRST_SUPPORT or not 0.5 < fit.scale < 2.0:
            return None
        centre_px, radius_px = fit.centre_px, fit.outline.radius_px
    if fit is None or fit.support < _LEAST_SUPPORT:
        return None
    sharpness = 1.0 / (1.0 + fit.residual_px / max(1.0, 0.06 * radius_px))
    smoothness = 1.0 / (1.0 + roughness(luma, fit.outline) / fit.contrast)
    confidence = fit.support * fit.coherence * sharpness * smoothness
    if confidence < _LEAST_CONFIDENCE:
        return None
    return SeenBall(fit=fit, confidence=confidence, faint=faint)
