"""Whether a clip is mirrored: its tags decode only in the flipped picture."""

from __future__ import annotations

import numpy as np

from pennyfall.calibration.layout import TagLayout
from pennyfall.tracker.clip.frame import LumaFrame
from pennyfall.tracker.marks.decoding import LARGEST_ENLARGED_PX, TagFinder

LOOK_INTERVAL_S = 0.4
MOST_LOOKS = 6
"""Chosen by us: a sheet that a hand or a foot covers now and then is seen in one of six looks over two
seconds."""

FEWEST_TAGS = 2
"""One tag may be misread once in a while; two of the same sheet are not."""


class MirrorWatch:
    """Looks for the sheet's tags in the flipped picture, while they are not found as it is.

    None of the standard sheet's tags decodes mirrored, nor does the head's (of the dictionary's fifty, 8, 9,
    17 and 47 do, tried one by one).

    Parameters
    ----------
    layout : TagLayout
        The printed tags.
    finder : TagFinder
        What decodes them.

    """

    def __init__(self, layout: TagLayout, finder: TagFinder) -> None:
        self._ids = layout.ids
        self._finder = finder
        self._looks = 0
        self._next_s = 0.0
        self.mirrored = False
        """Whether they were found in the flipped picture."""

    def look(self, time_s: float, luma: LumaFrame) -> None:
        """Look at a frame without a sheet, now and then in the first seconds."""
        if self.mirrored or self._looks >= MOST_LOOKS or time_s < self._next_s:
            return
        self._looks, self._next_s = self._looks + 1, time_s + LOOK_INTERVAL_S
        flipped = np.ascontiguousarray(luma[:, ::-1])
        found = self._finder.find(flipped)
        if max(flipped.shape) <= LARGEST_ENLARGED_PX:
            found = self._finder.find(flipped, scale=2) | found
        self.mirrored = sum(tag_id in found for tag_id in self._ids) >= FEWEST_TAGS
