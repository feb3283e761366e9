"""The click at impact is heard where it was sounded, and moves nothing."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from pennyfall.demo_clips.clips import shipped_clips
from pennyfall.kinematics.values import Estimate
from pennyfall.tracker.clip.container import opened
from pennyfall.tracker.clip.sound import Sound, check_sound, listen, onset
from tests.cli.synthetic import plateau_stroke

RATE_HZ = 48000


def _room(generator: np.random.Generator, click_s: float | None, loudness: float = 0.3) -> Sound:
    t = np.arange(round(0.4 * RATE_HZ)) / RATE_HZ
    wave = 0.002 * generator.standard_normal(len(t))
    if click_s is not None:
        since = t - click_s
        wave += np.where(
            since >= 0, loudness * np.exp(-since.clip(0) / 0.004) * np.sin(2 * np.pi * 2700 * since), 0
        )
    return Sound(start_s=7.0, rate_hz=RATE_HZ, wave=wave)


@pytest.mark.parametrize("loudness", [0.06, 0.2, 0.8])
def test_a_click_is_timed_to_a_few_samples(generator: np.random.Generator, loudness: float) -> None:
    for click_s in generator.uniform(0.15, 0.35, 20):
        heard = onset(_room(generator, click_s, loudness), 7.1)
        assert heard.value == pytest.approx(7.0 + click_s, abs=12 / RATE_HZ)
        assert heard.sd == pytest.approx(128 / np.sqrt(3) / RATE_HZ, rel=0.05)


def test_a_quiet_room_has_no_click(generator: np.random.Generator) -> None:
    assert not any(onset(_room(generator, None), 7.1).known for _ in range(50))


def test_a_voice_or_a_hum_does_not_hide_the_click(generator: np.random.Generator) -> None:
    sound = _room(generator, 0.25)
    t = np.arange(len(sound.wave)) / RATE_HZ
    humming = Sound(
        start_s=7.0,
        rate_hz=RATE_HZ,
        wave=sound.wave + 0.1 * np.sin(2 * np.pi * 100 * t) + 0.05 * np.sin(2 * np.pi * 210 * t),
    )
    assert onset(humming, 7.1).value == pytest.approx(7.25, abs=0.001)


def test_the_clicks_of_the_shipped_clips_are_heard_within_their_interval() -> None:
    heard = 0
    for clip in shipped_clips():
        for click_s in json.loads(clip.truth.read_text()).get("sound_clicks_container_s", []):
            with opened(clip.path) as container:
                sound = listen(container, click_s - 0.25 + 0.03, click_s + 0.18)
            assert sound is not None
            found = onset(sound, click_s - 0.12)
            assert abs(found.value - click_s) < 1.96 * found.sd
            heard += 1
    assert heard >= 4


@pytest.mark.footage
def test_the_offset_of_the_rendered_clip_is_the_way_of_its_sound(footage: Path) -> None:
    """Its click sounds at impact; the camera stands 1.23 m from the ball: 3.6 ms at 343.2 m/s."""
    folder = footage / "rendered-late"
    impact_s = json.loads((folder / "late120_dec60.truth.json").read_text())["events_container_clock"][
        "impact_s"
    ]
    with opened(folder / "late120_dec60.mp4") as container:
        sound = listen(container, impact_s - 0.25, impact_s + 0.15)
    assert sound is not None
    found = onset(sound, impact_s - 0.15)
    assert abs(found.value - impact_s - 1.23 / 343.2) < 1.96 * found.sd


def _check(monkeypatch: pytest.MonkeyPatch, clicks_s: list[float | None], **changes: object) -> object:
    import dataclasses

    from pennyfall.tracker.clip import sound as impact_sound

    strokes = [
        dataclasses.replace(plateau_stroke(number=number), impact_s=Estimate(3.0 * number, 0.0004))
        for number in range(1, len(clicks_s) + 1)
    ]
    late = dict(zip([stroke.impact_s.value for stroke in strokes], clicks_s, strict=True))

    def heard(_sound: Sound, from_s: float) -> Estimate:
        impact_s = min(late, key=lambda each: abs(each + 1.0 - 0.15 - from_s))
        click = late[impact_s]
        return Estimate.missing() if click is None else Estimate(1.0 + impact_s + click, 0.0008)

    monkeypatch.setattr(impact_sound, "listen", lambda *_: Sound(start_s=0, rate_hz=1, wave=np.zeros(1)))
    monkeypatch.setattr(impact_sound, "onset", heard)
    options = {"first_stamp_s": 1.0, "slow_motion": False, "distance_m": 1.2, **changes}
    return check_sound(shipped_clips()[0].path, strokes, **options)  # type: ignore[arg-type]


def test_strokes_that_agree_share_one_offset(monkeypatch: pytest.MonkeyPatch) -> None:
    check = _check(monkeypatch, [0.021, 0.0205, 0.0213])
    assert check.consistent is True  # type: ignore[attr-defined]
    assert check.offset_s.value == pytest.approx(0.0209, abs=0.0002)  # type: ignore[attr-defined]
    assert check.travel_s == pytest.approx(1.2 / 343.2)  # type: ignore[attr-defined]
    assert "No result was moved" in check.words  # type: ignore[attr-defined]
    assert "3.5 ms" in check.words  # type: ignore[attr-defined]


def test_a_stroke_out_of_step_with_the_others_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    check = _check(monkeypatch, [0.021, 0.0205, 0.035])
    assert check.consistent is False  # type: ignore[attr-defined]
    assert "one of the impacts is doubtful" in check.words  # type: ignore[attr-defined]


def test_one_click_alone_says_nothing_of_agreement(monkeypatch: pytest.MonkeyPatch) -> None:
    check = _check(monkeypatch, [0.02, None])
    assert check.consistent is None  # type: ignore[attr-defined]
    assert not check.strokes[1].click_s.known  # type: ignore[attr-defined]


def test_the_sound_of_a_retimed_clip_is_not_used() -> None:
    clip = next(each for each in shipped_clips() if each.name == "larch-240-late")
    check = check_sound(clip.path, [plateau_stroke()], first_stamp_s=0.0, slow_motion=True, distance_m=1.0)
    assert check is not None
    assert not check.offset_s.known
    assert check.words == "The sound was not used: the clip is re-timed, its sound is not."
