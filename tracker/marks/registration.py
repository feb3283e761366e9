"""Registration of a known pattern in a picture: where it is, to a hundredth of a pixel, and how surely."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.kinematics.values import FloatArray, freeze_arrays
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.marks.pattern import ImageArray, Texture
from pennyfall.tracker.marks.small_matrices import inverse, solved

MOST_STEPS = 8
"""Chosen by us: Gauss-Newton from a one-pixel-off start settles in two to four steps."""

SETTLED_PX = 0.01
"""Chosen by us: the steps shrink tenfold, so what is left is a fiftieth of the scatter of the best clip."""

UNSETTLED_PX = 0.04
"""Chosen by us: steps this long after the last one allowed do not settle at all."""

LONGEST_STEP_PX = 10.0
"""Chosen by us: a longer step has left the tag."""

NOISE_CORRELATION = 2.0
"""Chosen by us: neighbouring pixels of a compressed clip err alike, so each counts for half."""

LEAST_NOISE = 0.7
"""Chosen by us: noise in luma steps from rounding and codec, even where the residual is zero."""

MOST_POINTS = 32000
"""Points that are sampled in one call."""

STRETCHES = np.arange(2, 6)
"""Where the four stretches stand among the eight unknowns."""

LEAST_PIXELS = 40
"""Chosen by us: fewer pixels than this cannot hold eight unknowns."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Linearised:
    """The last linear problem of a registration that settled: n pixels, eight unknowns."""

    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    """Pixels compared, shape (n,) each."""
    design: ImageArray
    """Slopes by shift (2), stretches (4), contrast and brightness, shape (8, n)."""
    normal: FloatArray
    """Normal matrix with the prior on the stretches, shape (8, 8)."""
    homography: FloatArray
    """Where the design was made, shape (3, 3)."""
    about_px: FloatArray
    """Point about which the stretches are taken, shape (2,) [px]."""
    gain: float
    """Contrast of the picture it was made from."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Registration:
    """A pattern found in one picture."""

    homography: FloatArray
    """From the tag's plane [m] to pixels, shape (3, 3)."""
    centre_px: FloatArray
    """The tag's centre, shape (2,) [px]."""
    jacobian: FloatArray
    """Pixels per metre at the centre, shape (2, 2)."""
    covariance: FloatArray
    """Of the centre [px^2] and of the four relative stretches d(u,v)/d(u,v), shape (6, 6)."""
    correlation: float
    """Correlation of picture and pattern over the pixels compared."""
    residual_sd: float
    """Standard deviation of what the pattern leaves unexplained [luma steps]."""
    linear: Linearised | None = None
    """The linear problem it was solved from."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def plane_jacobian(homography: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the pixel of a plane's origin, shape (2,), and the pixels per metre there, shape (2, 2)."""
    h = homography / homography[2, 2]
    centre = h[:2, 2]
    return centre, h[:2, :2] - np.outer(centre, h[2, :2])


