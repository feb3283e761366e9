"""Whether a file was copied whole: its boxes say how long it should be."""

from __future__ import annotations

from pathlib import Path

MOST_BOXES = 10000
"""Chosen by us: a phone's file has a handful at its top level; a fragmented stream has a few a second."""


def missing_bytes(path: Path) -> int:
    """Return how many bytes an MP4 or MOV file lacks by its own account; 0 for other files.

    Notes
    -----
    The top level is a row of boxes, each with its length first: 32 bits, then its type, then 64 bits where
    the 32 say 1; 0 means 'to the end' (ISO/IEC 14496-12, 4.2).
    """
    length = path.stat().st_size
    place = 0
    with path.open("rb") as stream:
        for number in range(MOST_BOXES):
            stream.seek(place)
            head = stream.read(16)
            kind = head[4:8]
            if len(head) < 8 or (number == 0 and kind != b"ftyp") or not kind.isalnum():
                return 0
            size = int.from_bytes(head[:4], "big")
            if size == 1:
                size = int.from_bytes(head[8:16], "big")
            if size < 8:
                return 0
            place += size
            if place >= length:
                return place - length
    return 0
