"""`pennyfall check` says within ten seconds whether a clip can be measured, and what to change."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from pennyfall.calibration.attitude import projection_gradient, tag_axes
from pennyfall.calibration.pose import Pose, solve_pose
from pennyfall.cli.app import app
from pennyfall.demo_clips.clips import DemoClip, shipped_clips
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.tracker.ball.followed import FollowedBall
from pennyfall.tracker.clip.decoding import Decoded
from pennyfall.tracker.follow.clip_pass import Followed
from pennyfall.tracker.follow.dot.colour import WantedColour
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.follow.sheet import SheetSight
from pennyfall.tracker.measure import check as check_module
from pennyfall.tracker.measure.check import Finding, findings
from pennyfall.tracker.measure.refusals import refuse_unusable
from pennyfall.tracker.measure.settings import HeadMark, Settings
from tests.calibration.scenes import camera_over_floor, sheet_points
from tests.cli.synthetic import measurement, plateau_stroke

SIZE = (1280, 720)
CAMERA = camera_over_floor()


def _pose() -> Pose:
    points = sheet_points()
    return solve_pose(points, CAMERA.project(points), np.full(len(points), 0.03), picture_size=SIZE)


def _head(*, travel_m: float = 0.3, exposure_s: float = 1 / 1000, enlarged: float = 1.0) -> PixelTrack:
    time_s = np.arange(0, 1.5, 1 / 240)
    x = travel_m * (np.sin(np.pi * time_s / 0.8) ** 2 - 0.5)
    points = np.column_stack([x, np.full_like(x, 0.15), np.full_like(x, 0.03)])
    axes = tag_axes(np.zeros_like(x), np.zeros_like(x), np.zeros_like(x))
    count = len(x)
    return PixelTrack(
        time_s=time_s,
        seen=np.ones(count, dtype=np.bool_),
        centre_px=CAMERA.project(points),
        covariance_px2=np.tile(1e-3 * np.eye(2), (count, 1, 1)),
        jacobian=enlarged * projection_gradient(CAMERA, points) @ axes,
        stretch_covariance=np.tile(1e-5 * np.eye(4), (count, 1, 1)),
        exposure_s=exposure_s,
    )


def _ball(*, departed: bool) -> FollowedBall:
    count = 4
    return FollowedBall(
        time_s=np.arange(count) / 240,
        at_rest=np.ones(count, dtype=np.bool_),
        sd_x_m=np.full(count, 1e-4),
        frame=np.arange(count),
        centre_px=np.zeros((count, 2)),
        radius_px=np.full(count, 20.0),
        rest_m=np.zeros(3),
        confidence=1.0,
        departed=departed,
    )


def _sight() -> SheetSight:
    return SheetSight(
        points_m=np.empty((0, 3)), pixels=np.empty((0, 2)), sd_px=np.empty(0), homographies={}, blur_px=0.7
    )


GOOD = Followed(
    head=_head(),
    pose=_pose(),
    sheet=None,
    moved={},
    sheet_lost=(),
    balls=(_ball(departed=True),),
    head_ever_seen=True,
    sheet_tags_seen=4,
)


DECODED = Decoded(
    times_s=np.arange(12) / 240,
    picture_size=SIZE,
    rotation_deg=0,
    interlaced=False,
    damaged=False,
    frames_damaged=0,
    timestamps_repaired=0,
)


def _looked_over(
    followed: Followed, *, rate_hz: float = 240.0, dot: WantedColour | None = None
) -> dict[str, Finding]:
    """Return what is said of a clip of which a pass has seen what is given."""
    decoded = replace(DECODED, times_s=np.arange(12) / rate_hz)
    return {one.what: one for one in findings(followed, decoded, Settings(dot=dot), None)}


def test_a_good_clip_is_good_in_everything_and_asks_for_nothing() -> None:
    said = _looked_over(GOOD)
    assert set(said) == {"Frame rate", "Sheet", "Head tag", "Motion blur", "Framing", "Ball"}
    assert all(one.verdict == "good" and not one.advice for one in said.values())


def _seen(share: float) -> PixelTrack:
    head = _head()
    seen = np.arange(len(head.time_s)) < share * len(head.time_s)
    return replace(head, seen=seen, centre_px=np.where(seen[:, None], head.centre_px, np.nan))


def _shifted(pixels: float) -> PixelTrack:
    head = _head()
    return replace(head, centre_px=head.centre_px - np.min(head.centre_px, axis=0) + pixels)


@pytest.mark.parametrize(
    ("followed", "rate_hz", "what", "verdict", "words", "advice"),
    [
        (GOOD, 60.0, "Frame rate", "weak", "60 frames/s", "slow-motion mode"),
        (GOOD, 30.0, "Frame rate", "bad", "30 frames/s", "slow-motion mode"),
        (replace(GOOD, sheet_tags_seen=3), 240.0, "Sheet", "weak", "3 of its 4", "Uncover the sheet"),
        (
            replace(GOOD, pose=replace(_pose(), focal_source="assumed")),
            240.0, "Sheet", "weak", "too squarely", "30 to 60 degrees",
        ),
        (replace(GOOD, moved={3: _sight()}), 240.0, "Sheet", "weak", "moved", "on a stand"),
        (
            replace(GOOD, pose=None, sheet_tags_seen=0),
            240.0, "Sheet", "weak", "head tag alone", "Lay the printed sheet",
        ),
        (
            replace(GOOD, pose=None, sheet_tags_seen=1, head_ever_seen=False, balls=()),
            240.0, "Sheet", "bad", "1 of its 4", "Lay the printed sheet",
        ),
        (replace(GOOD, head_ever_seen=False), 240.0, "Head tag", "bad", "not found", "largest tag that fits"),
        (replace(GOOD, head=_seen(0.9)), 240.0, "Head tag", "weak", "90 %", "brighter light"),
        (replace(GOOD, head=_seen(0.5)), 240.0, "Head tag", "bad", "50 %", "brighter light"),
        (replace(GOOD, head=_head(enlarged=0.7)), 240.0, "Head tag", "weak", "px wide", "larger tag"),
        (replace(GOOD, head=_head(enlarged=0.4)), 240.0, "Head tag", "bad", "px wide", "larger tag"),
        (
            replace(GOOD, head=_head(exposure_s=1 / 100)),
            240.0, "Motion blur", "weak", "1/100 s", "brighter light",
        ),
        (replace(GOOD, head=_shifted(5.0)), 240.0, "Framing", "weak", "5 px of the edge", "Step back"),
        (
            replace(GOOD, balls=(_ball(departed=False),)),
            240.0, "Ball", "weak", "not seen to leave", "Film the whole stroke",
        ),
        (replace(GOOD, balls=()), 240.0, "Ball", "weak", "practice strokes", "stands out from the floor"),
    ],
)  # fmt: skip
def test_each_fault_has_its_verdict_its_number_and_its_remedy(
    followed: Followed,
    rate_hz: float,
    what: str,
    verdict: str,
    words: str,
    advice: str,
) -> None:
    said = _looked_over(followed, rate_hz=rate_hz)
    found = said[what]
    assert found.verdict == verdict
    assert words in found.words
    assert advice in found.advice
    others = [one for one in said.values() if one.what != what and one.verdict != "good"]
    assert all(one.what in ("Head tag", "Ball", "Sheet") for one in others), "a fault is told once"


def test_a_dot_is_judged_by_how_often_it_is_seen_and_needs_the_sheet() -> None:
    red = WantedColour.read("red")
    head = replace(GOOD.head, jacobian=np.full_like(GOOD.head.jacobian, np.nan))
    dotted = replace(GOOD, head=head)
    said = _looked_over(dotted, dot=red)
    assert set(said) == {"Frame rate", "Sheet", "Dot", "Framing", "Ball"}
    assert all(one.verdict == "good" for one in said.values())
    missing = _looked_over(replace(dotted, head_ever_seen=False), dot=red)["Dot"]
    assert missing.verdict == "bad"
    assert "box around it" in missing.advice
    assert _looked_over(replace(dotted, pose=None, sheet_tags_seen=0), dot=red)["Sheet"].verdict == "bad"


def _by_shaft(followed: Followed, *, row_px: float = 500.0) -> Followed:
    """Return the same seen by the shaft's line at the row of the ball."""
    head = followed.head
    line = np.column_stack([head.centre_px[:, 0], np.full(len(head.time_s), row_px)])
    return replace(
        followed,
        head=replace(
            head,
            centre_px=line,
            jacobian=np.full_like(head.jacobian, np.nan),
            exposure_s=float("nan"),
            slope=np.zeros(len(head.time_s)),
        ),
    )


