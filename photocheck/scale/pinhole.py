"""The camera model: points in space to pixels and back, for many cameras at once.

Frames (right-handed): the camera's is x right, y down, z forward.  The *level
frame* lies in the reference plane with its origin at the reference's centre, x
to the picture's right, y down, z away from the camera.  The reference itself
is turned by `roll` in that plane.

    X_camera = Ry(yaw) @ Rx(pitch) @ X_level + t

Everything broadcasts over leading axes, so that one call evaluates a whole
Jacobian.  Distances in mm, angles in radians, pictures in pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pinhole:
    """A camera against the level frame, or a stack of them.

    Attributes
    ----------
    rotation : (..., 3, 3)
        Level frame to camera.
    translation : (..., 3)
        The reference's centre in the camera frame, mm.
    focal_px : (...)
        Focal length, px.
    corner_shift : (...)
        Radial distortion: the fraction by which the frame's corner is displaced.
    centre_px : (..., 2)
        Principal point, px.
    corner_radius_px : (...)
        Half the diagonal of all that the camera took, px.
    """

    rotation: Array
    translation: Array
    focal_px: Array
    corner_shift: Array
    centre_px: Array
    corner_radius_px: Array

    def project(self, points: Array) -> Array:
        """Level-frame points (..., N, 3), mm, to pixels (..., N, 2)."""
        in_camera = points @ np.swapaxes(self.rotation, -1, -2) + self.translation[..., None, :]
        flat = in_camera[..., :2] / in_camera[..., 2:] * self.focal_px[..., None, None]
        return self.distort(flat) + self.centre_px[..., None, :]

    def distort(self, flat: Array) -> Array:
        """Pixels from the principal point, (..., N, 2): undistorted to distorted."""
        squared = _squared(flat) / self._reach
        return np.asarray(flat * (1.0 + self.corner_shift[..., None, None] * squared))

    def undistort(self, pixels: Array) -> Array:
        """Inverse of `distort` for small corner shifts, by fixed-point iteration."""
        distorted = pixels - self.centre_px[..., None, :]
        flat = distorted
        reach = self._reach
        for _ in range(8):
            squared = _squared(flat) / reach
            flat = distorted / (1.0 + self.corner_shift[..., None, None] * squared)
        return np.asarray(flat)

    @property
    def _reach(self) -> Array:
        """`corner_radius_px` squared, against points (..., 1, 1)."""
        return np.asarray(np.asarray(self.corner_radius_px)[..., None, None] ** 2)

    def position(self) -> Array:
        """The camera's place in the level frame, (..., 3), mm."""
        turned = np.swapaxes(self.rotation, -1, -2)
        return np.asarray(-(turned @ self.translation[..., None])[..., 0])

    def onto_plane(self, pixels: Array, point: Array, normal: Array) -> Array:
        """Where viewing rays meet a plane.

        Parameters
        ----------
        pixels : (..., N, 2)
        point : (..., 3) or (..., N, 3)
            On the plane, level frame, mm.
        normal : (..., 3)
            Of the plane, level frame.

        Returns
        -------
        (..., N, 3)
            Level frame, mm.
        """
        flat = self.undistort(pixels) / self.focal_px[..., None, None]
        rays = np.concatenate([flat, np.ones_like(flat[..., :1])], axis=-1) @ self.rotation
        start = self.position()[..., None, :]
        if point.ndim < rays.ndim:
            point = point[..., None, :]
        along = np.sum((point - start) * normal[..., None, :], axis=-1)
        reach = along / np.sum(rays * normal[..., None, :], axis=-1)
        return np.asarray(start + rays * reach[..., None])


def _squared(flat: Array) -> Array:
    """Squared distances from the origin, (..., N, 2) to (..., N, 1).

    As by `numpy.sum` of squares, which takes three times as long for two numbers.
    """
    squares = flat**2
    return np.asarray(squares[..., :1] + squares[..., 1:])


def turn_about_y(angle: Array) -> Array:
    """Rotation matrices about y, (...) radians to (..., 3, 3)."""
    c, s, o = np.cos(angle), np.sin(angle), np.zeros_like(angle)
    return _matrix([[c, o, s], [o, o + 1, o], [-s, o, c]])


def turn_about_x(angle: Array) -> Array:
    """Rotation matrices about x, (...) radians to (..., 3, 3)."""
    c, s, o = np.cos(angle), np.sin(angle), np.zeros_like(angle)
    return _matrix([[o + 1, o, o], [o, c, -s], [o, s, c]])


