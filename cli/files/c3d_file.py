"""The track as C3D, the file of motion laboratories: points on even times, events, what each frame was."""

from __future__ import annotations

import struct
import tempfile
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from pennyfall.kinematics.clock.even_times import SAME_TIME_S, nearest_samples, on_even_times
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.stroke.tracks import BallTrack
from pennyfall.kinematics.values import BALL_RADIUS_M, Estimate, FloatArray, Measurement, StrokeMeasures
from pennyfall.tracker.measure.measured import Measured

LONGEST_STEP = 1.5
"""Chosen by us: in intervals; a lost frame makes it two, the jitter of timestamps less than half of one."""
MOST_FRAMES = 65535
"""The header counts in 16 bits [1]."""
EVENTS = ("takeaway", "top", "impact", "finish")
CHANNELS = {
    "FRAME": ("", "nearest frame of the clip, from 0; -1 where none lies within half a step"),
    "FRAME_LATER": ("s", "how much later than this moment that frame is"),
    "SD_X": ("mm", "HEAD: standard deviation of x, frame to frame"),
    "SD_Y": ("mm", "HEAD: standard deviation of y, alike in all frames"),
    "SD_Z": ("mm", "HEAD: standard deviation of z, frame to frame"),
    "TILT": ("rad", "HEAD: tilt about y from address, negative on the backswing side"),
}
HOW_MADE = (
    "On even times: between neighbouring frames by Akima's cubic, at a frame's own time the frame; across a "
    "lost frame and across impact nothing. A ball seen at rest before and after lay there in between."
)
BLOCK = 512
MM = 1e3


class Point(NamedTuple):
    """One point of the file."""

    label: str
    description: str
    place_m: FloatArray
    """On even times, shape (m, 3) [m]; NaN where missing."""


def c3d_bytes(measured: Measured) -> bytes:
    """Return the track of a measured clip as the content of a C3D file.

    Parameters
    ----------
    measured : Measured
        The clip.

    Returns
    -------
    bytes
        Points HEAD and BALL1, BALL2, ... in mm, x along the target line and z up, at the clip's usual rate
        from its first frame; residual 0 for 'processed', -1 for missing [1]. The group EVENT has each
        stroke's events, PENNYFALL their standard deviations; the channels tell what each frame was
        (`CHANNELS`).

    Raises
    ------
    CannotMeasure
        When the clip has more frames than the format counts, or the disk for temporary files is full.

    References
    ----------
    .. [1] The C3D file format, user guide, www.c3d.org: 3D data, floating-point format; EVENT:TIMES.

    """
    head = measured.placed.tracks.head
    # To the single precision in which the file states it: by that, a reader counts the frames' times.
    rate_hz = float(np.float32(1 / measured.placed.timed.interval_s))
    frames = int((head.time_s[-1] - head.time_s[0] + SAME_TIME_S) * rate_hz) + 1
    if frames > MOST_FRAMES:
        raise CannotMeasure(
            f"The clip has {frames} frames; a C3D file counts no more than {MOST_FRAMES}.",
            fix="Cut the clip into shorter ones, or take the track as CSV.",
        )
    even_s = head.time_s[0] + np.arange(frames) / rate_hz
    points = _points(measured, even_s, 1 / rate_hz)
    file = _points_file(points, _channels(measured, even_s, 1 / rate_hz), rate_hz)
    _add_events(file, measured.measurement, start_s=float(head.time_s[0]))
    _add_own(file, measured.measurement, start_s=float(head.time_s[0]))
    return _written(file, bytes_of_data=4 * frames * (4 * len(points) + len(CHANNELS)))


def _points(measured: Measured, even_s: FloatArray, step_s: float) -> list[Point]:
    head = measured.placed.tracks.head
    place = np.column_stack([head.x_m, head.y_m, head.z_m])
    known = np.isfinite(place).all(axis=1)
    time_s = head.time_s[known]
    impacts = [each.impact_s.value for each in measured.measurement.strokes if not each.practice]
    struck = np.diff(np.searchsorted(impacts, time_s)) > 0
    joined = (np.diff(time_s) < LONGEST_STEP * step_s) & ~struck
    found = [
        Point(
            "HEAD",
            "tracked point of the putter head",
            on_even_times(time_s, place[known], even_s, joined=joined),
        )
    ]
    for number, ball in enumerate(measured.placed.tracks.balls, start=1):
        found.append(Point(f"BALL{number}", "centre of the ball", _ball(ball, even_s, step_s)))
    return found


def _ball(ball: BallTrack, even_s: FloatArray, step_s: float) -> FloatArray:
    place = np.column_stack(
        [ball.x_m + ball.rest_m[0], ball.y_m + ball.rest_m[1], np.full(len(ball.x_m), BALL_RADIUS_M)]
    )
    resting, before = ball.at_rest[1:], ball.at_rest[:-1]
    rolling = ~resting & ~before & (np.diff(ball.time_s) < LONGEST_STEP * step_s)
    return on_even_times(ball.time_s, place, even_s, joined=(resting & before) | rolling)


