from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from pennyfall.calibration.camera import Camera
from pennyfall.cli.files.settings import settings_from
from pennyfall.demo_clips.clips import DemoClip, shipped_clips
from pennyfall.demo_clips.scene import aim_camera
from pennyfall.demo_clips.truth import load_truth
from pennyfall.kinematics.coin.band import loose_object_band
from pennyfall.kinematics.coin.friction import FrictionRange, known_coin, published_friction
from pennyfall.kinematics.coin.prediction import CoinSetup, predict_coin
from pennyfall.kinematics.shelf import Shelf
from pennyfall.kinematics.values import CoinSeen, Estimate, FloatArray
from pennyfall.tracker.coin.fallen import RestingCoin, find_resting_coin
from pennyfall.tracker.coin.head_views import HeadTop
from pennyfall.tracker.coin.on_head import CoinOnHead, StrokeTimes, leave_instant, look_on_head
from pennyfall.tracker.coin.pieces import Piece
from pennyfall.tracker.measure.clip import measure_clip
from pennyfall.tracker.measure.coin_sight import coin_cautions
from tests.kinematics.coin_strokes import EARLY

CAMERA = aim_camera(position_m=(-0.04, -0.95, 0.85), look_at_m=(-0.05, -0.02, 0.0), focal_px=1060)
DIAMETER_M = known_coin().diameter_m


def carpet(generator: np.random.Generator, count: int) -> list[NDArray[np.uint8]]:
    """Return noisy frames of one textured floor."""
    texture = cv2.GaussianBlur(generator.normal(0, 40, (720, 1280)), (0, 0), 2)
    return [
        np.clip(90 + texture + generator.normal(0, 3, texture.shape), 0, 255).astype(np.uint8)
        for _ in range(count)
    ]


def with_disc(
    frames: list[NDArray[np.uint8]],
    camera: Camera,
    x_m: float,
    y_m: float,
    *,
    diameter_m: float = DIAMETER_M,
    level: float = 160,
) -> list[NDArray[np.uint8]]:
    """Return the frames with a disc on the floor, its rim projected exactly."""
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    rim: FloatArray = np.column_stack(
        [
            x_m + diameter_m / 2 * np.cos(angle),
            y_m + diameter_m / 2 * np.sin(angle),
            np.zeros_like(angle),
        ]
    )
    polygon = np.round(camera.project(rim) * 16).astype(np.int32)
    drawn = []
    for frame in frames:
        image = frame.copy()
        cv2.fillPoly(image, [polygon], level, lineType=cv2.LINE_AA, shift=4)
        drawn.append(image)
    return drawn


def found(before: list[NDArray[np.uint8]], after: list[NDArray[np.uint8]]) -> RestingCoin | None:
    earlier, later = ([Piece(each, 0, 0) for each in frames] for frames in (before, after))
    return find_resting_coin(earlier, later, CAMERA, diameter_m=DIAMETER_M, x_range_m=(-0.45, 0.15))


@pytest.mark.parametrize(("x_m", "y_m"), [(-0.22, 0.0), (-0.33, 0.06), (-0.11, -0.08)])
@pytest.mark.parametrize("level", [30, 170])
def test_a_new_disc_on_the_floor_is_found_where_it_lies(
    x_m: float, y_m: float, level: float, generator: np.random.Generator
) -> None:
    frames = carpet(generator, 8)
    coin = found(frames[:4], with_disc(frames[4:], CAMERA, x_m, y_m, level=level))
    assert coin is not None
    assert coin.x_m.value == pytest.approx(x_m, abs=0.001)
    assert coin.y_m.value == pytest.approx(y_m, abs=0.001)


def test_nothing_new_is_nothing_found(generator: np.random.Generator) -> None:
    frames = carpet(generator, 8)
    assert found(frames[:4], frames[4:]) is None
    lying = with_disc(frames, CAMERA, -0.2, 0.0)
    assert found(lying[:4], lying[4:]) is None  # it lay there before


