"""The coach's own rules and reference bands, kept beside the lesson file."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from pennyfall.cli.files.measurement import write_whole
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.lesson.reference_bands import (
    ReferenceBand,
    reference_bands_from,
    standard_reference_bands,
)
from pennyfall.kinematics.lesson.rules import Rules, rules_from, standard_rules

RULES_FILE = "rules.toml"
BANDS_FILE = "reference_bands.toml"

Read = TypeVar("Read")


def rules_of(folder: Path) -> Rules:
    """Return the rules in the lesson's folder, the ones that come with the package where there are none.

    Raises
    ------
    CannotMeasure
        When the file is there but cannot be used.

    """
    return _own(folder / RULES_FILE, rules_from) or standard_rules()


def bands_of(folder: Path) -> tuple[ReferenceBand, ...]:
    """Return the reference bands in the lesson's folder, else the ones that come with the package.

    Raises
    ------
    CannotMeasure
        When the file is there but cannot be used.

    """
    own = _own(folder / BANDS_FILE, reference_bands_from)
    return standard_reference_bands() if own is None else own


def write_rules(folder: Path) -> tuple[Path, ...]:
    """Copy the package's rules and bands into a lesson folder, to be changed there; what is there stays.

    Raises
    ------
    CannotMeasure
        When both are there already.

    """
    missing = [folder / name for name in (RULES_FILE, BANDS_FILE) if not (folder / name).exists()]
    if not missing:
        raise CannotMeasure(
            f"{RULES_FILE} and {BANDS_FILE} are already in {folder} and were left as they are.",
            fix="Edit them by hand, or move them away first to get fresh ones.",
        )
    for path in missing:
        standard = resources.files("pennyfall.kinematics.lesson").joinpath(path.name)
        write_whole(path, standard.read_bytes())
    return tuple(missing)


def _own(path: Path, read: Callable[[Mapping[str, Any]], Read]) -> Read | None:
    if not path.exists():
        return None
    try:
        return read(tomllib.loads(path.read_text(encoding="utf-8-sig").replace("\r\n", "\n")))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise CannotMeasure(
            f"{path.name} cannot be read: {str(error).lower()}.",
            fix="Correct that place, or move the file away to use the standard ones.",
        ) from None
    except CannotMeasure as error:
        raise CannotMeasure(f"{path.name}: {error.message}", fix=error.fix) from None