def _channels(measured: Measured, even_s: FloatArray, step_s: float) -> FloatArray:
    """Return the channels, shape (channels, m)."""
    head, sd_y_m = measured.placed.tracks.head, measured.placed.tracks.sd_y_m
    frame = nearest_samples(head.time_s, even_s)
    near = np.abs(head.time_s[frame] - even_s) <= step_s / 2
    seen = near & head.seen[frame]
    return np.stack(
        [
            np.where(near, frame, -1),
            np.where(near, head.time_s[frame] - even_s, np.nan),
            np.where(seen, MM * head.sd_x_m[frame], np.nan),
            np.where(seen, MM * sd_y_m, np.nan),
            np.where(seen, MM * head.sd_z_m[frame], np.nan),
            np.where(seen, head.tilt_rad[frame], np.nan),
        ]
    )


def _points_file(points: list[Point], channels: FloatArray, rate_hz: float) -> Any:  # noqa: ANN401 - ezc3d has no types
    import ezc3d

    file = ezc3d.c3d()
    place = np.stack([MM * each.place_m.T for each in points], axis=1)
    file["data"]["points"] = np.concatenate([place, np.ones((1, *place.shape[1:]))])
    missing = np.isnan(place).any(axis=0)
    file["data"]["meta_points"]["residuals"] = np.where(missing, -1.0, 0.0)[np.newaxis]
    file["data"]["analogs"] = channels[np.newaxis]
    of_points, of_channels = file["parameters"]["POINT"], file["parameters"]["ANALOG"]
    of_points["RATE"]["value"] = of_channels["RATE"]["value"] = [rate_hz]
    of_points["UNITS"]["value"] = ["mm"]
    of_points["LABELS"]["value"] = [each.label for each in points]
    of_points["DESCRIPTIONS"]["value"] = [each.description for each in points]
    of_channels["LABELS"]["value"] = list(CHANNELS)
    of_channels["UNITS"]["value"] = [unit for unit, _ in CHANNELS.values()]
    of_channels["DESCRIPTIONS"]["value"] = [meaning for _, meaning in CHANNELS.values()]
    file.add_parameter("POINT", "X_SCREEN", ["+X"])
    file.add_parameter("POINT", "Y_SCREEN", ["+Z"])
    return file


def _events(strokes: tuple[StrokeMeasures, ...]) -> list[tuple[int, str, Estimate]]:
    """Return number of the stroke, name and time of each event that is known."""
    events = [(each.number, name, getattr(each, f"{name}_s")) for each in strokes for name in EVENTS]
    return [each for each in events if each[2].known]


def _add_events(file: Any, measurement: Measurement, *, start_s: float) -> None:  # noqa: ANN401
    events = _events(measurement.strokes)
    minutes, seconds = np.divmod([when.value - start_s for *_, when in events], 60.0)
    file.add_parameter("EVENT", "USED", [len(events)])
    file.add_parameter("EVENT", "CONTEXTS", [f"Stroke {number}" for number, *_ in events])
    file.add_parameter("EVENT", "LABELS", [name for _, name, _ in events])
    file.add_parameter("EVENT", "TIMES", np.stack([minutes, seconds]))


def _add_own(file: Any, measurement: Measurement, *, start_s: float) -> None:  # noqa: ANN401
    file.add_parameter("PENNYFALL", "SOFTWARE", [f"pennyfall {version('pennyfall')}"])
    file.add_parameter("PENNYFALL", "CLIP", [measurement.clip.file])
    file.add_parameter("PENNYFALL", "CLIP_SHA256", [measurement.clip.sha256])
    file.add_parameter("PENNYFALL", "START_S", [start_s])
    file.add_parameter("PENNYFALL", "SCALE_REL_SD", [measurement.calibration.scale_rel_sd])
    file.add_parameter("PENNYFALL", "EVENT_SD_S", [when.sd for *_, when in _events(measurement.strokes)])
    file.add_parameter("PENNYFALL", "HOW_MADE", [HOW_MADE])


def _written(file: Any, *, bytes_of_data: int) -> bytes:  # noqa: ANN401
    """Return what ezc3d writes; it writes to a named file only, and says nothing where the disk is full."""
    with tempfile.TemporaryDirectory(prefix="pennyfall-") as folder:
        path = Path(folder) / "track.c3d"
        file.write(str(path))
        content = path.read_bytes() if path.is_file() else b""
    first_block = struct.unpack_from("<H", content, 16)[0] if len(content) >= BLOCK else MOST_FRAMES
    if len(content) < BLOCK * (first_block - 1) + bytes_of_data:
        raise CannotMeasure(
            "The C3D file could not be made whole: the disk for temporary files is full.",
            fix="Free some space there, or name another folder in TMPDIR.",
        )
    return content