@pytest.mark.parametrize("share", [0.5, 2.0])
def test_a_disc_of_another_size_is_no_coin(share: float, generator: np.random.Generator) -> None:
    frames = carpet(generator, 8)
    after = with_disc(frames[4:], CAMERA, -0.2, 0.0, diameter_m=share * DIAMETER_M)
    assert found(frames[:4], after) is None


def test_a_head_that_passes_over_some_frames_does_not_hide_the_coin(generator: np.random.Generator) -> None:
    frames = carpet(generator, 18)
    after = with_disc(frames[9:], CAMERA, -0.2, 0.0)
    for number, frame in enumerate(after[:4]):
        cv2.rectangle(frame, (450 + 60 * number, 300), (600 + 60 * number, 420), 20, -1)
    coin = found(frames[:9], after)
    assert coin is not None
    assert coin.x_m.value == pytest.approx(-0.2, abs=0.001)


def test_the_leave_instant_is_where_the_slides_parabola_reaches_the_edge() -> None:
    """Displacement -(a/2)(t - 0.5)^2 with a = 4 m/s^2 passes 15 mm at 0.5 + sqrt(2 * 0.015 / 4) s."""
    time_s = np.arange(0, 1, 1 / 240)
    shift_m = -2.0 * np.clip(time_s - 0.5, 0, None) ** 2
    shift_m[shift_m < -0.014] = np.nan  # out of sight before the edge
    leave_s = leave_instant(time_s, shift_m, 0.015)
    assert leave_s.value == pytest.approx(0.5 + np.sqrt(0.0075), abs=5e-4)
    assert 0 < leave_s.sd < 0.02


def test_a_coin_that_stays_has_no_leave_instant() -> None:
    time_s = np.arange(0, 1, 1 / 240)
    assert not leave_instant(time_s, np.zeros_like(time_s), 0.015).known
    assert not leave_instant(time_s, np.full_like(time_s, np.nan), 0.015).known


LAID = (-0.03, 0.004)
"""Where the drawn coin's middle lies on the drawn head, from the tag [m]."""
EVENTS = StrokeTimes(takeaway_s=0.5, top_s=1.1, impact_s=1.4, finish_s=1.9)
TIME_S = np.arange(0.1, 2.2, 1 / 120)
X_M = np.interp(TIME_S, [0.5, 1.1, 1.4, 1.9], [-0.05, -0.30, -0.05, 0.25])


class DrawnHead(HeadTop):
    """A head with a tag over a carpet, and a disc where and as long as it is told."""

    def __init__(
        self,
        generator: np.random.Generator,
        disc: Callable[[float], tuple[float, float] | None],
        *,
        diameter_m: float = 0.024,
        level: float = 160,
    ) -> None:
        self.frames = np.arange(len(TIME_S))
        self._disc, self._diameter_m, self._level = disc, diameter_m, level
        self._noise = generator
        self._carpet = cv2.GaussianBlur(generator.normal(0, 60, (110, 800)), (0, 0), 2) + 90

    def view(self, number: int) -> FloatArray:
        along, across = np.meshgrid(self.along_m, self.across_m)
        under = round(400 + 1e3 * float(X_M[number]))
        image = self._carpet[:, under : under + len(self.along_m)].copy()
        image[(along > -0.046) & (along < 0.028) & (np.abs(across) < 0.048)] = 100
        image[np.maximum(np.abs(along), np.abs(across)) < 0.016] = 210
        image[np.maximum(np.abs(along), np.abs(across)) < 0.012] = 40
        place = self._disc(float(TIME_S[number]))
        if place is not None:
            inside = np.hypot(along - place[0], across - place[1]) < self._diameter_m / 2
            image[inside] = self._level
        blurred = cv2.GaussianBlur(image, (0, 0), 1.0)
        return np.asarray(blurred + self._noise.normal(0, 3, image.shape))


def looked(head: HeadTop, rear_edge_m: float | None = None) -> CoinOnHead:
    return look_on_head(head, TIME_S, X_M, EVENTS, tag_side_m=0.024, front_m=0.02, rear_edge_m=rear_edge_m)


