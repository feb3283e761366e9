"""A head without a mark: balls found by themselves, and the shaft beside the one that is struck."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pennyfall.calibration.lens import Lens
from pennyfall.calibration.pose import Pose
from pennyfall.kinematics.values import Estimate, FloatArray
from pennyfall.tracker.ball import BareBalls, FollowedBall
from pennyfall.tracker.clip.frame import Frame, LumaFrame
from pennyfall.tracker.follow.boxes import Box
from pennyfall.tracker.follow.pixel_track import PixelTrack
from pennyfall.tracker.follow.rows import RowKeeper
from pennyfall.tracker.follow.steady import Steadier

AROUND_RADII = (16, 12)
"""Chosen by us: across and down, in radii of the ball, as far as its sheet may lie and its head stand: 0.35
m."""

HELD_PX = 0.1
"""Chosen by us: by how much the place errs alike over some frames where a held phone's pictures were laid
over the first: on two clips shaken by known turns they lay within 0.05 px rms in each direction."""


class BareWatch:
    """Watches balls and keeps rows above them, for a clip in which no mark is seen.

    Parameters
    ----------
    box : Box or None
        A part of the head on the first frame, where a person named it.
    stated_focal : Estimate or None
        Focal length as the file states it [px].
    lens : Lens or None
        Calibrated lens, made in a picture of the clip's shape.
    pixel_aspect : float
        Width of a pixel over its height.

    """

    def __init__(
        self, box: Box | None, *, stated_focal: Estimate | None, lens: Lens | None, pixel_aspect: float
    ) -> None:
        self._box = box
        self._balls = BareBalls(stated_focal=stated_focal, lens=lens, pixel_aspect=pixel_aspect)
        self._around: tuple[int, int, int, int] | None = None
        self._rows: RowKeeper | None = None
        self._wanted = True
        self._steadier = Steadier()

    def update(self, frame: Frame) -> None:
        """Take the next frame."""
        frame = self._steadier.update(frame)
        self._balls.update(frame.index, frame.time_s, frame.luma)
        if self._wanted and self._rows is None and self._balls.candidates:
            centres = np.array([each.centre_px for each in self._balls.candidates])
            radius = max(each.radius_px for each in self._balls.candidates)
            self._rows = RowKeeper(centres, radius)
        if self._rows is not None:
            self._rows.take(frame)

    def around_ball(self, luma: LumaFrame) -> tuple[int, int, int, int]:
        """Return the part of a picture about the surest ball: left, top, right, bottom [px].

        Where none lies, about the last that did at such a look; all of the picture before there is one.
        """
        if self._balls.candidates:
            ball = self._balls.candidates[0]
            reach = ball.radius_px * np.array(AROUND_RADII)
            (left, top), (right, bottom) = ((ball.centre_px + sign * reach).astype(int) for sign in (-1, 1))
            self._around = int(left), int(top), int(right), int(bottom)
        return self._around or (0, 0, luma.shape[1], luma.shape[0])

    def head_is_marked(self) -> None:
        """Take note that a tag is followed on the head: the shaft is not needed."""
        self._rows, self._wanted = None, False

    def balls(self) -> tuple[FollowedBall, ...]:
        """Return the balls that were struck, else the surest that lies there."""
        return self._balls.balls()

    def pose(self) -> Pose | None:
        """Return the camera posed by the ball; None without one."""
        return self._balls.pose()

    def head(self, times_s: FloatArray) -> PixelTrack | None:
        """Return the shaft's line in every frame of the clip; None where no ball or no shaft is found.

        Parameters
        ----------
        times_s : FloatArray
            True time of every frame of the clip, shape (n,) [s].

        """
        from pennyfall.tracker.follow.shaft import follow_shaft  # scipy, loaded while the clip is decoded

        balls = self.balls()
        if self._rows is None or not balls:
            return None
        struck = next((ball for ball in balls if ball.departed), None)
        ball = struck or balls[0]
        lay = np.flatnonzero(ball.at_rest)
        ball_px = np.median(ball.centre_px[lay], axis=0)
        radius_px = float(np.median(ball.radius_px[lay]))
        rows = self._rows.kept()
        line = follow_shaft(
            rows,
            ball_px=ball_px,
            radius_px=radius_px,
            struck_s=None if struck is None else float(struck.time_s[~struck.at_rest][0]),
            head_px=None if self._box is None else self._box.middle_px,
            toward=0.0 if struck is None else float(np.sign(struck.centre_px[-1, 0] - ball_px[0])),
        )
        if line is None:
            return None
        if self._steadier.held:
            line = replace(line, slow_sd_px=max(line.slow_sd_px, HELD_PX))
        return _over_clip(line, rows.first_frame, times_s)


def _over_clip(line: PixelTrack, first: int, times_s: FloatArray) -> PixelTrack:
    """Return the track over all frames of the clip, not seen before its rows were kept."""
    count = len(times_s)

    def spread(values: FloatArray) -> FloatArray:
        everywhere = np.full((count, *values.shape[1:]), np.nan)
        everywhere[first : first + len(values)] = values
        return everywhere

    seen = np.zeros(count, dtype=np.bool_)
    seen[first : first + len(line.seen)] = line.seen
    return replace(
        line,
        time_s=times_s,
        seen=seen,
        centre_px=spread(line.centre_px),
        covariance_px2=spread(line.covariance_px2),
        jacobian=spread(line.jacobian),
        stretch_covariance=spread(line.stretch_covariance),
        slope=None if line.slope is None else spread(line.slope),
        rise_px=None if line.rise_px is None else spread(line.rise_px),
    )
