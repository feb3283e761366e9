"""The shipped clips are small, whole, and the work of the scenes beside them."""

from __future__ import annotations

import json
from itertools import islice
from typing import Any

import av
import cv2
import numpy as np
import pytest

from pennyfall.calibration.layout import tag_dictionary
from pennyfall.cli.lesson.demo import VERSIONS, demo_scenes
from pennyfall.demo_clips.clips import DemoClip, shipped_clips
from pennyfall.demo_clips.larch import SCENES
from pennyfall.demo_clips.record import develop, performance_of
from pennyfall.demo_clips.render import Renderer
from pennyfall.demo_clips.strokes import Stroke
from pennyfall.demo_clips.truth import load_truth, truth_document

CLIPS = pytest.mark.parametrize("clip", shipped_clips(), ids=lambda clip: clip.name)


def test_every_scene_has_its_clip() -> None:
    assert [clip.name for clip in shipped_clips()] == list(SCENES)


def test_the_clips_stay_small() -> None:
    sizes = [clip.path.stat().st_size for clip in shipped_clips()]
    assert max(sizes) <= 2e6
    assert sum(sizes) <= 10e6


def test_the_clips_differ_in_what_a_phone_would_change() -> None:
    scenes = list(SCENES.values())
    for trait in (
        [scene.camera.centre.tobytes() for scene in scenes],
        [scene.camera.matrix[0, 0] for scene in scenes],
        [scene.phase_s for scene in scenes],
        [scene.sensor.exposure_s for scene in scenes],
        [scene.putter.tag_height_m for scene in scenes],
    ):
        assert len(set(trait)) == len(scenes)
    for trait in ([scene.rate_hz for scene in scenes], [scene.putter.tag_side_m for scene in scenes]):
        assert len(set(trait)) >= 3
    for scene in scenes:
        distance = float(np.linalg.norm(scene.camera.centre))
        assert 0.6 < distance < 2.0
        assert 25 < np.degrees(np.arcsin(scene.camera.centre[2] / distance)) < 60


def test_every_camera_looks_through_the_middle_of_its_picture() -> None:
    """As a phone's does; a part cut out of a larger picture would be measured in another scale."""
    for scene in [*SCENES.values(), *demo_scenes().values()]:
        middle = (np.array(scene.size) - 1) / 2
        assert scene.camera.matrix[:2, 2] == pytest.approx(middle, abs=1.0), scene.name


def test_no_shipped_stroke_has_the_round_times_or_the_tempo_that_are_told_of_strokes() -> None:
    strokes = [each for scene in SCENES.values() for each in scene.script if isinstance(each, Stroke)]
    strokes += [Stroke(backswing_s=each.backswing_s, forward_s=each.forward_s) for each in VERSIONS]
    for stroke in strokes:
        assert abs(stroke.backswing_s / stroke.forward_s - 2) > 0.02, stroke
        twentieths = [20 * stroke.backswing_s, 20 * stroke.forward_s]
        assert not np.allclose(twentieths, np.round(twentieths)), stroke


@CLIPS
def test_the_truth_is_that_of_the_scene(clip: DemoClip) -> None:
    scene = SCENES[clip.name]
    performance = performance_of(scene)
    document = truth_document(scene, performance, scene.times_s(performance.duration_s))
    expected = _flat(json.loads(json.dumps(document)))
    found = _flat(load_truth(clip.truth))
    assert found.keys() == expected.keys()
    for name, value in expected.items():
        near = pytest.approx(value, rel=1e-6, abs=2e-6) if isinstance(value, float) else value
        assert found[name] == near, name


@CLIPS
@pytest.mark.clip
def test_the_clip_is_whole(clip: DemoClip) -> None:
    with av.open(str(clip.path)) as container:
        seen = [float(frame.time or 0.0) for frame in container.decode(video=0)]
    np.testing.assert_allclose(seen, load_truth(clip.truth)["frames"]["container_pts_s"], atol=1.2e-5)


AT_ONCE = ("larch-240-late", "larch-240-bare")
"""One clip of either kind; building the scene of each takes a second or two."""


@pytest.mark.parametrize(
    "clip",
    [
        pytest.param(each, id=each.name, marks=() if each.name in AT_ONCE else pytest.mark.slow)
        for each in shipped_clips()
    ],
)
@pytest.mark.clip
def test_the_clip_shows_its_scene(clip: DemoClip) -> None:
    """Noise and coding leave the luma of a frame in the swing within 34 dB of the rendered one."""
    scene, truth = SCENES[clip.name], load_truth(clip.truth)
    times = np.array(truth["frames"]["frame_time_s"])
    chosen = int(np.argmin(np.abs(times - truth["events_model_clock"]["impact_s"] + 0.05)))
    with av.open(str(clip.path)) as container:
        frame = next(islice(container.decode(video=0), chosen, None))
        shown = frame.to_ndarray()[: scene.size[1]].astype(float)
    luma, _ = develop(Renderer(scene, performance_of(scene)).frame(chosen, float(times[chosen])))
    error = shown - (16 + 219 * luma)
    assert 10 * np.log10(219**2 / np.mean(error**2)) > 34


@pytest.mark.parametrize("name", [name for name, scene in SCENES.items() if scene.sheet is not None])
@pytest.mark.clip
def test_the_sheet_is_found_where_the_truth_puts_it(name: str) -> None:
    """OpenCV's own detector, sub-pixel refinement: tag centres within 0.25 px after coding."""
    clip = next(each for each in shipped_clips() if each.name == name)
    truth = load_truth(clip.truth)
    with av.open(str(clip.path)) as container:
        frame = next(container.decode(video=0)).to_ndarray(format="gray")
    detector = cv2.aruco.ArucoDetector(tag_dictionary())
    parameters = detector.getDetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector.setDetectorParameters(parameters)
    corners, ids, _ = detector.detectMarkers(frame)
    found = {str(int(i)): c[0].mean(axis=0) for i, c in zip(ids.ravel(), corners, strict=True)}
    for tag_id, expected in truth["sheet_marker_corners_px"].items():
        np.testing.assert_allclose(found[tag_id], np.mean(expected, axis=0), atol=0.25)


def _flat(value: Any, name: str = "") -> dict[str, Any]:  # noqa: ANN401 - walks a document
    if isinstance(value, dict):
        return {key: leaf for k, v in value.items() for key, leaf in _flat(v, f"{name}.{k}").items()}
    if isinstance(value, list):
        return {key: leaf for k, v in enumerate(value) for key, leaf in _flat(v, f"{name}[{k}]").items()}
    return {name: value}