def slid(time_s: float) -> tuple[float, float] | None:
    """Return the place of a coin that slides from 1.0 s on at 4 m/s^2 and is out of sight by 30 mm."""
    way_m = 2.0 * max(time_s - 1.0, 0.0) ** 2
    return (LAID[0] - way_m, LAID[1]) if way_m < 0.03 else None


@pytest.mark.parametrize("level", [30, 160])
def test_a_coin_that_rides_to_the_finish_is_seen_to_stay(
    level: float, generator: np.random.Generator
) -> None:
    found = looked(DrawnHead(generator, lambda _: LAID, level=level))
    assert found.seen == "stayed"
    assert found.place_m.value == pytest.approx(LAID[0], abs=0.001)
    assert not found.leave_s.known


@pytest.mark.parametrize("level", [30, 160])
def test_a_coin_that_slides_off_is_seen_to_leave(level: float, generator: np.random.Generator) -> None:
    """It passes an edge 16 mm behind it at 1.0 + sqrt(2 * 0.016 / 4) = 1.089 s."""
    found = looked(DrawnHead(generator, slid, level=level), rear_edge_m=LAID[0] - 0.016)
    assert found.seen == "left"
    assert found.place_m.value == pytest.approx(LAID[0], abs=0.001)
    assert found.diameter_m == pytest.approx(0.024, abs=0.001)
    assert found.leave_s.value == pytest.approx(1.0894, abs=0.006)
    assert 0.001 < found.leave_s.sd < 0.02


def test_carpet_that_looks_like_a_coin_for_a_moment_is_not_the_coin(generator: np.random.Generator) -> None:
    """The coin is gone from one frame to the next at 1.2 s; nothing seen later delays that."""
    found = looked(DrawnHead(generator, lambda time_s: LAID if time_s < 1.2 else None))
    assert found.seen == "left"
    assert found.leave_s.value == pytest.approx(1.2, abs=0.015)


def test_without_a_known_edge_the_coin_leaves_some_time_in_its_slide(generator: np.random.Generator) -> None:
    leave_s = looked(DrawnHead(generator, slid)).leave_s
    assert abs(leave_s.value - 1.0894) < 1.8 * leave_s.sd < 0.1


def test_a_bare_head_has_no_coin(generator: np.random.Generator) -> None:
    assert looked(DrawnHead(generator, lambda _: None)).seen == "no coin"


def test_a_disc_on_the_floor_is_no_coin_on_the_head(generator: np.random.Generator) -> None:
    """It lies behind the head and stays there when the head goes."""

    def floor(time_s: float) -> tuple[float, float]:
        return -0.062 - 0.05 - float(np.interp(time_s, TIME_S, X_M)), 0.0

    assert looked(DrawnHead(generator, floor)).seen == "no coin"


@pytest.mark.parametrize("diameter_m", [0.010, 0.014, 0.034])
def test_a_screw_or_a_larger_disc_on_the_head_is_not_taken_for_a_coin(
    diameter_m: float, generator: np.random.Generator
) -> None:
    found = looked(DrawnHead(generator, lambda _: (-0.026, 0.028), diameter_m=diameter_m))
    assert found.seen in ("no coin", "not told")


@pytest.mark.parametrize("gone_s", [0.52, 2.15])
def test_a_coin_taken_away_before_or_after_the_stroke_has_not_left_in_it(
    gone_s: float, generator: np.random.Generator
) -> None:
    found = looked(DrawnHead(generator, lambda time_s: LAID if time_s < gone_s else None))
    assert found.seen != "left"


def test_a_coin_that_is_half_covered_at_the_finish_is_not_told(generator: np.random.Generator) -> None:
    """Neither all of its rim is there nor nothing of it."""

    class Covered(DrawnHead):
        def view(self, number: int) -> FloatArray:
            image = np.array(super().view(number))
            if TIME_S[number] > EVENTS.impact_s:
                image[:, :54] = 70
            return image

    assert looked(Covered(generator, lambda _: LAID)).seen == "not told"


def test_a_clip_that_ends_at_impact_does_not_tell(generator: np.random.Generator) -> None:
    head = DrawnHead(generator, lambda _: LAID)
    early = EVENTS.impact_s > TIME_S
    found = look_on_head(head, TIME_S[early], X_M[early], EVENTS, tag_side_m=0.024, front_m=0.02)
    assert found.seen == "not told"


