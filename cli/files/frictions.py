"""The frictions found for each coin on each putter, kept in a small TOML file."""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pennyfall.cli.files.measurement import write_whole
from pennyfall.kinematics.coin.friction import FrictionRange
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Estimate

KEPT_SDS = 2.0
"""Chosen by us: the range that a kept friction stands for, in standard deviations either side."""


@dataclass(frozen=True, kw_only=True, slots=True)
class KeptFriction:
    """What all observations so far say about one coin on one putter."""

    static: Estimate
    kinetic_share: float
    observations: int

    def joined(self, static: Estimate, kinetic_share: float) -> KeptFriction:
        """Return it with one more observation, weighted by its certainty."""
        old, new = 1 / self.static.sd**2, 1 / static.sd**2
        return KeptFriction(
            static=Estimate(
                (old * self.static.value + new * static.value) / (old + new), math.sqrt(1 / (old + new))
            ),
            kinetic_share=(old * self.kinetic_share + new * kinetic_share) / (old + new),
            observations=self.observations + 1,
        )

    def as_range(self) -> FrictionRange:
        """Return the range that it stands for."""
        reach = KEPT_SDS * self.static.sd
        return FrictionRange(
            low=max(self.static.value - reach, 0.0),
            high=self.static.value + reach,
            kinetic_share=self.kinetic_share,
            source=f"kept from {self.observations} observed coin{'s' if self.observations > 1 else ''} "
            f"on this putter, {self.static.value:.2f} ± {reach:.2f}",
        )


def kept_name(club: Path | None, coin: str) -> str:
    """Return the name under which a coin is kept, on the putter of a club file or on any."""
    putter = club.stem if club is not None else "any putter"
    return re.sub(r"[^a-z0-9]+", "-", f"{putter} {coin}".lower()).strip("-")


def load_frictions(path: Path) -> dict[str, KeptFriction]:
    """Read the file; nothing is kept where there is none yet.

    Raises
    ------
    CannotMeasure
        When the file cannot be read or understood.

    """
    if not path.exists():
        return {}
    try:
        entries = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        return {name: _kept(entry) for name, entry in entries.items()}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise CannotMeasure(
            f"{path.name} cannot be read as a file of frictions ({error}).",
            fix="Give the file written by: pennyfall coin ... --frictions FILE, or name a new one.",
        ) from error


def save_frictions(path: Path, kept: dict[str, KeptFriction]) -> None:
    """Write the file, whole or not at all."""
    lines = ["# Friction of a coin on a putter, inferred from where it fell; coefficients without unit."]
    for name, each in sorted(kept.items()):
        lines += [
            "",
            f"[{name}]",
            f"static = {each.static.value:.4f}",
            f"static_sd = {each.static.sd:.4f}",
            f"kinetic_share = {each.kinetic_share:.3f}",
            f"observations = {each.observations}",
        ]
    write_whole(path, ("\n".join(lines) + "\n").encode())


def forget_friction(path: Path | None, name: str) -> str:
    """Take a coin's friction out of the file; return a sentence saying what was taken out.

    Raises
    ------
    CannotMeasure
        When no file is named, or nothing of that name is in it.

    """
    kept = {} if path is None else load_frictions(path)
    if path is None or name not in kept:
        where = "no file of frictions is named" if path is None else f"{path.name} holds no {name}"
        raise CannotMeasure(
            f"Nothing can be forgotten: {where}.",
            fix="Name the file that keeps it with --frictions, and the coin and club it was kept for.",
        )
    gone = kept.pop(name)
    save_frictions(path, kept)
    seen = f"{gone.observations} observed coin{'s' if gone.observations > 1 else ''}"
    return f"Forgotten: {name}, {gone.static.value:.2f} from {seen}."


def _kept(entry: dict[str, Any]) -> KeptFriction:
    static, sd, share = (float(entry[key]) for key in ("static", "static_sd", "kinetic_share"))
    if not (static >= 0 and sd > 0 and 0 < share <= 1):
        raise ValueError(f"static {static:g}, static_sd {sd:g}, kinetic_share {share:g}")
    return KeptFriction(
        static=Estimate(static, sd), kinetic_share=share, observations=int(entry["observations"])
    )
