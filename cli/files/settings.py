"""Settings from what a person typed or a lesson file says: millimetres to metres, files to values, once."""

from __future__ import annotations

from pathlib import Path

from pennyfall.calibration.club import load_club
from pennyfall.calibration.layout import STANDARD_SHEET
from pennyfall.calibration.layout_file import load_layout
from pennyfall.calibration.lens import load_lens
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Estimate
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.dot.colour import WantedColour
from pennyfall.tracker.measure.settings import Settings

RULER_SD_M = 0.001
"""A height read off a ruler is right to a millimetre."""

TAG_HEIGHT_LIMITS_MM = (5.0, 80.0)
"""Chosen by us: from a blade's flange to the tallest mallet with a spacer."""

RATE_LIMITS_HZ = (20.0, 2000.0)
"""Chosen by us: from the slowest video to the fastest phone."""

LONGEST_READOUT_MS = 60.0
"""The slowest phone of a published table needs 57.84 ms (kalibr documentation, rolling-shutter table)."""


def settings_from(
    *,
    club: Path | None = None,
    tag_height_mm: float | None = None,
    lens: Path | None = None,
    layout: Path | None = None,
    ruler_mm: float | None = None,
    recorded_at_hz: float | None = None,
    box: str | None = None,
    dot: str | None = None,
    readout_ms: float | None = None,
) -> Settings:
    """Return the settings that a coach's words and files stand for.

    Raises
    ------
    CannotMeasure
        When a value is out of its range or a file cannot be used.

    """
    low, high = TAG_HEIGHT_LIMITS_MM
    if tag_height_mm is not None and not low <= tag_height_mm <= high:
        raise CannotMeasure(
            f"A tag height of {tag_height_mm:g} mm is not possible on a putter head.",
            fix=f"Measure from the floor to the tag with the head soled, in mm ({low:g} to {high:g}).",
        )
    low, high = RATE_LIMITS_HZ
    if recorded_at_hz is not None and not low <= recorded_at_hz <= high:
        raise CannotMeasure(
            f"No phone records {recorded_at_hz:g} frames/s.",
            fix="State the camera's slow-motion setting in frames/s, such as 240.",
        )
    if readout_ms is not None and not 0 <= readout_ms <= LONGEST_READOUT_MS:
        raise CannotMeasure(
            f"No camera reads a picture out in {readout_ms:g} ms.",
            fix="State the time from the picture's first row to its last, in ms, such as 4.",
        )
    if box is not None and dot is not None:
        raise CannotMeasure(
            "Both a box and a dot are given: only one thing is followed on the head.",
            fix="Leave one of them out.",
        )
    tags = load_layout(layout) if layout is not None else STANDARD_SHEET
    if ruler_mm is not None:
        tags = tags.scaled(ruler_mm / 100.0)
    return Settings(
        club=load_club(club) if club is not None else None,
        tag_height_m=Estimate(tag_height_mm / 1e3, RULER_SD_M) if tag_height_mm is not None else None,
        layout=tags,
        lens=load_lens(lens) if lens is not None else None,
        recorded_at_hz=recorded_at_hz,
        box=Box.read(box) if box is not None else None,
        dot=_dot(dot) if dot is not None else None,
        readout_s=readout_ms / 1e3 if readout_ms is not None else None,
    )


def _dot(text: str) -> WantedColour | Box:
    """Return the dot that a colour or a box stands for."""
    return Box.read(text) if "," in text else WantedColour.read(text)
