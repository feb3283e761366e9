"""The file: container, header clocks, damage, frames with true times, sound.

Knows nothing of strokes. Ask it for a `Reading` (header and clocks, never changing), a `Decoding` (one
pass over the frames) and what that pass found out, `Decoded`; the click at impact is heard here too.
"""

from pennyfall.tracker.clip.album import Album
from pennyfall.tracker.clip.decoding import Decoded, Decoding, clip_facts
from pennyfall.tracker.clip.frame import Frame
from pennyfall.tracker.clip.reading import Reading, read_clip
from pennyfall.tracker.clip.sound import check_sound

__all__ = [
    "Album",
    "Decoded",
    "Decoding",
    "Frame",
    "Reading",
    "check_sound",
    "clip_facts",
    "read_clip",
]
