"""The track file: one line a frame, as MEASUREMENT version 1 names its columns."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pennyfall.cli.measure import ClipResult


def track_csv(result: ClipResult) -> str:
    """Return the track of a measured clip as CSV text; what was not seen is empty, never zero."""
    head, pixel, motion = result.placed.head, result.followed.head, result.motion
    table = pd.DataFrame(
        {
            "frame": np.arange(len(head.time_s)),
            "t_s": head.time_s,
            "seen": head.seen.astype(int),
            "x_m": head.x_m,
            "y_m": head.y_m,
            "z_m": head.z_m,
            "sd_x_m": head.sd_x_m,
            "sd_y_m": np.where(head.seen, result.placed.sd_y_m, np.nan),
            "sd_z_m": head.sd_z_m,
            "tilt_rad": head.tilt_rad,
            "u_px": pixel.centre_px[:, 0],
            "v_px": pixel.centre_px[:, 1],
            "vx_mps": motion.vx_mps,
            "ax_mps2": motion.ax_mps2,
            "sd_vx_mps": motion.sd_vx_mps,
            "sd_ax_mps2": motion.sd_ax_mps2,
            "ball_x_m": result.placed.ball_x_m,
            "ball_seen": np.isfinite(result.placed.ball_x_m).astype(int),
        }
    )
    return table.to_csv(index=False, float_format="%.9g", lineterminator="\n")
