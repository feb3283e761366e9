"""Clips followed and measured: the library's face.

>>> from pennyfall.tracker import Settings, measure_clip
"""

from pennyfall.tracker.measure.clip import measure_clip
from pennyfall.tracker.measure.settings import Settings

__all__ = [
    "Settings",
    "measure_clip",
]
