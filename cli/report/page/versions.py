"""Each version of the drill in a sentence and four large figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pennyfall.cli.report.quantities import quantity
from pennyfall.cli.report.stroke_words import Figure, ending, figure_text, place_of_peak
from pennyfall.cli.report.words.numbers import capital, listed, putt, typeset
from pennyfall.kinematics.lesson.condition_summary import ConditionMean
from pennyfall.kinematics.values import Estimate

FOUR = (
    "tempo_ratio",
    "peak_acceleration_mps2",
    "acceleration_before_impact_mps2",
    "impact_speed_mps",
)
CALLED = {
    "peak_acceleration_mps2": "strongest pull",
    "acceleration_before_impact_mps2": "pull in the last 20 ms",
}
"""What a coach calls an acceleration."""


@dataclass(frozen=True, kw_only=True, slots=True)
class VersionFigures:
    """What a version looks like at a glance."""

    name: str
    basis: str
    """What the means are over."""
    figures: tuple[Figure, ...]


def version_sentence(means: Sequence[ConditionMean]) -> str:
    """Return how the head goes in each version; empty where that is not told."""
    said = [
        f"with {each.condition} the head {words}"
        for each in means
        if (words := ", ".join(filter(None, [_ending(each), _pulled(each)])))
    ]
    return typeset(f"{capital('; '.join(said))}.") if said else ""


def version_figures(means: Sequence[ConditionMean]) -> list[VersionFigures]:
    """Return the four figures of each version, means with their 95 % half-widths."""
    return [
        VersionFigures(
            name=each.condition,
            basis=f"Mean of {each.strokes} stroke{'' if each.strokes == 1 else 's'} at "
            f"{listed([putt(length) for length in each.putt_lengths_m])}",
            figures=tuple(_figure(each, name) for name in FOUR if name in each.means),
        )
        for each in means
    ]


def _figure(version: ConditionMean, name: str) -> Figure:
    readings = {
        "tempo_ratio": "Back to forward",
        "peak_acceleration_mps2": capital(_pulled(version)) or "Strongest pull",
        "acceleration_before_impact_mps2": capital(_ending(version)) or "Not told",
        "impact_speed_mps": "As it meets the ball",
    }
    return Figure(
        label=capital(CALLED.get(name, quantity(name).label)),
        value=typeset(figure_text(name, version.means[name])),
        reading=readings[name],
    )


def _ending(version: ConditionMean) -> str:
    return ending(version.means.get("acceleration_before_impact_mps2", Estimate.missing()))


def _pulled(version: ConditionMean) -> str:
    share = version.means.get("peak_acceleration_share", Estimate.missing())
    return f"pulled hardest {place_of_peak(share)}" if share.known else ""
