"""One clip of a season measured, wherever that is: what is sent to a process, and what comes back."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

import cv2

from pennyfall.cli.files.measurement import plain
from pennyfall.cli.files.table_file import parquet_bytes
from pennyfall.cli.lesson.side_by_side import line_of
from pennyfall.cli.report.data_columns import Column, arrow_schema
from pennyfall.cli.season.clips import at_hand
from pennyfall.cli.season.columns import CURVES, TRACKS, stroke_rows
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Measurement
from pennyfall.tracker.clip.reading import sha256_of
from pennyfall.tracker.measure.settings import Settings

if TYPE_CHECKING:
    import pandas as pd

MeasureForSeason = Callable[[Path, Settings], "tuple[Measurement, pd.DataFrame]"]
"""Measures one clip and gives its track, too; a function of a module, since it is sent to other processes."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Job:
    """One clip to be measured."""

    key: str
    place: str
    """Path or address, the same on every machine."""
    shown: str
    """What the clip is called in the table."""
    settings: Settings
    known: str
    """Fingerprint of what is kept of it already; empty for nothing."""
    tracks: bool
    """Whether track and curves are wanted."""
    measure: MeasureForSeason


@dataclass(frozen=True, kw_only=True, slots=True)
class Outcome:
    """How a job ended."""

    key: str
    sha256: str | None = None
    """Of the clip's content; None where that could not be read."""
    fingerprint: str = ""
    """Of content and settings; empty where the next run is to try again."""
    unchanged: bool = False
    """Whether what is kept is still so; then nothing else is told."""
    strokes: list[dict[str, Any]] = field(default_factory=list)
    """A row a stroke, as JSON has it."""
    refused: str | None = None
    remedy: str | None = None
    version: str = ""
    tables: dict[str, bytes] = field(default_factory=dict)
    """Track and curves as the content of their files, by the name of the set."""


def measure_job(job: Job) -> Outcome:
    """Measure one clip, unless what is kept of it still holds; whatever is wrong with it is its outcome."""
    cv2.setNumThreads(1)  # clips are measured side by side, each on one core
    sha256, fingerprint = None, ""
    try:
        with at_hand(job.place) as path:
            sha256 = sha256_of(path)
            fingerprint = fingerprint_of(sha256, job.settings)
            if fingerprint == job.known:
                return Outcome(key=job.key, sha256=sha256, fingerprint=fingerprint, unchanged=True)
            measurement, track = job.measure(path, job.settings)
    except CannotMeasure as error:
        refused = error
    except OSError as error:
        fingerprint = ""  # it may be read the next time
        refused = CannotMeasure(
            f"It could not be read ({error.strerror or type(error).__name__}).", fix="Run the season again."
        )
    except Exception as error:  # noqa: BLE001 - one clip's defect is its own, and no season's end
        refused = CannotMeasure(
            f"A defect in pennyfall stopped this ({type(error).__name__}: {error}).",
            fix="Keep the clip, and send it to whoever looks after pennyfall.",
        )
    else:
        changed = measurement.clip.sha256 != sha256  # it was being copied meanwhile
        return Outcome(
            key=job.key,
            sha256=measurement.clip.sha256,
            fingerprint="" if changed else fingerprint,
            strokes=plain(stroke_rows(measurement)),
            version=version("pennyfall"),
            tables=_tables(measurement, track) if job.tracks else {},
        )
    return refusal_of(job, refused, sha256=sha256, fingerprint=fingerprint)


def refusal_of(job: Job, error: CannotMeasure, *, sha256: str | None, fingerprint: str) -> Outcome:
    """Return the outcome of a clip that is not measured; its words name it as the table does."""
    name = PurePosixPath(job.place.replace("\\", "/")).name
    named = re.compile(f"{re.escape(job.place)}|{re.escape(name)}")
    message, fix = (
        named.sub(lambda _: job.shown, each)
        for each in (error.message, f"{error.fix}{line_of(error.setting)}")
    )
    return Outcome(
        key=job.key,
        sha256=sha256,
        fingerprint=fingerprint,
        refused=message,
        remedy=fix,
        version=version("pennyfall"),
    )


def fingerprint_of(sha256: str, settings: Settings) -> str:
    """Return the name of 'this content measured with these settings by this version'."""
    text = json.dumps([sha256, version("pennyfall"), plain(settings)], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def measure_for_season(path: Path, settings: Settings) -> tuple[Measurement, pd.DataFrame]:
    """Measure one clip; return the measurement and its track."""
    from pennyfall.cli.files.track import track_table
    from pennyfall.tracker.measure.clip import measure_clip

    measured = measure_clip(path, settings)
    return measured.measurement, track_table(measured)


def _tables(measurement: Measurement, track: pd.DataFrame) -> dict[str, bytes]:
    import pandas as pd

    curves = pd.concat(
        pd.DataFrame(
            {
                "stroke": each.number,
                "t_s": each.profile.t_s,
                "x_m": each.profile.x_m,
                "v_mps": each.profile.v_mps,
                "a_mps2": each.profile.a_mps2,
                "a_sd_mps2": each.profile.a_sd_mps2,
                "tilt_rad": each.profile.tilt_rad,
            }
        )
        for each in measurement.strokes
    )
    sha256 = measurement.clip.sha256
    sets = (("tracks", track, TRACKS), ("curves", curves, CURVES))
    return {name: _part(table.assign(clip_sha256=sha256), columns) for name, table, columns in sets}


def _part(table: pd.DataFrame, columns: tuple[Column, ...]) -> bytes:
    known = {each.name: each for each in columns}
    return parquet_bytes(table, lambda: arrow_schema(known[name] for name in table.columns))
