"""The lens board: the ChArUco board of this project, printed by `pennyfall sheet --board`."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pennyfall.calibration.layout import tag_dictionary

BOARD_DICTIONARY = "DICT_5X5_100"
"""Another dictionary than the sheet's, so that a board left in view is never taken for the sheet."""
BOARD_SQUARES = (10, 7)
BOARD_SQUARE_M = 0.025
BOARD_TAG_M = 0.0175
CELLS_PER_SQUARE = 20
"""The tags' cells (2.5 mm) and their margins (3.75 mm) are whole on a grid of 1.25 mm."""


def charuco_board() -> cv2.aruco.CharucoBoard:
    """Return the lens board: 10 x 7 squares of 25 mm, which fits A4 and US Letter."""
    return cv2.aruco.CharucoBoard(
        BOARD_SQUARES, BOARD_SQUARE_M, BOARD_TAG_M, tag_dictionary(BOARD_DICTIONARY)
    )


def board_bits() -> NDArray[np.uint8]:
    """Return the board as cells of 1.25 mm, 1 white and 0 black, row 0 at the top, shape (140, 200)."""
    columns, rows = BOARD_SQUARES
    image = charuco_board().generateImage((columns * CELLS_PER_SQUARE, rows * CELLS_PER_SQUARE))
    return np.asarray(image // 255, dtype=np.uint8)