@pytest.mark.parametrize(
    ("seen", "late_s", "shelf_known", "words"),
    [
        ("stayed", None, False, "seen to stay on the head, where it would leave it"),
        ("left", 0.0, True, None),
        ("left", 0.1, True, "seen to leave the head"),
        ("left", 0.1, False, None),
        ("not told", None, True, None),
    ],
)
def test_a_coin_seen_to_do_otherwise_than_predicted_is_told(
    seen: CoinSeen, late_s: float | None, shelf_known: bool, words: str | None
) -> None:
    """With an assumed floor the time at which it leaves checks nothing."""
    friction = FrictionRange(low=0.18, high=0.22, source="stated")
    band = loose_object_band(EARLY.profile(), Shelf(), friction, impact_s=EARLY.impact_s)
    assert band.leave_s is not None
    leave_s = Estimate.missing() if late_s is None else Estimate(band.leave_s[1] + late_s, 0.005)
    told = replace(band, seen=seen, observed_leave_s=leave_s)
    cautions = coin_cautions([replace(EARLY.measured(), loose_object=told)], shelf_known=shelf_known)
    assert [each.code for each in cautions] == ([] if words is None else ["coin-otherwise"])
    assert words is None or words in cautions[0].message


AT_ONCE = ("larch-240-early", "larch-60", "larch-240-bare")
"""A coin that leaves, one that stays, and a bare head without one."""


@pytest.mark.clip
@pytest.mark.parametrize(
    "clip",
    [
        pytest.param(each, id=each.name, marks=() if each.name in AT_ONCE else pytest.mark.slow)
        for each in shipped_clips()
    ],
)
def test_the_coin_of_a_shipped_clip_is_seen_to_do_what_it_did(clip: DemoClip) -> None:
    measured = measure_clip(clip.path, settings_from()).measurement.strokes
    seen = {each.loose_object.seen for each in measured if each.loose_object}
    coin = load_truth(clip.truth).get("coin")
    if coin is None:
        assert seen <= {"no coin", "not told"}
    else:
        assert seen == {"stayed" if coin["leave_model_clock_s"] is None else "left"}


@pytest.mark.slow
@pytest.mark.clip
@pytest.mark.parametrize("friction", [0.20, 0.35, 0.60])
def test_what_a_filmed_coin_did_is_seen_and_its_friction_found_again(friction: float, tmp_path: Path) -> None:
    """It leaves early, leaves late, stays; the engine has one coefficient, so the kinetic share is 1."""
    pytest.importorskip("mujoco")
    from tests.tracker.coin_clip import PUTTER, SHELF, render_coin_clip

    clip = tmp_path / "coin.mp4"
    truth = render_coin_clip(clip, friction)
    settings = replace(settings_from(tag_height_mm=1000 * PUTTER.tag_height_m), coin_shelf=SHELF)
    stroke = measure_clip(clip, settings).measurement.strokes[0]
    coin = stroke.loose_object
    assert coin is not None
    assert coin.place_on_head_m.value == pytest.approx(SHELF.coin_from_tag_m, abs=0.001)
    if truth.leave_s is None:
        assert coin.seen == "stayed"
        return
    assert coin.seen == "left"
    assert coin.observed_leave_s.value == pytest.approx(truth.leave_s, abs=0.008)
    assert abs(coin.observed_leave_s.value - truth.leave_s) < 1.96 * coin.observed_leave_s.sd
    assert coin.observed_landing_x_m.value == pytest.approx(truth.resting_x_m, abs=0.004)

    setup = CoinSetup(shelf=SHELF, friction=published_friction(), coin=known_coin(), kinetic_share=1.0)
    known = predict_coin(stroke, setup).inferred
    unknown = predict_coin(stroke, replace(setup, kinetic_share=None)).inferred
    assert known is not None
    assert unknown is not None
    assert known.static.value == pytest.approx(truth.friction, abs=0.03)
    assert abs(unknown.static.value - truth.friction) < 1.96 * unknown.static.sd
