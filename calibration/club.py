"""The club file: what a ruler says about one putter, in TOML."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import Estimate

TAG_HEIGHT_SD_MM = 1.0
"""Chosen by us: how well a ruler held beside the head is read."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Club:
    """One putter as measured."""

    tag_height_m: Estimate
    """Height of the tag's middle above the floor at address [m]."""
    tag_side_m: float | None = None
    """Side of the tag's black square [m]; None: as the layout has it."""
    shelf: Shelf | None = None
    """Where the coin lies."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One line of the club file."""

    key: str
    """Name in the file; it ends in the unit, mm."""
    words: str
    """What to measure, in a few words."""
    low: float
    high: float
    """The value lies between these, in mm; chosen by us to catch a slip of the unit."""
    assumed: float | None = None
    """What holds when the line is left out, in mm."""

    def checked(self, value: Any, where: str = "") -> float:  # noqa: ANN401 - whatever was written
        """Return the value in metres.

        Raises
        ------
        CannotMeasure
            When it is no number or out of range.

        """
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise CannotMeasure(
                f"'{self.key}'{where} is {value!r}, not a number.",
                fix="Give it in mm, without quotes.",
            )
        if not self.low <= value <= self.high:
            raise CannotMeasure(
                f"'{self.key}'{where} is {value:g} mm, not between {self.low:g} and {self.high:g}.",
                fix=f"Measure it again ({self.words}) and give it in mm.",
            )
        return value / 1e3


HEAD_ENTRIES = (
    # The rules allow 63.5 mm from sole to crown (R&A and USGA Equipment Rules, part 2; from memory).
    Entry(key="tag_height_mm", words="floor to the tag, head resting as at address", low=5, high=80),
    Entry(
        key="tag_height_sd_mm",
        words="how far that may be off, one standard deviation",
        low=0.1,
        high=10,
        assumed=TAG_HEIGHT_SD_MM,
    ),
    Entry(key="tag_size_mm", words="side of the tag's black square, if not 24 mm", low=8, high=60),
)
_PLAIN_SHELF = Shelf()
SHELF_ENTRIES = (
    Entry(
        key="floor_height_mm",
        words="floor up to what the coin lies on",
        low=0,
        high=80,
        assumed=_PLAIN_SHELF.floor_height_m * 1e3,
    ),
    Entry(
        key="edge_distance_mm",
        words="middle of the coin back to the rear edge",
        low=0.5,
        high=150,
        assumed=_PLAIN_SHELF.edge_distance_m * 1e3,
    ),
    Entry(
        key="lip_height_mm",
        words="height of a lip along the rear edge, 0 for none",
        low=0,
        high=20,
        assumed=0,
    ),
    Entry(
        key="cavity_depth_mm",
        words="height of the wall toward the face, 0 for a flat top",
        low=0,
        high=60,
        assumed=_PLAIN_SHELF.cavity_depth_m * 1e3,
    ),
    Entry(key="front_room_mm", words="how far the coin can move toward the face", low=0, high=150, assumed=0),
    Entry(
        key="coin_from_tag_mm",
        words="middle of the tag to the middle of the coin, below zero when the coin lies behind it",
        low=-150,
        high=150,
        assumed=0,
    ),
)
NO_LONGER_READ = ("tag_to_face_mm", "head_mass_g")
"""Lines that club files of earlier versions may hold and that no figure depends on."""
_KEYS = {entry.key for entry in (*HEAD_ENTRIES, *SHELF_ENTRIES)}


def load_club(path: Path) -> Club:
    """Read a club file.

    Raises
    ------
    CannotMeasure
        When it cannot be read, is not TOML (with line and column), or a value is unknown or impossible.

    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is no plain text in UTF-8"
        raise CannotMeasure(
            f"The club file {path} cannot be read ({reason}).", fix="Write one with: pennyfall club new"
        ) from error
    return parse_club(text, path.name)


def parse_club(text: str, name: str) -> Club:
    """Return the club a TOML text describes; `name` is the file's, for messages.

    Raises
    ------
    CannotMeasure
        See `load_club`.

    """
    try:
        document = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        end = f"at line {len(text.splitlines())}"
        reason = str(error).replace("at end of document", end)
        raise CannotMeasure(
            f"{name} is not valid TOML: {reason}.", fix="Correct that line and run again."
        ) from error
    for key in NO_LONGER_READ:
        document.pop(key, None)
    shelf = document.pop("shelf", None)
    if shelf is not None and not isinstance(shelf, dict):
        raise CannotMeasure(f"'shelf' in {name} is not a table.", fix="Put its lines under a line [shelf].")
    if "tag_height_mm" not in document:
        raise CannotMeasure(
            f"{name} lacks 'tag_height_mm', the one value a club file must have.",
            fix="Measure from the floor to the tag with the head resting as at address, and add it.",
        )
    return club_of(
        _read(document, HEAD_ENTRIES, text, name),
        None if shelf is None else _read(shelf, SHELF_ENTRIES, text, name),
    )


def club_of(head: Mapping[str, float], shelf: Mapping[str, float] | None) -> Club:
    """Return the club of checked values by the file's keys, in metres."""
    return Club(
        tag_height_m=Estimate(head["tag_height_mm"], head.get("tag_height_sd_mm", TAG_HEIGHT_SD_MM / 1e3)),
        tag_side_m=head.get("tag_size_mm"),
        shelf=None if shelf is None else Shelf(**{f"{key[:-3]}_m": value for key, value in shelf.items()}),
    )


def club_toml(club: Club) -> str:
    """Return the club file's text, with what each line means."""
    head = {
        "tag_height_mm": club.tag_height_m.value,
        "tag_height_sd_mm": club.tag_height_m.sd,
        "tag_size_mm": club.tag_side_m,
    }
    lines = ["# A putter as measured with a ruler, the head resting on the floor as at address.", ""]
    lines += [_line(entry, value) for entry in HEAD_ENTRIES if (value := head[entry.key]) is not None]
    if club.shelf is not None:
        lines += ["", "[shelf]  # where the coin lies"]
        lines += [_line(entry, getattr(club.shelf, f"{entry.key[:-3]}_m")) for entry in SHELF_ENTRIES]
    return "\n".join(lines) + "\n"


def _line(entry: Entry, value: float) -> str:
    return f"{entry.key} = {value * 1e3:.6g}  # {entry.words}"


def _read(table: Mapping[str, Any], entries: tuple[Entry, ...], text: str, name: str) -> dict[str, float]:
    known = {entry.key: entry for entry in entries}
    for key in table:
        if key not in known:
            where = _place(text, key, name)
            if key in _KEYS:
                raise CannotMeasure(
                    f"'{key}'{where} stands in the wrong part.",
                    fix="The coin's lines belong below [shelf], all others above it.",
                )
            raise CannotMeasure(f"'{key}'{where} means nothing here.", fix=f"Known are: {', '.join(known)}.")
    return {key: known[key].checked(value, _place(text, key, name)) for key, value in table.items()}


def _place(text: str, key: str, name: str) -> str:
    for number, line in enumerate(text.splitlines(), start=1):
        if re.match(rf"\s*['\"]?{re.escape(key)}['\"]?\s*=", line):
            return f" ({name}, line {number})"
    return f" ({name})"
