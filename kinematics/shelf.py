"""The floor in the head on which the coin lies: its edges, lip and wall."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pennyfall.kinematics.errors import CannotMeasure


@dataclass(frozen=True, kw_only=True, slots=True)
class Shelf:
    """The floor on which the coin lies, as measured with a ruler.

    Raises
    ------
    CannotMeasure
        When a length is negative, or the coin would start on the edge.

    """

    floor_height_m: float = 0.025
    """Height of the floor above the ground at address [m]."""
    edge_distance_m: float = 0.015
    """From the coin's centre to the rear edge [m]."""
    lip_height_m: float = 0.0
    """Height of a lip along the rear edge [m]."""
    cavity_depth_m: float = 0.005
    """Height of the wall toward the face [m]; 0 is a flat top."""
    front_room_m: float = 0.0
    """How far the coin's centre can move toward the face before the wall stops it, or, on a flat top, before
    it passes the edge at the face [m]."""
    coin_from_tag_m: float = 0.0
    """From the tag's centre to the coin's centre along the target line [m]; negative behind it."""

    def __post_init__(self) -> None:
        if not self.edge_distance_m > 0:
            raise CannotMeasure(
                f"The coin's centre lies {1e3 * self.edge_distance_m:g} mm from the rear edge: it falls off.",
                fix="Measure from the coin's centre to the rear edge of its floor: more than zero.",
            )
        for name in ("floor_height_m", "lip_height_m", "cavity_depth_m", "front_room_m"):
            if not getattr(self, name) >= 0:
                raise CannotMeasure(
                    f"The shelf's {name.removesuffix('_m').replace('_', ' ')} is "
                    f"{1e3 * getattr(self, name):g} mm; it cannot be negative.",
                    fix="Measure it again with a ruler, as a length.",
                )

    @property
    def rear_edge_from_tag_m(self) -> float | None:
        """From the tag's centre to the rear edge along the target line, negative behind it [m].

        None where nobody said how the coin lies from the tag: on the tag itself it cannot.
        """
        return None if self.coin_from_tag_m == 0 else self.coin_from_tag_m - self.edge_distance_m

    def with_coin_at(self, coin_from_tag_m: float) -> Shelf:
        """Return the same floor with the coin laid elsewhere on it.

        Unchanged where that is off the floor, or where the floor's edges are not known from the tag.
        """
        edge_m = self.rear_edge_from_tag_m
        if edge_m is None or not coin_from_tag_m > edge_m:
            return self
        return replace(
            self,
            coin_from_tag_m=coin_from_tag_m,
            edge_distance_m=coin_from_tag_m - edge_m,
            front_room_m=max(self.coin_from_tag_m + self.front_room_m - coin_from_tag_m, 0.0),
        )
