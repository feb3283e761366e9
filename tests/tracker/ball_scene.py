"""A small ray tracer for tests: ball, head, carpet, shadows, blur and noise.

Nothing here knows how the tracker works: each sub-pixel ray is met with sphere, head and floor in the world,
at several instants of the exposure, and the results are averaged.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
from scipy.ndimage import map_coordinates

from pennyfall.calibration.camera import Camera
from pennyfall.kinematics.values import BoolArray, FloatArray
from pennyfall.tracker.clip.frame import LumaFrame

RADIUS_M = 0.042672 / 2  # 1.680 in, USGA, Rules of Golf 2016, Appendix III
HEAD_HEIGHT_M = 0.028
TAG_TO_FACE_M = 0.032


def camera_at(
    distance_m: float,
    down_deg: float,
    *,
    around_deg: float = 0.0,
    roll_deg: float = 0.0,
    size: tuple[int, int] = (1280, 720),
    wide_deg: float = 60.0,
    aim_m: tuple[float, float] = (0.0, 0.0),
) -> Camera:
    """Return a camera looking at a point of the floor from the player's other side (y < 0 for around 0)."""
    down, around, roll = np.radians([down_deg, around_deg, roll_deg])
    forward = np.array([np.sin(around) * np.cos(down), np.cos(around) * np.cos(down), -np.sin(down)])
    right = np.array([np.cos(around), -np.sin(around), 0.0])
    below = np.cross(forward, right)
    right, below = np.cos(roll) * right + np.sin(roll) * below, np.cos(roll) * below - np.sin(roll) * right
    rotation = np.vstack([right, below, forward])
    centre = np.array([*aim_m, 0.0]) - distance_m * forward
    focal = 0.5 * size[0] / np.tan(np.radians(wide_deg) / 2)
    return Camera(
        matrix=np.array([[focal, 0, 0.5 * (size[0] - 1)], [0, focal, 0.5 * (size[1] - 1)], [0, 0, 1.0]]),
        distortion=np.zeros(5),
        rotation=rotation,
        translation=-rotation @ centre,
    )


@cache
def carpet_cloth(seed: int) -> FloatArray:
    """Return a carpet's texture on cells of 1 mm, with tufts of 3 mm, shape (2400, 2400)."""
    rng = np.random.default_rng(seed)
    fine = cv2.GaussianBlur(rng.normal(size=(2400, 2400)), (0, 0), 1.2)
    coarse = cv2.resize(rng.normal(size=(120, 120)), (2400, 2400), interpolation=cv2.INTER_CUBIC)
    cloth = np.asarray(fine / fine.std() + 0.5 * coarse / coarse.std(), dtype=np.float64)
    cloth.setflags(write=False)
    return cloth


