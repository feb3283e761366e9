"""The picture behind the stroke: carpet, printed sheet, chalk line, a player who stands still."""

from __future__ import annotations

import cv2
import numpy as np

from pennyfall.demo_clips.player import player, player_shade
from pennyfall.demo_clips.scene import Colour, Scene
from pennyfall.demo_clips.textures import PlanePicture, carpet, printed_sheet
from pennyfall.demo_clips.view import Image, PixelArea, View, average, covered

STRIP_ROWS = 40  # rows painted at once, to bound the memory of the samples
CHALK: Colour = (0.5, 0.5, 0.45)


class Backdrop:
    """What stands still in the world; painted once, or for each frame when the camera shakes."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.carpet = carpet(np.random.default_rng([scene.seed, 0]), scene.room.contrast, scene.room.pile)
        self.sheet = None if scene.sheet is None else printed_sheet(scene.sheet)

    def paint(self, view: View, samples: int = 4) -> Image:
        """Return the linear picture without anything that moves, shape (rows, columns, 3)."""
        limits = view.limits
        image = np.empty((*limits.shape, 3), dtype=np.float32)
        sheet = None if self.sheet is None else self.sheet.softened(0.5 * self._spacing_m(view, samples))
        for top in range(0, limits.bottom, STRIP_ROWS):
            box = PixelArea(0, top, limits.right, min(top + STRIP_ROWS, limits.bottom))
            image[box.slices] = average(self._floor(view, box, samples, sheet), samples)
        if self.scene.room.player:
            floor = view.plane(
                view.rays(limits, 1), np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
            )
            for dark in player_shade(*floor, self.scene.putter.player_side):
                image *= 1 - dark[..., None]
        return image if self.scene.room.sway_m else covered(view, image, limits, player(self.scene, view))

    def _floor(self, view: View, box: PixelArea, samples: int, sheet: PlanePicture | None) -> Image:
        x, y = view.plane(view.rays(box, samples), np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))
        texel = self.carpet.texel_m
        pattern = cv2.remap(
            self.carpet.image, x / texel - 0.5, -y / texel - 0.5, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP
        )
        image = pattern[..., None] * np.array(self.scene.room.floor, dtype=np.float32)
        if self.scene.room.line:
            chalk = (np.abs(y) < 0.0025) & (np.abs(x) < 1.2)
            image[chalk] = 0.3 * image[chalk] + 0.7 * np.array(CHALK, dtype=np.float32)
        for spot in self.scene.room.spots:
            on = np.hypot(x - spot.centre_m[0], y - spot.centre_m[1]) < spot.diameter_m / 2
            image[on] = np.array(spot.colour, dtype=np.float32)
        if sheet is not None and self.scene.sheet is not None:
            place = self.scene.sheet.place(np.array([[0.0, 0, 0], [1.0, 0, 0], [0, 1.0, 0]]))
            a = (x - place[0, 0]) * (place[1] - place[0])[0] + (y - place[0, 1]) * (place[1] - place[0])[1]
            b = (x - place[0, 0]) * (place[2] - place[0])[0] + (y - place[0, 1]) * (place[2] - place[0])[1]
            length, width = self.scene.sheet.size_m
            printed = sheet.at(a.astype(np.float32), b.astype(np.float32))
            on = (np.abs(a) < length / 2) & (np.abs(b) < width / 2)
            image[on] = printed[on][:, None]
        return np.asarray(image, dtype=np.float32)

    def _spacing_m(self, view: View, samples: int) -> float:
        assert self.scene.sheet is not None
        centre = np.array([*self.scene.sheet.centre_m, 0.0])
        return float(np.linalg.norm(centre - view.camera.centre)) / float(view.camera.matrix[0, 0]) / samples
