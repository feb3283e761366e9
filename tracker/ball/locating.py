"""Locating one known ball in one frame: in its place, ahead of it, or where its motion leads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import BALL_RADIUS_M, FloatArray, freeze_arrays
from pennyfall.tracker.ball.edges import OutlineFit, fit_outline
from pennyfall.tracker.ball.finding import vote
from pennyfall.tracker.ball.outline import ball_outline, on_floor
from pennyfall.tracker.clip.frame import LumaFrame

FASTEST_MPS = 6.0
"""No putt starts faster. Chosen by us: losing 0.69 m/s^2 on a green of 8 ft, 5 m/s rolls 18 m."""
_LEAST_SUPPORT = 0.36
"""Share of the whole outline a moving ball must show. Chosen by us: below it two places fit equally well."""
_LEAST_VISIBLE_SUPPORT = 0.50
"""Share of the part inside the picture that must be an edge; see `finding` for what chance reaches."""
_LEVEL_SHARE, _LEVEL_LUMA = 0.30, 12.0
"""How far the ball's middle may differ in luma from what it was at rest: light varies along the path, and
codecs smear; head, carpet and shadow differ by more wherever the ball can be told from them at all."""
Heading = tuple[float, float]
"""Cosine and sine of a direction on the floor from the x axis."""
_FAN = (-0.12, -0.06, 0.0, 0.06, 0.12)
"""Slopes of the paths tried after impact: a ball struck off-line leaves within 7 degrees of the target
line."""
_LEAST_CONTRAST = 30.0
"""Difference in luma between ball and floor below which the covering share is mostly noise. Chosen by us."""
_BARE, _COVERED = 50.0, 200.0
"""Luma at which the covering shares 0 and 1 are drawn: chosen by us, with room on either side for noise."""
_ALONG_M = 0.006
"""Pitch of the places tried ahead: the fit reaches from one to the next."""
_HALF_PIXELS = np.array([[0.0, 0.0], [0.5, 0.0], [0.0, 0.5]])
_REACH_SHARE = 0.35
"""Reach of the outline fit as a share of the radius: half the pitch of its next outline-like neighbour."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Sighting:
    """A ball located in one frame."""

    frame: int
    """Index of the frame in the clip."""
    time_s: float
    """Mid-exposure time [s]."""
    centre_m: FloatArray
    """Ball centre in the camera's world, shape (3,) [m]."""
    sd_m: FloatArray
    """Standard deviation of x and y, shape (2,) [m]."""
    fit: OutlineFit
    """The outline in the picture."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Picture:
    """One frame, or a piece of one, with its camera.

    The luma is the frame's own read-only view, or a piece copied from it: never copied once more.
    """

    frame: int
    """Index of the frame in the clip."""
    time_s: float
    """Mid-exposure time [s]."""
    luma: LumaFrame
    """The luma plane or a piece of it."""
    camera: Camera
    """The camera of that frame."""
    origin_px: tuple[int, int] = (0, 0)
    """Where the piece's first pixel lies in the frame (u, v)."""
    floor: LumaFrame | None = None
    """The same view without the ball, from a camera that has not moved since."""

    def __post_init__(self) -> None:
        if self.floor is not None and self.floor.shape != self.luma.shape:
            raise ValueError(f"floor {self.floor.shape} and luma {self.luma.shape} differ in shape")

    def piece(self, centre_px: FloatArray, half_px: float) -> Picture:
        """Return a copy of the square around a point, cut at the picture's edge."""
        inside = self.square(centre_px, half_px)
        return Picture(
            frame=self.frame,
            time_s=self.time_s,
            luma=self.luma[inside].copy(),
            camera=self.camera,
            origin_px=(self.origin_px[0] + inside[1].start, self.origin_px[1] + inside[0].start),
            floor=None if self.floor is None else self.floor[inside].copy(),
        )

    def square(self, centre_px: FloatArray, half_px: float) -> tuple[slice, slice]:
        """Return rows and columns of the square around a point of the frame, cut at the picture's edge."""
        height, width = self.luma.shape
        u, v = float(centre_px[0]) - self.origin_px[0], float(centre_px[1]) - self.origin_px[1]
        u0, u1 = (min(max(int(u + reach), 0), width) for reach in (-half_px, half_px))
        v0, v1 = (min(max(int(v + reach), 0), height) for reach in (-half_px, half_px))
        return slice(v0, v1), slice(u0, u1)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Looks:
    """What is known of a ball's looks from its time at rest."""

    scale: float
    """Its size in the picture over the size the camera predicts."""
    level: float
    """Mean luma of its middle."""
    faint: bool
    """Whether its outline is fainter than edges beside it."""
    beyond_px: FloatArray | None = None
    """How far outside the outline each of its edges is seen, shape (m,) [px]: a lit edge farther out than one
    in shade. None before that is known."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def level_at(picture: Picture, centre_px: FloatArray, radius_px: float) -> float:
    """Return the mean luma of the ball's middle; NaN outside the picture."""
    u, v = float(centre_px[0]) - picture.origin_px[0], float(centre_px[1]) - picture.origin_px[1]
    half = 0.5 * radius_px
    window = picture.luma[
        max(0, round(v - half)) : max(0, round(v + half) + 1),
        max(0, round(u - half)) : max(0, round(u + half) + 1),
    ]
    return float(cv2.mean(window)[0]) if window.size else float("nan")


