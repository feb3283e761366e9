"""The track file: one line a frame, as MEASUREMENT version 1 names its columns."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pennyfall.cli.files.table_file import csv_bytes
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.measure.measured import Measured

COLUMNS = (
    "frame",
    "t_s",
    "seen",
    "x_m",
    "y_m",
    "z_m",
    "sd_x_m",
    "sd_y_m",
    "sd_z_m",
    "tilt_rad",
    "u_px",
    "v_px",
    "vx_mps",
    "ax_mps2",
    "sd_vx_mps",
    "sd_ax_mps2",
    "ball_x_m",
    "ball_seen",
)
"""Columns of the track file, in order."""


def pixel_table(followed: Followed) -> pd.DataFrame:
    """Return a track in pixels against true time, for a clip that nothing gives a scale to."""
    pixel = followed.head
    table = pd.DataFrame({name: np.full(len(pixel.time_s), np.nan) for name in COLUMNS})
    table["frame"] = np.arange(len(pixel.time_s))
    table["t_s"] = pixel.time_s
    table["seen"] = pixel.seen.astype(int)
    table["u_px"], table["v_px"] = pixel.head_px.T
    table["ball_seen"] = 0
    return table


def track_table(measured: Measured) -> pd.DataFrame:
    """Return the track of a measured clip; what was not seen is NaN, never zero."""
    placed, motion = measured.placed, measured.motion
    head, head_px = placed.tracks.head, placed.timed.followed.head.head_px
    return pd.DataFrame(
        {
            "frame": np.arange(len(head.time_s)),
            "t_s": head.time_s,
            "seen": head.seen.astype(int),
            "x_m": head.x_m,
            "y_m": head.y_m,
            "z_m": head.z_m,
            "sd_x_m": head.sd_x_m,
            "sd_y_m": np.where(head.seen, placed.tracks.sd_y_m, np.nan),
            "sd_z_m": head.sd_z_m,
            "tilt_rad": head.tilt_rad,
            "u_px": head_px[:, 0],
            "v_px": head_px[:, 1],
            "vx_mps": motion.vx_mps,
            "ax_mps2": motion.ax_mps2,
            "sd_vx_mps": motion.sd_vx_mps,
            "sd_ax_mps2": motion.sd_ax_mps2,
            "ball_x_m": placed.tracks.ball_x_m,
            "ball_seen": np.isfinite(placed.tracks.ball_x_m).astype(int),
        }
    )


def track_bytes(track: pd.DataFrame) -> bytes:
    """Return a track as the content of its file; what was not seen is empty."""
    return csv_bytes(track, digits=9)