BARE = _by_shaft(replace(GOOD, pose=None, sheet_tags_seen=0))


def test_a_clip_with_nothing_printed_is_good_in_everything_and_is_told_so_first() -> None:
    said = _looked_over(BARE)
    assert list(said) == ["Marks", "Ball", "Shaft", "Framing", "Frame rate"]
    assert all(one.verdict == "good" for one in said.values())
    assert "nothing printed is in the clip, and nothing has to be" in said["Marks"].words
    assert "seen in 100 % of the frames" in said["Shaft"].words


def test_what_the_scale_rests_on_and_what_paper_would_add_is_said_of_a_measured_bare_clip() -> None:
    bare = measurement(plateau_stroke())
    facts = replace(bare.calibration, source="ball", scale_rel_sd=0.0255)
    first, *_ = findings(BARE, DECODED, Settings(), replace(bare, calibration=facts))
    assert first.verdict == "good"
    assert "the ball gives the scale, to 5 %" in first.words
    assert "several times better" in first.advice


@pytest.mark.parametrize(
    ("followed", "what", "words", "advice"),
    [
        (
            replace(BARE, head=replace(GOOD.head, seen=np.zeros_like(GOOD.head.seen)), head_ever_seen=False),
            "Shaft", "none seen that swings beside the ball", "name the head on the first frame",
        ),
        (
            replace(GOOD, pose=None, sheet_tags_seen=0, head_ever_seen=False, balls=()),
            "Ball", "not found", "lay the printed sheet by it",
        ),
        (_by_shaft(replace(BARE, head=_seen(0.5))), "Shaft", "50 %", "brighter light"),
    ],
)  # fmt: skip
def test_without_paper_what_is_missing_is_ball_or_shaft_never_sheet_or_tag(
    followed: Followed, what: str, words: str, advice: str
) -> None:
    said = _looked_over(followed)
    assert not {"Sheet", "Head tag", "Motion blur"} & set(said)
    assert said[what].verdict == "bad"
    assert words in said[what].words
    assert advice in said[what].advice
    assert [one.what for one in said.values() if one.verdict == "bad"] == [what]