def register(
    luma: LumaFrame,
    homography: FloatArray,
    texture: Texture,
    *,
    stretch_sd: float = 0.1,
) -> Registration | None:
    """Register a pattern by Gauss-Newton steps on position, stretch, brightness and contrast.

    Parameters
    ----------
    luma : LumaFrame
        Whole picture, shape (height, width).
    homography : FloatArray
        Start, from the tag's plane [m] to pixels, shape (3, 3); its perspective part is kept.
    texture : Texture
        The pattern as this view blurs it.
    stretch_sd : float
        Prior standard deviation of the four relative stretches against the start: it keeps a poor picture
        from bending the pattern, and leaves the position free.

    Returns
    -------
    Registration or None
        None when the pattern lies outside the picture, is too small, or the steps do not settle.

    Notes
    -----
    The model is rendered at the picture's pixels, never the picture resampled: interpolating the picture is
    what makes errors that change with the position within the pixel.

    """
    covered = _covered(luma, homography, texture)
    if covered is None:
        return None
    observed, columns, rows = covered
    count = len(observed)
    if count < LEAST_PIXELS:
        return None
    start_centre, start_jacobian = plane_jacobian(homography)
    gradient_to_px = inverse(start_jacobian).T
    places = _places(columns, rows, start_centre)
    current = homography
    before = homography
    move, stretch = np.zeros(8), np.zeros(4)
    design = np.empty((8, count), np.float32)
    design[7] = 1
    gain = 0.0
    variance = LEAST_NOISE**2
    for step in range(MOST_STEPS):
        sampled = _sample(texture, current, places, start_centre)
        shade = sampled[0]
        if step == 0:
            gain, _ = _gain(observed, shade)
            if gain <= 0:
                return None
        design[0:2] = (-gain * gradient_to_px).astype(np.float32) @ sampled[1:]
        design[2:4] = design[0] * places[:2]
        design[4:6] = design[1] * places[:2]
        design[6] = shade
        normal = (design @ design.T).astype(np.float64)
        right = (design @ observed).astype(np.float64)
        # The linear model explains the picture itself, so brightness and contrast come out whole.
        if step == 0:
            variance = max(_residual_variance(observed, normal, right, count), LEAST_NOISE**2)
        precision = variance / stretch_sd**2
        normal[STRETCHES, STRETCHES] += precision
        right[2:6] -= precision * stretch
        solution = solved(normal, right)
        if solution is None or not np.isfinite(solution).all():
            return None
        move = solution
        slope_gain, gain = gain, float(move[6])
        shift_px = math.hypot(move[0], move[1])
        if shift_px > LONGEST_STEP_PX or gain <= 0:
            return None
        stretch = stretch + move[2:6]
        before = current
        current = moved_homography(current, start_centre, np.asarray(move[:6], dtype=np.float64))
        if shift_px < SETTLED_PX and step > 0:
            break
    else:
        if shift_px > UNSETTLED_PX:
            return None
    # The last step is so small that the linear model stands for the pattern rendered anew.
    residual = observed - move.astype(np.float32) @ design
    spread = _sd(residual)
    noise = NOISE_CORRELATION * max(spread, LEAST_NOISE) ** 2
    total = _sd(observed) ** 2
    if total <= 0:
        return None
    covariance = inverse(normal)[:6, :6] * noise
    centre, jacobian = plane_jacobian(current)
    return Registration(
        homography=current,
        centre_px=centre,
        jacobian=jacobian,
        covariance=covariance,
        correlation=math.sqrt(max(1.0 - spread**2 / total, 0.0)),
        residual_sd=spread,
        linear=Linearised(
            rows=rows,
            columns=columns,
            design=design,
            normal=normal,
            homography=before,
            about_px=start_centre,
            gain=slope_gain,
        ),
    )


def misfit(
    luma: LumaFrame, homography: FloatArray, texture: Texture, *, within: Texture | None = None
) -> float:
    """Return the variance the pattern leaves unexplained at a given place, NaN outside the picture.

    `within` names the texture whose usable part is compared, so that several blurs see the same pixels.
    """
    covered = _covered(luma, homography, within or texture)
    if covered is None:
        return float("nan")
    observed, columns, rows = covered
    middle = plane_jacobian(homography)[0]
    shade = _sample(texture, homography, _places(columns, rows, middle), middle)[0]
    gain, _ = _gain(observed, shade)
    return _sd(observed - np.float32(gain) * shade) ** 2


def rendered_patch(
    texture: Texture, homography: FloatArray, *, half_px: int | None = None
) -> tuple[ImageArray, ImageArray]:
    """Return the pattern as a small picture around the pixel nearest its centre.

    Parameters
    ----------
    texture : Texture
        The pattern as this view blurs it.
    homography : FloatArray
        From the tag's plane [m] to pixels, shape (3, 3).
    half_px : int, optional
        Half of the patch's width and height; by default just what the pattern covers.

    Returns
    -------
    patch, inside : ImageArray
        Brightness, and 1 where it is the pattern's, both shape (2 b + 1, 2 a + 1).

    """
    x, y = texture.usable_x_m, texture.usable_y_m
    middle = homography[:2, 2] / homography[2, 2]
    corners = homography @ np.array([[-x, x, x, -x], [y, y, -y, -y], [1, 1, 1, 1]])
    reach = np.ceil(np.max(np.abs(corners[:2] / corners[2] - middle[:, None]), axis=1)).astype(int)
    half_across, half_down = (half_px, half_px) if half_px is not None else (int(reach[0]), int(reach[1]))
    column, row = round(float(middle[0])), round(float(middle[1]))
    columns, rows = np.meshgrid(
        np.arange(column - half_across, column + half_across + 1),
        np.arange(row - half_down, row + half_down + 1),
    )
    places = _places(columns.ravel(), rows.ravel(), middle)
    plane = inverse(homography) @ _shift(middle) @ places
    inside = (np.abs(plane[0] / plane[2]) < x) & (np.abs(plane[1] / plane[2]) < y)
    patch = _sample(texture, homography, places, middle)[0]
    return patch.reshape(columns.shape), inside.reshape(columns.shape).astype(np.float32)


