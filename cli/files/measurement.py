"""The measurement file: a measurement to JSON and back, written whole or not at all."""

from __future__ import annotations

import dataclasses
import json
import math
import os
import secrets
import types
import typing
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Estimate, Measurement

SCHEMA = "pennyfall.measurement/1"


def to_document(measurement: Measurement) -> dict[str, Any]:
    """Return the measurement as the JSON document of version 1 (all values SI, NaN as null)."""
    return {"schema": SCHEMA, "software": {"version": version("pennyfall")}, **plain(measurement)}


def from_document(document: dict[str, Any]) -> Measurement:
    """Return the measurement held by a JSON document.

    Raises
    ------
    CannotMeasure
        When the document is of another kind or version, or lacks a field.

    """
    if document.get("schema") != SCHEMA:
        raise CannotMeasure(
            f"This is not a pennyfall measurement file of version 1 (schema: {document.get('schema')!r}).",
            fix="Make one with: pennyfall measure CLIP --json OUT.json",
        )
    try:
        measurement: Measurement = _typed(document, Measurement)
    except (KeyError, TypeError, ValueError) as error:
        raise CannotMeasure(
            f"The measurement file is damaged or incomplete ({error}).",
            fix="Make it again with: pennyfall measure CLIP --json OUT.json",
        ) from error
    return measurement


def save_measurement(measurement: Measurement, path: Path) -> None:
    """Write the measurement file to `path`, whole or not at all."""
    write_whole(path, json.dumps(to_document(measurement), indent=1, allow_nan=False).encode() + b"\n")


def load_measurement(path: Path) -> Measurement:
    """Read a measurement file.

    Raises
    ------
    CannotMeasure
        When the file cannot be read or is not a measurement file.

    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except UnicodeDecodeError as error:
        raise CannotMeasure(
            f"{path.name} is no measurement file.",
            fix=f"If it is a clip, measure it first: pennyfall measure {path.name} --json {path.stem}.json",
        ) from error
    except (OSError, ValueError) as error:
        raise CannotMeasure(
            f"{path.name} cannot be read as a measurement file "
            f"({error.strerror if isinstance(error, OSError) else error}).",
            fix="Give the JSON file written by: pennyfall measure CLIP --json OUT.json",
        ) from error
    if not isinstance(document, dict):
        raise CannotMeasure(
            f"{path.name} is not a measurement file.",
            fix="Give the JSON file written by: pennyfall measure CLIP --json OUT.json",
        )
    return from_document(document)


def plain(value: Any) -> Any:  # noqa: ANN401 - walks every kind of field
    """Return a value as JSON has it: fields by name, what is not finite as None."""
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {each.name: plain(getattr(value, each.name)) for each in dataclasses.fields(value)}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    return value


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` under a temporary name in the same folder, then rename, so no half file is ever seen.

    Raises
    ------
    CannotMeasure
        When the place cannot be written, or holds something else than a file.

    """
    if path.exists() and not path.is_file():
        raise CannotMeasure(f"{path} is no ordinary file and was left as it is.", fix="Name a file to write.")
    with beside(path) as temporary:
        with temporary.open("xb") as stream:  # readable by whom the umask says, and by nobody else
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.replace(path.resolve())  # a link stays a link


def refuse_unwritable(*paths: Path | None) -> None:
    """Refuse a place where `write_whole` would fail, before anything is worked out for it.

    Parameters
    ----------
    *paths : Path or None
        Files that will be written; None stands for one that was not asked for.

    Raises
    ------
    CannotMeasure
        When one is a folder, its folder is not there, or nothing can be written in it.

    """
    for path in paths:
        if path is None:
            continue
        if path.is_dir():
            raise CannotMeasure(f"{path} is a folder.", fix="Name a file, such as stroke.json.")
        if not path.parent.is_dir():
            raise CannotMeasure(f"There is no folder {path.parent}.", fix="Make it first, or name another.")
        with beside(path) as probe:
            probe.touch(exist_ok=False)


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """Lend a temporary name in a file's folder; whatever happens, nothing of that name stays.

    Raises
    ------
    CannotMeasure
        When the body cannot write there.

    """
    place = path.resolve()
    temporary = place.with_name(f".{place.name}.{secrets.token_hex(4)}")
    try:
        yield temporary
    except OSError as error:
        raise CannotMeasure(
            f"{path} cannot be written ({error.strerror or error}).",
            fix="Name a folder that exists and may be written, with space left on the disk.",
        ) from error
    finally:
        with suppress(OSError):
            temporary.unlink()


def _typed(value: Any, kind: Any) -> Any:  # noqa: ANN401 - the reverse walk
    origin = typing.get_origin(kind)
    if origin is types.UnionType:
        kinds = typing.get_args(kind)
        return None if value is None else _typed(value, next(k for k in kinds if k is not type(None)))
    if origin is tuple:
        inner = typing.get_args(kind)
        if inner[-1] is Ellipsis:
            return tuple(_typed(item, inner[0]) for item in value)
        return tuple(_typed(item, one) for item, one in zip(value, inner, strict=True))
    if origin is np.ndarray:
        return np.array([math.nan if item is None else item for item in value], dtype=np.float64)
    if kind is float:
        return math.nan if value is None else float(value)
    if kind is Estimate:
        if not isinstance(value, dict):  # a landing spot of an earlier version: a bare number or none
            return Estimate(_typed(value, float), math.nan)
        return Estimate(_typed(value["value"], float), _typed(value["sd"], float))
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        hints = typing.get_type_hints(kind)
        given = {each.name: each for each in dataclasses.fields(kind)}
        return kind(
            **{
                name: _typed(value[name], hints[name])
                for name, each in given.items()
                if name in value or each.default is each.default_factory is dataclasses.MISSING
            }
        )
    return value
