"""The click at impact, heard in the clip's sound: a check of the picture's impact that moves no result."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np

from pennyfall.kinematics.values import (
    INTERVAL_SDS,
    Estimate,
    FloatArray,
    SoundCheck,
    SoundedStroke,
    StrokeMeasures,
    freeze_arrays,
)
from pennyfall.tracker.clip.container import opened

SOUND_MPS = 343.2
"""Speed of sound in air at 20 degrees C (ISO 9613-1:1993, c = 343.2 sqrt(T / 293.15 K) m/s; from memory)."""

REACH_S = 0.15
"""Chosen by us: sound and picture of a clip are not further apart; broadcasters allow 60 ms (EBU R 37, from
memory)."""

QUIET_S = 0.10
"""Chosen by us: the room before the window tells how loud it is without a click."""

PRE_ROLL_S = 0.25
"""Chosen by us: sound is decoded from this long before the window, since a codec starts out with an error."""

LEAST_RISE = 12.0
"""Chosen by us: a click has this many times the power of the room (11 dB) for a few milliseconds."""

BLOCK_S = 0.002
"""Chosen by us: the loudest stretch of this length holds the click."""

BEFORE_LOUDEST_S, AFTER_LOUDEST_S = 0.025, 0.003
"""Chosen by us: the click begins this near to its loudest stretch."""

CODED_BLOCK = 128
"""Samples of AAC's short block: noise of the coding spreads over one, before the click as well as after it
(ISO/IEC 14496-3, window length 256; from memory)."""

AGREE_SDS = 3.0
"""Chosen by us: clicks further from their common offset than this contradict the picture."""

AGREE_S = 0.001
"""Chosen by us: what strokes of one clip may differ by for reasons of their own, such as the ball's place."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Sound:
    """A stretch of sound, all channels in one."""

    start_s: float
    """Time of the first sample on the container's clock [s]."""
    rate_hz: float
    wave: FloatArray
    """Shape (n,), full scale 1."""

    def __post_init__(self) -> None:
        freeze_arrays(self)


def check_sound(
    path: Path,
    strokes: Sequence[StrokeMeasures],
    *,
    first_stamp_s: float,
    slow_motion: bool,
    distance_m: float,
) -> SoundCheck | None:
    """Return where the clicks of a clip's strokes lie beside its picture; None where the clip has no sound.

    Parameters
    ----------
    path : Path
        The clip.
    strokes : sequence of StrokeMeasures
        Its strokes; those that struck a ball are listened for.
    first_stamp_s : float
        The container's time at which clip time is zero [s].
    slow_motion : bool
        Whether the clip was re-timed: its sound then has a clock of its own.
    distance_m : float
        From the ball to the phone [m].

    """
    travel_s = distance_m / SOUND_MPS
    struck = [stroke for stroke in strokes if not stroke.practice and stroke.impact_s.known]
    centres_s = [first_stamp_s + stroke.impact_s.value for stroke in struck]
    with opened(path) as container:
        if slow_motion or not struck:
            if not container.streams.audio:
                return None
            why = "the clip is re-timed, its sound is not" if slow_motion else "no ball was struck"
            return _silent(travel_s, f"The sound was not used: {why}.")
        sounds = [listen(container, each - REACH_S - QUIET_S, each + REACH_S) for each in centres_s]
    heard = []
    for stroke, centre_s, sound in zip(struck, centres_s, sounds, strict=True):
        if sound is None:
            return None
        click = onset(sound, centre_s - REACH_S)
        click_s = Estimate(click.value - first_stamp_s, click.sd)
        late = Estimate(
            click_s.value - stroke.impact_s.value, float(np.hypot(click_s.sd, stroke.impact_s.sd))
        )
        heard.append(SoundedStroke(number=stroke.number, click_s=click_s, click_after_impact_s=late))
    return _judge(tuple(heard), travel_s, distance_m)


def listen(container: Any, from_s: float, to_s: float) -> Sound | None:  # noqa: ANN401 - a PyAV object
    """Decode a stretch of a clip's sound; None where there is none.

    Parameters
    ----------
    container : av.container.InputContainer
        The clip.
    from_s, to_s : float
        The stretch, on the container's clock [s].

    """
    blocks: list[tuple[float, FloatArray]] = []
    if not container.streams.audio or container.streams.audio[0].codec_context is None:
        return None
    stream = container.streams.audio[0]
    rate_hz = float(stream.rate or 0)
    if not rate_hz > 0:
        return None
    with contextlib.suppress(av.error.FFmpegError, OSError):  # damaged sound is heard up to its damage
        seek_s = max(from_s - PRE_ROLL_S, 0.0)
        container.seek(int(seek_s / stream.time_base), stream=stream, backward=True)
        for block in container.decode(stream):
            if block.time is None:
                continue
            if block.time > to_s:
                break
            if block.time + block.samples / rate_hz >= from_s:
                blocks.append((float(block.time), _mono(block)))
    if not blocks:
        return Sound(start_s=from_s, rate_hz=rate_hz, wave=np.empty(0))
    return Sound(start_s=blocks[0][0], rate_hz=rate_hz, wave=np.concatenate([wave for _, wave in blocks]))


