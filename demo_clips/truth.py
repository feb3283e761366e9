"""The exact truth of a rendered clip, as the JSON document beside it."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize_scalar

from pennyfall.calibration.layout import HEAD_TAG_BORDER_M, HEAD_TAG_ID, STANDARD_SHEET, head_tag_corners
from pennyfall.demo_clips.ball import BALL_MASS_KG, BALL_RADIUS_M
from pennyfall.demo_clips.coin import CoinWay
from pennyfall.demo_clips.scene import Scene, ball_centre
from pennyfall.demo_clips.strokes import Performance, StrokeEvents
from pennyfall.kinematics.values import FloatArray

SCHEMA = "pennyfall.truth/1"
NOTE = "Invented data: a computed scene set in the Larch Room, student S-01. Nobody was filmed."
CLOCKED = (
    "start_leaves_rest_s",
    "top_s",
    "impact_s",
    "head_at_rest_again_s",
    "peak_forward_speed_time_s",
    "peak_forward_accel_time_s",
)


def truth_document(scene: Scene, performance: Performance, container_s: FloatArray) -> dict[str, Any]:
    """Return the truth of a clip whose frames have these container times, shape (n,) [s]."""
    strokes = [stroke_truth(performance, stroke) for stroke in performance.strokes]
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "note": NOTE,
        "name": scene.name,
        "units": "metres, seconds, radians, pixels (integer coordinate = pixel centre)",
        "world_frame": "x = target line, positive to the target; z up; origin on the floor under the ball",
        "handedness": "right" if scene.putter.player_side > 0 else "left",
        "image_size": list(scene.size),
        "frame_rate_hz": float(scene.rate_hz),
        "exposure_s": scene.sensor.exposure_s,
        "readout_s": scene.sensor.readout_s,
        "frame_time_definition": "frame_time_s = mid-exposure on the model clock (of the middle row)",
        "model_time_minus_container_time_s": scene.phase_s,
        "masses": {
            "ball_kg": BALL_MASS_KG,
            "head_kg": scene.putter.head_mass_kg,
            "restitution": scene.putter.restitution,
        },
        "club": {
            "tag_height_m": scene.putter.tag_height_m,
            "tag_to_face_m": scene.putter.tag_to_face_m,
            "tag_side_m": scene.putter.tag_side_m,
            "hub_radius_m": scene.putter.hub_radius_m,
            "plane_tilt_rad": scene.putter.plane_tilt_rad,
            "gap_m": scene.putter.gap_m,
        },
        "ball_radius_m": BALL_RADIUS_M,
        "strokes_model_clock": strokes,
        "strokes_container_clock": [_shifted(stroke, scene.phase_s) for stroke in strokes],
        "sheet_arrow_heading_rad": None if scene.sheet is None else scene.sheet.heading_rad,
        "camera": _camera(scene),
        "markers": _markers(scene),
        "frames": _frames(scene, performance, container_s),
        "sheet_marker_corners_px": _sheet_pixels(scene),
    }
    if strokes:
        document["events_model_clock"] = strokes[0]
        document["events_container_clock"] = _shifted(strokes[0], scene.phase_s)
    if scene.coin is not None and isinstance(scene.coin.path, CoinWay):
        document["coin"] = _coin(scene.coin.path, scene.phase_s)
    if scene.encoding.sound:
        document["sound_clicks_container_s"] = clicks_s(scene, performance)
    return document


def stroke_truth(performance: Performance, stroke: StrokeEvents) -> dict[str, Any]:
    """Return one stroke's events and quantities on the model clock, every one exact."""
    motion = performance.motion
    forward = np.linspace(stroke.top_s, stroke.impact_s, 20001)
    speed = motion.velocity(forward, before=True)
    acceleration = motion.acceleration(forward, before=True)
    acceleration[0] = motion.acceleration(np.array(stroke.top_s))
    # a peak may also lie before the top, while the backswing brakes
    slowing = np.linspace(stroke.takeaway_s, stroke.top_s, 20001)
    braking = motion.acceleration(slowing, before=True)
    times, values = np.concatenate([slowing, forward]), np.concatenate([braking, acceleration])
    peak = _refined_peak(times, values, lambda t: float(motion.acceleration(np.array(t), before=True)))
    fastest = _refined_peak(forward, speed, lambda t: float(motion.velocity(np.array(t), before=True)))
    forward_s = stroke.impact_s - stroke.top_s
    backswing_s = stroke.top_s - stroke.takeaway_s
    before = stroke.speed_before_mps
    late = float(motion.velocity(np.array(stroke.impact_s - 0.020)))
    return {
        "start_leaves_rest_s": stroke.takeaway_s,
        "top_s": stroke.top_s,
        "impact_s": stroke.impact_s,
        "head_at_rest_again_s": stroke.finish_s,
        "backswing_duration_s": backswing_s,
        "forward_duration_s": forward_s,
        "tempo_ratio_back_over_forward": backswing_s / forward_s,
        "amplitude_m_x": -stroke.top_m,
        "backswing_length_m": stroke.start_m - stroke.top_m,
        "through_length_m": stroke.finish_m - stroke.impact_m,
        "address_to_impact_displacement_m": stroke.impact_m,
        "impact_speed_just_before_m_s": before,
        "head_speed_just_after_m_s": stroke.speed_after_mps,
        "speed_lost_share": 1 - stroke.speed_after_mps / before,
        "peak_forward_speed_m_s": fastest[1],
        "peak_forward_speed_time_s": fastest[0],
        "peak_forward_speed_time_rel_impact_s": fastest[0] - stroke.impact_s,
        "accel_before_top_m_s2": float(motion.acceleration(np.array(stroke.top_s), before=True)),
        "accel_at_top_m_s2": float(motion.acceleration(np.array(stroke.top_s))),
        "accel_just_before_impact_m_s2": float(motion.acceleration(np.array(stroke.impact_s), before=True)),
        "accel_mean_20ms_before_impact_m_s2": (before - late) / 0.020,
        "peak_forward_accel_m_s2": peak[1],
        "peak_forward_accel_time_s": peak[0],
        "peak_forward_accel_time_rel_impact_s": peak[0] - stroke.impact_s,
        "peak_forward_accel_time_frac_of_forward": (peak[0] - stroke.top_s) / forward_s,
        "peak_forward_accel_plateau_s": _plateau(times, values, peak[1]),
        "ball_launch_speed_m_s": None if math.isnan(stroke.ball_speed_mps) else stroke.ball_speed_mps,
        "practice": math.isnan(stroke.ball_speed_mps),
    }


