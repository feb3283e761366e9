"""The settings of a measurement: everything a person states beside the clip, in SI units."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from pennyfall.calibration.club import Club
from pennyfall.calibration.layout import STANDARD_SHEET, TagLayout
from pennyfall.calibration.lens import Lens
from pennyfall.calibration.tag_size import TagSizes
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import Estimate
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.dot.colour import WantedColour

HeadMark = Literal["tag", "dot", "patch", "bare"]
"""What is followed on the head; the shaft where no mark is seen."""

HeightSource = Literal["club-file", "stated", "estimated"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Settings:
    """What is stated beside a clip; one value for measuring, checking, coin and lesson alike."""

    club: Club | None = None
    """The club file; it gives the tag's height and size and the coin's shelf."""
    tag_height_m: Estimate | None = None
    """Height of the tag above the floor at address; it overrides the club file [m]."""
    layout: TagLayout = STANDARD_SHEET
    """The printed tags, scaled already where the check ruler said so."""
    lens: Lens | None = None
    """Calibrated lens."""
    recorded_at_hz: float | None = None
    """True frame rate of a clip re-timed to slow motion [Hz]."""
    box: Box | None = None
    """Where the head is on the first frame: it names it, and beside a sheet this patch is followed."""
    dot: WantedColour | Box | None = None
    """A dot on the head, by its colour or by a box around it, followed in place of the tag."""

    coin_shelf: Shelf | None = None
    """The coin's shelf as stated; it overrides the club file."""
    readout_s: float | None = None
    """Time from the picture's first row to its last, where the coach knows it [s]."""

    @property
    def method(self) -> HeadMark:
        """What is followed on the head."""
        if self.dot is not None:
            return "dot"
        return "tag" if self.box is None else "patch"

    @property
    def stated_height(self) -> Estimate | None:
        """Height of the tag where it was measured."""
        if self.tag_height_m is not None:
            return self.tag_height_m
        return self.club.tag_height_m if self.club is not None else None

    @property
    def height_source(self) -> HeightSource:
        """Where the tag's height comes from."""
        if self.tag_height_m is not None:
            return "stated"
        return "club-file" if self.club is not None else "estimated"

    @property
    def shelf(self) -> Shelf | None:
        """The coin's shelf, where it is stated or the club file describes it."""
        if self.coin_shelf is not None:
            return self.coin_shelf
        return self.club.shelf if self.club is not None else None

    @property
    def tag_sizes(self) -> TagSizes | None:
        """Sizes the head tag may have; None where club or layout state it."""
        stated = self.club is not None and self.club.tag_side_m is not None
        if stated or not self.layout.printed_sides_m:
            return None
        return TagSizes(assumed_m=self.layout.head_tag_side_m, printed_m=self.layout.printed_sides_m)

    @property
    def tags(self) -> TagLayout:
        """The layout with the head tag's size from the club file."""
        if self.club is None or self.club.tag_side_m is None:
            return self.layout
        return replace(self.layout, head_tag_side_m=self.club.tag_side_m)
