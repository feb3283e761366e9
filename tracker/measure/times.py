"""A clip's time in its measurement: repeated pictures, row times, sound, clips in slow motion."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pennyfall.kinematics.clock.speed_jump import LEAST_STEP_M, speed_jump
from pennyfall.kinematics.clock.time_base import usual_interval
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Caution, FloatArray, Measurement, SoundCheck, StrokeMeasures
from pennyfall.tracker.clip.reading import Clip
from pennyfall.tracker.clip.sound import check_sound
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.follow.misplaced_frames import misplaced_frames
from pennyfall.tracker.follow.repeated_frames import repeated_frames, without
from pennyfall.tracker.follow.row_time import at_row_times, rolling_shutter, row_share, with_unknown_rows
from pennyfall.tracker.place.placing import PlacedHead

SLOWEST_REAL_BACKSWING_S = 2.0
SLOWEST_REAL_FORWARD_S = 1.2
"""Chosen by us: longer ones are in slow motion; strokes take half a second to a second back and 0.2 to 0.5 s
forward."""

STROKE_TRAVEL_M = 0.12
SLOWEST_REAL_SPEED_MPS = 0.35
"""Chosen by us: a head that moves as far as in a stroke is faster than this even in the shortest putt."""

SPEED_FRAMES = 4
"""Chosen by us: speed is taken over this many frames, so that no single place makes it."""

ASK_RATE = "State the rate it was recorded at, such as --recorded-at 240."


def on_true_times(followed: Followed, clip: Clip, readout_s: float | None) -> tuple[Followed, int]:
    """Return what was followed without repeated pictures and at its rows' times, and how many were repeated.

    Raises
    ------
    CannotMeasure
        When the stated read-out takes longer than a frame.

    """
    interval_s = usual_interval(np.diff(clip.times_s))
    if readout_s is not None and readout_s > interval_s:
        raise CannotMeasure(
            f"A read-out of {1e3 * readout_s:.3g} ms does not fit between frames {1e3 * interval_s:.3g} ms "
            "apart.",
            fix="State the time from the picture's first row to its last, in ms, or leave --readout-ms out.",
        )
    repeated = repeated_frames(followed.head)
    followed = without(followed, repeated)
    followed = without(followed, misplaced_frames(followed.head))
    if readout_s is not None:
        followed = at_row_times(followed, readout_s, rotation_deg=clip.rotation_deg, rows=clip.header.height)
    return followed, len(repeated)


def refuse_two_speeds(name: str, clip: Clip, placed: PlacedHead) -> None:
    """Refuse a clip of which a part plays at another speed.

    Raises
    ------
    CannotMeasure
        With when, and by how much.

    """
    # A smeared or half covered head jumps by its own scatter: only plain places tell of the clip's speed.
    plain = placed.head.seen & (placed.head.sd_x_m < LEAST_STEP_M / 10)
    jump = speed_jump(placed.head.time_s, placed.head.x_m, plain, clip.time_base.steps)
    if jump is None:
        return
    by = max(jump.ratio, 1 / jump.ratio)
    raise CannotMeasure(
        f"At {jump.time_s:.2f} s of {name} the head's speed jumps {by:.1f}-fold from one frame to the next, "
        "as no club's does: a part of the clip plays in slow motion.",
        fix="State the rate it was recorded at, such as --recorded-at 240, or give the clip as the camera "
        "recorded it, before the phone's editor changed its speed.",
    )


def refuse_slow_motion(name: str, clip: Clip, strokes: tuple[StrokeMeasures, ...]) -> None:
    """Refuse a clip whose strokes cannot have happened at the speed it plays.

    Raises
    ------
    CannotMeasure
        With the backswing's or the forward swing's time.

    """
    if clip.time_source != "timestamps":
        return
    for part, field, limit in (
        ("backswing", "backswing_s", SLOWEST_REAL_BACKSWING_S),
        ("forward swing", "forward_swing_s", SLOWEST_REAL_FORWARD_S),
    ):
        longest = max((getattr(stroke, field).value for stroke in strokes), default=0.0)
        if longest > limit:
            raise CannotMeasure(
                f"The {part} in {name} takes {longest:.1f} s, so the clip plays in slow motion, and its file "
                "does not say how slow.",
                fix=ASK_RATE,
            )


def slow_motion_instead(name: str, clip: Clip, placed: PlacedHead) -> CannotMeasure | None:
    """Return the refusal of a clip without a stroke whose head moves too slowly for one, or None.

    It moves far, but at no time as fast as in the gentlest putt.
    """
    if clip.time_source != "timestamps":
        return None
    seen = placed.head.seen
    x_m, time_s = placed.head.x_m[seen], placed.head.time_s[seen]
    if len(x_m) < 2 * SPEED_FRAMES:
        return None
    travel_m = float(np.ptp(x_m))
    speed = np.abs(x_m[SPEED_FRAMES:] - x_m[:-SPEED_FRAMES]) / (
        time_s[SPEED_FRAMES:] - time_s[:-SPEED_FRAMES]
    )
    fastest_mps = float(np.percentile(speed, 99))
    if travel_m < STROKE_TRAVEL_M or fastest_mps > SLOWEST_REAL_SPEED_MPS:
        return None
    return CannotMeasure(
        f"The head in {name} moves {100 * travel_m:.0f} cm at {100 * fastest_mps:.0f} cm/s at most, slower "
        "than any stroke, so the clip plays in slow motion, and its file does not say how slow.",
        fix=ASK_RATE,
    )


def with_time_facts(
    measurement: Measurement,
    clip: Clip,
    followed: Followed,
    placed: PlacedHead,
    *,
    readout_s: float | None,
    repeated: int,
) -> Measurement:
    """Return the measurement with what rows and sound say of its times, intervals widened where need be."""
    interval_s = usual_interval(np.diff(clip.times_s))
    head = followed.head
    share = row_share(head.centre_px, rotation_deg=clip.rotation_deg, rows=clip.header.height)
    strokes = measurement.strokes
    if readout_s is None:
        strokes = tuple(with_unknown_rows(each, head.time_s, share, interval_s) for each in strokes)
    sound = _sound(clip, strokes, placed)
    return replace(
        measurement,
        clip=replace(measurement.clip, frames_repeated=repeated),
        strokes=strokes,
        warnings=(*measurement.warnings, *_cautions(clip, repeated, sound)),
        rolling_shutter=rolling_shutter(
            strokes, head.time_s, share, readout_s=readout_s, interval_s=interval_s
        ),
        sound=sound,
    )


def _sound(clip: Clip, strokes: tuple[StrokeMeasures, ...], placed: PlacedHead) -> SoundCheck | None:
    if not clip.header.has_sound:
        return None
    ball: FloatArray = np.zeros(3)  # the world's origin lies under the ball
    return check_sound(
        clip.header.path,
        strokes,
        first_stamp_s=clip.first_stamp_s,
        slow_motion=clip.slow_motion_factor != 1.0,
        distance_m=float(np.linalg.norm(placed.camera.centre - ball)),
    )


def _cautions(clip: Clip, repeated: int, sound: SoundCheck | None) -> list[Caution]:
    notes = []
    base = clip.time_base
    if base.ramp:
        notes.append(Caution("speed-ramp", base.words))
    elif base.steps is not None:
        notes.append(Caution("frame-rate-steps", base.words))
    if repeated:
        notes.append(
            Caution(
                "repeated-frames",
                f"{repeated} frames repeat the picture before them; they were left out."
                if repeated > 1
                else "One frame repeats the picture before it; it was left out.",
            )
        )
    if sound is not None and sound.consistent is False:
        notes.append(Caution("sound-disagrees", sound.words))
    return notes
