"""The coin in the picture: riding on the head, and fallen on the floor.

Keep pieces of the pictures while the clip is followed (`PieceKeeper`), then ask what they show: a coin on
the head and whether it stayed (`look_on_head`), and where one lies afterwards (`find_resting_coin`).
"""

from pennyfall.tracker.coin.fallen import find_resting_coin
from pennyfall.tracker.coin.head_views import HeadPose, HeadTop
from pennyfall.tracker.coin.on_head import CoinOnHead, StrokeTimes, leave_instant, look_on_head
from pennyfall.tracker.coin.pieces import Piece, PieceKeeper, Pieces

__all__ = [
    "CoinOnHead",
    "HeadPose",
    "HeadTop",
    "Piece",
    "PieceKeeper",
    "Pieces",
    "StrokeTimes",
    "find_resting_coin",
    "leave_instant",
    "look_on_head",
]