def without_floor(
    picture: Picture, centre_px: FloatArray, radius_px: float, looks: Looks
) -> tuple[LumaFrame, FloatArray]:
    """Return the picture near a ball with the floor's own pattern taken out where the floor is known.

    A pixel the ball covers for the share a of the exposure has the luma a * ball + (1 - a) * floor; with the
    ball's mean luma for `ball` this is solved for a, and the carpet no longer pulls at smeared edges.

    Parameters
    ----------
    picture : Picture
        The frame or a piece of it.
    centre_px : FloatArray
        Where the ball is expected in the whole frame, shape (2,) [px].
    radius_px : float
        Its radius [px].
    looks : Looks
        Its looks at rest.

    Returns
    -------
    tuple[LumaFrame, FloatArray]
        Covering shares as luma (0 at 50, 1 at 200), or the luma itself where the floor is unknown or as
        bright as the ball; and the frame pixel at which that picture begins, shape (2,).

    """
    origin = np.array(picture.origin_px, dtype=np.float64)
    if picture.floor is None:
        return picture.luma, origin
    near = picture.square(centre_px, 3.0 * radius_px + 4.0)
    luma, floor = picture.luma[near], picture.floor[near]
    if not floor.size:
        return picture.luma, origin
    contrast = looks.level - _median_luma(floor)
    if abs(contrast) < _LEAST_CONTRAST:
        return picture.luma, origin
    way = math.copysign(1.0, contrast)
    floor = floor.astype(np.float32)
    share = (luma - floor) * way
    share /= np.maximum(way * (looks.level - floor), 0.6 * _LEAST_CONTRAST)
    share *= _COVERED - _BARE
    share += _BARE
    corner = np.array([near[1].start, near[0].start])
    return np.clip(share, 0.0, 255.0, out=share).astype(np.uint8), origin + corner


def _median_luma(luma: LumaFrame) -> float:
    """Return the median luma; by counting, a tenth of the time of ordering."""
    counts = cv2.calcHist([luma], [0], None, [256], [0, 256])
    return float(np.searchsorted(np.cumsum(counts), 0.5 * luma.size))