@dataclass(kw_only=True)
class Scene:
    """What lies on the floor, how it is lit and how it is filmed; lumas are those of a fully lit surface."""

    camera: Camera
    size: tuple[int, int] = (1280, 720)
    carpet: float = 75.0
    carpet_texture: float = 18.0
    ball: float = 205.0
    head: float = 60.0
    light: tuple[float, float, float] = (0.3, -0.2, 0.93)
    ambient: float = 0.45
    shadow: float = 0.6
    mark: float = 40.0
    blur_px: float = 0.7
    noise: float = 2.0
    jpeg_quality: int | None = None
    shoes: bool = False
    paper: bool = False
    fine: int = 3
    way: int = 1
    seed: int = 1
    _clean: FloatArray | None = field(default=None, init=False, repr=False)

    def __post_init__(self) -> None:
        self._noise_rng = np.random.default_rng(self.seed + 1)

    def frame(
        self,
        ball_m: FloatArray | None,
        head_m: FloatArray | None,
        *,
        ball_step_m: FloatArray | None = None,
        head_step_m: FloatArray | None = None,
        rolled_rad: float = 0.0,
        instants: int = 1,
        ball_path_m: FloatArray | None = None,
        head_path_m: FloatArray | None = None,
    ) -> LumaFrame:
        """Render a frame.

        Parameters
        ----------
        ball_m : FloatArray or None
            Ball centre at mid-exposure, shape (3,) [m].
        head_m : FloatArray or None
            Tag centre at mid-exposure, shape (3,) [m].
        ball_step_m, head_step_m : FloatArray, optional
            Their travel during the exposure, shape (3,) [m].
        rolled_rad : float
            How far the ball has rolled.
        instants : int
            Instants averaged over the exposure.
        ball_path_m : FloatArray, optional
            Ball centres at evenly spread instants, shape (k, 3), instead of a straight step.
        head_path_m : FloatArray, optional
            Tag centres at the same instants.

        """
        if self._clean is None:
            self._clean = self._traced(*self._rays(0, 0, *self.size), None, None, 0.0)
        picture = self._clean.copy()
        if ball_path_m is not None:
            instants = len(ball_path_m)
        shares = (np.arange(instants) + 0.5) / instants - 0.5
        balls = [
            None if ball_m is None else ball_m + (0.0 if ball_step_m is None else s * ball_step_m)
            for s in shares
        ]
        if ball_path_m is not None:
            balls = list(ball_path_m)
        heads = [
            None if head_m is None else head_m + (0.0 if head_step_m is None else s * head_step_m)
            for s in shares
        ]
        if head_path_m is not None:
            heads = list(head_path_m)
        for u0, v0, u1, v1 in self._windows(balls, heads):
            rays, grid = self._rays(u0, v0, u1, v1, self.fine)
            total = sum(self._traced(rays, grid, b, h, rolled_rad) for b, h in zip(balls, heads, strict=True))
            shape = (v1 - v0, self.fine, u1 - u0, self.fine)
            picture[v0:v1, u0:u1] = (np.asarray(total) / instants).reshape(shape).mean(axis=(1, 3))
        blurred = cv2.GaussianBlur(picture, (0, 0), self.blur_px)
        noisy = blurred + self._noise_rng.normal(scale=max(self.noise, 1e-9), size=blurred.shape)
        luma: LumaFrame = np.clip(np.rint(noisy), 0, 255).astype(np.uint8)
        if self.jpeg_quality is not None:
            _, code = cv2.imencode(".jpg", luma, [cv2.IMWRITE_JPEG_QUALITY, self.jpeg_quality])
            luma = np.asarray(cv2.imdecode(code, cv2.IMREAD_GRAYSCALE), dtype=np.uint8)
        luma.setflags(write=False)
        return luma

    def head_px(self, head_m: FloatArray) -> FloatArray:
        """Return the tag's centre in the picture, shape (2,) [px]."""
        return np.asarray(self.camera.project(head_m[None, :])[0], dtype=np.float64)

    def _windows(
        self, balls: list[FloatArray | None], heads: list[FloatArray | None]
    ) -> list[tuple[int, int, int, int]]:
        """Return the parts of the picture to trace finely: about the ball and about the head."""
        parts = [[each for each in things if each is not None] for things in (balls, heads)]
        parts = [part for part in parts if part]
        if len(parts) == 2 and np.abs(parts[0][0] - parts[1][0])[0] < 0.2:
            parts = [parts[0] + parts[1]]
        windows = []
        for part in parts:
            corners = itertools.product((-0.075, 0.075), (-0.085, 0.075), (-0.03, 0.03))
            spread = np.array(list(corners))
            pixels = self.camera.project(np.concatenate([thing + spread for thing in part]))
            low = np.clip(np.floor(pixels.min(axis=0)), 0, self.size).astype(int)
            high = np.clip(np.ceil(pixels.max(axis=0)), 0, self.size).astype(int)
            if (high > low).all():
                windows.append((int(low[0]), int(low[1]), int(high[0]), int(high[1])))
        return windows

    def _rays(self, u0: int, v0: int, u1: int, v1: int, fine: int = 1) -> tuple[FloatArray, tuple[int, int]]:
        """Return unit rays through a part of the picture, and the shape of their grid."""
        u = u0 - 0.5 + (np.arange((u1 - u0) * fine) + 0.5) / fine
        v = v0 - 0.5 + (np.arange((v1 - v0) * fine) + 0.5) / fine
        uu, vv = np.meshgrid(u, v)
        rays = self.camera.rays(np.column_stack([uu.ravel(), vv.ravel()]))
        return rays / np.linalg.norm(rays, axis=1, keepdims=True), uu.shape

    def _traced(
        self,
        rays: FloatArray,
        shape: tuple[int, int],
        ball: FloatArray | None,
        head: FloatArray | None,
        rolled_rad: float,
    ) -> FloatArray:
        eye = self.camera.centre
        depth = np.where(rays[:, 2] < -1e-6, -eye[2] / np.minimum(rays[:, 2], -1e-6), np.inf)
        ground = eye + np.where(np.isfinite(depth), depth, 0.0)[:, None] * rays
        luma = self._floor(ground, ball, head)
        luma[~np.isfinite(depth)] = 110.0
        light = np.array(self.light) / np.linalg.norm(self.light)
        if ball is not None:
            along = rays @ (ball - eye)
            miss2 = np.sum((ball - eye) ** 2) - along**2
            hit = miss2 < RADIUS_M**2
            near = along[hit] - np.sqrt(RADIUS_M**2 - miss2[hit])
            normal = (eye + near[:, None] * rays[hit] - ball) / RADIUS_M
            shade = self.ambient * (0.7 + 0.3 * normal[:, 2]) + (1 - self.ambient) * np.clip(
                normal @ light, 0, None
            )
            face = self.ball * shade
            axis = np.array([np.sin(rolled_rad) * 0.5 + 0.3, 0.8, np.cos(rolled_rad) * 0.5])
            face[np.abs(normal @ (axis / np.linalg.norm(axis)) - 0.25) < 0.05] = self.mark
            luma[hit], depth[hit] = face, near
        if head is not None:
            top = (head[2] - eye[2]) / np.where(np.abs(rays[:, 2]) > 1e-6, rays[:, 2], -1e-6)
            at = (eye + top[:, None] * rays - head) * [self.way, 1.0, 1.0]
            body = (at[:, 0] > -0.045) & (at[:, 0] < TAG_TO_FACE_M) & (np.abs(at[:, 1]) < 0.05) & (top > 0)
            body &= np.hypot(np.minimum(at[:, 0] + 0.01, 0.0), 0.7 * at[:, 1]) < 0.042
            front = body & (top < depth)
            out = np.maximum(np.abs(at[:, 0]), np.abs(at[:, 1]))
            tag = np.where(out < 0.012, 30.0, 200.0)
            tag = np.where((np.abs(at[:, 0]) < 0.004) & (np.abs(at[:, 1]) < 0.008), 200.0, tag)
            looks = np.where(out < 0.016, tag, self.head)
            luma[front], depth[front] = looks[front], top[front]
            toward = np.array([0.0, 0.14, 0.25])  # the shaft leans to the player
            toward /= np.linalg.norm(toward)
            luma[self._near_line(rays, eye, head + np.array([0.0, 0.03, 0.0]), toward, 0.005)] = 150.0
        return luma.reshape(shape)

    @staticmethod
    def _near_line(
        rays: FloatArray, eye: FloatArray, start: FloatArray, along: FloatArray, radius: float
    ) -> BoolArray:
        across = np.cross(rays, along)
        gap = np.abs(across @ (start - eye)) / np.linalg.norm(across, axis=1)
        ray_turned = np.cross(rays, across)
        height = np.sum(ray_turned * (eye - start), axis=1) / np.sum(ray_turned * along, axis=1)
        return np.asarray((gap < radius) & (height > 0) & (height < 0.8), dtype=np.bool_)

    def _floor(self, at: FloatArray, ball: FloatArray | None, head: FloatArray | None) -> FloatArray:
        x, y = at[:, 0], at[:, 1]
        cloth = map_coordinates(
            carpet_cloth(self.seed), [1200 + 1000 * y, 1200 + 1000 * x], order=1, mode="grid-wrap"
        )
        luma = self.carpet + self.carpet_texture * cloth
        if self.paper:
            luma = np.where((np.abs(x) < 0.148) & (np.abs(y + 0.2) < 0.105), 215.0, luma)
            for u, v in ((-0.1, -0.14), (0.1, -0.14), (0.1, -0.26), (-0.1, -0.26)):
                luma = np.where((np.abs(x - u) < 0.025) & (np.abs(y - v) < 0.025), 35.0, luma)
        if self.shoes:
            for u in (-0.16, 0.16):
                luma = np.where(((x - u) / 0.05) ** 2 + ((y - 0.27) / 0.13) ** 2 < 1, 210.0, luma)
        for thing, reach in ((ball, RADIUS_M), (head, 0.05)):
            if thing is not None:
                cast = thing[:2] - reach * np.array(self.light[:2]) / self.light[2]
                away = np.hypot(x - cast[0], y - cast[1]) / reach
                luma = luma * (1 - self.shadow * np.exp(-(away**2)))
        return luma


