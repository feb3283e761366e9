"""A small rendered stroke, and the same frames written again with other timestamps, losses and containers."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.record import performance_of, render_clip, truth_path
from pennyfall.demo_clips.scene import Encoding, Scene, aim_camera
from pennyfall.demo_clips.strokes import Rest, Stroke
from pennyfall.kinematics.values import Estimate, FloatArray
from pennyfall.tracker.measure.clip import measure_clip
from pennyfall.tracker.measure.measured import Measured
from pennyfall.tracker.measure.settings import Settings

SIZE = (720, 400)
SD95 = 1.959963984540054
TICK = Fraction(1, 90000)

EVENTS = {
    "takeaway_s": "start_leaves_rest_s",
    "top_s": "top_s",
    "impact_s": "impact_s",
}
DURATIONS = {"backswing_s": "backswing_duration_s", "forward_swing_s": "forward_duration_s"}
SPEEDS = {"impact_speed_mps": "impact_speed_just_before_m_s"}

Packets = Callable[[list[Any]], list[Any]]


def small_scene(rate_hz: int, *, name: str = "small", sound: bool = False, **changes: Any) -> Scene:  # noqa: ANN401
    """Return a quick scene of one stroke, 1.7 s long, its tag about 25 px wide."""
    scene = Scene(
        name=name,
        script=(
            Rest(0.35),
            Stroke(backswing_m=0.22, backswing_s=0.55, forward_s=0.30, through_s=0.40),
            Rest(0.10),
        ),
        putter=Putter(),
        camera=aim_camera(
            position_m=(0.0, -0.60, 0.80), look_at_m=(0.05, -0.06, 0.0), focal_px=720, size=SIZE
        ),
        size=SIZE,
        rate_hz=Fraction(rate_hz),
        encoding=Encoding(crf=10, sound=sound),
        seed=5,
    )
    return replace(scene, **changes)


@dataclass(frozen=True, kw_only=True, slots=True)
class Filmed:
    """A rendered clip, its decoded frames, their times, and its truth on the clip's own clock."""

    path: Path
    frames: tuple[NDArray[np.uint8], ...]
    times_s: FloatArray
    truth: dict[str, float]


def filmed(scene: Scene, folder: Path) -> Filmed:
    """Render a scene and read its frames back."""
    path = folder / f"{scene.name}.mp4"
    render_clip(scene, path)
    with av.open(str(path)) as container:
        frames = tuple(
            np.asarray(picture.to_ndarray(format="yuv420p"), dtype=np.uint8)
            for picture in container.decode(video=0)
        )
    truth = json.loads(truth_path(path).read_text())["strokes_container_clock"][0]
    return Filmed(
        path=path, frames=frames, times_s=scene.times_s(performance_of(scene).duration_s), truth=truth
    )


def write_film(
    path: Path,
    frames: Sequence[NDArray[np.uint8]],
    times_s: FloatArray,
    *,
    metadata: dict[str, str] | None = None,
    options: dict[str, str] | None = None,
    packets: Packets | None = None,
) -> Path:
    """Write frames with these container times; the packets may be tampered with before they are stored."""
    rows, columns = frames[0].shape[0] * 2 // 3, frames[0].shape[1]
    flags = {"movflags": "use_metadata_tags"} if path.suffix == ".mp4" else {}
    with av.open(str(path), "w", options=flags) as container:
        container.metadata.update(metadata or {})
        stream = container.add_stream("libx264", rate=round(1 / float(np.median(np.diff(times_s)))))
        stream.width, stream.height, stream.pix_fmt = columns, rows, "yuv420p"
        stream.options = {"crf": "8", "preset": "veryfast", "bf": "0", **(options or {})}
        stream.time_base = stream.codec_context.time_base = TICK
        coded: list[Any] = []
        for planar, time_s in zip(frames, times_s, strict=True):
            frame = av.VideoFrame.from_ndarray(planar, format="yuv420p")
            frame.time_base, frame.pts = TICK, round(float(time_s) / TICK)
            coded += stream.encode(frame)
        coded += stream.encode(None)
        for packet in packets(coded) if packets is not None else coded:
            container.mux(packet)
    return path


def measured(path: Path, **options: Any) -> Measured:  # noqa: ANN401
    """Measure a clip."""
    return measure_clip(path, Settings(**options))


def misses(result: Measured, truth: dict[str, float], *, shift_s: float = 0.0) -> dict[str, float]:
    """Return how far each measure lies from the truth in standard deviations, those within 95 % left out.

    Parameters
    ----------
    result : Measured
    truth : dict
        A stroke's truth; its instants on a clock that reads `shift_s` when the measured clip begins.
    shift_s : float
        See `truth`.

    """
    (stroke,) = result.measurement.strokes
    wanted = {name: truth[key] - shift_s for name, key in EVENTS.items()}
    wanted |= {name: truth[key] for name, key in (DURATIONS | SPEEDS).items()}
    apart = {}
    for name, value in wanted.items():
        estimate: Estimate = getattr(stroke, name)
        apart[name] = (estimate.value - value) / estimate.sd
    return {name: sds for name, sds in apart.items() if not abs(sds) <= SD95}