def locate(
    picture: Picture,
    place_m: FloatArray,
    looks: Looks,
    *,
    reach_m: float = _REACH_SHARE * BALL_RADIUS_M,
    smear_m: FloatArray | None = None,
) -> Sighting | None:
    """Locate the ball near a place on the floor.

    Parameters
    ----------
    picture : Picture
        The frame or a piece of it.
    place_m : FloatArray
        Where it is expected, shape (3,) [m].
    looks : Looks
        Its looks at rest.
    reach_m : float
        How far off it may be [m].
    smear_m : FloatArray, optional
        Its path during the exposure, shape (3,) [m].

    Returns
    -------
    Sighting or None
        None where the outline, its size or its brightness do not agree with a ball there.

    """
    camera = picture.camera
    outline = ball_outline(camera, place_m, looks.scale)
    if looks.beyond_px is not None:
        outline = outline.displaced(looks.beyond_px)
    smear_px = None
    if smear_m is not None:
        ends = camera.project(np.vstack([place_m - 0.5 * smear_m, place_m + 0.5 * smear_m]))
        smear_px = ends[1] - ends[0]
    reach_px = max(2.5, reach_m / BALL_RADIUS_M * outline.radius_px)
    luma, origin = without_floor(picture, outline.centre_px, outline.radius_px, looks)
    fit = fit_outline(
        luma, outline, reach_px=reach_px, smear_px=smear_px, origin_px=origin, faint=looks.faint
    )
    if fit is None or fit.support < max(_LEAST_SUPPORT, _LEAST_VISIBLE_SUPPORT * fit.visible):
        return None
    level = level_at(picture, fit.centre_px, fit.outline.radius_px)
    if abs(level - looks.level) > _LEVEL_SHARE * looks.level + _LEVEL_LUMA:
        return None
    around = on_floor(camera, fit.centre_px + _HALF_PIXELS)
    if not np.isfinite(around).all():
        return None
    jacobian = 2.0 * (around[1:] - around[0])[:, :2].T
    covariance = jacobian @ fit.covariance_px2 @ jacobian.T
    return Sighting(
        frame=picture.frame,
        time_s=picture.time_s,
        centre_m=around[0],
        sd_m=np.sqrt(covariance.diagonal()),
        fit=fit,
    )


def locate_ahead(
    picture: Picture,
    from_m: FloatArray,
    looks: Looks,
    *,
    headings: Sequence[Heading],
    least_m: float,
    most_m: float,
    smear_share: float,
) -> Sighting | None:
    """Locate a ball that left a place in one of some directions, somewhere between two distances.

    Parameters
    ----------
    picture : Picture
        The frame.
    from_m : FloatArray
        Where it came from, shape (3,) [m].
    looks : Looks
        Its looks at rest.
    headings : Sequence[Heading]
        Directions on the floor to try, each with those 7 degrees to either side of it.
    least_m, most_m : float
        Distances covered [m].
    smear_share : float
        Smear during the exposure as a share of the distance covered since `from_m`.

    Returns
    -------
    Sighting or None
        The best-supported ball ahead.

    """
    distance = np.arange(max(least_m, 0.0), most_m + _ALONG_M, _ALONG_M)
    fan = np.unique(np.rint(np.outer(distance, _FAN) / _ALONG_M), axis=1) * _ALONG_M
    along, across = np.repeat(distance, fan.shape[1]), fan.ravel()
    x = np.concatenate([along * cosine - across * sine for cosine, sine in headings])
    y = np.concatenate([along * sine + across * cosine for cosine, sine in headings])
    places = np.column_stack([from_m[0] + x, from_m[1] + y, np.full(len(x), BALL_RADIUS_M)])
    seen = []
    for place in vote(picture.luma, picture.camera, places, keep=4):
        smear = smear_share * (place - from_m)
        sighting = locate(picture, place, looks, smear_m=smear)
        if sighting is not None:
            seen.append(sighting)
    return max(seen, key=lambda each: each.fit.support, default=None)


def in_picture(luma: LumaFrame, centre_px: FloatArray, radius_px: float) -> float:
    """Return the share of a ball's width that lies inside the picture, 0..1."""
    height, width = luma.shape
    u, v = float(centre_px[0]), float(centre_px[1])
    to_edge = min(u, width - 1.0 - u, v, height - 1.0 - v)
    return float(min(max(0.5 * (to_edge / radius_px + 1.0), 0.0), 1.0))