def test_a_shaft_of_which_little_is_in_the_picture_is_weak() -> None:
    short = _looked_over(_by_shaft(BARE, row_px=200.0))["Shaft"]
    assert short.verdict == "weak"
    assert "only 21 cm above the ball" in short.words  # 200 rows, the ball's radius being 20 of them
    assert "tilt the phone up" in short.advice


def test_with_a_sheet_and_no_tag_the_shaft_is_judged_and_the_tag_not_missed() -> None:
    said = _looked_over(_by_shaft(GOOD))
    assert set(said) == {"Frame rate", "Sheet", "Shaft", "Framing", "Ball"}
    assert all(one.verdict == "good" for one in said.values())
    assert "none needed" in said["Shaft"].words
    assert "A tag on top of the head" in said["Shaft"].advice


@pytest.mark.parametrize(
    ("method", "posed", "words"),
    [
        ("bare", True, "The shaft is seen in 20 % of the frames of a.mp4."),
        ("patch", False, "no shaft that swings from the head named on its first frame"),
        ("tag", False, "no shaft that swings beside it"),
    ],
)
def test_a_bare_clip_that_cannot_be_measured_is_refused_in_words_of_its_shaft(
    method: HeadMark, posed: bool, words: str
) -> None:
    poor = _by_shaft(replace(BARE, head=_seen(0.2)))
    with pytest.raises(CannotMeasure, match=words):
        refuse_unusable("a.mp4", poor, method=method, posed=posed)


