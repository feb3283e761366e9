"""Make the shipped clips again: ``python -m pennyfall.demo_clips.make [NAME ...]``."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from pennyfall.demo_clips.clips import clip_folder
from pennyfall.demo_clips.larch import SCENES
from pennyfall.demo_clips.record import render_clip


def main(names: Sequence[str], folder: Path) -> None:
    """Render the named scenes, or all of them, into a folder."""
    unknown = set(names) - set(SCENES)
    if unknown:
        raise SystemExit(f"There is no clip {sorted(unknown)[0]!r}; there are {', '.join(SCENES)}.")
    for name in names or SCENES:
        render_clip(SCENES[name], folder / f"{name}.mp4", partial(_show, name))
        sys.stderr.write("\n")


def _show(name: str, done: int, of: int) -> None:
    if done % 20 == 0 or done == of:
        sys.stderr.write(f"\r{name}: frame {done} of {of}")
        sys.stderr.flush()


if __name__ == "__main__":
    main(sys.argv[1:], clip_folder())
