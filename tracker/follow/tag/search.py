"""A level tag by the camera: its perspective and, where it does not decode, its place, by its pattern."""

from __future__ import annotations

import cv2
import numpy as np

from pennyfall.calibration.attitude import projection_gradient, tag_axes
from pennyfall.calibration.camera import Camera
from pennyfall.calibration.tag_height import TYPICAL_HEIGHT
from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.marks.pattern import ImageArray, Pattern
from pennyfall.tracker.marks.registration import Registration, plane_jacobian, register, rendered_patch

REACH_ALONG_M, REACH_ACROSS_M = 0.60, 0.50
"""Chosen by us: the head is addressed within this of the sheet's middle."""

ADDRESS_M = 0.35
"""Chosen by us: a head at address is within this of the sheet's middle, along and across."""

CELL_M = 0.12
"""Chosen by us: across a cell the tag's size in the picture changes by less than a tenth."""

TURNS_RAD = tuple(np.deg2rad([-10.0, 0.0, 10.0, 80.0, 90.0, 100.0]))
"""A tag is stuck on square to the face, in any of four ways, two of them these turned upside down; the
pattern still correlates 5 degrees off."""

RINGS = 6
"""Chosen by us: the ball lies at the middle and the head behind it, so most tags are in the first two."""

OTHER_SIZES = (0.75, 1.33)
"""The printed tags' sides over the usual one's, from 16 to 32 mm: a pattern is found up to a fifth off its
size, not a third."""

OTHER_SIZE_RINGS = 2
"""Chosen by us: other sizes are sought where most heads are; a clip without a tag must stay affordable."""

CANDIDATES = 20
"""Chosen by us: half a pixel off its place, a tag ten pixels wide scores no better than some carpet does; to
register a candidate costs a hundredth of finding it."""

LEAST_SCORE = 0.5
SURE_CORRELATION = 0.88
"""Chosen by us: found by looks alone, the tag must fit better than one followed from frame to frame."""

CERTAIN_CORRELATION = 0.95
"""Chosen by us: a tag that fits this well is not compared with the rest of its ring."""

LEAST_MARKING = 20.0
"""Chosen by us: ink on paper varies by 30 luma steps or more in any light that shows a stroke. Where a tag is
a hundred pixels, a carpet that varies by 8 fits a bent tag to a correlation of 0.92 somewhere: a tag of 12 px
'was found' in five of eight such carpets, with this in none."""


def search_tag(
    luma: LumaFrame, camera: Camera, pattern: Pattern, blur_px: float, height_m: float
) -> Registration | None:
    """Search the floor around the sheet for a level tag of known pattern.

    Parameters
    ----------
    luma : LumaFrame
        Whole picture, shape (height, width).
    camera : Camera
        Camera posed over the sheet.
    pattern : Pattern
        The tag's picture.
    blur_px : float
        Blur of the picture [px].
    height_m : float
        Assumed height of the tag above the floor [m].

    Returns
    -------
    Registration or None
        The nearest tag that fits certainly, or the best of the nearest ring that fits surely; else None.

    """
    x, y = (np.arange(-reach, reach + 1e-9, CELL_M) for reach in (REACH_ALONG_M, REACH_ACROSS_M))
    cells = np.array([[along, across, height_m] for along in x for across in y])
    nearest_first = cells[np.argsort(np.hypot(cells[:, 0], cells[:, 1]), kind="stable")]
    for number, ring in enumerate(np.array_split(nearest_first, RINGS)):
        for size in (1.0, *OTHER_SIZES) if number < OTHER_SIZE_RINGS else (1.0,):
            starts = []
            for cell in ring:
                found = _match_cell(luma, camera, pattern, blur_px, cell, size)
                best = _best_registered(luma, pattern, blur_px, found)
                if best is not None and best.correlation >= CERTAIN_CORRELATION:
                    return best
                starts += found
            best = _best_registered(luma, pattern, blur_px, starts)
            if best is not None and best.correlation >= SURE_CORRELATION:
                return best
    return None


def address_part(camera: Camera, height_m: float) -> tuple[int, int, int, int]:
    """Return the part of the picture where heads are addressed: left, top, right and bottom [px]."""
    corners = np.array([[x, y, height_m] for x in (-ADDRESS_M, ADDRESS_M) for y in (-ADDRESS_M, ADDRESS_M)])
    pixels = camera.project(corners)
    left, top = np.floor(pixels.min(axis=0)).astype(int)
    right, bottom = np.ceil(pixels.max(axis=0)).astype(int)
    return int(left), int(top), int(right), int(bottom)


def _best_registered(
    luma: LumaFrame, pattern: Pattern, blur_px: float, starts: list[tuple[float, FloatArray]]
) -> Registration | None:
    best: Registration | None = None
    for _, start in sorted(starts, key=lambda one: -one[0])[:CANDIDATES]:
        texture = pattern.rendered(start[:2, :2], blur_px, np.zeros(2))
        found = register(luma, start, texture, stretch_sd=0.15)
        if found is None or _marking(found) < LEAST_MARKING:
            continue
        if best is None or found.correlation > best.correlation:
            best = found
    return best


