"""The register of cautions: every code, its words, its remedy, and the figures it touches."""

from __future__ import annotations

from dataclasses import dataclass

from pennyfall.kinematics.values import Caution, Noticed

TIMES = ("takeaway_s", "top_s", "impact_s", "finish_s", "backswing_s", "forward_swing_s", "tempo_ratio")
LENGTHS = ("backswing_length_m", "through_length_m")
SPEEDS = ("peak_speed_mps", "impact_speed_mps", "ball_speed_mps")
ACCELERATIONS = (
    "acceleration_at_top_mps2",
    "peak_acceleration_mps2",
    "acceleration_before_impact_mps2",
    "acceleration_at_impact_mps2",
)
SCALED = (*LENGTHS, *SPEEDS, *ACCELERATIONS)
BALL = ("ball_speed_mps", "ball_to_head_ratio")
AT_IMPACT = ("impact_s", "impact_speed_mps", "speed_lost_share", *ACCELERATIONS[2:])
EVERYTHING = (*TIMES, *SCALED)


@dataclass(frozen=True, kw_only=True, slots=True)
class CautionKind:
    """One entry of the register."""

    words: str
    """What is so, with its numbers in braces."""
    remedy: str = ""
    """What to do about it; empty where nothing is to be done."""
    touches: tuple[str, ...] = ()
    """The figures it bears on, by their names in the measurement file."""


