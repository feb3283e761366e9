"""Whether a clip is good enough to measure, and what to change if it is not."""

from __future__ import annotations

import math
import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from pennyfall.calibration.layout import TagLayout
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import (
    BALL_RADIUS_M,
    INTERVAL_SDS,
    FloatArray,
    Measurement,
    StrokeMeasures,
)
from pennyfall.tracker.clip.decoding import Decoded
from pennyfall.tracker.clip.reading import read_clip
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.measure.clip import measure_seen
from pennyfall.tracker.measure.seen import follow
from pennyfall.tracker.measure.settings import Settings

TIME_LIMIT_S = 7.0
"""Chosen by us: with start-up and the last fit this stays within the ten seconds a coach will wait."""

FEWEST_FRAMES = 20
"""Chosen by us: fewer say nothing of a clip, however slow the machine."""

GOOD_RATE_HZ, LEAST_RATE_HZ = 110.0, 50.0
"""Chosen by us: at 120 frames/s impact falls between frames 8 ms apart; below 50 a stroke has 15 frames."""

GOOD_TAG_PX, LEAST_TAG_PX = 20.0, 12.0
"""Chosen by us: a 4 x 4 tag of 12 px has cells of 2 px, the smallest that still decode."""

GOOD_SMEAR_CELLS = 1.5
"""Chosen by us: a tag smeared by more than this many of its cells keeps little of its pattern."""

GOOD_SEEN, LEAST_SEEN = 0.95, 0.6
EDGE_TAGS = 0.75
"""Chosen by us: a tag nearer to the picture's edge than this many of its widths is about to leave."""

SHAFT_CM = 30.0
"""Chosen by us: shaft over the ball in the picture that shows its line and its slope well."""

MARK_PX = 24.0
"""Chosen by us: width taken for a dot or a patch, which have no size that is known."""

ADDS = "would tell lengths and speeds several times better, accelerations twice as well (pennyfall sheet)."
SHEET_ADDS = f"The printed sheet beside the ball with the tag on the head {ADDS}"
TAG_ADDS = f"A tag on top of the head {ADDS}"
SHAFT_ADVICE = (
    "Film from the front, the phone at rest, the shaft in the picture from the head up to the hands; or name "
    "the head on the first frame."
)
BALL_ADVICE = "Use a ball that stands out from the floor, with the light not behind it"

