"""The coin looked for in a measured clip: on the head, and on the floor afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pennyfall.kinematics.coin.friction import known_coin
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import (
    BALL_RADIUS_M,
    Caution,
    CoinSeen,
    Estimate,
    FloatArray,
    LooseObjectBand,
    StrokeMeasures,
)
from pennyfall.tracker.coin.fallen import find_resting_coin
from pennyfall.tracker.coin.head_views import HeadPose, HeadTop
from pennyfall.tracker.coin.on_head import (
    ADDRESS_S,
    FINISH_S,
    NOT_TOLD,
    CoinOnHead,
    StrokeTimes,
    look_on_head,
)
from pennyfall.tracker.measure.cautions import caution
from pennyfall.tracker.measure.placed import Placed

FRONT_M = 0.02
"""Chosen by us: with no ball to tell where the face is, no coin's middle lies nearer to it than this."""
INSIDE_FACE_M = 0.006
STILL_AFTER_IMPACT_S, AFTER_S = 0.15, 1.5
"""Chosen by us: a coin that left before impact has come to rest by then; what comes later belongs to the next
stroke."""
SIDE_M = 0.12
"""Chosen by us: how far beyond the head's own path the coin is looked for."""
LEAST_FLOORS = 3
LATE_SDS, LATE_S = 2.0, 0.01
"""Chosen by us: a coin seen to leave outside the predicted span by more than both together is told."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CoinSight:
    """What a clip shows of the coin in one stroke."""

    seen: CoinSeen
    place_on_head_m: Estimate
    """Its middle from the tag's centre at address [m]."""
    leave_s: Estimate
    """When it passed the rear edge, clip time [s]."""
    landing_x_m: Estimate
    """Where it lay afterwards, from the ball along the target line [m]."""

    def beside(self, band: LooseObjectBand) -> LooseObjectBand:
        """Return a prediction with what was seen written beside it."""
        return replace(
            band,
            seen=self.seen,
            place_on_head_m=self.place_on_head_m,
            observed_leave_s=self.leave_s,
            observed_landing_x_m=self.landing_x_m,
        )


def look_for_coin(
    placed: Placed, stroke: StrokeMeasures, *, tag_side_m: float, shelf: Shelf | None
) -> CoinSight:
    """Tell what the kept pictures show of a coin in one stroke.

    Parameters
    ----------
    placed : Placed
        The clip's head and balls, with what was kept of its pictures.
    stroke : StrokeMeasures
        The stroke.
    tag_side_m : float
        Side of the head tag's black square [m].
    shelf : Shelf or None
        The coin's floor as measured with a ruler: its height, and where it ends.

    """
    on_head = _on_head(placed, stroke, tag_side_m, shelf)
    landing_x_m = Estimate.missing()
    if on_head.seen == "left" and not placed.facts.camera_moved:
        landing_x_m = _landing(placed, stroke, on_head.diameter_m)
    return CoinSight(
        seen=on_head.seen,
        place_on_head_m=on_head.place_m,
        leave_s=on_head.leave_s,
        landing_x_m=landing_x_m,
    )


def coin_cautions(strokes: Sequence[StrokeMeasures], *, shelf_known: bool) -> tuple[Caution, ...]:
    """Return where a coin was seen to do otherwise than predicted: that is the check of the physics.

    With the coin's floor only assumed, when it leaves says nothing of the physics; whether it does still may.
    """
    notes = []
    for stroke in strokes:
        band = stroke.loose_object
        told = None if band is None else _otherwise(band, stroke.top_s.value, shelf_known=shelf_known)
        if band is not None and told is not None:
            low, high = band.friction
            notes.append(
                caution(
                    "coin-otherwise",
                    number=stroke.number,
                    seen=told[0],
                    predicted=told[1],
                    low=low,
                    high=high,
                )
            )
    return tuple(notes)


