"""What a coach must take care of, a sentence each; README and printed sheet say the same in their places."""

from __future__ import annotations

FALLEN_COIN = (
    "A fallen coin lies underfoot and in the next stroke's way: pick it up before anybody steps or swings."
)
SHARING = "Film and share only with consent, a guardian's for minors; that covers clips and reports too."
ALL = (
    "Keep the swing area clear, and the phone and its tripod out of the way of club and ball.",
    "Tape the sheet's edges down.",
    FALLEN_COIN,
    SHARING,
    "Take tag or dot off the head before a round: local rules decide what may stay on.",
    "Stop on pain.",
)
