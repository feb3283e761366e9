"""Painting of the things that move, for one instant: the head with its shaft, the ball, their shadows."""

from __future__ import annotations

import math

import numpy as np

from pennyfall.demo_clips.ball import BALL_RADIUS_M
from pennyfall.demo_clips.club import Club
from pennyfall.demo_clips.scene import LAMP, Colour, Scene, VisibleCoin, ball_centre
from pennyfall.demo_clips.strokes import Performance
from pennyfall.demo_clips.textures import PlanePicture, shadow
from pennyfall.demo_clips.view import SAMPLES, Image, Layer, PixelArea, View, average, fill
from pennyfall.kinematics.values import FloatArray

BALL_COLOUR: Colour = (0.74, 0.74, 0.72)
MARK_COLOUR: Colour = (0.03, 0.04, 0.22)
MARK_HALF_WIDTH_M = 0.0011


class Painter:
    """Knows what the moving things look like; asked for their layers at one instant."""

    def __init__(self, scene: Scene, performance: Performance, view: View) -> None:
        self.scene = scene
        self.performance = performance
        self.view = view
        self.club = Club(scene, view)
        circle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        disc = BALL_RADIUS_M * np.column_stack([np.cos(circle), np.sin(circle)])
        self.head_shadows = tuple(
            shadow(self.club.outline, blur_m)
            for blur_m in (0.005, 0.012 if scene.light.lamp_width is None else 0.004)
        )
        self._ball_key: tuple[View, tuple[float, float]] | None = None
        self._ball_layer: Layer
        self.ball_shadows = (shadow(0.7 * disc, 0.005), shadow(disc, 0.010))

    def displacement(self, t_s: float) -> float:
        """Return the head's displacement from address [m]."""
        return float(self.performance.motion.position(np.array(t_s)))

    def ball_travel(self, t_s: float) -> tuple[float, float] | None:
        """Return how far the ball has gone [m] and turned [rad], or None when there is no ball."""
        ball = self.performance.ball(t_s)
        if ball is None:
            return None
        return float(ball.position(np.array(t_s))), float(ball.turn(np.array(t_s)))

    def shadows(self, view: View, t_s: float) -> list[Layer]:
        """Return the shadows on the floor, each darkening as its last channel says."""
        rotation, origin = self.scene.putter.pose(self.displacement(t_s))
        layers = self.club.shaft_shadow(view, rotation, origin)
        layers += _soft_shadows(self.scene, view, self.head_shadows, origin, rotation)
        travel = self.ball_travel(t_s)
        if travel is not None:
            layers += _soft_shadows(self.scene, view, self.ball_shadows, ball_centre(travel[0]), np.eye(3))
        return layers

    def things(self, view: View, t_s: float) -> list[Layer]:
        """Return what is seen at one instant, the farthest first."""
        rotation, origin = self.scene.putter.pose(self.displacement(t_s))
        layers = [self.club.shaft(view, rotation, origin), self.club.head(view, rotation, origin)]
        travel = self.ball_travel(t_s)
        if travel is not None:
            layers.append(self._ball(view, travel))
        if self.scene.coin is not None:
            layers.append(_coin(self.scene.coin, view, t_s))
        layers.sort(key=lambda layer: -layer.distance_m)
        return [*layers, *(_occluder(self.scene, view, t_s))]

    def _ball(self, view: View, travel: tuple[float, float]) -> Layer:
        """Return the ball, painted anew only when it or the camera has moved."""
        if (view, travel) != self._ball_key:
            self._ball_key, self._ball_layer = (view, travel), _kept(_ball(view, *travel), view)
        return self._ball_layer


def _kept(layer: Layer, view: View) -> Layer:
    """Return the layer painted whole once, to be cut as asked."""
    if layer.box.empty:
        return layer
    whole = layer.paint(view, layer.box)
    return Layer(layer.box, layer.distance_m, lambda _, box: whole[box.within(layer.box)])


