"""Under what conditions a stroke is filmed: drawn over what coaches meet."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pennyfall.calibration.camera import Camera
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.scene import Sheet, aim_camera

PICTURES = ((1280, 720), (1920, 1080))
HEAD_NOISE_PX = (0.03, 0.08)
"""White error of a registered head tag. On five clips rendered for this alone, with scenes, light, codecs and
seeds drawn anew (240, 120 and 60 frames/s), against their truth: 0.028 to 0.079 px, what is smooth in the
place taken off."""
LAG_ONE = (0.0, 0.3)
"""Its lag-one correlation; on those five -0.1 to 0.27."""
STATED_SHARE = (0.2, 0.5)
"""Stated over true error; on those five 0.21 to 0.35."""
PLACE_ERROR_PX = 0.010
"""Error that repeats at the same place of the picture. On the shipped clips the covariance between the two
passes of the same place is zero within 2e-4 px^2 once the smooth error of the calibration, a cubic, is taken
off; this is an upper end of it."""
PLACE_ERROR_REACH_PX = 30.0
SMEAR_SHARE_PX = 12.0
"""A tag smeared by this many pixels is located worse by a factor of 1.4 (chosen by us: on the shipped
60 frames/s clip 6 px of smear show no loss)."""
BALL_NOISE_M = (1.2e-4, 2.2e-4)
BALL_NOISE_REACH_M = 0.008
"""Error of the moving ball's centre along its way, and how far along the way it stays alike: on those five
clips 0.12 to 0.22 mm about a line over the first 0.13 s, correlated by 0.2 to 0.3 over 4 to 6 mm, by 0.2 over
14 and not at all over 23 and 40."""
BALL_SMEAR_UNHARMFUL_M = 0.007
BALL_SMEAR_SD = (0.45, 0.25)
BALL_SMEAR_S = 0.12
"""A ball smeared by more than the first errs along its smear: by a share of the excess as it leaves, and by
another once the last has passed; the two shares' standard deviations. On clips rendered at 60 frames/s with
smears of 11 to 26 mm they were 0.11 to 0.74, 0.45 in the mean square, and 0 to 0.3; on the five clips 4 mm
of smear did no harm, 7.7 mm 0.3 mm."""
BALL_SHIFT_PX = 0.14
"""Standard deviation of the ball's shift between rest and motion: in the mean square of the four clips of
little smear, where it was 0.06 to 0.27 px."""
SKIP_PX = (0.02, 0.10)
"""How far a tag moves before the codec shows it: on the shipped clips the picture of the rest stays until the
head has moved by 0.02 to 0.15 px."""
REPEATS_SHARE = 0.7
"""Share of clips whose codec repeats pictures (chosen by us; the shipped clips all do)."""
SHEET_CENTRE_PX = 0.04
SHEET_CORNER_PX = 0.06
"""Errors of the sheet's tag centres and corners; on the shipped clips 0.02 to 0.06 and 0.03 to 0.08 px."""
TIME_ERROR_S = 2e-5
"""Standard deviation of a frame's timestamp against its true mid-exposure; chosen by us: two ticks of the
usual 90 kHz time base."""
HEIGHT_SD_M = 5e-4
"""What a ruler beside the head says about the tag's height."""
MOST_DISTORTION = 0.05
"""k1 that a phone's own correction leaves, to either side at most; chosen by us: it bends a line along the
edge of a 1080p picture by 11 px, and more would be seen."""
HEADING_RAD = 0.02
"""The sheet is laid along the target line to about a degree (common practice, no source)."""
PLANE_TILT_RAD = (0.0, 0.3)
"""The stroke's plane leans by up to 17 degrees, between a straight stroke and a much curved one."""
TRUE_HEIGHT_M = (0.019, 0.035)
"""Heights of a head tag, any as likely: from thin blades to tall mallets (common practice, no source)."""
STRETCH_SD = 0.003
SIZE_BIAS_SD = 0.004
"""Errors of the head tag's size in the picture: from frame to frame, and lasting."""
SIZE_DRIFT_SD = (0.0008, 0.0015)
SIZE_DRIFT_REACH_M = 0.25
"""Errors of that size which grow with the distance from address and with its square, at this distance. The
path is told by the size: on the six shipped clips without distortion it came out turned by 0.0026 rad and
curved by 0.033 /m too much or too little, which these make."""

SOURCES = {
    "head pixels": "place of the head tag in the picture",
    "sheet pixels": "the sheet in the picture: camera pose, scale, focal length",
    "lens": "lens distortion",
    "tag height": "height of the tag above the floor",
    "path": "tilt and curve of the path, turn of the sheet",
    "time base": "timestamps of the frames",
    "ball pixels": "place of the ball in the picture: impact time, ball speed",
}
"""What may err, one by one: the input quantities of the budget, and what each stands for."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Conditions:
    """One filming: camera, light, phone, putter; what of it nobody knows is drawn while filming."""

    rate_hz: float
    picture: tuple[int, int]
    camera: Camera
    lens_known: bool
    """Whether there is a lens file; else focal length comes from the sheet and distortion is unknown."""
    height_stated: bool
    """Whether the tag's height was measured with a ruler."""
    sheet: Sheet
    putter: Putter
    exposure_s: float
    head_noise_px: float
    lag_one: float
    stated_share: float
    """Stated over true standard deviation of the head's pixels: registration states too little."""
    ball_noise_m: float
    skip_px: float
    """How far the tag moves before the codec shows it [px]; 0 where it shows every frame."""
    gaps: int
    """How many times the tag is lost for some frames."""
    phase: float
    """Where in a frame interval the first frame lies, 0 to 1."""


def draw_conditions(rate_hz: float, generator: np.random.Generator) -> Conditions:
    """Draw a filming as the capture guide asks for it, with its usual variations."""
    uniform = generator.uniform
    picture = PICTURES[int(generator.integers(2))]
    camera = aim_camera(
        position_m=(uniform(-0.15, 0.15), -uniform(0.8, 1.2), uniform(0.7, 1.0)),
        look_at_m=(uniform(-0.05, 0.08), uniform(-0.08, 0.0), 0.0),
        focal_px=picture[0] * uniform(0.70, 0.85),
        size=picture,
        roll_rad=math.radians(uniform(-1.5, 1.5)),
    )
    return Conditions(
        rate_hz=rate_hz,
        picture=picture,
        camera=camera,
        lens_known=bool(uniform() < 0.3),
        height_stated=bool(uniform() < 0.7),
        sheet=Sheet(centre_m=(uniform(-0.05, 0.05), -uniform(0.19, 0.25))),
        putter=Putter(
            head_mass_kg=uniform(0.32, 0.375),
            restitution=uniform(0.75, 0.85),
            hub_radius_m=uniform(1.1, 1.4),
            player_side=1 if uniform() < 0.9 else -1,
            gap_m=uniform(0.0, 0.010),
            tag_side_m=float(generator.choice([0.020, 0.024, 0.032])),
        ),
        exposure_s=uniform(1 / 1000, min(1 / 100, 0.4 / rate_hz)),
        head_noise_px=uniform(*HEAD_NOISE_PX),
        lag_one=uniform(*LAG_ONE),
        stated_share=uniform(*STATED_SHARE),
        ball_noise_m=uniform(*BALL_NOISE_M),
        skip_px=uniform(*SKIP_PX) if uniform() < REPEATS_SHARE else 0.0,
        gaps=int(generator.integers(3)),
        phase=uniform(),
    )
