from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from pennyfall.demo_clips.clips import shipped_clips

pytestmark = [pytest.mark.slow, pytest.mark.clip]


def measured_with(threads: int, folder: Path) -> tuple[bytes, bytes]:
    """Return measurement file and track of one clip, measured with so many threads of every kind."""
    folder.mkdir()
    clip = min(shipped_clips(), key=lambda each: each.path.stat().st_size).path
    counted = {name: str(threads) for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}
    measure = (
        f"import cv2; cv2.setNumThreads({threads}); import sys; from pennyfall.cli.app import main; "
        "sys.exit(main())"
    )
    words = ["measure", str(clip), "--json", str(folder / "m.json"), "--track", str(folder / "t.csv")]
    subprocess.run(
        [sys.executable, "-c", measure, *words, "--quiet"], check=True, env={**os.environ, **counted}
    )
    return (folder / "m.json").read_bytes(), (folder / "t.csv").read_bytes()


def test_the_same_clip_gives_the_same_files_to_the_last_digit_whatever_the_threads(tmp_path: Path) -> None:
    assert measured_with(1, tmp_path / "one") == measured_with(3, tmp_path / "three")