def clicks_s(scene: Scene, performance: Performance) -> list[float]:
    """Return the container times at which an impact is heard [s]."""
    return [
        stroke.impact_s - scene.phase_s + scene.encoding.sound_delay_s
        for stroke in performance.strokes
        if not math.isnan(stroke.ball_speed_mps)
    ]


def load_truth(path: Path) -> dict[str, Any]:
    """Return a truth document.

    Raises
    ------
    ValueError
        When the file is not one.

    """
    document = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        raise ValueError(f"{path.name} is not a truth document of version 1")
    return document


def _refined_peak(t: FloatArray, values: FloatArray, function: Any) -> tuple[float, float]:  # noqa: ANN401
    best = int(np.argmax(values))
    low, high = t[max(best - 1, 0)], t[min(best + 1, len(t) - 1)]
    found = minimize_scalar(
        lambda s: -function(s), bounds=(low, high), method="bounded", options={"xatol": 1e-10}
    )
    inner = float(found.x), -float(found.fun)
    return inner if inner[1] > values[best] + 1e-12 else (float(t[best]), float(values[best]))


def _plateau(t: FloatArray, values: FloatArray, peak: float) -> list[float]:
    """Return when the acceleration is first and last within 2 % of its peak: a plateau has no one instant."""
    near = t[values >= 0.98 * peak]
    return [float(near[0]), float(near[-1])]


def _shifted(stroke: dict[str, Any], phase_s: float) -> dict[str, Any]:
    clocked = {name: stroke[name] - phase_s for name in CLOCKED}
    plateau = [t - phase_s for t in stroke["peak_forward_accel_plateau_s"]]
    return {**stroke, **clocked, "peak_forward_accel_plateau_s": plateau}


