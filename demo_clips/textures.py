"""The flat patterns of the scene: the carpet, the printed sheet, the head's top."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.layout import (
    HEAD_TAG_BORDER_M,
    HEAD_TAG_ID,
    STANDARD_SHEET,
    head_tag_corners,
    tag_bits,
)
from pennyfall.demo_clips.putter import Putter, Spot
from pennyfall.demo_clips.scene import Finish, Pile, Sheet
from pennyfall.demo_clips.view import Image
from pennyfall.kinematics.values import FloatArray

PAPER = 0.80  # reflectance of office paper and of toner, of the usual size
INK = 0.035
TEXEL_M = 0.0001
BLADE_DIRECTIONS = 9  # chosen by us: enough that no direction is seen


@dataclass(frozen=True, slots=True, eq=False)
class PlanePicture:
    """A picture on a plane whose axes run right and up, as on paper."""

    image: Image
    """Shape (rows, columns) or (rows, columns, channels); row 0 is the top."""
    left_m: float
    """Left edge [m]."""
    top_m: float
    """Upper edge [m]."""
    texel_m: float
    """Size of a texel [m]."""

    def at(self, x_m: Image, y_m: Image) -> Image:
        """Return the texture's values at points of its plane, 0 outside it."""
        columns = (x_m - self.left_m) / self.texel_m - 0.5
        rows = (self.top_m - y_m) / self.texel_m - 0.5
        return np.asarray(cv2.remap(self.image, columns, rows, cv2.INTER_LINEAR, borderValue=0))

    def softened(self, sigma_m: float) -> PlanePicture:
        """Return the texture blurred to the spacing of the samples, so that none of its edges is missed."""
        image = cv2.GaussianBlur(self.image, (0, 0), max(sigma_m / self.texel_m, 0.3))
        return PlanePicture(np.asarray(image), self.left_m, self.top_m, self.texel_m)


def carpet(
    generator: np.random.Generator, contrast: float, pile: Pile = "tufts", texel_m: float = 0.0008
) -> PlanePicture:
    """Return a tile of carpet that repeats without a seam, mean 1; by filtering white noise."""
    n = 1024
    fy, fx = np.fft.fftfreq(n)[:, None] / texel_m, np.fft.fftfreq(n)[None, :] / texel_m  # cycles per metre
    f = np.hypot(fy, fx)

    def filtered(shape: FloatArray, noise: NDArray[np.complex128]) -> FloatArray:
        layer = np.fft.ifft2(noise * shape * (f > 0)).real
        return np.asarray(layer / layer.std())

    def fibres(angle_rad: float, length_m: float, noise: NDArray[np.complex128]) -> FloatArray:
        c, s = np.cos(angle_rad), np.sin(angle_rad)
        along, across = fx * c + fy * s, fy * c - fx * s
        return filtered(np.exp(-((along * length_m) ** 2) - (across / 500) ** 2), noise)

    noise = np.fft.fft2(generator.standard_normal((n, n)))
    patches = filtered(np.exp(-((f / 12) ** 2)), noise)
    if pile == "tufts":
        pattern = 0.9 * filtered(np.exp(-((f / 250) ** 2)), noise) + 0.4 * patches
    elif pile == "brushed":  # the brush has laid the pile to and fro, in strokes a hand wide
        strokes = filtered(np.exp(-((fx / 2) ** 2) - (fy / 12) ** 2), noise)
        pattern = 0.9 * fibres(generator.normal(0.0, 0.1), 0.015, noise) + 0.5 * np.tanh(2 * strokes)
    else:  # each blade has its own direction, and the highest one covers the others
        sown = [np.fft.fft2(generator.standard_normal((n, n))) for _ in range(BLADE_DIRECTIONS)]
        turns = generator.uniform(0, np.pi, BLADE_DIRECTIONS)
        blades = np.max([fibres(turn, 0.008, each) for turn, each in zip(turns, sown, strict=True)], axis=0)
        pattern = 0.9 * (blades - blades.mean()) / blades.std() + 0.4 * patches
    return PlanePicture(np.exp(contrast * pattern - contrast**2 / 2).astype(np.float32), 0.0, 0.0, texel_m)


def printed_sheet(sheet: Sheet) -> PlanePicture:
    """Return the printed sheet, its origin in the middle: four tags and the arrow."""
    length, width = sheet.size_m
    half = np.array([length / 2, width / 2])
    paper = _blank(-half, half, PAPER)
    for tag_id, corners in STANDARD_SHEET.corners.items():
        _print_tag(paper, tag_id, corners)
    arrow = [
        (-0.05, 0.004),
        (0.03, 0.004),
        (0.03, 0.014),
        (0.055, 0.0),
        (0.03, -0.014),
        (0.03, -0.004),
        (-0.05, -0.004),
    ]
    _fill(paper, np.array(arrow), INK)
    return paper


def head_outline(putter: Putter) -> FloatArray:
    """Return the outline of the head's top in head axes, counter-clockwise, shape (n, 2) [m].

    The face is straight, the back is half an ellipse.
    """
    angle = np.linspace(np.pi / 2, 3 * np.pi / 2, 33)
    half = putter.width_m / 2
    straight = 0.45 * putter.depth_m
    bevel = 0.003  # the face's corners are broken
    back_x = putter.tag_to_face_m - straight
    back = np.column_stack([back_x + (putter.depth_m - straight) * np.cos(angle), half * np.sin(angle)])
    face = putter.tag_to_face_m
    front = [(face - bevel, -half), (face, -half + bevel), (face, half - bevel), (face - bevel, half)]
    return np.concatenate([back, np.array(front)])