def onset(sound: Sound, from_s: float) -> Estimate:
    """Return when the loudest click of a stretch begins, on the container's clock [s].

    Around the loudest two milliseconds the onset is where two stationary noises, a quiet and a loud one, are
    likeliest to meet: the Akaike information criterion of Maeda [1]_. Its width gives the uncertainty, to
    which the coding's own spread is added. It is right to 1.4 ms or better on the shipped clips (AAC), to
    0.25 ms without a codec.

    Parameters
    ----------
    sound : Sound
        It starts in a quiet room, before `from_s`.
    from_s : float
        Where the click is looked for from [s].

    References
    ----------
    .. [1] Maeda, N. (1985). A method for reading and checking phase times in auto-processing system of
       seismic wave data. Zisin 38, 365-379 (from memory).

    """
    wave = np.diff(sound.wave, prepend=sound.wave[:1])  # clicks are high, rooms hum
    block = max(round(BLOCK_S * sound.rate_hz), 1)
    first = max(round((from_s - sound.start_s) * sound.rate_hz), 0)
    if len(wave) < first + 2 * block or first < block:
        return Estimate.missing()
    power = np.convolve(wave**2, np.ones(block) / block, mode="valid")
    room = float(np.median(power[: first - block + 1])) if first >= block else 0.0
    loudest = first + int(np.argmax(power[first:])) if len(power) > first else -1
    if loudest < 0 or not power[loudest] > LEAST_RISE * max(room, 1e-12):
        return Estimate.missing()
    start = max(loudest - round(BEFORE_LOUDEST_S * sound.rate_hz), 0)
    end = min(loudest + block + round(AFTER_LOUDEST_S * sound.rate_hz), len(wave))
    place, sd = _akaike(wave[start:end])
    coding = CODED_BLOCK / np.sqrt(3)  # anywhere from one block early to one late
    return Estimate(
        sound.start_s + (start + place) / sound.rate_hz, float(np.hypot(sd, coding)) / sound.rate_hz
    )


def _akaike(wave: FloatArray) -> tuple[float, float]:
    """Return mean and standard deviation of the sample at which quiet turns to loud."""
    squares = np.cumsum(wave**2) + 1e-18
    count = np.arange(1, len(wave) + 1)
    split = np.arange(8, len(wave) - 8)
    before = squares[split - 1] / split
    after = (squares[-1] - squares[split - 1]) / (count[-1] - split)
    criterion = split * np.log(before) + (count[-1] - split) * np.log(np.maximum(after, 1e-18))  # [1]
    weight = np.exp(-0.5 * (criterion - criterion.min()))
    weight /= weight.sum()
    mean = float(weight @ split)
    return mean, float(np.sqrt(weight @ (split - mean) ** 2))


def _mono(block: Any) -> FloatArray:  # noqa: ANN401 - a PyAV frame
    samples = block.to_ndarray()
    scale = float(np.iinfo(samples.dtype).max) if np.issubdtype(samples.dtype, np.integer) else 1.0
    channels = block.layout.nb_channels
    planes = samples if block.format.is_planar else samples.reshape(-1, channels).T
    return np.asarray(planes.mean(axis=0, dtype=np.float64) / scale)


def _judge(heard: tuple[SoundedStroke, ...], travel_s: float, distance_m: float) -> SoundCheck:
    late = [each.click_after_impact_s for each in heard if each.click_after_impact_s.known]
    if not late:
        return _silent(travel_s, "No click was heard at any impact.", heard)
    value = np.array([each.value for each in late])
    variance = np.array([each.sd**2 for each in late]) + AGREE_S**2
    weight = 1 / variance
    offset = Estimate(float(weight @ value / weight.sum()), float(1 / np.sqrt(weight.sum())))
    apart = np.abs(value - offset.value) / np.sqrt(variance)
    consistent = None if len(late) < 2 else bool(apart.max() <= AGREE_SDS)
    reach_ms = 1e3 * INTERVAL_SDS * offset.sd
    words = (
        f"The click is heard {1e3 * offset.value:+.1f} ± {reach_ms:.1f} ms from the picture's "
        f"impact. Over {distance_m:.2f} m sound travels {1e3 * travel_s:.1f} ms; the rest is the phone's own "
        "shift of sound against picture, which is not known. No result was moved."
    )
    if consistent is not None:
        spread = 1e3 * float(np.ptp(value))
        agree = (
            "agree with the picture to"
            if consistent
            else "contradict the picture: one of the impacts is doubtful, they differ by"
        )
        words += f" The {len(late)} clicks {agree} {spread:.1f} ms."
    return SoundCheck(strokes=heard, offset_s=offset, travel_s=travel_s, consistent=consistent, words=words)


def _silent(travel_s: float, words: str, heard: tuple[SoundedStroke, ...] = ()) -> SoundCheck:
    return SoundCheck(
        strokes=heard, offset_s=Estimate.missing(), travel_s=travel_s, consistent=None, words=words
    )