def turn_about_both(about_y: Array, about_x: Array) -> Array:
    """`turn_about_y` @ `turn_about_x`, (...) radians to (..., 3, 3), written out.

    Every evaluation of a camera makes one, and the product of small matrices takes longer.
    """
    c, s, d, t = np.cos(about_y), np.sin(about_y), np.cos(about_x), np.sin(about_x)
    matrix = np.zeros((*np.shape(c), 3, 3))
    matrix[..., 0, 0] = c
    matrix[..., 0, 1] = s * t
    matrix[..., 0, 2] = s * d
    matrix[..., 1, 1] = d
    matrix[..., 1, 2] = -t
    matrix[..., 2, 0] = -s
    matrix[..., 2, 1] = c * t
    matrix[..., 2, 2] = c * d
    return matrix


def turn_in_plane(angle: Array) -> Array:
    """Plane rotation matrices, (...) radians to (..., 2, 2), turning x towards y."""
    c, s = np.cos(angle), np.sin(angle)
    return _matrix([[c, -s], [s, c]])


def _matrix(rows: list[list[Array]]) -> Array:
    matrix = np.empty((*np.shape(rows[0][0]), len(rows), len(rows)))
    for i, row in enumerate(rows):
        for j, entries in enumerate(row):
            matrix[..., i, j] = entries
    return matrix


def conic_distance(conic: Array, pixels: Array) -> Array:
    """Signed distance of pixels from conics, to first order (Sampson).

    Sampson, P. D. (1982), Fitting conic sections to "very scattered" data,
    Computer Graphics and Image Processing 18: 97-108: value over gradient.

    Parameters
    ----------
    conic : (..., 3, 3)
        Symmetric point conics, positive outside for an ellipse.
    pixels : (N, 2)

    Returns
    -------
    (..., N)
        Pixels, positive outside.
    """
    homogeneous = np.concatenate([pixels, np.ones_like(pixels[..., :1])], axis=-1)
    half = homogeneous @ conic
    value = np.sum(half * homogeneous, axis=-1)
    gradient = 2.0 * np.linalg.norm(half[..., :2], axis=-1)
    return np.asarray(value / gradient)


def disc_conic(camera: Pinhole, radius: Array) -> Array:
    """Outline of a disc in the reference plane around its origin, as a conic in pixels.

    Hartley and Zisserman, Multiple View Geometry, 2nd ed., result 2.13: a conic C
    maps under the plane's homography H to inv(H).T C inv(H).  Radius in mm, (...).
    The conic lives in undistorted pixels from the principal point.
    """
    homography = np.concatenate(
        [camera.rotation[..., :, :2], camera.translation[..., :, None]], axis=-1
    )
    homography = homography * _focal_scale(camera)
    inverse = np.linalg.inv(homography)
    circle = np.zeros((*np.shape(radius), 3, 3))
    circle[..., 0, 0] = circle[..., 1, 1] = 1.0
    circle[..., 2, 2] = -(radius**2)
    return _signed(np.swapaxes(inverse, -1, -2) @ circle @ inverse)


def ball_conic(camera: Pinhole, radius: Array) -> Array:
    """Outline of a ball centred on the reference's origin, as a conic in pixels.

    The tangent cone from the camera to a sphere of radius r at t is
    x.T (t t.T - (t.t - r^2) I) x = 0 with x a viewing direction.
    """
    t = camera.translation
    cone = t[..., :, None] * t[..., None, :]
    slack = np.sum(t**2, axis=-1) - radius**2
    cone = slack[..., None, None] * np.eye(3) - cone
    unscale = 1.0 / _focal_scale(camera)
    return _signed(cone * unscale * np.swapaxes(unscale, -1, -2))


def _focal_scale(camera: Pinhole) -> Array:
    """Row scaling by (f, f, 1), (..., 3, 1)."""
    one = np.ones_like(camera.focal_px)
    return np.stack([camera.focal_px, camera.focal_px, one], axis=-1)[..., :, None]


def _signed(conic: Array) -> Array:
    """Scale a conic so that its trace over x and y is positive (outside positive)."""
    trace = conic[..., 0, 0] + conic[..., 1, 1]
    return np.asarray(conic / trace[..., None, None])
