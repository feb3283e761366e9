"""A scene's frames: what the sensor sees over each exposure, in linear light."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import cv2
import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.demo_clips.backdrop import Backdrop
from pennyfall.demo_clips.painter import Painter
from pennyfall.demo_clips.player import player
from pennyfall.demo_clips.putter import rotation_about
from pennyfall.demo_clips.scene import Scene
from pennyfall.demo_clips.strokes import Performance
from pennyfall.demo_clips.view import Image, Layer, PixelArea, View, covered

STEP_PX = 0.4  # chosen by us: instants this close blur a moving edge as a continuous exposure would
MOST_INSTANTS = 32  # chosen by us: a ball at 3 m/s moves 13 px in 1/600 s at 1080p
BAND_ROWS = 8  # rows that a rolling shutter exposes together: 0.04 ms of a 4 ms read-out at 720p


class Renderer:
    """Renders the frames of one scene."""

    def __init__(self, scene: Scene, performance: Performance) -> None:
        self.scene = scene
        self.painter = Painter(scene, performance, View(scene.camera, scene.size))
        self.backdrop = Backdrop(scene)
        self.shade = vignette(scene)
        self._still = self.backdrop.paint(self._view(0))
        self.background = self._seen(self._still, self._view(0).limits, 1.0)

    @property
    def steady(self) -> bool:
        """Whether the background looks the same in every frame."""
        return self.scene.gains is None and self.scene.shake is None

    def frame(self, number: int, time_s: float) -> Image:
        """Return the linear picture of the frame exposed about `time_s`, shape (rows, columns, 3)."""
        image = self.background.copy()
        for box, part in self.parts(number, time_s):
            image[box.slices] = part
        return image

    def parts(self, number: int, time_s: float) -> list[tuple[PixelArea, Image]]:
        """Return the parts of a frame that differ from the background, on even pixels, in linear light."""
        view = self._view(number)
        still = self._still if self.scene.shake is None else self.backdrop.paint(view, samples=2)
        gain = 1.0 if self.scene.gains is None else float(self.scene.gains[number])
        image = still.copy()
        touched: list[PixelArea] = []
        for band, middle_s in self._bands(time_s):
            touched += self._expose(view, still, image, band, middle_s)
        if not self.steady:
            return [(view.limits, self._seen(image, view.limits, gain))]
        boxes = _clusters([box.grown(self._reach, view.limits).evened() for box in touched], view.limits)
        return [(box, self._seen(image, box, gain)) for box in boxes]

    @property
    def _reach(self) -> int:
        """How far the lens spreads a pixel [px]."""
        return math.ceil(4 * self.scene.sensor.blur_px)

    def _view(self, number: int) -> View:
        if self.scene.shake is None:
            return self.painter.view
        return View(shaken(self.scene.camera, self.scene.shake[number]), self.scene.size)

    def _seen(self, image: Image, box: PixelArea, gain: float) -> Image:
        """Return a part of the picture as the lens and the exposure let it through."""
        outer = box.grown(self._reach, PixelArea(0, 0, *self.scene.size))
        part, sigma = image[outer.slices], self.scene.sensor.blur_px
        if sigma > 0:
            part = np.asarray(cv2.GaussianBlur(part, (0, 0), sigma))
        return part[box.within(outer)] * (self.scene.light.gain * gain * self.shade[box.slices])

    def _bands(self, time_s: float) -> Iterator[tuple[PixelArea, float]]:
        limits, readout_s = PixelArea(0, 0, *self.scene.size), self.scene.sensor.readout_s
        if readout_s == 0:
            yield limits, time_s
            return
        for top in range(0, limits.bottom, BAND_ROWS):
            bottom = min(top + BAND_ROWS, limits.bottom)
            share = ((top + bottom) / 2 - 0.5) / (limits.bottom - 1) - 0.5
            yield PixelArea(0, top, limits.right, bottom), time_s + share * readout_s

    def _expose(
        self, view: View, still: Image, image: Image, band: PixelArea, middle_s: float
    ) -> list[PixelArea]:
        """Average the things that move over the exposure, within one band of rows; return where they are."""
        instants = self.instants(view, middle_s)
        # softer than they move within an exposure, shadows and player are painted for its middle only
        shadows = self.painter.shadows(view, middle_s)
        swaying = player(self.scene, view, middle_s) if self.scene.room.sway_m else []
        behind = _clusters([layer.box for layer in (*shadows, *swaying)], band)
        for part in behind:
            floor = _shaded(view, still[part.slices], part, shadows)
            image[part.slices] = covered(view, floor, part, swaying)
        things = [self.painter.things(view, t) for t in instants]
        before = _clusters([layer.box for layers in things for layer in layers], band)
        for part in before:
            total = np.zeros_like(image[part.slices])
            for layers in things:
                total += covered(view, image[part.slices], part, layers)
            image[part.slices] = total / len(instants)
        return behind + before

    def instants(self, view: View, middle_s: float) -> list[float]:
        """Return the instants, evenly spread over the exposure, at which it is sampled."""
        exposure_s = self.scene.sensor.exposure_s
        ends = [middle_s - exposure_s / 2, middle_s + exposure_s / 2]
        heads = np.array([self.scene.putter.pose(self.painter.displacement(t))[1] for t in ends])
        path = np.linalg.norm(np.diff(view.camera.project(heads), axis=0))
        balls = [self.painter.ball_travel(t) for t in ends]
        if balls[0] is not None and balls[1] is not None and balls[0][0] != balls[1][0]:
            metres_per_pixel = np.linalg.norm(view.camera.centre) / view.camera.matrix[0, 0]
            path = max(path, (balls[1][0] - balls[0][0]) / metres_per_pixel)
        if self.scene.coin is not None:
            coins = np.array([self.scene.coin.path(t)[0] for t in ends])
            path = max(path, np.linalg.norm(np.diff(view.camera.project(coins), axis=0)))
        count = int(np.clip(math.ceil(path / STEP_PX), 1, MOST_INSTANTS))
        return [middle_s + ((k + 0.5) / count - 0.5) * exposure_s for k in range(count)]

    def key(self, time_s: float) -> tuple[float, ...]:
        """Return what decides the moving part of a frame: frames of one key look the same but for noise."""
        half = self.scene.sensor.exposure_s / 2 + self.scene.sensor.readout_s / 2
        state: list[float] = [time_s] if self.scene.room.sway_m else []
        for t in (time_s - half, time_s, time_s + half):
            travel = self.painter.ball_travel(t)
            state += [self.painter.displacement(t), *(travel if travel is not None else (-1.0, -1.0))]
            state += [float(occluder.start_s <= t < occluder.end_s) for occluder in self.scene.occluders]
            if self.scene.coin is not None:
                state += [float(value) for part in self.scene.coin.path(t) for value in part]
        return tuple(state)


def shaken(camera: Camera, offset: Sequence[float] | np.ndarray) -> Camera:
    """Return the camera turned and shifted by a rotation vector [rad] and a shift [m] in its own axes."""
    vector = np.asarray(offset, dtype=np.float64)
    angle = float(np.linalg.norm(vector[:3]))
    turn = rotation_about(vector[:3] / angle, angle) if angle > 0 else np.eye(3)
    return replace(
        camera, rotation=turn @ camera.rotation, translation=turn @ camera.translation + vector[3:]
    )


def vignette(scene: Scene) -> Image:
    """Return the light's fall toward the corners, shape (rows, columns, 1), 1 in the middle."""
    width, height = scene.size
    x = (np.arange(width) - (width - 1) / 2) / (width / 2)
    y = (np.arange(height) - (height - 1) / 2) / (width / 2)
    r2 = (x[None, :] ** 2 + y[:, None] ** 2) / (1 + (height / width) ** 2)
    return (1 - scene.light.falloff * r2)[..., None].astype(np.float32)


def _shaded(view: View, floor: Image, part: PixelArea, shadows: list[Layer]) -> Image:
    image = floor.copy()
    for layer in shadows:
        box = layer.box & part
        if not box.empty:
            image[box.within(part)] *= 1 - layer.paint(view, box)[..., None]
    return image


def _clusters(boxes: list[PixelArea], limits: PixelArea) -> list[PixelArea]:
    """Return the boxes, overlapping ones united, cut at the limits."""
    clusters: list[PixelArea] = []
    for given in boxes:
        box = given & limits
        if box.empty:
            continue
        apart = []
        for other in clusters:
            if (box & other).empty:
                apart.append(other)
            else:
                box = box | other
        clusters = [*apart, box]
    return _clusters(clusters, limits) if len(clusters) < len(boxes) else clusters
