"""What happens to the coin, in words and field units."""

from __future__ import annotations

from textwrap import fill

from pennyfall.cli.report.quantities import estimate_text
from pennyfall.cli.report.safety import FALLEN_COIN
from pennyfall.kinematics.coin.band import PLAUSIBLE_HUBS_M, peak_demand_time_s
from pennyfall.kinematics.coin.prediction import CoinPrediction
from pennyfall.kinematics.values import INTERVAL_SDS, CoinSeen, Estimate, StrokeMeasures

IMPACT_ASSUMPTION = (
    "At impact the coin is assumed to keep its own speed while the head loses its step: a wall toward the "
    "face stops it, on a flat top it slides on. The shock's vertical part is left out."
)
WIDTH = 80
LABEL_CELLS = 25
SEEN: dict[CoinSeen, str] = {
    "left": "seen to leave the head",
    "stayed": "seen to stay on the head to the finish",
    "no coin": "no coin is seen on the head",
    "not told": "not told",
}
"""What the picture shows, called so."""


def coin_table(prediction: CoinPrediction) -> str:
    """Return the coin's fate in one stroke as lines of text."""
    band, stroke, setup = prediction.band, prediction.stroke, prediction.setup
    top_s = stroke.top_s.value
    rows = [
        ("friction considered", f"{band.friction[0]:.2f} to {band.friction[1]:.2f} (static)"),
        (
            "largest demand",
            f"{estimate_text(band.peak_friction_demand)} of the normal force, "
            f"{from_top(peak_demand_time_s(prediction.motion), top_s)}",
        ),
    ]
    if band.leave_s is None or band.leave_x_m is None or band.landing_x_m is None:
        rows.append(
            ("predicted", "would stay on the head" + ("" if band.slip_s is None else ", but would slip"))
        )
    else:
        decides = band.outcome == "either"
        rows += [
            ("predicted", "would leave" + (" at low friction, stay on at high" if decides else "")),
            ("would leave the head", times_from_top(band.leave_s, top_s)),
            ("  where", places(band.leave_x_m)),
            ("would land", places(band.landing_x_m)),
        ]
    if band.slip_s is not None:
        rows.insert(2, ("would start to slip", times_from_top(band.slip_s, top_s)))
    if band.place_on_head_m.known:
        rows.append(("lies on the head", f"{place_on_head(band.place_on_head_m)}, as seen in the clip"))
    if band.seen != "not told":
        rows.append(("in the clip", SEEN[band.seen]))
    if band.observed_leave_s.known:
        reach_ms = 1e3 * INTERVAL_SDS * band.observed_leave_s.sd
        rows.append(
            ("seen to leave", f"{from_top(band.observed_leave_s.value, top_s)} (± {reach_ms:.0f} ms)")
        )
    if band.observed_landing_x_m.known:
        reach_cm = 1e2 * INTERVAL_SDS * band.observed_landing_x_m.sd
        rows.append(("found on the floor", f"{place(band.observed_landing_x_m.value)} (± {reach_cm:.1f} cm)"))
    if prediction.inferred is not None:
        rows.append(("friction that explains it", f"{estimate_text(prediction.inferred.static)} (static)"))
    elif band.seen == "left":
        rows.append(("friction that explains it", "none: check the shelf in the club file"))
    lines = [f"Stroke {stroke.number}: the coin ({setup.coin.name})"]
    lines += [f"  {label:<{LABEL_CELLS}} {words}" for label, words in rows]
    said = [f"Friction: {setup.friction.source}.", *cautions(prediction), FALLEN_COIN]
    return "\n".join([*lines, "", *(fill(each, WIDTH) for each in said)])


def cautions(prediction: CoinPrediction) -> list[str]:
    """Return what is assumed, as sentences."""
    said = [IMPACT_ASSUMPTION]
    if prediction.tilt_source == "none":
        low_m, high_m = PLAUSIBLE_HUBS_M
        said.insert(
            0,
            "Neither the head's tilt nor its arc's radius is known, so these are no precise figures: they "
            f"cover hubs from {100 * low_m:.0f} to {100 * high_m:.0f} cm above the head. A tag on the head "
            "gives its tilt.",
        )
    elif prediction.tilt_source == "arc":
        said.insert(0, "The tilt is that of the head's arc; a tag on the head would measure it.")
    return said


def seen_sentence(stroke: StrokeMeasures) -> str:
    """Return what is seen of a coin in one stroke as a sentence; empty where the clip shows none."""
    band = stroke.loose_object
    if band is None or band.seen not in ("left", "stayed"):
        return ""
    words = SEEN[band.seen]
    if band.observed_leave_s.known:
        reach_ms = 1e3 * INTERVAL_SDS * band.observed_leave_s.sd
        words += f", {from_top(band.observed_leave_s.value, stroke.top_s.value)} (± {reach_ms:.0f} ms)"
    if band.observed_landing_x_m.known:
        words += f"; found {place(band.observed_landing_x_m.value)}"
    return f"The coin is {words}."


def place_on_head(from_tag_m: Estimate) -> str:
    """Return where the coin's middle lies from the tag's."""
    side = "behind" if from_tag_m.value < 0 else "before"
    reach_mm = 1e3 * INTERVAL_SDS * from_tag_m.sd
    return f"{abs(1e3 * from_tag_m.value):.0f} mm {side} the tag (± {reach_mm:.0f} mm)"


def from_top(instant_s: float, top_s: float) -> str:
    """Return an instant relative to the top of the backswing."""
    ms = 1e3 * (instant_s - top_s)
    if abs(ms) < 0.5:
        return "at the top"
    return f"{abs(ms):.0f} ms {'before' if ms < 0 else 'after'} the top"


def times_from_top(band_s: tuple[float, float], top_s: float) -> str:
    """Return a range of instants relative to the top."""
    early, late = (1e3 * (each - top_s) for each in band_s)
    if round(early) == round(late):
        return from_top(band_s[0], top_s)
    if early < 0 < late:
        return f"{-early:.0f} ms before to {late:.0f} ms after the top"
    if late <= 0:
        return f"{-early:.0f} to {-late:.0f} ms before the top"
    return f"{early:.0f} to {late:.0f} ms after the top"


def place(x_m: float) -> str:
    """Return a place along the target line relative to the ball."""
    return f"{abs(100 * x_m):.0f} cm {'behind' if x_m < 0 else 'past'} the ball"


def places(band_m: tuple[float, float]) -> str:
    """Return a range of places relative to the ball."""
    near, far = sorted((100 * each for each in band_m), key=abs)
    if round(near) == round(far):
        return place(band_m[0])
    if near * far < 0:
        return f"{abs(min(near, far)):.0f} cm behind to {max(near, far):.0f} cm past the ball"
    return f"{abs(near):.0f} to {abs(far):.0f} cm {'behind' if far < 0 else 'past'} the ball"