def _otherwise(band: LooseObjectBand, top_s: float, *, shelf_known: bool) -> tuple[str, str] | None:
    """Return what was seen and what was predicted, where they differ."""
    if band.seen == "stayed" and band.outcome == "leaves":
        return "stay on the head", "leave it"
    if band.seen != "left":
        return None
    if band.outcome == "stays on":
        return "leave the head", "stay on it"
    seen_s = band.observed_leave_s
    if not (shelf_known and seen_s.known) or band.leave_s is None:
        return None
    reach_s = LATE_SDS * seen_s.sd + LATE_S
    if band.leave_s[0] - reach_s <= seen_s.value <= band.leave_s[1] + reach_s:
        return None
    early, late = (1e3 * (each - top_s) for each in band.leave_s)
    return (
        f"leave the head {1e3 * (seen_s.value - top_s):.0f} ms from the top",
        f"leave it {early:.0f} to {late:.0f} ms from there",
    )


def _on_head(placed: Placed, stroke: StrokeMeasures, tag_side_m: float, shelf: Shelf | None) -> CoinOnHead:
    followed, tracks = placed.timed.followed, placed.tracks
    events = (stroke.takeaway_s, stroke.top_s, stroke.impact_s)
    if followed.pieces is None or not all(each.known for each in events):
        return NOT_TOLD
    takeaway_s, top_s, impact_s = (each.value for each in events)
    head = tracks.head
    end_s = stroke.finish_s.value if stroke.finish_s.known else float(head.time_s[-1])
    first, last = np.searchsorted(head.time_s, (takeaway_s - ADDRESS_S, end_s + FINISH_S))
    above_tag_m = 0.0
    if shelf is not None:
        above_tag_m = shelf.floor_height_m + known_coin().thickness_m - tracks.tag.height_m.value
    top = HeadTop(
        followed.pieces,
        HeadPose(
            centre_px=followed.head.centre_px,
            jacobian=followed.head.jacobian,
            tag_m=np.column_stack([head.x_m, head.y_m, head.z_m]),
            tilt_rad=_tilt(head.time_s, stroke),
        ),
        tracks.camera,
        range(int(first), int(last)),
        above_tag_m=above_tag_m,
    )
    front_m = FRONT_M
    if any(ball.departed for ball in followed.balls):
        front_m = -float(tracks.tag.point_m[0]) - BALL_RADIUS_M - INSIDE_FACE_M
    return look_on_head(
        top,
        head.time_s[top.frames],
        head.x_m[top.frames],
        StrokeTimes(takeaway_s=takeaway_s, top_s=top_s, impact_s=impact_s, finish_s=stroke.finish_s.value),
        tag_side_m=tag_side_m,
        front_m=front_m,
        rear_edge_m=None if shelf is None else shelf.rear_edge_from_tag_m,
    )


def _tilt(time_s: FloatArray, stroke: StrokeMeasures) -> FloatArray:
    """Return the smoothed stroke's tilt at each frame, zero where it is unknown."""
    return np.nan_to_num(np.interp(time_s, stroke.profile.t_s, stroke.profile.tilt_rad))


def _landing(placed: Placed, stroke: StrokeMeasures, diameter_m: float) -> Estimate:
    """Return where a new disc of the coin's size lies on the floor once it has come to rest."""
    pieces, head = placed.timed.followed.pieces, placed.tracks.head
    if pieces is None:
        return Estimate.missing()
    kept = np.array(sorted(pieces.floor_jpeg), dtype=np.intp)
    since_s = head.time_s[kept] - stroke.impact_s.value
    before = kept[(head.time_s[kept] > stroke.takeaway_s.value) & (head.time_s[kept] < stroke.top_s.value)]
    after = kept[(since_s > STILL_AFTER_IMPACT_S) & (since_s < AFTER_S)]
    swing = (head.time_s > stroke.takeaway_s.value) & (head.time_s < stroke.impact_s.value) & head.seen
    if min(len(before), len(after)) < LEAST_FLOORS:
        return Estimate.missing()
    lying = find_resting_coin(
        [pieces.floor(int(each)) for each in before],
        [pieces.floor(int(each)) for each in after],
        placed.tracks.camera,
        diameter_m=diameter_m,
        x_range_m=(float(head.x_m[swing].min()) - SIDE_M, float(head.x_m[swing].max()) + SIDE_M),
        scale_rel_sd=placed.tracks.scale_rel_sd,
    )
    return Estimate.missing() if lying is None else lying.x_m
