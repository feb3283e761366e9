"""How far the head stands higher in the picture than at address, by what the rows show along the shaft.

Where the shaft ends and the head begins is one step of luma along its line. A head that rises along its arc
carries it up the picture, by an amount that tells at what slant the camera looks down: on a clip rendered by
path tracing a rise of 85 rows was read to 2 %.
"""

from __future__ import annotations

import numpy as np

from pennyfall.kinematics.values import FloatArray
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.follow.rows import KeptRows

EVERY_S = 1 / 60
ACROSS_RADII = (-0.12, -0.06, 0.0, 0.06, 0.12)
"""Lines along the shaft of which the mean is taken, in radii of the ball."""

LOWER_SHARE = 0.45
"""Chosen by us: share of the rows, from below, that is compared: hosel and head, and some of the shaft."""

REACH_PX, STEP_PX = 8.0, 0.5
"""Chosen by us: how far from the look before a rise is sought: heads rise by 3 rows in a sixtieth of a
second."""

WORST_LEFT = 0.35
"""Chosen by us: of the reference's own contrast, mean absolute misfit above which nothing is said."""

FEWEST_COMPARED, LEAST_GAIN = 10, 0.1
STILL_PX_S = 20.0
"""Chosen by us: slower than this the shaft rests, at 0.5 mm a pixel at 1 cm/s."""


def rise_along_shaft(
    rows: KeptRows, line: PixelTrack, radius_px: float, struck_s: float | None
) -> FloatArray:
    """Return by how many rows the head stands higher than at address, shape (n,); NaN where not known.

    Parameters
    ----------
    rows : KeptRows
        The rows of all pictures.
    line : PixelTrack
        The shaft's line in each.
    radius_px : float
        Radius of the ball.
    struck_s : float or None
        When the ball was struck [s]: the rest before it is the address.

    """
    count = len(line.time_s)
    rise = np.full(count, np.nan)
    address = _address(line, struck_s)
    if not len(address):
        return rise
    some = address[:: max(len(address) // 8, 1)]
    reference = np.median([_profile(rows, line, int(k), radius_px) for k in some], axis=0)
    step = max(round(EVERY_S / float(np.median(np.diff(line.time_s)))), 1)
    from_address = int(address[-1])
    for looks in (range(from_address, count, step), range(from_address, -1, -step)):
        last = 0.0
        for k in looks:
            if not line.seen[k]:
                continue
            found = _shift(rows.row_px, reference, _profile(rows, line, k, radius_px), last)
            if found is not None:
                last = rise[k] = found
    return rise


def _address(line: PixelTrack, struck_s: float | None) -> np.ndarray:
    """Return the pictures of the last rest before the strike, none where there is none."""
    seen = np.flatnonzero(line.seen)
    before = seen if struck_s is None else seen[line.time_s[seen] < struck_s]
    if len(before) < 5:
        return before[:0]
    speed = np.abs(np.gradient(line.centre_px[before, 0], line.time_s[before]))
    still = np.flatnonzero(speed < STILL_PX_S)
    runs = np.split(still, np.flatnonzero(np.diff(still) > 1) + 1)
    # At the top the shaft rests, too, but not for long.
    longest = max(runs, key=len)
    return before[longest]


def _profile(rows: KeptRows, line: PixelTrack, k: int, radius_px: float) -> FloatArray:
    """Return the luma along the shaft in one picture, shape (m,)."""
    if line.slope is None:
        raise ValueError("no shaft was followed")
    picture = rows.luma[k]
    middle = line.centre_px[k, 0] + line.slope[k] * (rows.row_px - line.centre_px[k, 1])
    at = middle[:, None] + radius_px * np.array(ACROSS_RADII)
    left = np.clip(np.floor(at).astype(int), 0, picture.shape[1] - 2)
    each = np.arange(len(middle))[:, None]
    share = at - left
    return np.asarray((picture[each, left] * (1 - share) + picture[each, left + 1] * share).mean(axis=1))


def _shift(row_px: FloatArray, reference: FloatArray, profile: FloatArray, last: float) -> float | None:
    """Return by how many rows a profile stands higher than the reference, near the last such number."""
    first = int((1 - LOWER_SHARE) * len(row_px))
    tried = last + np.arange(-REACH_PX, REACH_PX + STEP_PX / 2, STEP_PX)
    there = row_px + tried[:, None]
    weight = ((there >= row_px[first]) & (there <= row_px[-1])).astype(np.float64)
    count = weight.sum(axis=1, keepdims=True)
    expected = np.interp(there, row_px, reference)
    expected -= (weight * expected).sum(axis=1, keepdims=True) / np.maximum(count, 1)
    shown = profile - (weight * profile).sum(axis=1, keepdims=True) / np.maximum(count, 1)
    power = (weight * expected**2).sum(axis=1)
    gain = (weight * expected * shown).sum(axis=1) / np.maximum(power, 1e-9)
    left = (weight * np.abs(shown - gain[:, None] * expected)).sum(axis=1) / np.maximum(count[:, 0], 1)
    possible = (gain > LEAST_GAIN) & (count[:, 0] >= FEWEST_COMPARED)
    misfit = np.where(possible, left / np.maximum(gain, LEAST_GAIN), np.inf)
    contrast = float(np.mean(np.abs(reference[first:] - np.median(reference[first:]))))
    best = int(np.argmin(misfit))
    if not 0 < best < len(tried) - 1 or misfit[best] > WORST_LEFT * contrast:
        return None
    a, b, c = misfit[best - 1 : best + 2]
    offset = 0.5 * (a - c) / (a - 2 * b + c) if np.isfinite(a + c) and a + c > 2 * b else 0.0
    return float(tried[best] + STEP_PX * offset)
