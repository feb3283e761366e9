"""The scenes of the shipped clips, set in the Larch Room: invented strokes of an invented student, S-01.

Every stroke has times and lengths of its own, uneven ones, so that none can be taken for a measured stroke's.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np

from pennyfall.demo_clips.coin import LooseCoin, with_coin
from pennyfall.demo_clips.putter import Putter
from pennyfall.demo_clips.scene import Encoding, Finish, Light, Room, Scene, Sensor, Sheet, aim_camera
from pennyfall.demo_clips.strokes import RISING, Move, NewBall, Rest, Stroke

FULL_HD = (1920, 1080)

EARLY_240 = with_coin(
    Scene(
        name="larch-240-early",
        script=(
            Rest(0.45),
            Stroke(backswing_m=0.23, backswing_s=0.67, forward_s=0.315, through_s=0.55),
            Rest(0.15),
        ),
        putter=Putter(gap_m=0.004, tag_height_m=0.0285),
        camera=aim_camera(
            position_m=(0.04, -0.95, 0.85),
            look_at_m=(0.03, -0.02, 0.0),
            focal_px=1060,
            roll_rad=math.radians(0.8),
        ),
        encoding=Encoding(crf=15),
        seed=11,
    ),
    LooseCoin(static_friction=0.25, kinetic_friction=0.21),
)

LATE_240 = Scene(
    name="larch-240-late",
    script=(
        Rest(0.50),
        Stroke(
            backswing_m=0.21,
            backswing_s=0.71,
            forward_s=0.39,
            levels=RISING,
            ramp="linear",
            through_s=0.60,
            through_mps2=1.5,
        ),
        Rest(0.15),
    ),
    putter=Putter(gap_m=0.008, tag_height_m=0.0312, tag_side_m=0.020, hub_radius_m=1.15, plane_tilt_rad=0.12),
    camera=aim_camera(
        position_m=(-0.12, -0.80, 0.62),
        look_at_m=(0.02, -0.05, 0.0),
        focal_px=930,
        roll_rad=math.radians(-1.5),
    ),
    sheet=Sheet(centre_m=(0.03, -0.21), heading_rad=0.02),
    room=Room(floor=(0.10, 0.095, 0.09), contrast=0.3),
    light=Light(gain=0.8, slope=(-0.3, 0.2)),
    sensor=Sensor(exposure_s=1 / 500, shot_noise=0.009, read_noise=0.003, blur_px=0.7),
    encoding=Encoding(codec="libx265", crf=18, preset="superfast", sound=True, sound_delay_s=0.004),
    phase_s=0.0021,
    seed=12,
)

PLAIN_120 = Scene(
    name="larch-120",
    script=(
        Rest(0.55),
        Stroke(
            backswing_m=0.27,
            backswing_s=0.70,
            forward_s=0.34,
            levels=((0.0, 0.9), (0.3, 1.0), (0.75, 0.35), (1.0, -0.15)),
            through_s=0.60,
        ),
        Rest(0.20),
    ),
    putter=Putter(head_mass_kg=0.365, gap_m=0.002, tag_height_m=0.0270, tag_to_face_m=0.034, depth_m=0.080),
    size=FULL_HD,
    rate_hz=Fraction(120),
    camera=aim_camera(
        position_m=(0.10, -1.30, 1.20),
        look_at_m=(0.05, -0.06, 0.0),
        focal_px=1540,
        size=FULL_HD,
        roll_rad=math.radians(0.4),
        distortion=(0.03, -0.04, 0.0, 0.0, 0.0),
    ),
    sheet=Sheet(centre_m=(-0.02, -0.24), heading_rad=-0.015),
    room=Room(floor=(0.05, 0.21, 0.07), contrast=0.22, line=True),
    light=Light(gain=1.05, slope=(0.1, 0.5), falloff=0.35),
    sensor=Sensor(exposure_s=1 / 600, shot_noise=0.004, read_noise=0.0015, blur_px=0.8),
    encoding=Encoding(crf=18, sound=True, sound_delay_s=0.0045),
    phase_s=0.0047,
    seed=13,
)

PLAIN_60 = with_coin(
    Scene(
        name="larch-60",
        script=(
            Rest(0.60),
            Stroke(
                backswing_m=0.20,
                backswing_s=0.62,
                forward_s=0.32,
                levels=((0.0, 1.0), (0.4, 0.95), (1.0, 0.2)),
                through_s=0.50,
            ),
            Rest(0.25),
        ),
        putter=Putter(
            gap_m=0.006,
            tag_height_m=0.0255,
            tag_side_m=0.032,
            tag_to_face_m=0.032,
            depth_m=0.080,
            restitution=0.80,
        ),
        rate_hz=Fraction(60),
        camera=aim_camera(
            position_m=(0.06, -0.66, 0.98),
            look_at_m=(0.02, -0.06, 0.0),
            focal_px=1010,
            roll_rad=math.radians(-0.7),
        ),
        sheet=Sheet(centre_m=(0.05, -0.19), heading_rad=0.01),
        room=Room(floor=(0.13, 0.12, 0.13), contrast=0.2),
        light=Light(gain=0.9, slope=(0.4, -0.1)),
        sensor=Sensor(exposure_s=1 / 200, shot_noise=0.005, read_noise=0.002, blur_px=0.6),
        encoding=Encoding(crf=15, sound=True, sound_delay_s=0.003),
        phase_s=0.0090,
        seed=14,
    ),
    LooseCoin(static_friction=0.36, kinetic_friction=0.31),
)

LEFT_120 = Scene(
    name="larch-120-left",
    script=(
        Rest(0.50),
        Stroke(backswing_m=0.22, backswing_s=0.64, forward_s=0.31, through_s=0.50, braking_share=0.8),
        Rest(0.20),
    ),
    putter=Putter(player_side=-1, gap_m=0.003, tag_height_m=0.0295, plane_tilt_rad=0.20),
    rate_hz=Fraction(120),
    camera=aim_camera(
        position_m=(0.02, 0.92, 0.58),
        look_at_m=(0.02, 0.04, 0.0),
        focal_px=1050,
        roll_rad=math.radians(1.2),
    ),
    sheet=Sheet(centre_m=(0.02, 0.20)),
    room=Room(floor=(0.19, 0.15, 0.10), contrast=0.2),
    light=Light(gain=0.85, slope=(0.2, -0.4)),
    sensor=Sensor(exposure_s=1 / 800, shot_noise=0.007, read_noise=0.003),
    encoding=Encoding(codec="libx265", crf=17, preset="superfast"),
    gains=1 + 0.015 * np.cos(2 * np.pi * 100 * np.arange(300) / 120),  # lamps on 50 Hz mains
    phase_s=0.0031,
    seed=15,
)

BACKWARDS_240 = Scene(
    name="larch-240-backwards",
    script=(
        Rest(0.45),
        Stroke(
            backswing_m=0.18,
            backswing_s=0.58,
            forward_s=0.30,
            levels=((0.0, 0.7), (0.45, 1.0), (1.0, 0.3)),
            through_s=0.45,
        ),
        Rest(0.15),
    ),
    putter=Putter(gap_m=0.005, tag_height_m=0.0300, tag_to_face_m=0.026, hub_radius_m=1.35),
    camera=aim_camera(
        position_m=(0.18, -0.78, 0.72),
        look_at_m=(0.01, -0.06, 0.0),
        focal_px=900,
        roll_rad=math.radians(2.0),
    ),
    sheet=Sheet(centre_m=(-0.01, -0.20), heading_rad=math.pi - 0.02),
    light=Light(gain=0.75, slope=(-0.2, -0.3), depth=0.55),
    sensor=Sensor(exposure_s=1 / 1000, shot_noise=0.008, read_noise=0.003),
    encoding=Encoding(crf=16),
    phase_s=0.0008,
    seed=16,
)

THREE_120 = Scene(
    name="larch-120-three",
    script=(
        Rest(0.40),
        Move(-0.030, 0.28),
        Move(0.0, 0.30),
        Rest(0.50),
        Stroke(backswing_m=0.21, backswing_s=0.65, forward_s=0.33, through_s=0.50),
        Rest(0.25),
        Move(0.0, 0.75),
        NewBall(),
        Rest(0.60),
        Stroke(backswing_m=0.22, backswing_s=0.69, forward_s=0.335, through_s=0.52),
        Rest(0.25),
        Move(0.0, 0.75),
        NewBall(),
        Rest(0.60),
        Stroke(
            backswing_m=0.215,
            backswing_s=0.66,
            forward_s=0.36,
            levels=((0.0, 0.5), (0.6, 1.0), (1.0, 0.6)),
            through_s=0.50,
        ),
        Rest(0.20),
    ),
    putter=Putter(gap_m=0.004, tag_height_m=0.0290),
    rate_hz=Fraction(120),
    camera=aim_camera(
        position_m=(-0.04, -1.00, 0.72),
        look_at_m=(0.03, -0.04, 0.0),
        focal_px=1150,
        roll_rad=math.radians(-0.5),
    ),
    sheet=Sheet(centre_m=(0.01, -0.205), heading_rad=0.008),
    room=Room(floor=(0.04, 0.06, 0.13), contrast=0.3),
    light=Light(gain=0.95, slope=(0.3, 0.3)),
    sensor=Sensor(exposure_s=1 / 700),
    encoding=Encoding(crf=20, sound=True, sound_delay_s=0.004),
    phase_s=0.0055,
    seed=17,
)

BARE_240 = Scene(
    name="larch-240-bare",
    script=(
        Rest(0.45),
        Stroke(
            backswing_m=0.237,
            backswing_s=0.68,
            forward_s=0.322,
            levels=((0.0, 1.0), (0.45, 0.92), (1.0, 0.12)),
            through_s=0.53,
        ),
        Rest(0.15),
    ),
    putter=Putter(
        head_mass_kg=0.345,
        bare=True,
        gap_m=0.003,
        tag_height_m=0.0265,
        tag_side_m=0.0,
        tag_to_face_m=0.013,
        depth_m=0.027,
        width_m=0.116,
        plane_tilt_rad=0.16,
        hub_radius_m=1.19,
    ),
    camera=aim_camera(
        position_m=(-0.09, -0.88, 0.76),
        look_at_m=(0.02, 0.03, 0.0),
        focal_px=980,
        roll_rad=math.radians(-1.1),
    ),
    sheet=None,
    room=Room(floor=(0.15, 0.13, 0.11), contrast=0.21, pile="brushed", sway_m=0.004),
    light=Light(gain=0.9, slope=(0.61, -0.24), depth=0.55, lamp_width=0.016),
    finish=Finish(
        head=(0.58, 0.58, 0.60),
        shaft=(0.60, 0.60, 0.62),
        gloss=0.8,
        shaft_m=(0.009, 0.015),
        sight_lines_m=((-0.012, -0.0008, 0.009, 0.0008),),
    ),
    sensor=Sensor(exposure_s=1 / 850, shot_noise=0.007, read_noise=0.0025, blur_px=0.65),
    encoding=Encoding(crf=17, sound=True, sound_delay_s=0.0035),
    phase_s=0.0017,
    seed=18,
)

BARE_60 = Scene(
    name="larch-60-bare",
    script=(
        Rest(0.65),
        Stroke(
            backswing_m=0.226,
            backswing_s=0.73,
            forward_s=0.347,
            levels=((0.0, 0.4), (0.68, 1.0), (1.0, 0.83)),
            through_s=0.56,
            through_mps2=1.0,
        ),
        Rest(0.30),
    ),
    putter=Putter(
        head_mass_kg=0.362,
        player_side=-1,
        bare=True,
        gap_m=0.006,
        tag_height_m=0.0288,
        tag_side_m=0.0,
        tag_to_face_m=0.039,
        depth_m=0.085,
        width_m=0.099,
        plane_tilt_rad=0.09,
        hub_radius_m=1.28,
    ),
    size=FULL_HD,
    rate_hz=Fraction(60),
    camera=aim_camera(
        position_m=(0.11, 1.02, 0.97),
        look_at_m=(0.03, -0.02, 0.0),
        focal_px=1480,
        size=FULL_HD,
        roll_rad=math.radians(1.7),
    ),
    sheet=None,
    room=Room(
        floor=(0.045, 0.12, 0.03),
        contrast=0.34,
        pile="blades",
        shoes=(0.06, 0.05, 0.045),
        trousers=(0.16, 0.14, 0.11),
        sway_m=0.006,
    ),
    light=Light(gain=1.0, slope=(0.32, 0.72), depth=0.6, lamp_width=0.012, falloff=0.3),
    finish=Finish(
        head=(0.62, 0.62, 0.60),
        shaft=(0.07, 0.07, 0.075),
        gloss=0.35,
        shaft_m=(0.0094, 0.0148),
        sight_lines_m=((-0.035, -0.0205, 0.036, -0.0190), (-0.035, 0.0190, 0.036, 0.0205)),
    ),
    sensor=Sensor(exposure_s=1 / 540, shot_noise=0.005, read_noise=0.002, blur_px=0.8),
    encoding=Encoding(crf=19, sound=True, sound_delay_s=0.004),
    phase_s=0.0083,
    seed=19,
)

SCENES: dict[str, Scene] = {
    scene.name: scene
    for scene in (
        EARLY_240,
        LATE_240,
        PLAIN_120,
        PLAIN_60,
        LEFT_120,
        BACKWARDS_240,
        THREE_120,
        BARE_240,
        BARE_60,
    )
}
