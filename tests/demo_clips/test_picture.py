"""The rendered picture agrees with the projected truth."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest

from pennyfall.calibration.layout import STANDARD_SHEET, head_tag_corners, tag_bits, tag_dictionary
from pennyfall.demo_clips.ball import BALL_RADIUS_M
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.record import encode_gamma, performance_of
from pennyfall.demo_clips.render import Renderer, shaken
from pennyfall.demo_clips.scene import Light, Occluder, Room, Scene, Sensor, Sheet, aim_camera
from pennyfall.demo_clips.strokes import Rest, Stroke
from pennyfall.demo_clips.textures import INK, PAPER
from pennyfall.demo_clips.view import Image, View, undistort
from pennyfall.kinematics.values import FloatArray

REST_S, SWING_S, IMPACT_S = 0.1, 1.05, 1.19
SIZE = (960, 540)
LENSES = {"straight": (0.0, 0.0, 0.0, 0.0, 0.0), "bent": (-0.20, 0.05, 0.001, -0.001, 0.0)}


def scene(lens: str = "straight", roll_rad: float = 0.1, **changes: object) -> Scene:
    """Return a scene without light and lens effects, that geometry may be read from the picture."""
    given: dict[str, object] = {
        "name": "test",
        "script": (Rest(0.2), Stroke(), Rest(0.1)),
        "size": SIZE,
        "camera": aim_camera(
            position_m=(0.04, -0.75, 0.70),
            look_at_m=(-0.03, -0.10, 0.0),
            focal_px=900,
            size=SIZE,
            roll_rad=roll_rad,
            distortion=LENSES[lens],
        ),
        "putter": Putter(plane_tilt_rad=0.15, gap_m=0.004),
        "light": Light(falloff=0.0, depth=0.0),
        "room": Room(player=False),
        "sensor": Sensor(exposure_s=1e-6, blur_px=0.0),
    }
    return Scene(**{**given, **changes})  # type: ignore[arg-type]


def picture(of: Scene, time_s: float) -> Image:
    return Renderer(of, performance_of(of)).frame(0, time_s)


@cache
def plain(lens: str, roll_rad: float) -> tuple[Scene, Renderer]:
    """Return a scene as it comes, and its renderer."""
    of = scene(lens, roll_rad)
    return of, Renderer(of, performance_of(of))


def tag_corners(of: Scene, tag_id: int, time_s: float) -> FloatArray:
    if tag_id in STANDARD_SHEET.corners:
        assert of.sheet is not None
        return of.sheet.place(STANDARD_SHEET.corners[tag_id])
    rotation, origin = of.putter.pose(float(performance_of(of).motion.position(np.array(time_s))))
    return np.asarray(head_tag_corners(of.putter.tag_side_m) @ rotation.T + origin)


def moments(polygon: FloatArray) -> FloatArray:
    """Return area and first moments of a polygon (Green's theorem), shape (3,)."""
    x, y = polygon.T
    next_x, next_y = np.roll(x, -1), np.roll(y, -1)
    cross = x * next_y - next_x * y
    return np.array([cross.sum() / 2, ((x + next_x) * cross).sum() / 6, ((y + next_y) * cross).sum() / 6])


def expected_ink(of: Scene, tag_id: int, time_s: float) -> tuple[float, FloatArray]:
    """Return area [px^2] and centroid [px] of a tag's black cells, projected cell by cell."""
    bits = tag_bits(tag_id)
    top_left, top_right, _, bottom_left = tag_corners(of, tag_id, time_s)
    edge = np.linspace(0, 1, 9)[:-1, None]  # a bent lens bends the cells' sides
    total = np.zeros(3)
    for row, column in np.argwhere(bits == 0):
        square = np.array([[column, row], [column + 1, row], [column + 1, row + 1], [column, row + 1]]) / len(
            bits
        )
        ring = np.concatenate(
            [a + (b - a) * edge for a, b in zip(square, np.roll(square, -1, axis=0), strict=True)]
        )
        world = top_left + ring[:, :1] * (top_right - top_left) + ring[:, 1:] * (bottom_left - top_left)
        total += moments(of.camera.project(world))
    return abs(total[0]), total[1:] / total[0]


def seen_ink(of: Scene, image: Image, tag_id: int, time_s: float, border: float) -> tuple[float, FloatArray]:
    """Return the same of the picture: its linear light says how much ink each pixel holds."""
    corners = tag_corners(of, tag_id, time_s)
    middle = corners.mean(axis=0)
    window = np.zeros(image.shape[:2], dtype=np.uint8)
    around = of.camera.project(middle + (corners - middle) * (1 + 2 * border))
    cv2.fillPoly(window, [np.round(around).astype(np.int32)], 1)
    ink = (PAPER - image[..., 0]) / (PAPER - INK) * window
    rows, columns = np.mgrid[: image.shape[0], : image.shape[1]]
    area = float(ink.sum())
    return area, np.array([(ink * columns).sum(), (ink * rows).sum()]) / area


@pytest.mark.parametrize("lens", LENSES)
@pytest.mark.parametrize("time_s", [REST_S, SWING_S])
@pytest.mark.parametrize("roll_rad", [0.0, 0.1])
def test_the_ink_of_every_tag_lies_where_projection_puts_it(
    lens: str, time_s: float, roll_rad: float
) -> None:
    """Four samples a side of a softened edge: 0.005 px for the sheet, 0.02 px for the smaller moving tag."""
    of, renderer = plain(lens, roll_rad)
    image = renderer.frame(0, time_s)
    for tag_id, border, tolerance_px in (
        (0, 0.1, 0.005),
        (1, 0.1, 0.005),
        (2, 0.1, 0.005),
        (3, 0.1, 0.005),
        (7, 0.08, 0.02),
    ):
        area, centroid = expected_ink(of, tag_id, time_s)
        seen_area, seen_centroid = seen_ink(of, image, tag_id, time_s, border)
        assert seen_area == pytest.approx(area, rel=0.002)
        np.testing.assert_allclose(seen_centroid, centroid, atol=tolerance_px)


def test_an_independent_detector_finds_the_sheets_tags_at_their_corners() -> None:
    """OpenCV's sub-pixel refinement on noiseless tags of about 45 px: mean of four corners within 0.1 px."""
    of = scene(sensor=Sensor(exposure_s=1e-6, blur_px=0.6))
    coded = np.rint(encode_gamma(picture(of, REST_S)).mean(axis=-1) * 255).astype(np.uint8)
    detector = cv2.aruco.ArucoDetector(tag_dictionary())
    parameters = detector.getDetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector.setDetectorParameters(parameters)
    corners, ids, _ = detector.detectMarkers(coded)
    found = {int(i): c[0] for i, c in zip(ids.ravel(), corners, strict=True)}
    assert {0, 1, 2, 3} <= set(found)
    for tag_id in range(4):
        expected = of.camera.project(tag_corners(of, tag_id, REST_S))
        np.testing.assert_allclose(found[tag_id].mean(axis=0), expected.mean(axis=0), atol=0.1)
        np.testing.assert_allclose(found[tag_id], expected, atol=0.6)


@pytest.mark.parametrize("lens", LENSES)
def test_the_balls_outline_is_the_sphere_seen_in_perspective(lens: str) -> None:
    """Rays tangent to a sphere make a cone of half angle asin(r / d); its rim is projected here."""
    of = scene(lens, room=Room(player=False, contrast=0.0))
    time_s = IMPACT_S + 0.05
    with_ball = picture(of, time_s)
    performance = performance_of(of)
    travel = float(performance.balls[0].position(np.array(time_s)))
    centre = np.array([travel, 0.0, BALL_RADIUS_M])
    axis = centre - of.camera.centre
    distance = float(np.linalg.norm(axis))
    axis /= distance
    first = np.cross(axis, [0.0, 0.0, 1.0])
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    angle = np.linspace(0, 2 * np.pi, 360, endpoint=False)[:, None]
    half = np.arcsin(BALL_RADIUS_M / distance)
    rim = (
        of.camera.centre
        + np.cos(half) * axis
        + np.sin(half) * (np.cos(angle) * first + np.sin(angle) * second)
    )
    total = moments(of.camera.project(rim))
    area, centroid = abs(total[0]), total[1:] / total[0]
    # the bare floor is one colour, so every other colour about the ball is the ball
    floor = np.array(of.room.floor)
    near = int(np.ceil(np.sqrt(area / np.pi))) + 3
    left, top = np.round(centroid).astype(int) - near
    window = with_ball[top : top + 2 * near + 1, left : left + 2 * near + 1]
    changed = np.abs(window - floor).max(axis=-1) > 1e-3
    columns = left + np.flatnonzero(changed.any(axis=0))
    rows = top + np.flatnonzero(changed.any(axis=1))
    edge = of.camera.project(rim)
    assert columns[0] == pytest.approx(edge[:, 0].min(), abs=0.76)
    assert columns[-1] == pytest.approx(edge[:, 0].max(), abs=0.76)
    assert rows[0] == pytest.approx(edge[:, 1].min(), abs=0.76)
    assert rows[-1] == pytest.approx(edge[:, 1].max(), abs=0.76)


def test_a_long_exposure_smears_the_tag_about_its_middle() -> None:
    """The ink's centroid of a smeared tag stays at mid-exposure; its spread along x grows by L^2 / 12."""
    sharp, renderer = plain("straight", 0.0)
    smeared = scene(roll_rad=0.0, sensor=Sensor(exposure_s=1 / 500, blur_px=0.0))
    time_s = SWING_S
    results = []
    for of, image in ((sharp, renderer.frame(0, time_s)), (smeared, picture(smeared, time_s))):
        # a window wide enough for the smear holds head and label alike, so only the label's light is weighed
        _, centroid = seen_ink(of, image, 7, time_s, 0.08)
        results.append(centroid)
    np.testing.assert_allclose(results[1], results[0], atol=0.1)


def test_motion_blur_integrates_over_the_exposure() -> None:
    of = scene(sensor=Sensor(exposure_s=1 / 250, blur_px=0.0))
    renderer = Renderer(of, performance_of(of))
    instants = renderer.instants(renderer.painter.view, SWING_S)
    assert np.mean(instants) == pytest.approx(SWING_S, abs=1e-12)
    assert np.ptp(instants) < 1 / 250
    assert np.ptp(instants) == pytest.approx(1 / 250 * (1 - 1 / len(instants)), rel=1e-9)
    path = np.array([renderer.painter.displacement(t) for t in instants])
    pixels_per_metre = 900 / 1.0
    assert np.abs(np.diff(path)).max() * pixels_per_metre < 0.5


def test_the_rays_are_the_inverse_of_the_projection() -> None:
    camera = scene("bent").camera
    columns, rows = np.meshgrid(np.linspace(0, 959, 13), np.linspace(0, 539, 7))
    ideal = undistort(camera, columns, rows).astype(np.float64)
    points = np.stack([ideal[0], ideal[1], np.ones_like(ideal[0])], axis=-1).reshape(-1, 3)
    world = (points - camera.translation) @ camera.rotation
    np.testing.assert_allclose(
        camera.project(world), np.column_stack([columns.ravel(), rows.ravel()]), atol=1e-3
    )


def test_a_part_of_the_picture_is_painted_as_the_whole_is() -> None:
    of = scene("bent")
    view = View(of.camera, of.size)
    whole = view.rays(view.limits, 2)
    box = type(view.limits)(100, 50, 160, 90)
    part = view.rays(box, 2)
    for a, b in zip(part, whole, strict=True):
        np.testing.assert_allclose(a, b[100:180, 200:320], atol=1e-6)


def test_a_backwards_sheet_is_turned_about_its_middle() -> None:
    forward, backward = Sheet(), Sheet(heading_rad=np.pi)
    corner = STANDARD_SHEET.corners[0]
    middle = np.array([*Sheet().centre_m, 0.0])
    np.testing.assert_allclose(backward.place(corner) - middle, -(forward.place(corner) - middle), atol=1e-15)


def test_a_rolling_shutter_shows_lower_rows_later() -> None:
    """The head is below the middle row by a known share, and is seen later by that share of read-out."""
    of = scene(roll_rad=0.0)
    rolling = scene(roll_rad=0.0, sensor=Sensor(exposure_s=1e-6, blur_px=0.0, readout_s=0.020))
    image = picture(rolling, SWING_S)
    row = of.camera.project(tag_corners(of, 7, SWING_S)).mean(axis=0)[1]
    shown_s = SWING_S + 0.020 * (row / (SIZE[1] - 1) - 0.5)
    _, centroid = seen_ink(of, image, 7, shown_s, 0.08)
    _, expected = expected_ink(of, 7, shown_s)
    assert abs(shown_s - SWING_S) > 0.0004
    np.testing.assert_allclose(centroid, expected, atol=0.3)  # bands of 8 rows: 0.3 ms of 1 m/s


def test_flicker_scales_the_light_of_its_frame() -> None:
    of = scene(gains=np.array([0.5, 1.0]))
    renderer = Renderer(of, performance_of(of))
    np.testing.assert_allclose(renderer.frame(0, REST_S), 0.5 * renderer.frame(1, REST_S), rtol=1e-5)


def test_a_shaken_camera_sees_what_projection_says() -> None:
    offset = np.array([[0.002, -0.003, 0.001, 0.0005, 0.0, 0.0]])
    of = scene(shake=offset)
    image = Renderer(of, performance_of(of)).frame(0, REST_S)
    moved = scene(camera=shaken(of.camera, offset[0]))
    assert np.abs(moved.camera.project(np.zeros((1, 3))) - of.camera.project(np.zeros((1, 3)))).max() > 1
    for tag_id in (0, 7):
        _, centroid = seen_ink(moved, image, tag_id, REST_S, 0.08)
        _, expected = expected_ink(moved, tag_id, REST_S)
        np.testing.assert_allclose(centroid, expected, atol=0.03)


def test_an_occluder_hides_the_head_while_it_is_there() -> None:
    of = scene(
        occluders=(Occluder(corners_px=((0, 0), (960, 0), (960, 540), (0, 540)), start_s=0.05, end_s=0.15),)
    )
    renderer = Renderer(of, performance_of(of))
    hidden, open_view = renderer.frame(0, REST_S), renderer.frame(0, 0.16)
    np.testing.assert_allclose(
        hidden[1:-1, 1:-1], np.broadcast_to(of.occluders[0].colour, hidden[1:-1, 1:-1].shape), atol=1e-6
    )
    assert np.abs(open_view - hidden).max() > 0.3
