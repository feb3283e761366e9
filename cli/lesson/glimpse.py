"""What a clip shows, at a glance: its length, and a small picture of three of its moments."""

from __future__ import annotations

from pathlib import Path

from pennyfall.cli.files.measured_files import picture_path
from pennyfall.cli.files.measurement import write_whole
from pennyfall.kinematics.errors import CannotMeasure

ROWS = 240
SHARES = (0.1, 0.5, 0.9)
"""Chosen by us: at address, on the way, and after it."""


def glimpse(folder: Path, clip: str) -> str:
    """Write a small picture of a clip; return length and place of it, nothing where it cannot be read."""
    import av
    import cv2
    import numpy as np

    from pennyfall.tracker.clip.album import Album
    from pennyfall.tracker.clip.container import opened, video_stream

    album, out = Album(ROWS), picture_path(folder, clip)
    try:
        with opened(folder / clip) as container:
            stream = video_stream(container, folder / clip)
            length_s = (container.duration or 0) / 1e6
            for share in SHARES:
                container.seek(int(share * 1e6 * length_s))
                at_s = share * length_s + (stream.start_time or 0) * stream.time_base
                picture = next((each for each in container.decode(stream) if (each.time or 0) >= at_s), None)
                if picture is not None:
                    album.keep(share, picture, round(picture.rotation / 90) * 90)
    except (CannotMeasure, av.error.FFmpegError):
        pass  # what can be shown of a damaged clip is shown; measuring says what is wrong
    pictures = [picture for _, picture in album.between(-np.inf, np.inf)]
    if not pictures or len({picture.shape for picture in pictures}) > 1:
        return ""
    coded = cv2.imencode(".png", np.hstack(pictures)[..., ::-1])[1].tobytes()
    out.parent.mkdir(exist_ok=True)
    write_whole(out, coded)
    return f" ({length_s:.1f} s; what it shows: {out})"
