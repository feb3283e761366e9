"""A box on the first frame, as a person draws it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import FloatArray


@dataclass(frozen=True, slots=True)
class Box:
    """Whole pixels of the picture as displayed."""

    x: int
    """Leftmost column [px]."""
    y: int
    """Topmost row [px]."""
    width: int
    height: int

    @classmethod
    def read(cls, text: str) -> Box:
        """Return the box that 'x,y,w,h' stands for.

        Raises
        ------
        CannotMeasure
            When the text is anything else.

        """
        try:
            x, y, width, height = (int(part) for part in text.split(","))
        except ValueError:
            width = height = 0
        if width < 1 or height < 1:
            raise CannotMeasure(
                f"{text!r} is no box.",
                fix="Give it as x,y,w,h in pixels of the first frame, such as 610,402,30,20.",
            )
        return cls(x, y, width, height)

    @property
    def middle_px(self) -> FloatArray:
        """Its middle, shape (2,) [px]."""
        return np.array([self.x + self.width / 2, self.y + self.height / 2])

    def refuse_outside(self, picture_width: int, picture_height: int) -> None:
        """Refuse a box that is not wholly inside a picture.

        Raises
        ------
        CannotMeasure
            With both sizes.

        """
        inside = self.x >= 0 and self.y >= 0
        if not inside or self.x + self.width > picture_width or self.y + self.height > picture_height:
            raise CannotMeasure(
                f"The box {self.x},{self.y},{self.width},{self.height} is not inside the picture of "
                f"{picture_width} x {picture_height} px.",
                fix="Give x,y,w,h in pixels of the first frame as it is shown (after rotation).",
            )
