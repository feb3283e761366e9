"""Recording a scene: the clip file, and its truth beside it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.demo_clips.encode import write_clip
from pennyfall.demo_clips.render import Renderer
from pennyfall.demo_clips.scene import Scene, Sensor
from pennyfall.demo_clips.strokes import Performance, perform
from pennyfall.demo_clips.truth import clicks_s, truth_document
from pennyfall.demo_clips.view import Image
from pennyfall.kinematics.values import FloatArray

Progress = Callable[[int, int], None]


def truth_path(clip: Path) -> Path:
    """Return where the truth of a clip lies: beside it, named after it."""
    return clip.with_name(f"{clip.stem}.truth.json")


def performance_of(scene: Scene) -> Performance:
    """Return what moves in a scene."""
    return perform(scene.script, scene.putter, scene.ball_friction, scene.rolling_mps2)


def render_clip(scene: Scene, path: Path, progress: Progress | None = None) -> Path:
    """Render a scene to a clip file and write its truth beside it.

    Parameters
    ----------
    scene : Scene
        What to render; one scene always gives the same frames.
    path : Path
        The MP4 file to write; `truth_path(path)` is written too.
    progress : callable, optional
        Told the number of frames done and of all frames.

    Returns
    -------
    Path
        The truth's path.

    """
    performance = performance_of(scene)
    container_s = scene.times_s(performance.duration_s)
    frames = render_frames(scene, performance, container_s, progress)
    write_clip(path, frames, container_s, scene.size, scene.encoding, clicks_s(scene, performance))
    document = truth_document(scene, performance, container_s)
    truth = truth_path(path)
    words = json.dumps(document, allow_nan=False, separators=(",", ":"))
    truth.write_text(f"{words}\n", encoding="utf-8", newline="\n")
    return truth


def render_frames(
    scene: Scene, performance: Performance, container_s: FloatArray, progress: Progress | None = None
) -> Iterator[NDArray[np.uint8]]:
    """Yield each frame as planar 4:2:0, shape (rows * 3 / 2, columns), noise and all."""
    renderer = Renderer(scene, performance)
    noise = Noise(scene.seed, scene.size)
    background = develop(renderer.background)
    background_sd = noise_sd(background[0], scene.sensor)
    last_key: tuple[float, ...] | None = None
    for number, time_s in enumerate(container_s + scene.phase_s):
        key = renderer.key(float(time_s))
        if not renderer.steady or key != last_key:
            luma, chroma, sd = (plane.copy() for plane in (*background, background_sd))
            for box, part in renderer.parts(number, float(time_s)):
                rows, columns = box.slices
                luma[rows, columns], chroma[_halved(rows), _halved(columns)] = develop(part)
                sd[rows, columns] = noise_sd(luma[rows, columns], scene.sensor)
            last_key = key
        yield quantise(luma, chroma, sd, noise, number)
        if progress is not None:
            progress(number + 1, len(container_s))


def _halved(span: slice) -> slice:
    return slice(span.start // 2, span.stop // 2)


LUMA = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)  # Rec. ITU-R BT.709, item 3.2
CHROMA_NOISE = 0.5  # chosen by us: phones smooth colour noise more than luma noise


def develop(linear: Image) -> tuple[Image, Image]:
    """Return luma, and chroma at half the resolution, of a linear picture, without noise.

    Returns
    -------
    tuple of Image
        Luma of shape (rows, columns) in 0..1, and blue and red difference of shape (rows / 2, columns / 2, 2)
        in -0.5..0.5.

    """
    coded = encode_gamma(linear)
    luma = coded @ LUMA
    small = cv2.resize(coded, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    small_luma = small @ LUMA
    blue = (small[..., 2] - small_luma) / (2 * (1 - LUMA[2]))
    red = (small[..., 0] - small_luma) / (2 * (1 - LUMA[0]))
    return luma, np.stack([blue, red], axis=-1)


def encode_gamma(linear: Image) -> Image:
    """Return gamma-coded values in 0..1 of linear ones: the curve of IEC 61966-2-1."""
    clipped = np.clip(linear, 0.0, 1.0)
    return np.where(clipped <= 0.0031308, 12.92 * clipped, 1.055 * clipped ** (1 / 2.4) - 0.055).astype(
        np.float32
    )


def noise_sd(luma: Image, sensor: Sensor) -> Image:
    """Return the standard deviation of a coded value: shot and read noise through the gamma's slope."""
    levels = np.linspace(0.0, 1.0, 256)
    linear = np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4)
    slope = np.minimum(12.92, 1.055 / 2.4 * np.maximum(linear, 1e-9) ** (1 / 2.4 - 1))
    table = slope * np.sqrt(sensor.read_noise**2 + sensor.shot_noise**2 * linear)
    return table.astype(np.float32)[np.rint(np.clip(luma, 0.0, 1.0) * 255).astype(np.uint8)]


class Noise:
    """Random numbers for every frame, drawn once: a frame takes them from a place of its own.

    Drawing them anew for each frame took half of the rendering time.
    """

    def __init__(self, seed: int, size: tuple[int, int]) -> None:
        self.seed = seed
        generator = np.random.default_rng([seed, 1])
        self.pool = generator.standard_normal(4 * size[0] * size[1], dtype=np.float32)

    def take(self, number: int, plane: int, shape: tuple[int, ...]) -> Image:
        """Return standard normal numbers for one plane of a frame."""
        count = int(np.prod(shape))
        start = int(np.random.default_rng([self.seed, 2, number, plane]).integers(len(self.pool) - count))
        return self.pool[start : start + count].reshape(shape)


def quantise(luma: Image, chroma: Image, sd: Image, noise: Noise, number: int) -> NDArray[np.uint8]:
    """Return frame `number` as planar 4:2:0 with noise, limited range, shape (rows * 3 / 2, columns)."""
    rows, columns = luma.shape
    planar = np.empty((rows * 3 // 2, columns), dtype=np.uint8)
    planar[:rows] = _levels(luma + sd * noise.take(number, 0, luma.shape), 219, 16)
    # both chroma planes are half as wide: two of their rows fill one row of this array
    coarse_sd = CHROMA_NOISE * sd[::2, ::2]
    planes = [chroma[..., k] + coarse_sd * noise.take(number, 1 + k, coarse_sd.shape) for k in range(2)]
    planar[rows:] = _levels(np.stack(planes), 224, 128).reshape(rows // 2, columns)
    return planar


def _levels(values: Image, span: int, zero: int) -> NDArray[np.uint8]:
    """Return the nearest of 256 levels, 0.5 added so that cutting off rounds."""
    scaled = values * np.float32(span) + np.float32(zero + 0.5)
    return np.asarray(np.clip(scaled, 0, 255).astype(np.uint8))