REGISTER: dict[str, CautionKind] = {
    # The file.
    "damaged-file": CautionKind(
        words="The file is damaged: {pictures} pictures were left out, the others measured.",
        touches=EVERYTHING,
    ),
    "file-cut-short": CautionKind(
        words="The file was not copied whole; what is left of it was measured.",
        remedy="Copy it from the phone once more.",
    ),
    "timestamps": CautionKind(
        words="{frames} frames had a timestamp that does not fit their neighbours' and were left out.",
        touches=TIMES,
    ),
    "interlaced": CautionKind(
        words="The clip is interlaced: its two half pictures blur every moving edge.", touches=EVERYTHING
    ),
    # The times.
    "speed-ramp": CautionKind(words="{words}", touches=EVERYTHING),
    "frame-rate-steps": CautionKind(words="{words}", touches=EVERYTHING),
    "slow-motion-stated": CautionKind(
        words="That the clip was recorded at {rate_hz:g} frames/s is stated, not in the file. Had slow "
        "motion begun only in the soft start of a backswing, nothing would show it, and the takeaway would "
        "be too late.",
        remedy="Let it begin before the stroke.",
        touches=("takeaway_s", "backswing_s", "tempo_ratio"),
    ),
    "plays-normally": CautionKind(
        words="At {time_s:.2f} s the clip plays at normal speed: as slow motion, the head would be pulled "
        "harder than any club is. Strokes that lie whole in slow motion were measured; left out: {strokes}."
    ),
    "repeated-frames": CautionKind(
        words="Pictures that repeat the one before them under a new timestamp were left out: {frames}.",
        touches=TIMES,
    ),
    "sound-disagrees": CautionKind(words="{words}", touches=("impact_s",)),
    # What was seen.
    "head-left-picture": CautionKind(
        words="The head leaves the picture on its {side} side at {time_s:.2f} s: step back or turn the phone "
        "sideways.",
        touches=("finish_s", "through_length_m"),
    ),
    "head-seen": CautionKind(
        words="The head is seen in {percent:.0f} % of the frames: film in brighter light or at a higher "
        "frame rate, with the whole stroke in the picture.",
        touches=EVERYTHING,
    ),
    "focal-assumed": CautionKind(
        words="The focal length is assumed, not measured: lengths and speeds are uncertain by "
        "{percent:.1f} %.",
        remedy="Film from a slant, or make a lens file.",
        touches=SCALED,
    ),
    "sheet-covered": CautionKind(words="Only {tags} of the sheet's four tags are seen.", touches=SCALED),
    "camera-moved": CautionKind(
        words="Camera or sheet moved during the clip; the camera was placed anew in every such frame, at the "
        "price of more noise.",
        remedy="Put the phone on a stand.",
        touches=SCALED,
    ),
    "sheet-lost": CautionKind(
        words="In {frames} frames the sheet could not be placed after it had moved.", touches=SCALED
    ),
    "sheet-reversed": CautionKind(
        words="The sheet's arrow points away from the target; the ball's way was taken as the target line."
    ),
    "tag-turned": CautionKind(
        words="The head tag is stuck on turned by {degrees} degrees; it was read as if its mark pointed "
        "to the face.",
        remedy="Stick it on the right way for the next clip.",
        touches=("head_tilt_range_rad", "hub_radius_m"),
    ),
    "no-ball": CautionKind(
        words="No ball was seen to leave: ball speed is not measured, impact is told from the head alone.",
        touches=(*BALL, "impact_s"),
    ),
    "nothing-printed": CautionKind(
        words="Nothing printed is in the clip: its scale comes from the ball's size, so lengths, speeds and "
        "accelerations are uncertain by {percent:.0f} % alike; times are not. The head is followed by its "
        "shaft.",
        remedy="With the printed sheet by the ball and the tag on the head, lengths and speeds are known "
        "several times better, accelerations twice as well.",
        touches=SCALED,
    ),
    "no-sheet": CautionKind(
        words="Fewer than two tags of the printed sheet are seen: the scale comes from the head tag alone, "
        "so lengths, speeds and accelerations are uncertain by {percent:.0f} %. The target line is not "
        "known either: the stroke's own direction is taken for it.",
        remedy="Lay the sheet (pennyfall sheet) by the ball.",
        touches=(*SCALED, *BALL),
    ),
    "tag-size-assumed": CautionKind(
        words="The head tag is taken to be {side_mm:g} mm wide because nobody said; another size makes every "
        "length wrong in proportion, and most of the uncertainty is that.",
        remedy="State its size in a club file (pennyfall club).",
        touches=SCALED,
    ),
    # The strokes of the clip.
    "head-hidden": CautionKind(
        words="The head was out of sight for too long in the stroke around {time_s:.2f} s; it is left out."
    ),
    "cut-off-start": CautionKind(
        words="The clip starts after a backswing began, so that stroke is left out; start filming a second "
        "before the stroke."
    ),
    "cut-off-end": CautionKind(
        words="The clip ends before a stroke reached the ball, so that stroke is left out; film on for a "
        "second after the stroke."
    ),
    "aborted-stroke": CautionKind(
        words="A backswing of {back_cm:.0f} cm at {time_s:.2f} s was not followed by a stroke; it is not "
        "counted."
    ),
    # One stroke.
    "impact-unsure": CautionKind(
        words="Stroke {number}: the ball leaves at {ball_s:.4f} s but the head is braked at {head_s:.4f} "
        "s; the interval of the impact covers both.",
        touches=AT_IMPACT,
    ),
    "practice-stroke": CautionKind(
        words="Stroke {number} hit no ball: its impact is the moment the head passes its address position.",
        touches=(*BALL, "impact_s", "speed_lost_share"),
    ),
    "ball-not-seen": CautionKind(
        words="Stroke {number}: no ball was followed, so impact comes from the head's own loss of speed and "
        "there is no ball speed.",
        touches=(*BALL, *AT_IMPACT),
    ),
    "no-pause-at-address": CautionKind(
        words="Stroke {number}: the head did not rest before the backswing, so takeaway is where it turned "
        "back.",
        touches=("takeaway_s", "backswing_s", "tempo_ratio", "backswing_length_m"),
    ),
    "cut-off-finish": CautionKind(
        words="Stroke {number}: the clip ends before the head stopped, so there is no finish or through "
        "length; film on for a second after the stroke.",
        touches=("finish_s", "through_length_m"),
    ),
    "tilt-not-told": CautionKind(
        words="Stroke {number}: with neither tag nor shaft followed, or in too few frames, the head's tilt "
        "and its arc are not told.",
        touches=("head_tilt_range_rad", "hub_radius_m"),
    ),
    "arc-not-told": CautionKind(
        words="Stroke {number}: the head's rise and tilt are too small, or too unlike each other, to "
        "tell the hub of its arc.",
        remedy="A larger tag, stuck on flat, and a sharper picture tell it.",
        touches=("hub_radius_m",),
    ),
    "coin-otherwise": CautionKind(
        words="Stroke {number}: the coin is seen to {seen}, where it would {predicted} by this stroke and a "
        "friction of {low:.2f} to {high:.2f}.",
        remedy="Check the coin's floor in the club file, and its friction.",
        touches=("loose_object",),
    ),
    "noise-inconsistent": CautionKind(
        words="Stroke {number}: the head's position scatters {times:.1f} times as much as expected, so the "
        "intervals are doubtful; look for glare, a loose tag or a moving camera.",
        touches=EVERYTHING,
    ),
}


def caution(code: str, **numbers: float | str) -> Caution:
    """Return the caution of a code, its numbers put into its words."""
    kind = REGISTER[code]
    words = kind.words.format(**numbers)
    return Caution(code, f"{words} {kind.remedy}" if kind.remedy else words, kind.touches)


def noticed_cautions(noticed: tuple[Noticed, ...]) -> tuple[Caution, ...]:
    """Return the cautions for what the search for strokes noticed."""
    return tuple(caution(each.code, **each.numbers) for each in noticed)
