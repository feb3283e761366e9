"""`pennyfall lens`: a lens file from a clip or stills of a board."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import cv2
import numpy as np
import typer

from pennyfall.calibration.board import charuco_board
from pennyfall.calibration.board_views import (
    BoardView,
    Luma,
    charuco_finder,
    chessboard_finder,
    views_in,
    well_spread,
)
from pennyfall.calibration.lens import lens_text
from pennyfall.calibration.lens_fit import fit_lens
from pennyfall.cli.console import progress_bar
from pennyfall.cli.files.measurement import refuse_unwritable, write_whole
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.clip.decoding import Decoding
from pennyfall.tracker.clip.reading import read_clip

PICTURE_SUFFIXES = {".bmp", ".jpeg", ".jpg", ".png", ".tif", ".tiff", ".webp"}
FRAMES_LOOKED_AT = 150
"""Chosen by us: a board moved for 20 s is then seen every 0.13 s, and looking takes seconds, not minutes."""
VIEWS_USED = 25
"""Chosen by us: more views hardly narrow the focal length, and each costs time in the fit."""


def lens(
    sources: Annotated[list[Path], typer.Argument(help="Clips or pictures of the board, all of one size.")],
    *,
    out: Annotated[Path, typer.Option(help="Lens file to write.")] = Path("lens.json"),
    pattern: Annotated[
        str | None,
        typer.Option(
            help="Inner corners of a plain chessboard, such as 9x6; without it, the board of 'sheet'."
        ),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Show no progress.")] = False,
) -> None:
    """Make a lens file from a clip, or pictures, of a board.

    Use the recording mode, zoom and hold of the phone you film strokes with. Move the board slowly, tilted to
    every side and into every corner of the picture, for about 20 seconds.
    """
    refuse_unwritable(out)
    find = charuco_finder(charuco_board()) if pattern is None else chessboard_finder(*_inner_corners(pattern))
    views: list[BoardView] = []
    size: tuple[int, int] | None = None
    with progress_bar("Looking for the board", quiet=quiet) as advance:
        for done, source in enumerate(sources):
            for share, picture in _pictures(source):
                advance((done + share) / len(sources))
                size = _same_size(picture, size, source)
                views += views_in([picture], find)
    if size is None:
        raise CannotMeasure(
            "There is no picture in these files.", fix="Give a clip or pictures of the board."
        )
    found = fit_lens(well_spread(views, VIEWS_USED), size)
    write_whole(out, lens_text(found).encode())
    typer.echo(
        f"Wrote {out}: focal length {found.focal_px:.1f} px (sd {found.focal_sd_px:.1f}) for pictures of "
        f"{size[0]} x {size[1]} px; the corners fit to {found.rms_px:.2f} px."
    )


def _inner_corners(pattern: str) -> tuple[int, int]:
    match = re.fullmatch(r"(\d+)\s*[xX×]\s*(\d+)", pattern.strip())
    columns, rows = (int(match[1]), int(match[2])) if match else (0, 0)
    if not (3 <= columns <= 50 and 3 <= rows <= 50):
        raise CannotMeasure(
            f"The pattern {pattern!r} is not two numbers of inner corners from 3 to 50.",
            fix="Count the points where four squares meet, across and down, and write them like 9x6.",
        )
    return columns, rows


def _pictures(source: Path) -> Iterator[tuple[float, Luma]]:
    """Yield the share of the file that is done and a picture, spread evenly over a clip."""
    if source.suffix.lower() in PICTURE_SUFFIXES:
        yield 0.0, _still(source)
        return
    reading = read_clip(source)
    promised = reading.header.frames_promised
    step = max(1, promised // FRAMES_LOOKED_AT)
    for number, frame in enumerate(Decoding(reading).frames()):
        if number % step == 0:
            yield min(1.0, number / max(1, promised)), frame.luma


def _still(source: Path) -> Luma:
    try:
        coded = np.frombuffer(source.read_bytes(), dtype=np.uint8)
    except OSError as error:
        raise CannotMeasure(f"{source} cannot be read ({error.strerror}).", fix="Check its name.") from error
    picture = cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE) if coded.size else None
    if picture is None:
        raise CannotMeasure(f"{source} is no picture.", fix="Give a JPEG or PNG picture, or a clip.")
    return np.asarray(picture, dtype=np.uint8)


def _same_size(picture: Luma, size: tuple[int, int] | None, source: Path) -> tuple[int, int]:
    height, width = picture.shape
    if size is not None and size != (width, height):
        raise CannotMeasure(
            f"{source.name} is {width} x {height} px, the one before {size[0]} x {size[1]} px.",
            fix="Give clips or pictures of one size, all filmed in one mode with the phone held one way.",
        )
    return width, height