def head_top(putter: Putter, finish: Finish) -> PlanePicture:
    """Return the head's top in head axes: red, green, blue times coverage, and coverage."""
    outline = head_outline(putter)
    low, high = outline.min(axis=0) - 0.003, outline.max(axis=0) + 0.003
    coverage, tone, label, pattern = (_blank(low, high, value) for value in (0.0, 1.0, 0.0, PAPER))
    _fill(coverage, outline)
    _add_rectangle(
        tone, (putter.tag_to_face_m - 0.002, low[1], high[0], high[1]), 1.2
    )  # the light front edge
    own = np.stack([part * tone.image for part in finish.head], axis=-1)
    if putter.bare:
        for line in finish.sight_lines_m:
            _add_rectangle(label, line, 1.0)
        on = np.full(1, INK)
    elif putter.dot is None:
        half = putter.tag_side_m / 2 + HEAD_TAG_BORDER_M
        _add_rectangle(label, (-half, -half, half, half), 1.0)
        _print_tag(pattern, HEAD_TAG_ID, head_tag_corners(putter.tag_side_m))
        on = pattern.image[..., None]
    else:
        _fill(label, _circle(putter.dot))
        on = np.array(putter.dot.colour, dtype=np.float32)
    share, whole = label.image[..., None], coverage.image[..., None]
    image = np.concatenate([((1 - share) * own + share * on) * whole, whole], axis=-1)
    return PlanePicture(image.astype(np.float32), coverage.left_m, coverage.top_m, TEXEL_M)


def shadow(outline_m: FloatArray, sigma_m: float) -> PlanePicture:
    """Return a soft shadow of an outline, 1 where it is deepest."""
    margin = 3 * sigma_m
    low, high = outline_m.min(axis=0) - margin, outline_m.max(axis=0) + margin
    texture = _blank(low, high, 0.0, texel_m=0.001)
    _fill(texture, outline_m)
    return texture.softened(sigma_m)


def _circle(spot: Spot) -> FloatArray:
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    return spot.centre_m + spot.diameter_m / 2 * np.column_stack([np.cos(angle), np.sin(angle)])


def _blank(low: FloatArray, high: FloatArray, value: float, texel_m: float = TEXEL_M) -> PlanePicture:
    rows, columns = round((high[1] - low[1]) / texel_m), round((high[0] - low[0]) / texel_m)
    return PlanePicture(
        np.full((rows, columns), value, dtype=np.float32), float(low[0]), float(high[1]), texel_m
    )


def _print_tag(paper: PlanePicture, tag_id: int, corners_m: FloatArray) -> None:
    """Print an upright tag on blank paper; cells that touch share texels, so ink is added, not laid over."""
    left, top = corners_m[0, :2]
    right, bottom = corners_m[2, :2]
    _add_rectangle(paper, (left, bottom, right, top), INK - PAPER)
    bits = tag_bits(tag_id)
    cell = (right - left) / len(bits)
    for row, column in np.argwhere(bits):
        x, y = left + column * cell, top - row * cell
        _add_rectangle(paper, (x, y - cell, x + cell, y), PAPER - INK)


def _add_rectangle(paper: PlanePicture, sides_m: tuple[float, float, float, float], amount: float) -> None:
    """Add an amount on a rectangle (left, bottom, right, top), by each texel's exact covered share."""
    left, bottom, right, top = sides_m
    rows, columns = paper.image.shape
    columns_on, across = _covered(
        (left - paper.left_m) / paper.texel_m, (right - paper.left_m) / paper.texel_m, columns
    )
    rows_on, down = _covered(
        (paper.top_m - top) / paper.texel_m, (paper.top_m - bottom) / paper.texel_m, rows
    )
    paper.image[rows_on, columns_on] += (amount * np.outer(down, across)).astype(np.float32)


def _covered(start: float, end: float, count: int) -> tuple[slice, FloatArray]:
    """Return the texels that a span touches, and the share of each that it covers."""
    on = slice(max(int(np.floor(start)), 0), min(int(np.ceil(end)), count))
    texels = np.arange(on.start, on.stop)
    return on, np.asarray(np.clip(np.minimum(end, texels + 1) - np.maximum(start, texels), 0.0, 1.0))


def _fill(paper: PlanePicture, polygon_m: FloatArray, value: float = 1.0) -> None:
    """Fill a polygon; its edges are right to about a quarter of a texel."""
    columns = (polygon_m[:, 0] - paper.left_m) / paper.texel_m
    rows = (paper.top_m - polygon_m[:, 1]) / paper.texel_m
    fine = 4
    mask = np.zeros((paper.image.shape[0] * fine, paper.image.shape[1] * fine), dtype=np.uint8)
    points = np.column_stack([columns, rows]) * fine - 0.5
    cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 255, shift=4)
    share = cv2.resize(mask, paper.image.shape[::-1], interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    paper.image[...] += share * (value - paper.image)