def _coin(way: CoinWay, phase_s: float) -> dict[str, Any]:
    return {
        "static_friction": way.coin.static_friction,
        "kinetic_friction": way.coin.kinetic_friction,
        "diameter_m": way.coin.diameter_m,
        "shelf": asdict(way.shelf),
        "leave_model_clock_s": way.leave_s,
        "leave_container_clock_s": None if way.leave_s is None else way.leave_s - phase_s,
        "resting_x_m": float(way.centre_m[-1, 0]) if way.leave_s is not None else None,
    }


def _camera(scene: Scene) -> dict[str, Any]:
    camera = scene.camera
    return {
        "K": camera.matrix.tolist(),
        "distortion_opencv_k1k2p1p2k3": camera.distortion.tolist(),
        "R_world_to_cam": camera.rotation.tolist(),
        "t_world_to_cam": camera.translation.tolist(),
        "centre_world": camera.centre.tolist(),
    }


def _markers(scene: Scene) -> dict[str, Any]:
    sheet = (
        {}
        if scene.sheet is None
        else {
            str(tag_id): scene.sheet.place(corners).tolist()
            for tag_id, corners in STANDARD_SHEET.corners.items()
        }
    )
    return {
        "dictionary": STANDARD_SHEET.dictionary,
        "corner_order": "TL,TR,BR,BL of the marker as printed",
        "sheet": sheet,
        "head": None
        if scene.putter.bare
        else {
            "id": HEAD_TAG_ID,
            "side_m": scene.putter.tag_side_m,
            "quiet_border_m": HEAD_TAG_BORDER_M,
            "plane_height_at_address_m": scene.putter.tag_height_m,
        },
    }


def _sheet_pixels(scene: Scene) -> dict[str, Any]:
    if scene.sheet is None:
        return {}
    return {
        str(tag_id): _rounded(scene.camera.project(scene.sheet.place(corners)), 4)
        for tag_id, corners in STANDARD_SHEET.corners.items()
    }


def _frames(scene: Scene, performance: Performance, container_s: FloatArray) -> dict[str, Any]:
    times = container_s + scene.phase_s
    motion = performance.motion
    displacement = motion.position(times)
    poses = [scene.putter.pose(float(u)) for u in displacement]
    heads = np.array([origin for _, origin in poses])
    flat = head_tag_corners(scene.putter.tag_side_m)
    corners = np.concatenate([flat @ rotation.T + origin for rotation, origin in poses])
    shafts = np.array([scene.putter.shaft_m @ rotation.T + origin for rotation, origin in poses])
    club = (
        {"shaft_ends_xyz_m": _rounded(shafts, 7)}
        if scene.putter.bare
        else {"head_marker_corners_px": _rounded(scene.camera.project(corners).reshape(-1, 4, 2), 3)}
    )
    balls = [performance.ball(float(t)) for t in times]
    travel = [
        None if b is None else float(b.position(np.array(t))) for b, t in zip(balls, times, strict=True)
    ]
    centres = [None if x is None else ball_centre(x) for x in travel]
    coin = (
        {}
        if scene.coin is None
        else {"coin_centre_xyz_m": [_rounded(scene.coin.path(float(t))[0], 7) for t in times]}
    )
    return {
        **coin,
        "container_pts_s": _rounded(container_s, 9),
        "frame_time_s": _rounded(times, 9),
        "head_centre_xyz_m": _rounded(heads, 7),
        "swing_angle_rad": _rounded(np.array([scene.putter.swing_angle(float(u)) for u in displacement]), 7),
        "head_u_m": _rounded(displacement, 7),
        "head_vx_m_s": _rounded(motion.velocity(times), 6),
        "head_ax_m_s2": _rounded(motion.acceleration(times), 5),
        "ball_centre_xyz_m": [None if c is None else _rounded(c, 7) for c in centres],
        "ball_speed_m_s": [
            None if b is None else round(float(b.speed(np.array(t))), 6)
            for b, t in zip(balls, times, strict=True)
        ],
        "head_centre_px": _rounded(scene.camera.project(heads), 3),
        "ball_centre_px": [
            None if c is None else _rounded(scene.camera.project(c[None])[0], 3) for c in centres
        ],
        **club,
    }


def _rounded(values: FloatArray, decimals: int) -> list[Any]:
    rounded: list[Any] = np.round(values, decimals).tolist()
    return rounded
