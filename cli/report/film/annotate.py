"""The annotated clip: one stroke with the head's path, its instants and its acceleration, as an MP4."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import Any

import av
import numpy as np

from pennyfall.cli.files.measurement import beside
from pennyfall.cli.report.film.overlay import HeadPath, PathOverlay
from pennyfall.cli.report.film.strip import AccelerationStrip
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import ClipFacts, StrokeMeasures
from pennyfall.tracker.clip.album import size_within
from pennyfall.tracker.clip.decoding import Decoding
from pennyfall.tracker.clip.frame import RgbFrame, upright
from pennyfall.tracker.clip.reading import read_clip

BEFORE_S = 0.35
"""Chosen by us: shown before takeaway, so that the eye finds the head."""
AFTER_S = 0.25
"""Chosen by us: shown after the finish."""
MOST_FRAMES_A_SECOND = 60.0
"""Every phone of the last ten years plays this smoothly; more are thinned out, their times stay true."""
TIME_BASE = Fraction(1, 90_000)
"""The customary clock of video files; it resolves 11 microseconds."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Look:
    """How the annotated clip is made."""

    height_px: int = 720
    """Most rows of the whole picture, the strip included."""
    slow: float = 4.0
    """How many times slower than life it plays; 1 is true speed."""
    strip: bool = True
    """Whether the acceleration runs along under the picture."""
    quality: int = 25
    """x264's constant rate factor; higher is smaller and worse."""


def shown_span_s(stroke: StrokeMeasures) -> tuple[float, float]:
    """Return the clip times from which and to which a stroke is shown [s]."""
    profile_s = stroke.profile.t_s
    first = stroke.takeaway_s.value if stroke.takeaway_s.known else float(profile_s[0])
    last = stroke.finish_s.value if stroke.finish_s.known else float(profile_s[-1])
    return first - BEFORE_S, last + AFTER_S


def shown_from_s(stroke: StrokeMeasures, path: HeadPath) -> float:
    """Return the clip time of the annotated clip's first frame [s]."""
    start_s, _ = shown_span_s(stroke)
    first = int(np.searchsorted(path.time_s, start_s))
    return float(path.time_s[min(first, len(path.time_s) - 1)])


def decoded_pictures(
    clip: Path, facts: ClipFacts, stroke: StrokeMeasures, look: Look
) -> Iterator[tuple[float, RgbFrame]]:
    """Yield true time and picture over a stroke, decoded anew at the size and rate they are shown at."""
    width, height = size_within(facts.width, facts.height, _picture_rows(look))
    for time_s, picture in thinned(_frames(clip, facts, *shown_span_s(stroke)), look.slow):
        yield time_s, upright(picture, facts.rotation_deg, width, height)


def annotate_stroke(
    pictures: Iterable[tuple[float, RgbFrame]],
    facts: ClipFacts,
    stroke: StrokeMeasures,
    path: HeadPath,
    out: Path,
    look: Look = Look(),
) -> bool:
    """Write the annotated clip of one stroke: H.264 in an MP4 that phones play and that starts at once.

    Sound, and whatever the original says about place and time, are left behind.

    Parameters
    ----------
    pictures : iterable
        True time and RGB picture over the stroke, all of one size.
    facts : ClipFacts
        The original's size.
    stroke : StrokeMeasures
        What is shown.
    path : HeadPath
        The head in the original's pixels, as displayed.
    out : Path
        The MP4 file; written whole or not at all.
    look : Look
        Strip, speed and quality.

    Returns
    -------
    bool
        False, and nothing is written, where there is no picture of the stroke.

    Raises
    ------
    CannotMeasure
        When the place cannot be written.

    """
    shown = iter(pictures)
    first = next(shown, None)
    if first is None:
        return False
    with beside(out) as made:
        try:
            _encode(made, chain([first], shown), first[1].shape[:2], facts, stroke, path, look)
        except av.error.FFmpegError as error:
            raise CannotMeasure(
                f"The annotated clip of {facts.file} cannot be made ({error.strerror}).",
                fix="Free some disk space, or copy the clip from the phone once more.",
            ) from error
        made.replace(out.resolve())
    return True


def _encode(
    made: Path,
    pictures: Iterable[tuple[float, RgbFrame]],
    size: tuple[int, int],
    facts: ClipFacts,
    stroke: StrokeMeasures,
    path: HeadPath,
    look: Look,
) -> None:
    height, width = size
    overlay = PathOverlay(stroke, path.scaled(width / facts.width, height / facts.height), height)
    strip = AccelerationStrip(stroke, width, 2 * round(STRIP_SHARE * height / 2)) if look.strip else None
    start_s = shown_from_s(stroke, path)
    with av.open(str(made), "w", format="mp4", options={"movflags": "faststart"}) as container:
        stream = _video_stream(container, width, height + (strip.height if strip else 0), look)
        for number, (time_s, frame) in enumerate(pictures):
            overlay.draw(frame, time_s)
            whole = frame if strip is None else np.vstack([frame, strip.at(time_s)])
            coded = av.VideoFrame.from_ndarray(np.ascontiguousarray(whole), format="rgb24")
            # The first is shown from the very start, before the takeaway: an album may hold none as early.
            coded.pts = round((time_s - start_s) * look.slow / TIME_BASE) if number else 0
            coded.time_base = TIME_BASE
            container.mux(stream.encode(coded))
        container.mux(stream.encode(None))


STRIP_SHARE = 0.24
"""Chosen by us: the strip's height over the picture's; the curve is legible and the head stays large."""


def _picture_rows(look: Look) -> float:
    return look.height_px / (1 + STRIP_SHARE) if look.strip else look.height_px


def _video_stream(container: Any, width: int, height: int, look: Look) -> Any:  # noqa: ANN401 - PyAV objects
    stream = container.add_stream("libx264", rate=60)
    stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
    stream.time_base = TIME_BASE
    stream.codec_context.time_base = TIME_BASE
    stream.thread_count = 1 if (os.cpu_count() or 1) < 4 else 2
    stream.options = {
        "profile": "main",
        "preset": "veryfast",
        "crf": str(look.quality),
        "g": "30",  # a key frame each half second: scrubbing lands at once
        "bf": "0",  # frames leave in the order they came, so the first one plays at zero
    }
    return stream


def _frames(clip: Path, facts: ClipFacts, start_s: float, end_s: float) -> Iterator[tuple[float, Any]]:
    """Yield true time and decoded frame over a span, on the time base the clip was measured on."""
    stated = facts.time_source == "stated" and np.isfinite(facts.capture_rate_hz)
    again = read_clip(clip, recorded_at_hz=facts.capture_rate_hz if stated else None)
    for time_s, picture in Decoding(again).pictures():
        if time_s > end_s:
            return
        if time_s >= start_s:
            yield time_s, picture


def thinned(frames: Iterator[tuple[float, Any]], slow: float) -> Iterator[tuple[float, Any]]:
    """Leave out frames that would come faster than a phone shows them."""
    least_s = 0.98 / MOST_FRAMES_A_SECOND / slow  # 2 % of slack for jitter in the times
    shown_s = -np.inf
    for time_s, picture in frames:
        if time_s - shown_s >= least_s:
            shown_s = time_s
            yield time_s, picture