@dataclass(frozen=True, kw_only=True)
class Putt:
    """A short putt in closed form: the head comes at a steady speed, the ball slides, then rolls."""

    rest_s: float = 0.2
    approach_s: float = 0.12
    head_mps: float = 1.3
    ball_mps: float = 2.1
    sliding_mps2: float = -3.0
    rolling_mps2: float = -0.6
    slide_s: float = 0.15
    way: int = 1
    gap_m: float = 0.01
    rest_m: tuple[float, float] = (0.0, 0.0)

    @property
    def impact_s(self) -> float:
        return self.rest_s + self.approach_s

    def ball(self, time_s: FloatArray) -> FloatArray:
        """Return ball centres at instants, shapes (n,) [s] -> (n, 3) [m]."""
        t = np.clip(np.asarray(time_s) - self.impact_s, 0.0, None)
        slid = np.minimum(t, self.slide_s)
        rolled = t - slid
        speed = self.ball_mps + self.sliding_mps2 * self.slide_s
        x = self.ball_mps * slid + 0.5 * self.sliding_mps2 * slid**2 + speed * rolled
        x += 0.5 * self.rolling_mps2 * rolled**2
        return np.column_stack(
            [self.rest_m[0] + self.way * x, np.full(len(t), self.rest_m[1]), np.full(len(t), RADIUS_M)]
        )

    def head(self, time_s: FloatArray) -> FloatArray:
        """Return tag centres at instants, shapes (n,) [s] -> (n, 3) [m]."""
        t = np.asarray(time_s) - self.impact_s
        touching = self.rest_m[0] - self.way * (RADIUS_M + TAG_TO_FACE_M)
        speed = np.where(t < 0, self.head_mps, 0.79 * self.head_mps)  # it loses a fifth at the blow
        moving = touching + self.way * speed * np.minimum(t, 0.25)
        x = np.where(np.asarray(time_s) < self.rest_s, touching - self.way * self.gap_m, moving)
        return np.column_stack([x, np.full(len(t), self.rest_m[1]), np.full(len(t), HEAD_HEIGHT_M)])

    def filmed(
        self, scene: Scene, rate_hz: float, exposure_s: float, until_s: float, instants: int = 6
    ) -> list[tuple[float, LumaFrame, FloatArray]]:
        """Return time, luma and tag pixel of every frame."""
        frames = []
        scene.way = self.way
        for mid in np.arange(0.5 / rate_hz, until_s, 1.0 / rate_hz):
            at = mid + exposure_s * ((np.arange(instants) + 0.5) / instants - 0.5)
            if mid + exposure_s < self.rest_s:
                at = np.array([mid])
            middle = self.head(np.array([mid]))[0]
            luma = scene.frame(
                self.ball(np.array([mid]))[0],
                middle,
                ball_path_m=self.ball(at),
                head_path_m=self.head(at),
                rolled_rad=float(self.ball(np.array([mid]))[0, 0] / RADIUS_M),
            )
            frames.append((float(mid), luma, scene.head_px(middle)))
        return frames