Verdict = Literal["good", "weak", "bad"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at."""

    what: str
    verdict: Verdict
    words: str
    """What was found, with its number."""
    advice: str = ""
    """What to change; empty when nothing needs to."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Look:
    """What a look at a clip says: the measurement's own first pass, and what came of it."""

    findings: tuple[Finding, ...]
    measurement: Measurement | None
    """Of what was looked at; None where it cannot be measured."""
    refusal: CannotMeasure | None
    """Why not."""
    looked_until_s: float
    """Up to when the clip was looked at; NaN where that is its end [s]."""

    @property
    def usable(self) -> bool:
        """Whether the clip can be measured, or may be in the part that was not looked at."""
        return self.measurement is not None or math.isfinite(self.looked_until_s)


def check_clip(path: Path, settings: Settings) -> Look:
    """Look a clip over within a few seconds: measure it, as far as the time reaches.

    Parameters
    ----------
    path : Path
        The video file.
    settings : Settings
        What is stated beside the clip, as for measuring it.

    Raises
    ------
    CannotMeasure
        When the clip cannot be read as a video, a stated rate or lens cannot be its own, or a box holds
        nothing to follow.

    """
    started = time.monotonic()
    late = False

    def enough(index: int) -> bool:
        nonlocal late
        late = index >= FEWEST_FRAMES and time.monotonic() - started > TIME_LIMIT_S
        return late

    seen = follow(read_clip(path, recorded_at_hz=settings.recorded_at_hz), settings, enough=enough)
    measurement, refusal = None, None
    try:
        measurement = measure_seen(seen, settings).measurement
    except CannotMeasure as error:
        refusal = error
    found = findings(seen.followed, seen.decoded, settings, measurement)
    return Look(
        findings=_not_bad(found) if late else found,
        measurement=measurement,
        refusal=refusal,
        looked_until_s=float(seen.decoded.times_s[-1]) if late else math.nan,
    )


def findings(
    followed: Followed, decoded: Decoded, settings: Settings, measurement: Measurement | None
) -> tuple[Finding, ...]:
    """Return what a pass over a clip says of it; nothing is bad that could be measured."""
    rate = _rate(1.0 / float(np.mean(np.diff(decoded.times_s))))
    if _bare(followed, settings):
        ball = _ball(followed, needed=True)
        found = [_unmarked(measurement), ball, *_shaft(followed, decoded), rate]
    else:
        found = [rate, *_marked(followed, decoded, settings), _ball(followed)]
    if measurement is None:
        return tuple(found)
    return (*_not_bad(found), _strokes(measurement.strokes))


def _not_bad(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return what was found without a verdict that the clip cannot be measured."""
    worst: Verdict = "weak"
    return tuple(replace(one, verdict=worst) if one.verdict == "bad" else one for one in found)


def _bare(followed: Followed, settings: Settings) -> bool:
    """Return whether nothing printed was seen, nor a dot asked for: ball and shaft have to serve."""
    by_shaft = followed.head.slope is not None
    tag_seen = followed.head_ever_seen and not by_shaft and settings.method == "tag"
    return not (followed.sheet_tags_seen or followed.mirrored or tag_seen or settings.method == "dot")


def _unmarked(measurement: Measurement | None) -> Finding:
    words = "nothing printed is in the clip, and nothing has to be"
    if measurement is None:
        return Finding("Marks", "good", words)
    percent = 100 * INTERVAL_SDS * measurement.calibration.scale_rel_sd
    return Finding(
        "Marks",
        "good",
        f"{words}: the ball gives the scale, to {percent:.0f} %, the shaft the head's place",
        SHEET_ADDS,
    )


def _shaft(followed: Followed, decoded: Decoded) -> tuple[Finding, ...]:
    """Say how often the shaft is seen and how much of it; nothing without a ball beside which to look."""
    if not followed.balls:
        return ()
    if followed.head.slope is None:
        return (Finding("Shaft", "bad", "none seen that swings beside the ball", SHAFT_ADVICE),)
    radius_px = float(np.median(followed.balls[0].radius_px))
    shown_cm = 100 * BALL_RADIUS_M / radius_px * float(np.nanmedian(followed.head.centre_px[:, 1]))
    seen = _seen_share("Shaft", followed)
    if shown_cm < SHAFT_CM:
        words = f"{seen.words}, but only {shown_cm:.0f} cm above the ball are in the picture"
        seen = Finding("Shaft", "weak", words, "Step back, or tilt the phone up.")
    return seen, _edges(followed, 2 * radius_px, decoded.picture_size)


def _marked(followed: Followed, decoded: Decoded, settings: Settings) -> tuple[Finding, ...]:
    """Say how well sheet and head are seen, of a clip with something printed or a dot."""
    tags, tagged = settings.tags, settings.method == "tag"
    if followed.head.slope is not None:
        return _sheet(followed, scale_by="the ball"), *_untagged(_shaft(followed, decoded))
    scaled = tagged and followed.head_ever_seen
    found = [_sheet(followed, scale_by="the head tag" if scaled else None)]
    found.append(_head(followed, tags) if tagged else _mark(followed, settings.method.capitalize()))
    if scaled:
        found.append(_smear(followed, tags))
    if followed.head_ever_seen:
        width = _tag_width_px(followed, tags) if tagged else MARK_PX
        found.append(_edges(followed, width, decoded.picture_size))
    return tuple(found)


def _untagged(shaft: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Return what is said of the shaft with what a tag would add where nothing else has to change."""
    first, *others = shaft
    if first.verdict == "good":
        first = replace(first, words=f"{first.words}; no tag on the head, and none needed", advice=TAG_ADDS)
    return first, *others


def _strokes(strokes: tuple[StrokeMeasures, ...]) -> Finding:
    lengths = ", ".join(f"{100 * one.backswing_length_m.value:.0f} cm back" for one in strokes)
    count = "one stroke" if len(strokes) == 1 else f"{len(strokes)} strokes"
    return Finding("Strokes", "good", f"{count}: {lengths}")


def _rate(rate_hz: float) -> Finding:
    words = f"{rate_hz:.0f} frames/s"
    if rate_hz >= GOOD_RATE_HZ:
        return Finding("Frame rate", "good", words)
    advice = "Film in the phone's slow-motion mode: 240 frames/s is best, 120 will do."
    return Finding("Frame rate", "weak" if rate_hz >= LEAST_RATE_HZ else "bad", words, advice)


def _sheet(followed: Followed, *, scale_by: str | None) -> Finding:
    seen = followed.sheet_tags_seen
    if followed.pose is None and followed.mirrored:
        return Finding(
            "Sheet",
            "bad",
            "the picture is mirrored: its tags read only in the flipped picture",
            "Film with the rear camera, or switch off the mirroring of the front camera's videos.",
        )
    words = f"{seen} of its 4 tags seen"
    if followed.pose is None:
        advice = "Lay the printed sheet flat by the ball, the whole of it in the picture."
        if scale_by is None:
            return Finding("Sheet", "bad", words, advice)
        words += f": scale from {scale_by} alone, to several per cent"
        return Finding("Sheet", "weak", words, advice)
    if followed.pose.focal_source == "assumed":
        return Finding(
            "Sheet",
            "weak",
            words + ", too squarely to tell the focal length",
            "Film from a slant of 30 to 60 degrees, or make a lens file (pennyfall lens).",
        )
    if seen < 4:
        return Finding("Sheet", "weak", words, "Uncover the sheet, so that all four tags are seen.")
    words += f", corners within {followed.pose.reprojection_rms_px:.2f} px"
    if followed.moved:
        return Finding(
            "Sheet",
            "weak",
            words + "; camera or sheet moved",
            "Put the phone on a stand; weigh the sheet down.",
        )
    return Finding("Sheet", "good", words)


def _head(followed: Followed, tags: TagLayout) -> Finding:
    if not followed.head_ever_seen:
        return Finding(
            "Head tag",
            "bad",
            "not found, nor a shaft that swings beside a ball",
            "Stick the largest tag that fits flat on top of the head, clean and uncovered; or film the shaft "
            "from the front, from the head up to the hands.",
        )
    share = float(np.mean(followed.head.seen))
    width = _tag_width_px(followed, tags)
    words = f"seen in {100 * share:.0f} % of the frames, {width:.0f} px wide"
    if share >= GOOD_SEEN and width >= GOOD_TAG_PX:
        return Finding("Head tag", "good", words)
    bad = share < LEAST_SEEN or width < LEAST_TAG_PX
    advice = (
        "Use a larger tag, come nearer, or film at a higher resolution."
        if width < GOOD_TAG_PX
        else "Film in brighter light, and keep the whole stroke in the picture and clear of leg and shaft."
    )
    return Finding("Head tag", "bad" if bad else "weak", words, advice)


def _mark(followed: Followed, what: str) -> Finding:
    """Say how often a dot or a patch is seen; neither has a size of its own."""
    if not followed.head_ever_seen:
        advice = "Draw a box around it on the first frame; use one that differs from the head in brightness."
        return Finding(what, "bad", "not found", advice)
    return _seen_share(what, followed)


def _seen_share(what: str, followed: Followed) -> Finding:
    share = float(np.mean(followed.head.seen))
    words = f"seen in {100 * share:.0f} % of the frames"
    if share >= GOOD_SEEN:
        return Finding(what, "good", words)
    advice = "Film in brighter light, and keep the whole stroke in the picture and clear of leg and shaft."
    return Finding(what, "bad" if share < LEAST_SEEN else "weak", words, advice)


def _smear(followed: Followed, tags: TagLayout) -> Finding:
    head = followed.head
    seen = np.flatnonzero(head.seen)
    if not np.isfinite(head.exposure_s) or len(seen) < 3:
        return Finding("Motion blur", "good", "too little to measure")
    steps = np.hypot(*np.diff(head.centre_px[seen], axis=0).T) / np.diff(head.time_s[seen])
    smear = float(np.max(steps)) * head.exposure_s
    cell = _tag_width_px(followed, tags) / 6
    words = f"up to {smear:.1f} px (exposure about 1/{1 / max(head.exposure_s, 1e-5):.0f} s)"
    if smear <= GOOD_SMEAR_CELLS * cell:
        return Finding("Motion blur", "good", words)
    return Finding("Motion blur", "weak", words, "Film in brighter light: the shutter then closes sooner.")


def _edges(followed: Followed, width_px: float, size: tuple[int, int]) -> Finding:
    place = followed.head.head_px[followed.head.seen]
    room = np.min(np.concatenate([place, np.array(size) - 1 - place]))
    widths = float(room) / width_px
    words = f"head stays {room:.0f} px inside the picture"
    if widths >= EDGE_TAGS:
        return Finding("Framing", "good", words)
    return Finding(
        "Framing",
        "weak",
        f"head comes within {room:.0f} px of the edge",
        "Step back, or turn the phone sideways.",
    )


def _ball(followed: Followed, *, needed: bool = False) -> Finding:
    if any(ball.departed for ball in followed.balls):
        return Finding("Ball", "good", "found, and seen to leave")
    if followed.balls:
        return Finding("Ball", "weak", "found, but not seen to leave", "Film the whole stroke.")
    if needed:
        return Finding("Ball", "bad", "not found", f"{BALL_ADVICE}; or lay the printed sheet by it.")
    return Finding(
        "Ball",
        "weak",
        "not found: measured as practice strokes",
        f"{BALL_ADVICE}.",
    )


def _tag_width_px(followed: Followed, tags: TagLayout) -> float:
    columns: FloatArray = followed.head.jacobian[followed.head.seen][:, :, 0]
    return float(np.nanmedian(np.hypot(columns[:, 0], columns[:, 1])) * tags.head_tag_side_m)
