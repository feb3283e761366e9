"""Whether a clip is mirrored: its tags decode only in the flipped picture."""

from __future__ import annotations

import numpy as np

from pennyfall.calibration.layout import TagLayout
from pennyfall.tracker.clip.reading import Clip
from pennyfall.tracker.marks.decoding import TagFinder

LOOK_INTERVAL_S = 0.4
MOST_LOOKS = 6
"""Chosen by us: a sheet that a hand or a foot covers now and then is seen in one of six looks over two
seconds."""

FEWEST_TAGS = 2
"""One tag may be misread once in a while; two of the same sheet are not."""

LARGEST_ENLARGED_PX = 2000
"""Chosen by us: in wider pictures the tags are large enough to decode as they are."""


def sheet_is_mirrored(clip: Clip, layout: TagLayout) -> bool:
    """Return whether the sheet's tags decode in the flipped picture; to be asked when none does as it is.

    None of the standard sheet's tags decodes mirrored, nor does the head's (of the dictionary's fifty, 8, 9,
    17 and 47 do, tried one by one).
    """
    finder = TagFinder(layout.dictionary)
    looks, next_s = 0, 0.0
    for frame in clip.frames():
        if frame.time_s < next_s:
            continue
        flipped = np.ascontiguousarray(frame.luma[:, ::-1])
        found = finder.find(flipped)
        if max(flipped.shape) <= LARGEST_ENLARGED_PX:
            found = finder.find(flipped, scale=2) | found
        if sum(tag_id in found for tag_id in layout.ids) >= FEWEST_TAGS:
            return True
        looks, next_s = looks + 1, frame.time_s + LOOK_INTERVAL_S
        if looks >= MOST_LOOKS:
            break
    return False
