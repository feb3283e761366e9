"""Clips measured one after the other, each with the files that were asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pennyfall.cli.console import progress_bar, refusal
from pennyfall.cli.files.measurement import refuse_unwritable
from pennyfall.cli.files.table_file import refuse_without
from pennyfall.cli.report.pictures.figure_file import file_kind
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.clip.album import Album
from pennyfall.tracker.measure.clip import measure_seen, see_clip
from pennyfall.tracker.measure.seen import Seen
from pennyfall.tracker.measure.settings import Settings

if TYPE_CHECKING:  # loaded while the clip is decoded
    from pennyfall.tracker.measure.measured import Measured


@dataclass(frozen=True, kw_only=True, slots=True)
class ClipOutputs:
    """Where each clip's files go; None where a kind was not asked for."""

    json: Path | None
    track: Path | None
    c3d: Path | None
    picture: Path | None
    folders: bool
    """Whether the paths are folders, one file a clip."""

    @classmethod
    def named(
        cls,
        *,
        json: Path | None,
        track: Path | None,
        c3d: Path | None,
        picture: Path | None,
        clips: Sequence[Path],
    ) -> ClipOutputs:
        """Return the outputs as named on the command line, refused before anything is measured.

        Raises
        ------
        CannotMeasure
            When a place cannot be written, a picture has an unknown kind, two clips share a name, or C3D is
            wanted without its package.

        """
        several = len(clips) > 1
        for path in (json, track, c3d, picture):
            if several and path is not None:
                _make_folder(path)
            refuse_unwritable(path and (path / "clip" if several else path))
        if picture is not None and not several:
            file_kind(picture)
        if c3d is not None:
            refuse_without("ezc3d", extra="c3d", wanted="Writing C3D", instead="take the --track as CSV")
        stems = [clip.stem for clip in clips]
        if several and len(set(stems)) < len(stems):
            raise CannotMeasure(
                "Two of the clips have the same name, so their files would overwrite each other.",
                fix="Rename one of them, or measure them one by one.",
            )
        return cls(json=json, track=track, c3d=c3d, picture=picture, folders=several)

    def place(self, base: Path, clip: Path, ending: str) -> Path:
        """Return the file of one clip."""
        return base / f"{clip.stem}{ending}" if self.folders else base


def measure_clips(
    clips: Sequence[Path], settings: Settings, outputs: ClipOutputs, *, quiet: bool, everything: bool = False
) -> bool:
    """Measure clips one after the other; one that cannot be measured does not stop the others.

    What is printed comes before what is drawn, since drawing takes a second.

    Returns
    -------
    bool
        Whether every clip was measured.

    """
    done = 0
    for clip in clips:
        try:
            _measure_one(clip, settings, outputs, quiet=quiet, everything=everything)
        except CannotMeasure as error:
            if len(clips) == 1:
                raise
            typer.echo(f"{clip.name}: {refusal(error)}", err=True)
            continue
        done += 1
    return done == len(clips)


def _measure_one(
    clip: Path, settings: Settings, outputs: ClipOutputs, *, quiet: bool, everything: bool
) -> None:
    album = _album() if outputs.picture is not None else None
    with progress_bar(clip.name, quiet=quiet) as advance:
        seen = see_clip(clip, settings, album=album, progress=advance)
    try:
        measured = measure_seen(seen, settings)
    except CannotMeasure:
        if not _track_in_pixels(seen, settings, outputs):
            raise
        typer.echo(f"{clip.name}: nothing in it gives a scale, so the track is in pixels; nothing in metres.")
        return
    if not quiet:
        typer.echo(_table(measured, everything=everything))
    written = _write(measured, clip, outputs, album)
    if written and not quiet:
        typer.echo(f"Written: {', '.join(str(each) for each in written)}")


def _album() -> Album:
    from pennyfall.cli.report.pictures.moments import ALBUM_ROWS

    return Album(ALBUM_ROWS)


def _table(measured: Measured, *, everything: bool) -> str:
    if everything:
        from pennyfall.cli.report.tables.stroke import measurement_table

        return measurement_table(measured.measurement)
    from pennyfall.cli.report.tables.brief import brief_table

    return brief_table(measured.measurement)


def _track_in_pixels(seen: Seen, settings: Settings, outputs: ClipOutputs) -> bool:
    """Write the plain track of a clip without a scale, where a track is all that was asked for.

    That is how the follower is checked against anything of known motion: a pendulum, a falling ball.
    """
    if outputs.track is None or (outputs.json, outputs.c3d, outputs.picture) != (None, None, None):
        return False
    if seen.followed.pose is not None or not seen.followed.head_ever_seen:
        return False
    from pennyfall.cli.files.measurement import write_whole
    from pennyfall.cli.files.track import pixel_table, track_bytes
    from pennyfall.tracker.measure.timed import on_true_times

    followed = on_true_times(seen, settings).followed
    path = outputs.place(outputs.track, seen.reading.path, ".csv")
    write_whole(path, track_bytes(pixel_table(followed)))
    return True


def _write(result: Measured, clip: Path, outputs: ClipOutputs, album: Album | None) -> list[Path]:
    """Write what was asked for; return the files."""
    from pennyfall.cli.files.measurement import save_measurement, write_whole

    written = []
    if outputs.json is not None:
        written.append(outputs.place(outputs.json, clip, ".json"))
        save_measurement(result.measurement, written[-1])
    if outputs.track is not None:
        from pennyfall.cli.files.track import track_bytes, track_table

        written.append(outputs.place(outputs.track, clip, ".csv"))
        write_whole(written[-1], track_bytes(track_table(result)))
    if outputs.c3d is not None:
        from pennyfall.cli.files.c3d_file import c3d_bytes

        written.append(outputs.place(outputs.c3d, clip, ".c3d"))
        write_whole(written[-1], c3d_bytes(result))
    if outputs.picture is not None and album is not None:
        written += _draw(result, album, clip, outputs.place(outputs.picture, clip, ".png"))
    return written


def _draw(result: Measured, album: Album, clip: Path, path: Path) -> list[Path]:
    """Draw the strokes; those that one picture does not hold get further ones, numbered in their names."""
    from pennyfall.cli.files.measurement import write_whole
    from pennyfall.cli.files.track import track_table
    from pennyfall.cli.report.film.overlay import HeadPath
    from pennyfall.cli.report.pictures.moments import moment_frames
    from pennyfall.cli.report.pictures.stroke import MOST_STROKES, Pictured, strokes_picture

    way = HeadPath.of_track(track_table(result))
    strokes = [
        Pictured(stroke=each, frames=moment_frames(album, each, way)) for each in result.measurement.strokes
    ]
    written = []
    for first in range(0, len(strokes), MOST_STROKES):
        number = first // MOST_STROKES + 1
        written.append(path if number == 1 else path.with_stem(f"{path.stem}-{number}"))
        some = strokes[first : first + MOST_STROKES]
        write_whole(written[-1], strokes_picture(some, file=clip.name, kind=file_kind(path)))
    return written


def _make_folder(path: Path) -> None:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotMeasure(
            f"The folder {path} cannot be made ({error.strerror}).",
            fix="With several clips, name a folder for each --json, --track, --c3d and --picture.",
        ) from error