def _marking(found: Registration) -> float:
    """Return the standard deviation of what the pattern explains of the picture [luma steps]."""
    unexplained = max(1 - found.correlation**2, 1e-9)
    return found.residual_sd * found.correlation / float(np.sqrt(unexplained))


def _match_cell(
    luma: LumaFrame, camera: Camera, pattern: Pattern, blur_px: float, middle: FloatArray, size: float
) -> list[tuple[float, FloatArray]]:
    """Return the best place of each turn of a tag so many times as large within one cell, with its score."""
    half = 0.5 * CELL_M
    sides = np.array([[-half, -half, 0], [half, -half, 0], [half, half, 0], [-half, half, 0], [0, 0, 0]])
    pixels = camera.project(middle + sides)
    height, width = luma.shape
    if not np.all((pixels >= 0) & (pixels < [width, height])):
        return []
    left, top = np.floor(pixels.min(axis=0)).astype(int)
    right, bottom = np.ceil(pixels.max(axis=0)).astype(int) + 1
    gradient = projection_gradient(camera, middle[None, :])
    found = []
    for turn in TURNS_RAD:
        axes = tag_axes(np.array([turn]), np.zeros(1), np.zeros(1))
        homography = np.eye(3)
        homography[:2, :2] = size * (gradient @ axes)[0]
        homography[:2, 2] = np.round(pixels[4])
        texture = pattern.rendered(homography[:2, :2], blur_px, np.zeros(2))
        upright = _filled(*rendered_patch(texture, homography))
        reach = (np.array(upright.shape[::-1]) - 1) // 2
        for way in (1, -1):
            patch = np.ascontiguousarray(upright[::way, ::way])
            score, place = _best_match(luma, patch, (left, top, right, bottom), reach)
            if score > LEAST_SCORE:
                start = homography.copy()
                start[:2, :2] *= way
                start[:2, 2] = place
                found.append((score, start))
    return sorted(found, key=lambda one: -one[0])[:2]


def _filled(patch: ImageArray, inside: ImageArray) -> ImageArray:
    """Return the patch with what lies outside the paper at the pattern's mean, so that it hardly counts."""
    level = float(patch[inside > 0].mean()) if np.any(inside) else 0.0
    return np.where(inside > 0, patch, np.float32(level)).astype(np.float32)


def _best_match(
    luma: LumaFrame, patch: ImageArray, span: tuple[int, int, int, int], reach: FloatArray
) -> tuple[float, FloatArray]:
    height, width = luma.shape
    left, top = max(span[0] - int(reach[0]), 0), max(span[1] - int(reach[1]), 0)
    right, bottom = min(span[2] + int(reach[0]), width), min(span[3] + int(reach[1]), height)
    picture = luma[top:bottom, left:right].astype(np.float32)
    if picture.shape[0] <= patch.shape[0] or picture.shape[1] <= patch.shape[1]:
        return -1.0, np.zeros(2)
    scores = cv2.matchTemplate(picture, patch, cv2.TM_CCOEFF_NORMED)
    row, column = np.unravel_index(int(np.nanargmax(scores)), scores.shape)
    place = np.array([left + column + reach[0], top + row + reach[1]], dtype=np.float64)
    return float(scores[row, column]), place


def in_level_perspective(homography: FloatArray, camera: Camera | None) -> FloatArray:
    """Return the homography with the perspective of a level tag, or none where the camera is unknown.

    Four corners of a small tag place it and stretch it well, but their perspective part is mostly noise and
    would shift the centre by a fifth of a pixel.
    """
    centre, jacobian = plane_jacobian(homography)
    if camera is None:
        return np.vstack([np.column_stack([jacobian, centre]), [0.0, 0.0, 1.0]])
    floor = _level_plane(camera, TYPICAL_HEIGHT.value)
    place = np.linalg.solve(floor, np.array([*centre, 1.0]))
    middle = np.eye(3)
    middle[:2, 2] = place[:2] / place[2]
    _, floor_jacobian = plane_jacobian(floor @ middle)
    middle[:2, :2] = np.linalg.solve(floor_jacobian, jacobian)
    return np.asarray(floor @ middle, dtype=np.float64)


def _level_plane(camera: Camera, height_m: float) -> FloatArray:
    """Return the homography from a level plane (world x, y) [m] to pixels; distortion is left out."""
    columns = np.column_stack(
        [
            camera.rotation[:, 0],
            camera.rotation[:, 1],
            camera.rotation[:, 2] * height_m + camera.translation,
        ]
    )
    return np.asarray(camera.matrix @ columns, dtype=np.float64)
