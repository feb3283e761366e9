"""The pinhole camera with lens distortion, posed in the world."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pennyfall.kinematics.values import FloatArray, freeze_arrays


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Camera:
    """A calibrated camera at a known place.

    Pixel coordinates are (u, v) with integers at pixel centres, as in OpenCV.
    """

    matrix: FloatArray
    """Intrinsic matrix K, shape (3, 3) [px]."""
    distortion: FloatArray
    """OpenCV distortion coefficients k1, k2, p1, p2, k3, shape (5,)."""
    rotation: FloatArray
    """Rotation from world to camera axes, shape (3, 3)."""
    translation: FloatArray
    """World origin in camera axes, shape (3,) [m]."""

    def __post_init__(self) -> None:
        freeze_arrays(self)

    @property
    def centre(self) -> FloatArray:
        """Camera centre in the world, shape (3,) [m]."""
        return -self.rotation.T @ self.translation

    def project(self, points: FloatArray) -> FloatArray:
        """Return the pixels of world points, shapes (n, 3) [m] -> (n, 2) [px]."""
        return self._projected(points)[0]

    def project_nearby(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the pixels of world points and how they change with the points.

        Parameters
        ----------
        points : FloatArray
            World points, shape (n, 3) [m].

        Returns
        -------
        tuple[FloatArray, FloatArray]
            Pixels, shape (n, 2) [px], and their derivatives by the point, shape (n, 2, 3) [px/m].

        """
        pixels, derivatives = self._projected(points)
        by_translation = derivatives[:, 3:6].reshape(-1, 2, 3)  # a step of the point in the camera's axes
        return pixels, by_translation @ self.rotation

    def _projected(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return pixels and OpenCV's derivatives, which it works out in any case, two rows a point."""
        rotation_vector, _ = cv2.Rodrigues(self.rotation)
        pixels, derivatives = cv2.projectPoints(
            np.asarray(points, dtype=np.float64).reshape(-1, 1, 3),
            rotation_vector,
            self.translation,
            self.matrix,
            self.distortion,
        )
        return np.asarray(pixels, dtype=np.float64).reshape(-1, 2), np.asarray(derivatives, dtype=np.float64)

    def rays(self, pixels: FloatArray) -> FloatArray:
        """Return the directions of the rays through pixels, (n, 2) [px] -> (n, 3), not normalised."""
        ideal = cv2.undistortPoints(
            np.asarray(pixels, dtype=np.float64).reshape(-1, 1, 2), self.matrix, self.distortion
        ).reshape(-1, 2)
        directions: FloatArray = ideal @ self.rotation[:2] + self.rotation[2]
        return directions

    def meet_level(self, pixels: FloatArray, height_m: float) -> FloatArray:
        """Return where the rays through `pixels` come down to a height above the floor.

        Parameters
        ----------
        pixels : FloatArray
            Shape (n, 2) [px].
        height_m : float
            The height [m].

        Returns
        -------
        FloatArray
            World points, shape (n, 3) [m]; NaN where the ray is level or meets it behind the camera.

        """
        return on_level(self.centre, self.rays(pixels), height_m)

    def moved_to(self, origin: FloatArray, x_axis: FloatArray) -> Camera:
        """Return the same camera in a world with another origin and x axis (both on the floor plane).

        Parameters
        ----------
        origin : FloatArray
            New origin in the present world, shape (3,) [m].
        x_axis : FloatArray
            New x axis in the present world, shape (3,), horizontal and of unit length.

        """
        z_axis = np.array([0.0, 0.0, 1.0])
        turn = np.column_stack([x_axis, np.cross(z_axis, x_axis), z_axis])  # new axes in old coordinates
        return Camera(
            matrix=self.matrix,
            distortion=self.distortion,
            rotation=self.rotation @ turn,
            translation=self.rotation @ origin + self.translation,
        )


def on_plane(origin: FloatArray, directions: FloatArray, point: FloatArray, normal: FloatArray) -> FloatArray:
    """Return where rays meet a plane, shape (n, 3) [m]; NaN where parallel to it or running away.

    Parameters
    ----------
    origin : FloatArray
        Where they start, shape (3,), or one a ray, shape (n, 3) [m].
    directions : FloatArray
        Shape (n, 3).
    point, normal : FloatArray
        A point of the plane [m] and its normal, shape (3,) each, or one a ray, shape (n, 3).

    """
    along = (directions * normal).sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        depth = ((point - origin) * normal).sum(axis=-1) / along
        depth = np.where(np.isfinite(depth) & (depth > 0), depth, np.nan)
    return np.asarray(origin + depth[:, None] * directions, dtype=np.float64)


def on_level(origin: FloatArray, directions: FloatArray, height_m: float) -> FloatArray:
    """Return where rays meet the level plane at a height above the floor, as of `on_plane`."""
    return on_plane(origin, directions, np.array([0.0, 0.0, height_m]), np.array([0.0, 0.0, 1.0]))
