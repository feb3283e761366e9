"""A rendered scene as another phone would have stored it: other containers, codecs, lights and defects."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.demo_clips.record import performance_of, render_frames
from pennyfall.demo_clips.scene import Scene
from pennyfall.demo_clips.truth import truth_document
from pennyfall.kinematics.values import FloatArray

Planar = NDArray[np.uint8]
"""A frame as planar 4:2:0, shape (rows * 3 / 2, columns)."""

Alter = Callable[[float, Planar], Planar]
"""Changes a frame, given its container time [s]."""

TIME_BASE = Fraction(1, 90000)
BT709, BT2020, HLG, BT2020_MATRIX = 1, 9, 18, 9  # code points of ITU-T H.273, tables 2 to 4
LIMITED, FULL = 1, 2


@dataclass(frozen=True, kw_only=True, slots=True)
class Film:
    """How a phone stores what it sees."""

    suffix: str = ".mp4"
    codec: str = "libx264"
    pixels: str = "yuv420p"
    options: dict[str, str] = field(default_factory=lambda: {"crf": "18", "preset": "veryfast"})
    bit_rate: int | None = None
    """Bits per second, where the phone keeps to a rate [1/s]."""
    turned_deg: int = 0
    """How the picture must be turned counter-clockwise to be seen upright, as the display matrix says."""
    full_range: bool = False
    hdr: bool = False
    interlaced: bool = False
    alter: Alter | None = None


def film(scene: Scene, path: Path, how: Film) -> dict[str, Any]:
    """Render a scene into a clip stored as told, and return its truth document."""
    performance = performance_of(scene)
    times_s = scene.times_s(performance.duration_s)
    frames = render_frames(scene, performance, times_s)
    store(_altered(frames, times_s, how.alter), times_s, path, how)
    document = truth_document(scene, performance, times_s)
    path.with_suffix(".truth.json").write_text(json.dumps(document))
    return document


def store(frames: Iterable[Planar], times_s: FloatArray, path: Path, how: Film) -> None:
    """Encode frames with their timestamps."""
    with av.open(str(path), "w") as container:
        stream: av.VideoStream | None = None
        for planar, time_s in zip(frames, times_s, strict=True):
            picture = _picture(planar, how)
            if stream is None:
                stream = _stream(container, picture, times_s, how)
            picture.time_base = TIME_BASE
            picture.pts = round(time_s / TIME_BASE)
            container.mux(stream.encode(picture))
        if stream is not None:
            container.mux(stream.encode(None))


def mirrored(_time_s: float, planar: Planar) -> Planar:
    """Return the frame as a selfie camera stores it."""
    return _each_plane(planar, np.fliplr)


def enlarged(_time_s: float, planar: Planar) -> Planar:
    """Return the frame three times as wide and high: 4K at the price of a smaller picture's rendering."""
    return _each_plane(
        planar, lambda plane: cv2.resize(plane, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)
    )


def brightened(gain: Callable[[float], float | FloatArray]) -> Alter:
    """Return a change of the light: a gain in linear light, one number or one a luma pixel, over time."""

    def alter(time_s: float, planar: Planar) -> Planar:
        changed = planar.copy()
        rows = planar.shape[0] * 2 // 3
        luma = (planar[:rows].astype(np.float32) - 16) * np.asarray(gain(time_s), np.float32) ** (1 / 2.4)
        changed[:rows] = np.clip(luma + 16.5, 16, 235)
        return changed

    return alter


def _altered(frames: Iterable[Planar], times_s: FloatArray, alter: Alter | None) -> Iterator[Planar]:
    for time_s, frame in zip(times_s, frames, strict=True):
        yield frame if alter is None else alter(float(time_s), frame)


def _each_plane(planar: Planar, change: Callable[[NDArray[Any]], NDArray[Any]]) -> Planar:
    """Return planar 4:2:0 with each of its three planes changed alike."""
    rows, columns = planar.shape[0] * 2 // 3, planar.shape[1]
    chroma = planar[rows:].reshape(2, rows // 2, columns // 2)
    luma, blue, red = (change(plane) for plane in (planar[:rows], chroma[0], chroma[1]))
    parts = np.concatenate([luma.ravel(), blue.ravel(), red.ravel()])
    return np.asarray(parts.reshape(-1, luma.shape[1]), dtype=np.uint8)


def _picture(planar: Planar, how: Film) -> av.VideoFrame:
    turns = -how.turned_deg // 90
    stored = _each_plane(planar, lambda plane: np.rot90(plane, turns)) if turns % 4 else planar
    if how.full_range:
        stored = _full_range(stored)
    picture = av.VideoFrame.from_ndarray(np.ascontiguousarray(stored), format="yuv420p")
    if how.full_range:
        picture.color_range = FULL
    return picture if how.pixels == "yuv420p" else picture.reformat(format=how.pixels)


def _full_range(planar: Planar) -> Planar:
    rows = planar.shape[0] * 2 // 3
    stretched = np.empty(planar.shape, dtype=np.float32)
    stretched[:rows] = (planar[:rows].astype(np.float32) - 16) * (255 / 219)
    stretched[rows:] = (planar[rows:].astype(np.float32) - 128) * (255 / 224) + 128
    return np.asarray(np.clip(stretched + 0.5, 0, 255), dtype=np.uint8)


def _stream(
    container: av.container.OutputContainer, picture: av.VideoFrame, times_s: FloatArray, how: Film
) -> av.VideoStream:
    rate = Fraction(round(1 / float(np.median(np.diff(times_s)))))
    stream = cast(av.VideoStream, container.add_stream(how.codec, rate=rate, options=how.options))
    stream.width, stream.height, stream.pix_fmt = picture.width, picture.height, how.pixels
    context = stream.codec_context
    stream.time_base = context.time_base = TIME_BASE
    context.thread_count = 1
    context.color_range = FULL if how.full_range else LIMITED
    context.color_primaries = BT2020 if how.hdr else BT709
    context.color_trc = HLG if how.hdr else BT709
    context.colorspace = BT2020_MATRIX if how.hdr else BT709
    if how.bit_rate is not None:
        stream.bit_rate = how.bit_rate
    if how.codec == "libx265" and how.suffix in (".mp4", ".mov"):
        context.codec_tag = "hvc1"
    if how.interlaced:
        context.flags |= av.codec.context.Flags.interlaced_dct | av.codec.context.Flags.interlaced_me
    if how.turned_deg:
        stream.set_display_rotation(how.turned_deg)
    return stream