def _takes(clip: DemoClip) -> tuple[float, str, int]:
    started = time.monotonic()
    result = CliRunner().invoke(app, ["check", str(clip.path)])
    return time.monotonic() - started, result.stdout, result.exit_code


SHIPPED = shipped_clips()


@pytest.mark.clip
@pytest.mark.parametrize(
    "clip",
    [
        pytest.param(clip, marks=() if clip.name == "larch-60" else pytest.mark.slow, id=clip.name)
        for clip in SHIPPED
    ],
)
def test_every_shipped_clip_passes_within_ten_seconds(clip: DemoClip) -> None:
    took_s, said, code = _takes(clip)
    assert code == 0, said
    assert took_s < 10.0
    assert "Good enough to measure." in said
    assert "bad" not in said.split("\n\n")[0]


def test_a_file_that_is_no_video_is_refused_with_code_2(tmp_path: Path) -> None:
    clip = tmp_path / "notes.mp4"
    clip.write_text("not a video")
    result = CliRunner().invoke(app, ["check", str(clip)])
    assert result.exit_code == 2
    assert "notes.mp4 cannot be read as a video" in result.stderr
    assert "Film again" in result.stderr


@pytest.mark.clip
@pytest.mark.footage
def test_a_bare_clip_is_told_first_that_nothing_has_to_be_printed(
    monkeypatch: pytest.MonkeyPatch, footage: Path
) -> None:
    monkeypatch.setattr(check_module, "TIME_LIMIT_S", float("inf"))  # a busy machine sees it whole, too
    clip = footage / "rendered-bare" / "baresun60_h264.mp4"
    result = CliRunner().invoke(app, ["check", str(clip)])
    assert result.exit_code == 0, result.stdout
    first, *others = result.stdout.splitlines()
    assert first.startswith("good  Marks       nothing printed is in the clip, and nothing has to be")
    assert not any(line.startswith("bad") for line in others)
    assert "good  Ball        found, and seen to leave" in others
    assert "Good enough to measure." in others
    assert max(len(line) for line in others) <= 80


@pytest.mark.clip
def test_what_cannot_be_measured_is_refused_in_the_measurements_own_words() -> None:
    clip = next(str(each.path) for each in SHIPPED if each.name == "larch-60")
    checked, measured = (
        CliRunner().invoke(app, [name, clip, "--dot", "red"]) for name in ("check", "measure")
    )
    assert checked.exit_code == measured.exit_code == 2
    assert "no dot of that colour that moves" in measured.stderr
    assert measured.stderr.strip() in checked.stdout


@pytest.mark.clip
def test_a_clip_looked_at_in_part_is_not_called_bad(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the time runs out before the stroke, that is said; the stroke may come later."""
    monkeypatch.setattr(check_module, "TIME_LIMIT_S", 0.0)
    clip = next(str(each.path) for each in SHIPPED if each.name == "larch-60")
    result = CliRunner().invoke(app, ["check", clip])
    assert result.exit_code == 0
    assert "Good enough" not in result.stdout
    assert "s were looked at; measuring looks at all of it." in result.stdout
    assert "bad" not in result.stdout, "what was not seen may come later"


def test_what_could_be_measured_is_never_called_bad() -> None:
    """A head seen in half of the frames of a clip at 30 frames/s is weak, if strokes were measured in it."""
    decoded = replace(DECODED, times_s=np.arange(12) / 30)
    poor = replace(GOOD, head=_seen(0.5))
    said = findings(poor, decoded, Settings(), measurement(plateau_stroke()))
    assert {one.verdict for one in said} == {"good", "weak"}
    assert said[-1].words.startswith("one stroke: ")
