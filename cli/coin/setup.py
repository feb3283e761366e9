"""Shelf, friction and coin from what a person types: millimetres to metres, names to values, once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pennyfall.cli.files.frictions import kept_name, load_frictions
from pennyfall.kinematics.coin.friction import DEFAULT_SURFACE, FrictionRange, known_coin, published_friction
from pennyfall.kinematics.coin.prediction import CoinSetup
from pennyfall.kinematics.shelf import Shelf


def coin_setup(
    *,
    coin: str,
    club: Path | None,
    surface: str | None,
    friction: tuple[float, float] | None,
    kinetic_share: float | None,
    frictions: Path | None,
    edge_mm: float | None = None,
    lip_mm: float | None = None,
    floor_mm: float | None = None,
    wall_mm: float | None = None,
    from_tag_mm: float | None = None,
) -> CoinSetup:
    """Return the setup that a coach's words and files stand for.

    The shelf is the club file's, with single lengths overridden; the friction is the stated range, else what
    was kept for this coin on this putter, else the published range of the surface.

    Raises
    ------
    CannotMeasure
        When a value is impossible or a file cannot be used.

    """
    given = {
        "edge_distance_m": edge_mm,
        "lip_height_m": lip_mm,
        "floor_height_m": floor_mm,
        "cavity_depth_m": wall_mm,
        "coin_from_tag_m": from_tag_mm,
    }
    stated = {name: value / 1e3 for name, value in given.items() if value is not None}
    return CoinSetup(
        shelf=replace(_club_shelf(club), **stated),
        friction=_friction(surface, friction, kinetic_share, kept_name(club, coin), frictions),
        coin=known_coin(coin),
        kinetic_share=kinetic_share,
    )


def _club_shelf(club: Path | None) -> Shelf:
    if club is None:
        return Shelf()
    from pennyfall.calibration.club import load_club

    return load_club(club).shelf or Shelf()


def _friction(
    surface: str | None,
    stated: tuple[float, float] | None,
    kinetic_share: float | None,
    kept: str,
    frictions: Path | None,
) -> FrictionRange:
    if stated is not None:
        found = FrictionRange(low=stated[0], high=stated[1], source="stated")
    else:
        known = load_frictions(frictions) if frictions is not None else {}
        found = (
            known[kept].as_range()
            if kept in known and surface is None
            else published_friction(surface or DEFAULT_SURFACE)
        )
    return found if kinetic_share is None else replace(found, kinetic_share=kinetic_share)
