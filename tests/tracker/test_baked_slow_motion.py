"""Slow motion baked in by a phone's export: an even 30 frames/s, normal speed at both ends, slow in between.

The normal parts keep every fourth or eighth picture, the slow part all; where it begins is not in the file.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import pytest

from pennyfall.demo_clips.clips import shipped_clips
from pennyfall.demo_clips.truth import load_truth
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import Estimate
from tests.tracker.timed_clips import DURATIONS, EVENTS, SD95, SPEEDS, measured

pytestmark = pytest.mark.clip
SLOW = pytest.mark.slow

PLAYED_HZ = 30
CLIPS = {clip.name: clip for clip in shipped_clips()}
TAKEAWAY, TOP, IMPACT, STILL = 108, 266, 345, 477
"""Frames of larch-240-early at its stroke's events, by its truth."""
LAST = 512


def _kept(first: int, last: int, count: int, factor: int, eased: int) -> list[int]:
    """Return the frames that an export keeps: all from `first` to `last`, fewer and fewer beyond."""
    ease = [max(1, round(factor ** ((step + 1) / (eased + 1)))) for step in range(eased)]
    before, after = [first], [last]
    for beyond, way in ((before, -1), (after, 1)):
        for step in (*ease, *[factor] * count):
            beyond.append(beyond[-1] + way * step)
    return [index for index in (*before[:0:-1], *range(first, last + 1), *after[1:]) if 0 <= index < count]


def _baked(folder: Path, name: str, kept: Sequence[int], *, metadata: dict[str, str] | None = None) -> Path:
    """Write these frames of a shipped clip anew, evenly played."""
    path, wanted = folder / "baked.mp4", set(kept)
    flags = {"movflags": "use_metadata_tags"}
    with av.open(str(CLIPS[name].path)) as source, av.open(str(path), "w", options=flags) as out:
        out.metadata.update(metadata or {})
        stream = out.add_stream("libx264", rate=PLAYED_HZ)
        coded = source.streams.video[0].codec_context
        stream.width, stream.height, stream.pix_fmt = coded.width, coded.height, "yuv420p"
        stream.options = {"crf": "12", "preset": "veryfast"}
        for index, picture in enumerate(source.decode(video=0)):
            if index in wanted:
                frame = picture.reformat(format="yuv420p")
                frame.pts, frame.time_base = (
                    len([each for each in kept if each < index]),
                    Fraction(1, PLAYED_HZ),
                )
                out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def _off(stroke: object, truth: dict[str, float], shift_s: float, recorded: object) -> dict[str, float]:
    """Return the measures outside their 95 % intervals, in standard deviations.

    Speeds are held against those of the clip as `recorded`: what its coding does to them is not asked here.
    """
    wanted = {name: truth[key] - shift_s for name, key in EVENTS.items()}
    wanted |= {name: truth[key] for name, key in DURATIONS.items()}
    wanted |= {name: getattr(recorded, name).value for name in SPEEDS}
    apart = {}
    for name, value in wanted.items():
        estimate: Estimate = getattr(stroke, name)
        apart[name] = (estimate.value - value) / estimate.sd
    return {name: sds for name, sds in apart.items() if not abs(sds) <= SD95}


@pytest.mark.parametrize("eased", [0, pytest.param(8, marks=SLOW)])
@pytest.mark.parametrize("known", ["stated", pytest.param("metadata", marks=SLOW)])
def test_a_stroke_whole_in_the_slow_part_has_its_true_times(tmp_path: Path, eased: int, known: str) -> None:
    first, last = TAKEAWAY - 36, STILL + 5
    kept = _kept(first, last, LAST + 1, 8, eased)
    metadata = {"com.android.capture.fps": "240.0"} if known == "metadata" else {}
    clip = _baked(tmp_path, "larch-240-early", kept, metadata=metadata)
    result = measured(clip, recorded_at_hz=240.0 if known == "stated" else None)
    (stroke,) = result.measurement.strokes
    truth = load_truth(CLIPS["larch-240-early"].truth)["strokes_container_clock"][0]
    assert result.measurement.clip.time_source == known
    codes = {each.code for each in result.measurement.warnings}
    assert ("slow-motion-stated" in codes) == (known == "stated")
    assert "plays-normally" not in codes
    (recorded,) = measured(CLIPS["larch-240-early"].path).measurement.strokes
    assert _off(stroke, truth, (first - kept.index(first)) / 240, recorded) == {}


@pytest.mark.parametrize(
    ("first", "last", "eased"),
    [
        (TAKEAWAY + 72, LAST, 12),
        (0, 20, 0),
        *(
            pytest.param(first, last, eased, marks=SLOW)
            for eased in (0, 12)
            for first, last in (
                (TAKEAWAY + 50, LAST),
                (TOP - 10, LAST),
                (TOP + 40, LAST),
                (TAKEAWAY - 40, TOP - 60),
                (TAKEAWAY - 40, IMPACT - 35),
                (TAKEAWAY - 40, IMPACT + 40),
            )
        ),
    ],
)
def test_a_stroke_across_a_change_of_speed_or_outside_the_slow_part_is_refused(
    tmp_path: Path, first: int, last: int, eased: int
) -> None:
    clip = _baked(tmp_path, "larch-240-early", _kept(first, last, LAST + 1, 8, eased))
    with pytest.raises(
        CannotMeasure, match="plays at normal speed there, and no stroke lies whole in slow"
    ) as refused:
        measured(clip, recorded_at_hz=240.0)
    assert "let its slow part begin before the stroke" in refused.value.fix


@pytest.mark.parametrize(
    ("first", "last", "eased"),
    [
        (TAKEAWAY - 40, IMPACT - 35, 0),
        *(
            pytest.param(first, last, eased, marks=SLOW)
            for eased in (0, 12)
            for first, last in ((TAKEAWAY - 36, STILL + 5), (TAKEAWAY + 72, LAST))
        ),
        pytest.param(TAKEAWAY - 40, IMPACT - 35, 12, marks=SLOW),
    ],
)
def test_where_nothing_says_the_rate_it_is_asked_for(
    tmp_path: Path, first: int, last: int, eased: int
) -> None:
    clip = _baked(tmp_path, "larch-240-early", _kept(first, last, LAST + 1, 8, eased))
    with pytest.raises(CannotMeasure, match="slow motion") as refused:
        measured(clip)
    assert refused.value.setting == "recorded_at"
    assert "State the rate it was recorded at" in refused.value.fix


@pytest.mark.slow
def test_of_three_strokes_the_one_whole_in_the_slow_part_is_measured(tmp_path: Path) -> None:
    """The first of three plays at normal speed, the second slowly, the third across the change."""
    first, last = round(3.6 * 120), round(8.4 * 120)
    kept = _kept(first, last, 1200, 4, 4)
    clip = _baked(tmp_path, "larch-120-three", kept)
    result = measured(clip, recorded_at_hz=120.0)
    (stroke,) = result.measurement.strokes
    truth = load_truth(CLIPS["larch-120-three"].truth)["strokes_container_clock"][1]
    recorded = measured(CLIPS["larch-120-three"].path).measurement.strokes[1]
    assert _off(stroke, truth, (first - kept.index(first)) / 120, recorded) == {}
    (caution,) = (each for each in result.measurement.warnings if each.code == "plays-normally")
    assert caution.message.endswith("left out: 2.")
