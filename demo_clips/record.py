"""Recording a scene: the clip file, and its truth beside it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pennyfall.demo_clips.encode import write_clip
from pennyfall.demo_clips.render import Renderer
from pennyfall.demo_clips.scene import Scene
from pennyfall.demo_clips.sensor import Noise, develop, noise_sd, quantise
from pennyfall.demo_clips.strokes import Performance, perform
from pennyfall.demo_clips.truth import clicks_s, truth_document
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
