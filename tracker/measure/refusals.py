"""Clips that cannot be measured, refused with the measured number and what to do about it."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from pennyfall.kinematics.clock.speed_jump import LEAST_STEP_M, speed_jump
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray, StrokeMeasures
from pennyfall.tracker.clip.header_clock import missing_bytes
from pennyfall.tracker.clip.reading import Reading
from pennyfall.tracker.follow.clip_pass import LEAST_SHEET_TAGS, Followed
from pennyfall.tracker.follow.leaving import left_the_picture
from pennyfall.tracker.measure.settings import HeadMark
from pennyfall.tracker.measure.timed import Timed
from pennyfall.tracker.place.placing import PlacedTracks

LEAST_SEEN_SHARE = 0.35
"""Chosen by us: a head seen in fewer frames than this has no stroke that could be trusted."""

SLOWEST_REAL_BACKSWING_S = 2.0
SLOWEST_REAL_FORWARD_S = 1.2
"""Chosen by us: longer ones are in slow motion; strokes take half a second to a second back and 0.2 to 0.5 s
forward."""

STROKE_TRAVEL_M = 0.12
SLOWEST_REAL_SPEED_MPS = 0.35
"""Chosen by us: a head that moves as far as in a stroke is faster than this even in the shortest putt."""

LEAST_SPEED_MPS = 0.005
"""Chosen by us: a head this slow rests or turns, even played eight times slower than life."""

SPEED_FRAMES = 4
"""Chosen by us: speed is taken over this many frames, so that no single place makes it."""

ASK_RATE = "State the rate it was recorded at."

WHOLE_IN_SLOW_MOTION = (
    "Give the clip as the camera recorded it, or let its slow part begin before the stroke and end after it. "
    "If all of it is in slow motion, state the rate it was recorded at."
)


def refuse_unusable(name: str, followed: Followed, *, method: HeadMark, posed: bool) -> None:
    """Refuse a clip without a usable sheet or head.

    Parameters
    ----------
    name : str
        The clip's name.
    followed : Followed
        What the pass saw.
    method : str
        What was followed on the head.
    posed : bool
        Whether anything gave the camera its place.

    Raises
    ------
    CannotMeasure
        With the measured number and what to do about it.

    """
    if not posed and followed.mirrored:
        raise CannotMeasure(
            f"{name} is mirrored: the sheet's tags read only in the flipped picture.",
            fix="Film with the rear camera, or switch off the mirroring of the front camera's videos.",
        )
    if not posed and followed.sheet_tags_seen == 0 and followed.balls and method == "patch":
        raise CannotMeasure(
            f"A ball is found in {name}, but no shaft that swings from the head named on its first frame.",
            fix="Check that the box lies around the head as it stands in the first frame. Film from the "
            "front, the phone at rest, the shaft in the picture from the head up to the hands.",
            setting="box",
        )
    if not posed and followed.sheet_tags_seen == 0 and followed.balls:
        raise CannotMeasure(
            f"A ball is found in {name}, but no shaft that swings beside it.",
            fix="Film from the front, the phone at rest, the shaft in the picture from the head up to the "
            "hands through the whole stroke; name the head on the first frame; or lay the printed sheet by "
            "the ball and stick the head tag on.",
            setting="box",
        )
    if not posed and followed.sheet_tags_seen == 0:
        raise CannotMeasure(
            f"Neither a ball nor a tag of the printed sheet is found in {name}.",
            fix="Film the ball at rest and then the whole stroke, in light in which the ball stands out from "
            "the floor; or lay the sheet (pennyfall sheet) flat by the ball, all of it in the picture.",
        )
    if not posed:
        raise CannotMeasure(
            f"Only {followed.sheet_tags_seen} of the sheet's tags is found in {name}; "
            f"{LEAST_SHEET_TAGS} are the fewest, four are best.",
            fix="Uncover the sheet, or move the phone until the whole sheet is in the picture.",
        )
    if not followed.head_ever_seen and method == "dot":
        raise CannotMeasure(
            f"The sheet is found in {name}, but no dot of that colour that moves.",
            fix="Draw a box around the dot on the first frame; use a dot of 10 mm or more that differs "
            "from the head in brightness too, such as white or yellow on a dark head.",
            setting="dot",
        )
    if not followed.head_ever_seen:
        raise CannotMeasure(
            f"The sheet is found in {name}, but no tag on the putter head, and no shaft that swings beside a "
            "ball.",
            fix="Stick the head tag flat on top of the head, clean and uncovered, the largest that fits; "
            "check the size in the club file too. Where no tag will stick, film the ball and the shaft from "
            "the front, or follow a dot or a patch of the head itself.",
            setting="mark",
        )
    share = float(np.mean(followed.head.seen))
    if share < LEAST_SEEN_SHARE:
        what = "shaft" if method == "bare" else f"head {method}"
        raise CannotMeasure(
            f"The {what} is seen in {100 * share:.0f} % of the frames of {name}.",
            fix="The shutter may be too slow: film in brighter light or at a higher frame rate, and keep the "
            "whole stroke in the picture.",
        )


def refuse_two_speeds(reading: Reading, tracks: PlacedTracks) -> None:
    """Refuse a clip of which a part plays at another speed.

    Raises
    ------
    CannotMeasure
        With when, and by how much.

    """
    if reading.time_base.retimed:
        return  # its strokes are looked at one by one
    head = tracks.head
    # A smeared or half covered head jumps by its own scatter: only plain places tell of the clip's speed.
    plain = head.seen & (head.sd_x_m < LEAST_STEP_M / 10)
    jump = speed_jump(head.time_s, head.x_m, plain, reading.time_base.steps)
    if jump is None:
        return
    by = max(jump.ratio, 1 / jump.ratio)
    raise CannotMeasure(
        f"At {jump.time_s:.2f} s of {reading.name} the head's speed jumps {by:.1f}-fold from one frame to "
        "the next, as no club's does: a part of the clip plays in slow motion.",
        fix="State the rate it was recorded at, or give the clip as the camera recorded it, before the "
        "phone's editor changed its speed.",
        setting="recorded_at",
    )


def refuse_slow_motion(reading: Reading, strokes: tuple[StrokeMeasures, ...]) -> None:
    """Refuse a clip whose strokes cannot have happened at the speed it plays.

    Raises
    ------
    CannotMeasure
        With the backswing's or the forward swing's time.

    """
    if reading.time_base.source != "timestamps":
        return
    for part, field, limit in (
        ("backswing", "backswing_s", SLOWEST_REAL_BACKSWING_S),
        ("forward swing", "forward_swing_s", SLOWEST_REAL_FORWARD_S),
    ):
        longest = max((getattr(stroke, field).value for stroke in strokes), default=0.0)
        if longest > limit:
            raise CannotMeasure(
                f"The {part} in {reading.name} takes {longest:.1f} s, so the clip plays in slow motion, "
                "and its file does not say how slow.",
                fix=ASK_RATE,
                setting="recorded_at",
            )


def why_no_stroke(timed: Timed, tracks: PlacedTracks, normal_s: FloatArray) -> CannotMeasure | None:
    """Return why a clip without a whole stroke has none, where its speed, its file or its framing tells.

    Parameters
    ----------
    timed : Timed
    tracks : PlacedTracks
    normal_s : FloatArray
        Times at which a clip in slow motion is known to play at normal speed [s].

    """
    reading = timed.seen.reading
    if len(normal_s):
        return CannotMeasure(
            f"At {normal_s[0]:.2f} s of {reading.name} the head would be pulled harder than any club is, "
            f"were it slow motion recorded at {reading.time_base.capture_rate_hz:g} frames/s: it plays at "
            "normal speed there, and no stroke lies whole in slow motion.",
            fix=WHOLE_IN_SLOW_MOTION,
            setting="recorded_at",
        )
    return _slow_motion(reading, tracks) or _cut_off(timed)


def _slow_motion(reading: Reading, tracks: PlacedTracks) -> CannotMeasure | None:
    """Return the refusal of a clip whose head moves far, but slower than in any stroke."""
    if reading.time_base.source != "timestamps":
        return None
    seen = tracks.head.seen
    x_m, time_s = tracks.head.x_m[seen], tracks.head.time_s[seen]
    if len(x_m) < 2 * SPEED_FRAMES:
        return None
    travel_m = float(np.ptp(x_m))
    speed = (x_m[SPEED_FRAMES:] - x_m[:-SPEED_FRAMES]) / (time_s[SPEED_FRAMES:] - time_s[:-SPEED_FRAMES])
    fastest_mps = float(np.percentile(np.abs(speed), 99))
    how = f"moves {100 * travel_m:.0f} cm at {100 * fastest_mps:.0f} cm/s at most, slower than any stroke"
    if travel_m < STROKE_TRAVEL_M or fastest_mps > SLOWEST_REAL_SPEED_MPS:
        way_m, way_s = _slowest_way(time_s, x_m, speed)
        if way_s < SLOWEST_REAL_BACKSWING_S:
            return None
        how = f"takes {way_s:.1f} s for {100 * way_m:.0f} cm one way, longer than any backswing"
    return CannotMeasure(
        f"The head in {reading.name} {how}, so the clip, or that part of it, plays in slow motion, and its "
        "file does not say how slow.",
        fix=ASK_RATE,
        setting="recorded_at",
    )


def _slowest_way(time_s: FloatArray, x_m: FloatArray, speed_mps: FloatArray) -> tuple[float, float]:
    """Return length and time of the slowest way as long as a stroke's [m], [s]; zeros where there is none."""
    edges = np.flatnonzero(np.diff(np.sign(speed_mps) * (np.abs(speed_mps) > LEAST_SPEED_MPS))) + 1
    ways = [
        (float(abs(x_m[end] - x_m[first])), float(time_s[end] - time_s[first]))
        for first, end in pairwise([0, *edges.tolist(), len(speed_mps)])
    ]
    return max((way for way in ways if way[0] > STROKE_TRAVEL_M), key=lambda way: way[1], default=(0.0, 0.0))


def _cut_off(timed: Timed) -> CannotMeasure | None:
    reading = timed.seen.reading
    missing = missing_bytes(reading.path)
    if missing:
        share = missing / (missing + reading.path.stat().st_size)
        return CannotMeasure(
            f"{reading.name} was not copied whole: the last {max(100 * share, 1):.0f} % of the file are "
            "missing, and what is left holds no whole stroke.",
            fix="Copy the clip from the phone once more.",
        )
    leaving = left_the_picture(timed.followed.head, timed.seen.decoded.picture_size)
    if leaving is not None:
        return CannotMeasure(
            f"The head leaves the picture of {reading.name} on its {leaving.side} side at "
            f"{leaving.time_s:.2f} s, and no whole stroke is left.",
            fix="Step back or turn the phone sideways, so that the whole stroke stays in the picture.",
        )
    return None
