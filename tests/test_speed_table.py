"""Measuring against a bare decode by size, rate and codec; run with --benchmark, prints a table.

What measuring adds to decoding, on two virtual cores: 1.2 to 1.5 s a clip whatever its length (loading 0.7 s,
half of it beside the decoder; the first frame 0.2 s; smoothing and coin 0.2 s), 0.3 ms a frame at rest and 1
to 2 ms a frame of a stroke. Six hundred frames, written fast and so decoded fast; what is added to a frame
holds the 1.5 s:

==================  =======  ===========  ==============  ===========
clip                measure  bare decode  added a frame   peak memory
==================  =======  ===========  ==============  ===========
720p, 240, H.264     1.85 s       0.28 s          2.6 ms       222 MB
720p, 240, HEVC      2.17 s       0.55 s          2.7 ms       229 MB
720p, 60, H.264      1.47 s       0.32 s          1.9 ms       205 MB
720p, 60, HEVC       1.60 s       0.52 s          1.8 ms       210 MB
1080p, 240, H.264    2.05 s       0.46 s          2.6 ms       265 MB
1080p, 240, HEVC     3.25 s       1.52 s          2.9 ms       296 MB
1080p, 60, H.264     1.65 s       0.46 s          2.0 ms       257 MB
1080p, 60, HEVC      2.41 s       1.03 s          2.3 ms       277 MB
4K, 240, H.264       3.75 s       1.39 s          3.9 ms       508 MB
4K, 240, HEVC        7.63 s       5.20 s          4.0 ms       629 MB
4K, 60, H.264        2.95 s       1.36 s          2.7 ms       586 MB
4K, 60, HEVC         6.16 s       5.06 s          1.8 ms       655 MB
==================  =======  ===========  ==============  ===========
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest

from pennyfall.demo_clips.clips import shipped_clips
from tests.test_benchmark import BARE_DECODE, best_in_turn

SIZES = {"720p": (1280, 720), "1080p": (1920, 1080), "4K": (3840, 2160)}
CODECS = {"H.264": "libx264", "HEVC": "libx265"}
SOURCES = {240: "larch-240-late", 60: "larch-60"}
FRAMES = 600
GRAIN_SD = 2.0
"""Sensor noise in luma steps, fresh in every frame, as the resized picture has lost its own."""


def written(path: Path, size: tuple[int, int], rate: int, codec: str) -> Path:
    """Write a shipped clip at another size: at rest up to its stroke, the stroke last."""
    source = next(clip.path for clip in shipped_clips() if clip.path.stem == SOURCES[rate])
    with av.open(str(source)) as opened:
        pictures = [picture.to_ndarray(format="bgr24") for picture in opened.decode(video=0)]
    generator = np.random.default_rng(20260101)
    grain = [
        np.asarray(generator.normal(0, GRAIN_SD, (size[1], size[0], 1)), dtype=np.float32) for _ in range(4)
    ]
    with av.open(str(path), "w") as out:
        stream: Any = out.add_stream(codec, rate=rate)
        stream.width, stream.height, stream.pix_fmt = *size, "yuv420p"
        stream.options = {"crf": "23", "preset": "ultrafast"}
        if codec == "libx265":
            stream.options |= {"x265-params": "log-level=none"}
        for index in range(FRAMES):
            picture = pictures[max(index - (FRAMES - len(pictures)), 0)]
            large = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC).astype(np.float32)
            noisy = np.clip(large + grain[index % len(grain)], 0, 255).astype(np.uint8)
            frame = av.VideoFrame.from_ndarray(noisy, format="bgr24")
            frame.pts = index
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    return path


@pytest.mark.benchmark
def test_speed_and_memory_by_size_rate_and_codec(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pennyfall = str(Path(sys.executable).with_name("pennyfall"))
    rows = [f"\n{'clip':<22}{'measure':>10}{'decode':>10}{'added a frame':>16}{'peak memory':>14}"]
    for size_name, size in SIZES.items():
        for rate in SOURCES:
            for codec_name, codec in CODECS.items():
                clip = written(tmp_path / f"{size_name}-{rate}-{codec_name}.mp4", size, rate, codec)
                (measure_s, memory_mb), (decode_s, _) = best_in_turn(
                    [pennyfall, "measure", str(clip), "--quiet"],
                    [sys.executable, "-c", BARE_DECODE, str(clip)],
                    turns=2,
                )
                clip.unlink()
                added_ms = 1000 * (measure_s - decode_s) / FRAMES
                rows.append(
                    f"{f'{size_name} {rate} fps {codec_name}':<22}{measure_s:>8.2f} s{decode_s:>8.2f} s"
                    f"{added_ms:>13.2f} ms{memory_mb:>11.0f} MB"
                )
    with capsys.disabled():
        print("\n".join(rows))  # noqa: T201 - the table is what the test is run for
    assert len(rows) == 1 + len(SIZES) * len(SOURCES) * len(CODECS)
