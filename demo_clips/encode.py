"""Writing the frames of a clip, and its sound, into an MP4 file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import cast

import av
import numpy as np
from numpy.typing import NDArray

from pennyfall.demo_clips.scene import Encoding
from pennyfall.kinematics.values import FloatArray

TIME_BASE = Fraction(1, 90000)  # 60, 120 and 240 frames/s are whole numbers of it
SAMPLE_RATE_HZ = 48000
SOUND_BLOCK = 1024
THREADS = 2  # a fixed number, since the encoder's output depends on it


def unfinished_path(path: Path) -> Path:
    """Return where a clip is until it is whole."""
    return path.with_name(f".{path.name}.part")


def write_clip(
    path: Path,
    frames: Iterable[NDArray[np.uint8]],
    times_s: FloatArray,
    size: tuple[int, int],
    encoding: Encoding,
    clicks_s: Iterable[float] = (),
) -> None:
    """Encode planar 4:2:0 frames with their timestamps; the file appears when it is whole.

    Parameters
    ----------
    path : Path
        File to write.
    frames : iterable of arrays
        Shape (rows * 3 / 2, columns) each.
    times_s : FloatArray
        Container time of each frame, shape (n,) [s].
    size : tuple of int
        Width and height [px].
    encoding : Encoding
        Codec and its settings.
    clicks_s : iterable of float
        Container times of the clicks, where there is sound [s].

    """
    partial = unfinished_path(path)
    try:
        with av.open(
            str(partial.absolute()),
            "w",
            format="mp4",
            options={"fflags": "+bitexact", "movflags": "+faststart"},
        ) as container:
            _mux(container, frames, times_s, size, encoding, clicks_s)
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)


def _mux(
    container: av.container.OutputContainer,
    frames: Iterable[NDArray[np.uint8]],
    times_s: FloatArray,
    size: tuple[int, int],
    encoding: Encoding,
    clicks_s: Iterable[float],
) -> None:
    rate = Fraction(round(1 / float(np.median(np.diff(times_s)))))
    video = cast(av.VideoStream, container.add_stream(encoding.codec, rate=rate, options=_options(encoding)))
    video.width, video.height = size
    video.pix_fmt = "yuv420p"
    video.time_base = video.codec_context.time_base = TIME_BASE
    video.codec_context.thread_count = THREADS
    video.codec_context.flags |= av.codec.context.Flags.bitexact
    video.codec_context.color_primaries = video.codec_context.color_trc = video.codec_context.colorspace = (
        1  # BT.709
    )
    video.codec_context.color_range = 1  # limited
    if encoding.codec == "libx265":
        video.codec_context.codec_tag = "hvc1"
    sound = None
    if encoding.sound:
        sound = container.add_stream("aac", rate=SAMPLE_RATE_HZ, layout="mono")
        sound.codec_context.flags |= av.codec.context.Flags.bitexact
    for planar, time_s in zip(frames, times_s, strict=True):
        frame = av.VideoFrame.from_ndarray(planar, format="yuv420p")
        frame.time_base = TIME_BASE
        frame.pts = round(time_s / TIME_BASE)
        container.mux(video.encode(frame))
    container.mux(video.encode(None))
    if sound is not None:
        for block in _sound(float(times_s[-1]), clicks_s):
            container.mux(sound.encode(block))
        container.mux(sound.encode(None))


def _options(encoding: Encoding) -> dict[str, str]:
    options = {"crf": f"{encoding.crf:g}", "preset": encoding.preset}
    if encoding.codec == "libx265":
        options["x265-params"] = "log-level=none:pools=2:frame-threads=1"
    return options


def _sound(duration_s: float, clicks_s: Iterable[float]) -> Iterator[av.AudioFrame]:
    """Yield a quiet room with a short ringing click at each impact."""
    generator = np.random.default_rng(48000)
    t = np.arange(round(duration_s * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    wave = 0.002 * generator.standard_normal(len(t))
    for click_s in clicks_s:
        since = t - click_s
        ring = 0.5 * np.exp(-np.maximum(since, 0) / 0.004) * np.sin(2 * np.pi * 3200 * since)
        wave += np.where(since >= 0, ring, 0.0)
    samples = np.clip(wave, -1, 1).astype(np.float32)
    for start in range(0, len(samples), SOUND_BLOCK):
        block = av.AudioFrame.from_ndarray(
            samples[None, start : start + SOUND_BLOCK], format="fltp", layout="mono"
        )
        block.sample_rate = SAMPLE_RATE_HZ
        block.time_base = Fraction(1, SAMPLE_RATE_HZ)
        block.pts = start
        yield block