def _ball(view: View, travel_m: float, turn_rad: float) -> Layer:
    centre = ball_centre(travel_m)
    corners = centre + BALL_RADIUS_M * np.array(
        [[i, j, k] for i in (-1.1, 1.1) for j in (-1.1, 1.1) for k in (-1.1, 1.1)]
    )
    # the alignment mark is a great circle, across the ball and a little slanted to the target line
    mark = np.array([math.sin(0.15), math.cos(0.15) * math.cos(0.9), math.sin(0.9)])
    mark /= np.linalg.norm(mark)
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    pole = np.array([c * mark[0] + s * mark[2], mark[1], c * mark[2] - s * mark[0]])  # rolls about +y

    def paint(view: View, box: PixelArea) -> Image:
        x, y = view.rays(box, SAMPLES)
        R = view.camera.rotation
        seen = (R @ (centre - view.camera.centre)).astype(np.float32)  # the centre in camera axes
        square = x * x + y * y + 1
        along = x * seen[0] + y * seen[1] + seen[2]
        inside = along**2 - square * (seen @ seen - np.float32(BALL_RADIUS_M) ** 2)
        hit = inside > 0
        depth = (along - np.sqrt(np.maximum(inside, 0))) / square
        normal = np.stack([x * depth - seen[0], y * depth - seen[1], depth - seen[2]], axis=-1) / np.float32(
            BALL_RADIUS_M
        )
        lamp = (R @ LAMP).astype(np.float32)
        up = (R[:, 2]).astype(np.float32)
        diffuse = np.maximum(normal @ lamp, 0)
        light = 0.28 + 0.22 * (normal @ up) + 0.55 * diffuse
        shine = 0.5 * np.maximum(normal @ _half_way(lamp, seen), 0) ** 60
        band = np.abs(normal @ (R @ pole).astype(np.float32)) < MARK_HALF_WIDTH_M / BALL_RADIUS_M
        image = np.zeros((*x.shape, 4), dtype=np.float32)
        for channel in range(3):
            base = np.where(band, MARK_COLOUR[channel], BALL_COLOUR[channel])
            image[..., channel] = np.where(hit, base * light + shine, 0)
        image[..., 3] = hit
        return average(image, SAMPLES)

    return Layer(
        PixelArea.around(view.camera.project(corners), 1, view.limits), _distance(view, centre), paint
    )


def _coin(coin: VisibleCoin, view: View, t_s: float) -> Layer:
    centre, normal = coin.path(t_s)
    first = np.cross(normal, [0.3, 0.9, 0.1])
    first /= np.linalg.norm(first)
    second = np.cross(normal, first)
    radius = coin.diameter_m / 2
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)[:, None]
    rim = centre + radius * (np.cos(angle) * first + np.sin(angle) * second)

    def paint(view: View, box: PixelArea) -> Image:
        a, b = view.plane(view.rays(box, SAMPLES), centre, first, second)
        r = np.hypot(a, b) / np.float32(radius)
        tone = np.where(r > 0.86, 0.6, 1.0) * (0.85 + 0.3 * np.abs(normal[2]) * (a / radius))
        image = np.stack([np.where(r < 1, tone * part, 0) for part in coin.colour] + [r < 1], axis=-1)
        return average(image.astype(np.float32), SAMPLES)

    return Layer(
        PixelArea.around(view.camera.project(rim), 2, view.limits), _distance(view, centre) - 0.02, paint
    )


def _occluder(scene: Scene, view: View, t_s: float) -> list[Layer]:
    layers = []
    for thing in scene.occluders:
        if not thing.start_s <= t_s < thing.end_s:
            continue
        corners = np.array(thing.corners_px)

        def paint(
            view: View, box: PixelArea, corners: FloatArray = corners, colour: Colour = thing.colour
        ) -> Image:
            image = np.zeros((box.shape[0] * SAMPLES, box.shape[1] * SAMPLES, 4), dtype=np.float32)
            fill(image, box, corners, colour)
            return average(image, SAMPLES)

        layers.append(Layer(PixelArea.around(corners, 2, view.limits), 0.0, paint))
    return layers


def _soft_shadows(
    scene: Scene,
    view: View,
    textures: tuple[PlanePicture, ...],
    origin: FloatArray,
    rotation: FloatArray,
) -> list[Layer]:
    """Return the shadow under a thing and the one that the lamp throws beside it."""
    x_axis = np.array([rotation[0, 0], rotation[1, 0], 0.0])
    x_axis /= np.linalg.norm(x_axis)
    y_axis = np.array([-x_axis[1], x_axis[0], 0.0])
    below = np.array([origin[0], origin[1], 0.0])
    thrown = below + origin[2] * np.array([*scene.light.slope, 0.0])
    layers = []
    for place, texture, share in ((below, textures[0], 0.6), (thrown, textures[1], 1.0)):
        rows, columns = texture.image.shape
        right, bottom = texture.left_m + columns * texture.texel_m, texture.top_m - rows * texture.texel_m
        corners = np.array([[x, y] for x in (texture.left_m, right) for y in (texture.top_m, bottom)])
        world = place + corners[:, :1] * x_axis + corners[:, 1:] * y_axis

        def paint(
            view: View,
            box: PixelArea,
            place: FloatArray = place,
            texture: PlanePicture = texture,
            share: float = share,
        ) -> Image:
            depth = texture.at(*view.plane(view.rays(box, 1), place, x_axis, y_axis))
            return share * scene.light.depth * depth

        layers.append(Layer(PixelArea.around(view.camera.project(world), 1, view.limits), 0.0, paint))
    return layers


def _half_way(lamp: Image, centre: Image) -> Image:
    toward_camera = -centre / np.linalg.norm(centre)
    between = lamp + toward_camera
    return np.asarray(between / np.linalg.norm(between), dtype=np.float32)


def _distance(view: View, point: FloatArray) -> float:
    return float(np.linalg.norm(point - view.camera.centre))
