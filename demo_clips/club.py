"""The club's picture: its head, its shaft, what polished metal mirrors, and the shaft's shadow."""

from __future__ import annotations

import cv2
import numpy as np

from pennyfall.demo_clips.scene import LAMP, Scene
from pennyfall.demo_clips.textures import head_outline, head_top
from pennyfall.demo_clips.view import SAMPLES, Image, Layer, PixelArea, View, average, fill
from pennyfall.kinematics.values import FloatArray

SOLE_M = 0.004  # above the floor at address
HOSEL_M = 0.06  # of the shaft's length, dark and a little thicker
HOSEL_RADIUS_M = 0.0062
CAMBER_RAD_PER_M = (3.0, 5.0)  # chosen by us: a polished head is nowhere quite flat
LAMP_ROWS = (-0.45, 0.30)  # across the room, at these shares of the ceiling's height
HANDS_SHARE = 0.6  # of the way to the shoulders, which go on as the shaft does
SHADOW_CASTER = ((0.57, 0.61, 0.70, 1.0), (0.0, 0.045, 0.035, 0.06))  # arms' radius [m] along that way
FACETS = 64  # of the shaft's round, for what it mirrors


class Club:
    """Knows what a scene's club looks like; asked for its layers at one pose of the head."""

    def __init__(self, scene: Scene, view: View) -> None:
        self.scene = scene
        self.outline = head_outline(scene.putter)
        address = scene.putter.address_m
        spacing_m = _distance(view, address) / float(view.camera.matrix[0, 0]) / SAMPLES
        self.top = head_top(scene.putter, scene.finish).softened(0.5 * spacing_m)

    def head(self, view: View, rotation: FloatArray, origin: FloatArray) -> Layer:
        """Return the head, its axes and reference point as `Putter.pose` gives them."""
        sole = SOLE_M - self.scene.putter.tag_height_m
        rims = [
            np.column_stack([self.outline, np.full(len(self.outline), z)]) @ rotation.T + origin
            for z in (0.0, sole)
        ]
        upper, lower = (view.camera.project(rim) for rim in rims)

        def paint(view: View, box: PixelArea) -> Image:
            image = self._walls(box, upper, lower, rotation, view.camera.centre - origin)
            seen = self.top.at(*view.plane(view.rays(box, SAMPLES), origin, rotation[:, 0], rotation[:, 1]))
            if self.scene.finish.gloss:  # smooth on the top: worked out once a pixel
                light = self._top_light(view, box, rotation, origin)
                seen[..., :3] *= cv2.resize(light, seen.shape[1::-1])
            return average(seen + (1 - seen[..., 3:]) * image, SAMPLES)

        box = PixelArea.around(np.concatenate([upper, lower]), 2, view.limits)
        return Layer(box, _distance(view, origin), paint)

    def _top_light(self, view: View, box: PixelArea, rotation: FloatArray, origin: FloatArray) -> Image:
        x, y = view.plane(view.rays(box, 1), origin, rotation[:, 0], rotation[:, 1])
        bent_x, bent_y = CAMBER_RAD_PER_M
        normals = np.stack([bent_x * x, bent_y * y, np.ones_like(x)], axis=-1).reshape(-1, 3) @ rotation.T
        light = self._light(normals, view.camera.centre - origin, np.ones(len(normals)))
        return np.asarray(light.reshape(*x.shape, 3), dtype=np.float32)

    def _walls(
        self, box: PixelArea, upper: FloatArray, lower: FloatArray, rotation: FloatArray, toward: FloatArray
    ) -> Image:
        """Paint the head's side, those facets that face the camera."""
        image = np.zeros((box.shape[0] * SAMPLES, box.shape[1] * SAMPLES, 4), dtype=np.float32)
        following = np.roll(np.arange(len(self.outline)), -1)
        for a, b in enumerate(following):
            along = self.outline[b] - self.outline[a]
            normal = rotation @ np.array([along[1], -along[0], 0.0]) / np.linalg.norm(along)
            if normal @ toward <= 0:
                continue
            matt = np.array([0.45 + 0.55 * max(0.0, float(normal @ LAMP))])
            light = self._light(normal[None], toward, matt)[0]
            facet = np.array([upper[a], upper[b], lower[b], lower[a]])
            fill(image, box, facet, tuple(light * np.array(self.scene.finish.head)))
        return image

    def shaft(self, view: View, rotation: FloatArray, origin: FloatArray) -> Layer:
        """Return the shaft with its hosel, as far as it lies before the camera."""
        finish = self.scene.finish
        foot, hands = self.scene.putter.shaft_m
        up = (hands - foot) / np.linalg.norm(hands - foot)
        ends = np.array([foot, foot + HOSEL_M * up, hands]) @ rotation.T + origin
        depth = (ends @ view.camera.rotation.T + view.camera.translation)[:, 2]
        ends, depth = ends[depth > 0.05], depth[depth > 0.05]
        pixels = view.camera.project(ends)
        focal = view.camera.matrix[0, 0]
        radii = focal * np.array([HOSEL_RADIUS_M, *(d / 2 for d in finish.shaft_m)])[: len(ends)] / depth

        def paint(view: View, box: PixelArea) -> Image:
            image = np.zeros((*box.shape, 4), dtype=np.float32)
            rows, columns = np.mgrid[box.top : box.bottom, box.left : box.right].astype(np.float32)
            for k in range(len(pixels) - 1):
                along = pixels[k + 1] - pixels[k]
                length = np.linalg.norm(along)
                along /= length
                s = (columns - pixels[k, 0]) * along[0] + (rows - pixels[k, 1]) * along[1]
                d = (columns - pixels[k, 0]) * along[1] - (rows - pixels[k, 1]) * along[0]
                radius = radii[k] + (radii[k + 1] - radii[k]) * np.clip(s / length, 0, 1)
                cover = (
                    np.clip(0.5 + radius - np.abs(d), 0, 1)
                    * np.clip(0.5 + s, 0, 1)
                    * np.clip(0.5 + length - s, 0, 1)
                )
                tone = 0.25 if k == 0 else 1.0  # the dark hosel
                on = cover > 0
                light = self._round_light(view, ends[k : k + 2], along, (d / radius)[on], (s / length)[on])
                painted = np.zeros(image.shape)
                painted[on, :3] = tone * np.array(finish.shaft) * light * cover[on][:, None]
                painted[..., 3] = cover
                image = (painted + (1 - cover[..., None]) * image).astype(np.float32)
            return image

        box = PixelArea.around(pixels, float(radii.max()) + 2, view.limits)
        return Layer(box, _distance(view, ends[0]) - 0.01, paint)

    def _round_light(
        self, view: View, ends: FloatArray, along: FloatArray, across: FloatArray, share: FloatArray
    ) -> FloatArray:
        """Return the light of a round bar at places across it (-1 to 1) and along it (0 to 1), (n, 3)."""
        if self.scene.finish.gloss == 0:
            return _matt_round(across)[:, None]
        sine = np.linspace(-1, 1, FACETS + 1)
        facet = np.clip(np.rint((across + 1) * FACETS / 2), 0, FACETS).astype(int)
        axis = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        seen = []
        for end in ends:
            toward = view.camera.centre - end
            front = toward - (toward @ axis) * axis
            front /= np.linalg.norm(front)
            right = np.cross(axis, front)
            right *= np.sign(right @ (np.array([along[1], -along[0], 0.0]) @ view.camera.rotation))
            normals = sine[:, None] * right + np.sqrt(1 - sine**2)[:, None] * front
            seen.append(self._light(normals, toward, _matt_round(sine))[facet])
        far = np.clip(share, 0, 1)[:, None]
        return np.asarray((1 - far) * seen[0] + far * seen[1])

    def _light(self, normals: FloatArray, toward: FloatArray, matt: FloatArray) -> FloatArray:
        """Return what surfaces of these normals (n, 3) give back, as a share of their colour, (n, 3)."""
        gloss = self.scene.finish.gloss
        if gloss == 0:
            return np.repeat(matt[:, None], 3, axis=1)
        n = normals / np.linalg.norm(normals, axis=-1, keepdims=True)
        v = toward / np.linalg.norm(toward)
        room = surroundings(2 * (n @ v)[:, None] * n - v, np.array(self.scene.room.floor))
        return np.asarray((1 - gloss) * matt[:, None] + gloss * room)

    def shaft_shadow(self, view: View, rotation: FloatArray, origin: FloatArray) -> list[Layer]:
        """Return what shaft, hands and arms darken on the floor, where the lamp is small enough."""
        light, diameters = self.scene.light, self.scene.finish.shaft_m
        if light.lamp_width is None:
            return []
        foot, hands = self.scene.putter.shaft_m
        ends = np.array([foot, foot + (hands - foot) / HANDS_SHARE]) @ rotation.T + origin
        thrown = ends[:, :2] + ends[:, 2:] * np.array(light.slope)
        way = thrown[1] - thrown[0]
        length_m = float(np.linalg.norm(way))
        along, start = np.array([*way / length_m, 0.0]), np.array([*thrown[0], 0.0])
        across = np.array([-along[1], along[0], 0.0])
        points = start + np.linspace(0, length_m, 50)[:, None] * along
        points = points[(points @ view.camera.rotation.T + view.camera.translation)[:, 2] > 0.05]

        def paint(view: View, box: PixelArea) -> Image:
            s, d = view.plane(view.rays(box, 1), start, along, across)
            share = np.clip(s / length_m, 0, 1)
            radius = np.interp(share, *SHADOW_CASTER) + np.interp(share, (0, 1), diameters) / 2
            height = ends[0, 2] + share * (ends[1, 2] - ends[0, 2])
            width = np.hypot(radius, light.lamp_width * height)
            dark = light.depth * radius / width * np.exp(-((d / width) ** 2))
            return np.asarray(dark * (s > 0) * np.clip(5 * (1 - s / length_m), 0, 1), dtype=np.float32)

        return [Layer(PixelArea.around(view.camera.project(points), 20, view.limits), 0.0, paint)]


def surroundings(directions: FloatArray, floor: FloatArray) -> FloatArray:
    """Return the light that comes to the club from unit directions, shape (n, 3) each.

    The floor below; walls with a window on either side of the target line; a ceiling with two rows of lamps.
    """
    x, y, z = directions.T
    at_ceiling = x / np.maximum(z, 0.15)
    rows = sum(np.exp(-(((at_ceiling - row) / 0.10) ** 2)) for row in LAMP_ROWS)
    windows = np.exp(-(((x / (np.abs(y) + 0.05) - 0.35) / 0.25) ** 2) - (z / 0.4) ** 2)
    above = 0.38 + 0.30 * np.maximum(z, 0) + 2.2 * rows * (z > 0.15) + 0.9 * windows
    share = 1 / (1 + np.exp(-z / 0.05))[:, None]  # of what lies above the skirting
    return np.asarray(share * above[:, None] + (1 - share) * floor)


def _matt_round(across: FloatArray) -> FloatArray:
    return np.asarray(0.35 + 0.9 * np.exp(-(((across + 0.3) / 0.35) ** 2)))


def _distance(view: View, point: FloatArray) -> float:
    return float(np.linalg.norm(point - view.camera.centre))
