"""An album of a clip: small copies of the pictures that a pass saw, to show some once it is measured."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from typing import Any

import cv2
import numpy as np

from pennyfall.tracker.clip.frame import RgbFrame, upright

ROWS = 360
"""Chosen by us: the report's film has as many."""
MOST_A_SECOND = 120.0
"""Chosen by us: pictures of a second of true time; a film four times slower than life shows 30 a second."""
MOST_BYTES = 128_000_000
"""Chosen by us: beyond it every other picture goes, and from there on half as many are kept."""
QUALITY = 85
"""Quality of the JPEG; chosen by us: at the size shown none of its blocks is seen."""


class Album:
    """Small copies of a pass's pictures, kept as JPEG, so that no picture is decoded twice.

    Keeping one takes 2.5 ms of processor time, decoding it 4.8 (1080p at 40 Mbit/s, two busy cores). 2,000
    frames of such a clip at 240 frames/s leave 1,000 pictures of 40 kB. To measure it with a picture takes
    14.9 s of processor time and 334 MB, where decoding twice took 20.8 s and 252 MB; in a lesson, film
    included, 15.8 s and 404 MB instead of 23.4 s and 356 MB. A clip of 2 s at 720p gains 0.3 s with a
    picture, 1.1 s in a lesson. Those are costs of 360 rows. With 720, for a stroke's picture, keeping one
    takes 6 ms and 240 kB (3 ms and 150 kB at 720p): from 4.4 s of 1080p on, every other picture has gone.

    Parameters
    ----------
    rows : int
        Most rows of a picture as displayed.

    """

    def __init__(self, rows: int = ROWS) -> None:
        self._rows = rows
        self._least_s = 0.9 / MOST_A_SECOND  # 10 % of slack for jitter in the times
        self._times_s: list[float] = []
        self._pictures: list[bytes] = []
        self.bytes_kept = 0
        self.scale = (1.0, 1.0)
        """Columns and rows of a kept picture over those of the clip's as displayed."""

    def keep(self, time_s: float, picture: Any, rotation_deg: int) -> None:  # noqa: ANN401 - a PyAV frame
        """Keep a copy of a decoded picture, unless it follows the one before it too soon."""
        if self._times_s and time_s - self._times_s[-1] < self._least_s:
            return
        across, down = picture.width, picture.height
        if rotation_deg % 180:
            across, down = down, across
        width, height = size_within(across, down, self._rows)
        self.scale = (width / across, height / down)
        small = upright(picture, rotation_deg, width, height, pixels="bgr24")  # as OpenCV has it
        coded = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()
        self._times_s.append(time_s)
        self._pictures.append(coded)
        self.bytes_kept += len(coded)
        if self.bytes_kept > MOST_BYTES:
            self._times_s, self._pictures = self._times_s[::2], self._pictures[::2]
            self.bytes_kept = sum(map(len, self._pictures))
            self._least_s = 0.9 * (self._times_s[-1] - self._times_s[0]) / (len(self._times_s) - 1)

    def between(self, from_s: float, to_s: float) -> Iterator[tuple[float, RgbFrame]]:
        """Yield time and RGB picture over a span."""
        first, last = bisect_left(self._times_s, from_s), bisect_right(self._times_s, to_s)
        for time_s, coded in zip(self._times_s[first:last], self._pictures[first:last], strict=True):
            picture = np.asarray(cv2.imdecode(np.frombuffer(coded, np.uint8), cv2.IMREAD_COLOR), np.uint8)
            yield time_s, np.ascontiguousarray(picture[..., ::-1])

    def nearest(self, time_s: float, *, within_s: float) -> RgbFrame | None:
        """Return the picture nearest to a time, or None where none is near."""
        at_s = min(self._times_s, key=lambda each: abs(each - time_s), default=np.inf)
        return next(self.between(at_s, at_s))[1] if abs(at_s - time_s) <= within_s else None


def size_within(width: float, height: float, rows: float) -> tuple[int, int]:
    """Return width and height shrunk to at most so many rows, both even as 4:2:0 colour wants them."""
    scale = min(1.0, rows / height)
    across, down = (max(2, 2 * round(size * scale / 2)) for size in (width, height))
    return across, down
