"""A rendered clip with known truth, as the measured stroke that truth describes."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pennyfall.cli.report.film.overlay import HeadPath
from pennyfall.kinematics.values import ClipFacts, Estimate, LooseObjectBand, Profile, StrokeMeasures
from tests.cli.synthetic import measurement, plateau_stroke


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FilmedStroke:
    """A clip, where its head is in the picture, and what a perfect measurement would say."""

    clip: Path
    facts: ClipFacts
    stroke: StrokeMeasures
    path: HeadPath


def filmed_stroke(footage: Path, name: str = "late120_dec60") -> FilmedStroke:
    """Read one of the rendered clips and its truth."""
    truth = json.loads((footage / "rendered-late" / f"{name}.truth.json").read_text())
    frames, events = truth["frames"], truth["events_container_clock"]
    time_s = np.array(frames["container_pts_s"])
    pixels = np.array(frames["head_centre_px"])
    v = np.array(frames["head_vx_m_s"])
    model = truth["events_model_clock"]
    width, height = truth["image_size"]
    top_s = events["top_s"]
    stroke = dataclasses.replace(
        plateau_stroke(),
        takeaway_s=Estimate(events["start_leaves_rest_s"], 0.01),
        top_s=Estimate(top_s, 0.001),
        impact_s=Estimate(events["impact_s"], 0.001),
        finish_s=Estimate(events["head_at_rest_again_s"], 0.001),
        peak_acceleration_mps2=Estimate(model["peak_forward_accel_m_s2"], 0.1),
        profile=Profile(
            t_s=time_s,
            x_m=np.array(frames["head_u_m"]),
            v_mps=v,
            a_mps2=np.array(frames["head_ax_m_s2"]),
            a_sd_mps2=np.full(len(v), 0.1),
            tilt_rad=np.full(len(v), np.nan),
        ),
        loose_object=LooseObjectBand(
            friction=(0.15, 0.35),
            outcome="leaves",
            peak_friction_demand=Estimate(0.41, 0.02),
            slip_s=(top_s, top_s + 0.05),
            leave_s=(top_s + 0.15, top_s + 0.25),
            leave_x_m=(-0.2, -0.15),
            landing_x_m=(-0.1, -0.05),
        ),
    )
    facts = dataclasses.replace(
        measurement().clip,
        file=f"{name}.mp4",
        width=width,
        height=height,
        frames=len(time_s),
        frame_rate_hz=1 / float(np.median(np.diff(time_s))),
        duration_s=float(time_s[-1]),
    )
    return FilmedStroke(
        clip=footage / "rendered-late" / f"{name}.mp4",
        facts=facts,
        stroke=stroke,
        path=HeadPath(time_s=time_s, u_px=pixels[:, 0], v_px=pixels[:, 1]),
    )