def _covered(
    luma: LumaFrame, homography: FloatArray, texture: Texture
) -> tuple[ImageArray, NDArray[np.intp], NDArray[np.intp]] | None:
    """Return the pixels the pattern covers: their values, columns and rows, shapes (n,)."""
    x, y = texture.usable_x_m, texture.usable_y_m
    corners = homography @ np.array([[-x, x, x, -x], [y, y, -y, -y], [1, 1, 1, 1]])
    if np.any(corners[2] * np.sign(homography[2, 2]) <= 0):
        return None
    pixels = corners[:2] / corners[2]
    left, top = (math.floor(value) for value in pixels.min(axis=1))
    right, bottom = (math.ceil(value) + 1 for value in pixels.max(axis=1))
    height, width = luma.shape
    if left < 0 or top < 0 or right > width or bottom > height:
        return None
    window = luma[top:bottom, left:right]
    inside = np.zeros(window.shape, np.uint8)
    # Which border pixels take part hardly matters: drawing the outline is quick and near enough.
    cv2.fillConvexPoly(inside, np.round(pixels.T - [left, top]).astype(np.int32), 1)
    rows, columns = np.nonzero(inside)
    return window[rows, columns].astype(np.float32), columns + left, rows + top


def _places(columns: NDArray[np.intp], rows: NDArray[np.intp], about_px: FloatArray) -> ImageArray:
    """Return pixels relative to a point near them, which keeps single precision exact: shape (3, n)."""
    places = np.ones((3, len(columns)), np.float32)
    places[0] = columns - about_px[0]
    places[1] = rows - about_px[1]
    return places


def shifted(homography: FloatArray, shift_px: FloatArray) -> FloatArray:
    """Return the homography after the picture's shift, shape (3, 3)."""
    return _shift(shift_px) @ homography


def _shift(shift_px: FloatArray) -> FloatArray:
    step = np.eye(3)
    step[:2, 2] = shift_px
    return step


def _sample(texture: Texture, homography: FloatArray, places: ImageArray, about_px: FloatArray) -> ImageArray:
    """Return the pattern and its gradient at `_places`, shape (3, n)."""
    rows, columns = texture.values.shape[:2]
    to_texels = np.array(
        [
            [texture.texels_per_m, 0, (columns - 1) / 2],
            [0, -texture.texels_per_m, (rows - 1) / 2],
            [0, 0, 1],
        ]
    )
    to_plane = to_texels @ inverse(homography) @ _shift(about_px)
    texels = (to_plane / to_plane[2, 2]).astype(np.float32) @ places
    across, down = texels[0] / texels[2], texels[1] / texels[2]
    # OpenCV takes no row of more than 32766 points, and a sheet tag in a 4K picture has more.
    sampled = [
        cv2.remap(
            texture.values,
            across[first : first + MOST_POINTS],
            down[first : first + MOST_POINTS],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        for first in range(0, len(across), MOST_POINTS)
    ]
    whole = np.concatenate([np.asarray(each, dtype=np.float32).reshape(-1, 3) for each in sampled])
    return np.ascontiguousarray(whole.T)


def _gain(observed: ImageArray, shade: ImageArray) -> tuple[float, float]:
    """Return the contrast that scales the pattern to the picture, and their correlation."""
    shade_off = shade - np.float32(cv2.mean(shade)[0])
    observed_off = observed - np.float32(cv2.mean(observed)[0])
    power = float(shade_off @ shade_off)
    both = float(shade_off @ observed_off)
    total = float(observed_off @ observed_off)
    if power <= 0 or total <= 0:
        return 0.0, 0.0
    return both / power, both / np.sqrt(power * total)


def _sd(values: ImageArray) -> float:
    """Return the standard deviation of values, shape (n,)."""
    return float(cv2.meanStdDev(values)[1][0, 0])


def _residual_variance(observed: ImageArray, normal: FloatArray, right: FloatArray, count: int) -> float:
    """Return the variance left by brightness and contrast alone (columns 6 and 7 of the design)."""
    level = solved(normal[6:, 6:], right[6:])
    if level is None:
        return float("inf")
    total = float(observed @ observed) - float(right[6:] @ level)
    return max(total, 0.0) / count


def moved_homography(homography: FloatArray, about: FloatArray, move: FloatArray) -> FloatArray:
    """Return the homography after an affine step of the picture: shift and stretches about a point."""
    linear = np.array([[1 + move[2], move[3]], [move[4], 1 + move[5]]])
    step = np.eye(3)
    step[:2, :2] = linear
    step[:2, 2] = about + move[:2] - linear @ about
    return step @ homography
