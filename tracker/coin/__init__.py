"""The coin in the picture: riding on the head, and fallen on the floor.

Knows a camera and a coin's size. Ask it how far a coin has slid (`ShelfWatch`) and where one lies
(`find_resting_coin`).
"""

from pennyfall.tracker.coin.fallen import find_resting_coin
from pennyfall.tracker.coin.on_head import ShelfView, ShelfWatch, leave_instant

__all__ = [
    "ShelfView",
    "ShelfWatch",
    "find_resting_coin",
    "leave_instant",
]
