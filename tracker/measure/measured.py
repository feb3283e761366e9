"""Sixth stage: the figures of every stroke with their standard deviations, and what they rest on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pennyfall.kinematics.coin.band import loose_object_band
from pennyfall.kinematics.coin.friction import published_friction
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import Measurement, SoundCheck, StrokeMeasures, TrackingFacts
from pennyfall.tracker.clip.decoding import clip_facts
from pennyfall.tracker.clip.sound import check_sound
from pennyfall.tracker.follow.row_time import rolling_shutter, row_share, with_unknown_rows
from pennyfall.tracker.measure.cautions import caution
from pennyfall.tracker.measure.coin_sight import coin_cautions, look_for_coin
from pennyfall.tracker.measure.motion import Motion
from pennyfall.tracker.measure.placed import Placed
from pennyfall.tracker.measure.settings import Settings


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Measured:
    """A measured clip with all that a picture, a page or a track file needs of it."""

    measurement: Measurement
    placed: Placed
    motion: Motion


def measures(motion: Motion, placed: Placed, settings: Settings) -> Measured:
    """Return the measurement of a clip whose strokes have been smoothed."""
    timed = placed.timed
    seen, head = timed.seen, timed.followed.head
    rows = row_share(head.centre_px, rotation_deg=seen.decoded.rotation_deg, rows=seen.reading.header.height)
    strokes = tuple(_with_loose_object(stroke, placed, settings) for stroke in motion.strokes)
    if settings.readout_s is None:
        strokes = tuple(with_unknown_rows(each, head.time_s, rows, timed.interval_s) for each in strokes)
    sound = _sound(strokes, placed)
    measurement = Measurement(
        clip=clip_facts(seen.reading, seen.decoded, frames_repeated=timed.frames_repeated),
        calibration=placed.facts,
        tracking=TrackingFacts(
            method=seen.method,
            frames_seen_share=float(np.mean(head.seen)),
            noise_sd_m=motion.noise_sd_m,
            innovation_ratio=motion.innovation_ratio,
        ),
        strokes=strokes,
        warnings=(
            *seen.cautions,
            *timed.cautions,
            *placed.cautions,
            *motion.cautions,
            *coin_cautions(strokes, shelf_known=settings.shelf is not None),
            *(
                [caution("sound-disagrees", words=sound.words)]
                if sound is not None and sound.consistent is False
                else []
            ),
        ),
        rolling_shutter=rolling_shutter(
            strokes, head.time_s, rows, readout_s=settings.readout_s, interval_s=timed.interval_s
        ),
        sound=sound,
    )
    return Measured(measurement=measurement, placed=placed, motion=motion)


def _sound(strokes: tuple[StrokeMeasures, ...], placed: Placed) -> SoundCheck | None:
    reading = placed.timed.seen.reading
    if not reading.header.has_sound:
        return None
    return check_sound(
        reading.path,
        strokes,
        first_stamp_s=reading.first_stamp_s,
        slow_motion=reading.time_base.slow_motion_factor != 1.0,
        distance_m=float(np.linalg.norm(placed.tracks.camera.centre)),  # the origin lies under the ball
    )


def _with_loose_object(stroke: StrokeMeasures, placed: Placed, settings: Settings) -> StrokeMeasures:
    """Return the stroke with where a loose coin would leave the head, and what is seen of one."""
    sight = look_for_coin(placed, stroke, tag_side_m=settings.tags.head_tag_side_m, shelf=settings.shelf)
    shelf = settings.shelf or Shelf()
    if sight.place_on_head_m.known:
        shelf = shelf.with_coin_at(sight.place_on_head_m.value)
    band = loose_object_band(
        stroke.profile,
        shelf,
        published_friction(),
        impact_s=stroke.impact_s.value,
        hub_radius_m=stroke.hub_radius_m.value,
    )
    return replace(stroke, loose_object=sight.beside(band))
