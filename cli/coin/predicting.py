"""The coin of each stroke predicted and set against what was seen: words, picture, file, kept friction."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import typer

from pennyfall.cli.files.frictions import KeptFriction, load_frictions, save_frictions
from pennyfall.cli.files.measurement import (
    load_measurement,
    refuse_unwritable,
    save_measurement,
    write_whole,
)
from pennyfall.cli.report.pictures.figure_file import file_kind
from pennyfall.cli.report.tables.coin import coin_table, place
from pennyfall.kinematics.coin.inference import ObservedCoin
from pennyfall.kinematics.coin.prediction import CoinPrediction, CoinSetup, predict_coin
from pennyfall.kinematics.errors import CannotMeasure
from pennyfall.kinematics.values import INTERVAL_SDS, Estimate, Measurement, StrokeMeasures
from pennyfall.tracker.measure.clip import measure_clip
from pennyfall.tracker.measure.settings import Settings

TYPED_SD_M = 0.01
"""Chosen by us: how well a coach reads where a coin lies off a tape beside the ball."""
SAME_PLACE_M = 0.05
"""Chosen by us: a coach's reading and the picture's differ by less."""
FARTHEST_TYPED_CM = 300.0
"""Chosen by us: a coin does not leave the stroke's own length; more is a slip of the unit."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CoinOutputs:
    """Where results go; None where not asked for."""

    picture: Path | None
    json: Path | None
    frictions: Path | None
    kept_as: str
    """Name of this coin on this putter in the file of frictions."""


def predict_coins(
    source: Path,
    setup: CoinSetup,
    settings: Settings,
    outputs: CoinOutputs,
    *,
    number: int | None,
    landed_cm: float | None,
) -> None:
    """Predict the coin of each stroke, set it against what was observed, and write what was asked for.

    Raises
    ------
    CannotMeasure
        When the source cannot be measured, has no such stroke, or the observation is impossible.

    """
    _refuse_outputs(outputs)
    typed = _typed(landed_cm)
    measurement = _measured(source, setup, settings)
    chosen = _chosen(measurement, number, one=typed is not None)
    predictions = [_predicted(stroke, setup, typed) for stroke in chosen]
    for prediction in predictions:
        typer.echo(coin_table(prediction))
        if outputs.picture is not None:
            _draw(prediction, measurement.clip.file, outputs.picture, several=len(predictions) > 1)
        if outputs.frictions is not None:
            _keep(prediction, outputs.frictions, outputs.kept_as)
    if outputs.json is not None:
        predicted = {each.stroke.number: each.stroke for each in predictions}
        strokes = tuple(predicted.get(each.number, each) for each in measurement.strokes)
        save_measurement(replace(measurement, strokes=strokes), outputs.json)


def _typed(landed_cm: float | None) -> ObservedCoin | None:
    if landed_cm is None:
        return None
    if not abs(landed_cm) <= FARTHEST_TYPED_CM:
        raise CannotMeasure(
            f"A coin {landed_cm:g} cm from the ball is beyond the reach of any putting stroke.",
            fix="Give --coin-landed in cm along the target line, such as -22 for 22 cm behind the ball.",
        )
    return ObservedCoin(leave_s=Estimate.missing(), landing_x_m=Estimate(landed_cm / 100, TYPED_SD_M))


def _measured(source: Path, setup: CoinSetup, settings: Settings) -> Measurement:
    """Return the strokes, what is seen of their coins told with the floor that was said to carry it."""
    if source.suffix.lower() == ".json":
        return load_measurement(source)
    from pennyfall.cli.console import progress_bar

    with progress_bar(source.name) as advance:
        return measure_clip(source, replace(settings, coin_shelf=setup.shelf), progress=advance).measurement


def _predicted(stroke: StrokeMeasures, setup: CoinSetup, typed: ObservedCoin | None) -> CoinPrediction:
    """Return the coin's fate; a landing spot that only makes sense with the other sign is asked about."""
    if typed is None:
        return predict_coin(stroke, setup)
    spot = typed.landing_x_m
    other = replace(typed, landing_x_m=replace(spot, value=-spot.value))
    sight = stroke.loose_object
    seen_m = sight.observed_landing_x_m.value if sight is not None and sight.seen == "left" else math.nan
    if abs(-spot.value - seen_m) < SAME_PLACE_M < abs(spot.value - seen_m):
        raise _which_sign(spot.value, "where the clip shows it")
    try:
        return predict_coin(stroke, setup, typed)
    except CannotMeasure:
        try:
            predict_coin(stroke, setup, other)
        except CannotMeasure:
            pass
        else:
            raise _which_sign(spot.value, "where this stroke can put it") from None
        raise


def _which_sign(typed_m: float, why: str) -> CannotMeasure:
    said, meant = place(typed_m), place(-typed_m)
    return CannotMeasure(
        f"Did the coin lie {said}, as {100 * typed_m:g} says, or {meant}, {why}?",
        fix=f"Give --coin-landed {-100 * typed_m:g} if it lay {meant}; below zero is behind the ball.",
    )


def _chosen(measurement: Measurement, number: int | None, *, one: bool) -> tuple[StrokeMeasures, ...]:
    strokes = measurement.strokes
    if not strokes:
        raise CannotMeasure(
            f"There is no stroke with a forward swing in {measurement.clip.file}.",
            fix="Film from before the takeaway until after impact.",
        )
    if number is None:
        if one and len(strokes) > 1:
            raise CannotMeasure(
                f"There are {len(strokes)} strokes in {measurement.clip.file}; the coin fell in one of them.",
                fix="Name it with --stroke, such as --stroke 1.",
            )
        return strokes
    picked = tuple(each for each in strokes if each.number == number)
    if not picked:
        raise CannotMeasure(
            f"There is no stroke {number} in {measurement.clip.file}; it has {len(strokes)}.",
            fix=f"Choose --stroke from 1 to {len(strokes)}.",
        )
    return picked


def _draw(prediction: CoinPrediction, clip: str, path: Path, *, several: bool) -> None:
    from pennyfall.cli.report.pictures.coin import coin_picture

    number = prediction.stroke.number
    name = path if not several or number == 1 else path.with_stem(f"{path.stem}-{number}")
    title = f"{clip}, stroke {number}" if several else clip
    write_whole(name, coin_picture(prediction, title=title, kind=file_kind(name)))


def _keep(prediction: CoinPrediction, path: Path, name: str) -> None:
    if prediction.inferred is None:
        return
    found = prediction.inferred
    kept = load_frictions(path)
    fresh = KeptFriction(static=found.static, kinetic_share=found.likely_kinetic_share, observations=1)
    kept[name] = kept[name].joined(found.static, found.likely_kinetic_share) if name in kept else fresh
    save_frictions(path, kept)
    mean = kept[name].static
    typer.echo(f"Kept in {path.name} as {name}: {mean.value:.2f} ± {INTERVAL_SDS * mean.sd:.2f}.")


def _refuse_outputs(outputs: CoinOutputs) -> None:
    refuse_unwritable(outputs.picture, outputs.json, outputs.frictions)
    if outputs.picture is not None:
        file_kind(outputs.picture)
