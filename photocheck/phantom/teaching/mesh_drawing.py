"""A mesh on a picture: which triangle is seen at each pixel, and what lies there.

A painter's algorithm: triangles from far to near, each filled with its number as a colour.
For closed meshes of small triangles that is as good as a depth buffer, and OpenCV does it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from photocheck.phantom.field import Array

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True)
class BodyView:
    """A pinhole that looks at a body, and where on the picture it lands.

    ``yaw``, ``pitch``, ``roll`` rad (yaw 0: square to the near side, the head to the left;
    positive pitch: from above), ``distance`` heights; then px = scale * plane + shift.
    """

    yaw: float
    pitch: float
    roll: float
    distance: float
    scale: float = 1.0
    shift: tuple[float, float] = (0.0, 0.0)
    middle: tuple[float, float, float] = (0.5, 0.5, 0.0)

    @property
    def axes(self) -> Array:
        """Rows: the picture's right, its down, and toward the camera, in the body's axes."""
        cy, sy = np.cos(self.yaw), np.sin(self.yaw)
        cp, sp = np.cos(self.pitch), np.sin(self.pitch)
        right = np.array([cy, 0.0, -sy])
        toward = np.array([sy * cp, sp, cy * cp])
        up = np.cross(toward, right)
        cr, sr = np.cos(self.roll), np.sin(self.roll)
        return np.stack([cr * right + sr * up, sr * right - cr * up, toward])

    def project(self, points: npt.NDArray[np.floating]) -> tuple[Array, Array]:
        """Pixels (n, 2) and nearness (n,) of points (n, 3)."""
        seen = (np.asarray(points, np.float64) - np.array(self.middle)) @ self.axes.T
        depth = np.maximum(self.distance - seen[:, 2], 0.3)
        plane = seen[:, :2] * (self.distance / depth)[:, None]
        return plane * self.scale + np.array(self.shift), -depth


@dataclass(frozen=True, eq=False)
class SeenMesh:
    """What the pixels of a drawn mesh show; arrays over the n covered pixels.

    ``rows``, ``columns`` (n,); ``places`` (n, 3) in the body's rest coordinates; ``normals``
    (n, 3) unit, body axes; ``nearness`` (n,); ``tint`` (n,).
    """

    rows: npt.NDArray[np.intp]
    columns: npt.NDArray[np.intp]
    places: Floats
    normals: Floats
    nearness: Floats
    tint: Floats


def vertex_normals(vertices: Floats, faces: npt.NDArray[np.int32]) -> Floats:
    """Area-weighted, (n, 3) unit."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    flat = np.cross(b - a, c - a)
    out = np.zeros_like(vertices)
    for k in range(3):
        for axis in range(3):
            out[:, axis] += np.bincount(
                faces[:, k], weights=flat[:, axis], minlength=len(vertices)
            ).astype(np.float32)
    return np.asarray(out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12))


def _turned(a: Floats, b: Floats) -> Floats:
    """Twice the area between two sides, (n,)."""
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def draw(
    vertices: Floats,
    faces: npt.NDArray[np.int32],
    rest: Floats,
    view: BodyView,
    size: tuple[int, int],
    tint: Floats | None = None,
) -> SeenMesh:
    """Draw a mesh.

    Parameters
    ----------
    vertices, faces : the mesh
    rest : (n, 3) where each vertex lies on the undeformed body, for what is painted on it
    view : BodyView
    size : (width, height) px
    tint : (n,) or None

    Returns
    -------
    SeenMesh
    """
    pixels, nearness = view.project(vertices)
    p = pixels.astype(np.float32)
    a, b, c = (p[faces[:, k]] for k in range(3))
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    low = np.minimum(np.minimum(a, b), c)
    high = np.maximum(np.maximum(a, b), c)
    on = (high > -1).all(axis=1) & (low[:, 0] < size[0] + 1) & (low[:, 1] < size[1] + 1)
    front = np.flatnonzero((area < 0) & on)  # y runs down: faces toward us turn the other way
    order = front[np.argsort(nearness[faces[front]].sum(axis=1))]
    corners = np.rint(np.stack([a, b, c], axis=1)[order] * 16).astype(np.int32)
    canvas = np.zeros((size[1], size[0], 3), np.uint8)
    codes = order + 1
    red, green, blue = codes & 255, (codes >> 8) & 255, codes >> 16
    for corner, r, g, bl in zip(corners, red.tolist(), green.tolist(), blue.tolist(), strict=True):
        cv2.fillConvexPoly(canvas, corner, (r, g, bl), cv2.LINE_8, 4)
    code = canvas.astype(np.int32) @ np.array([1, 256, 65536], np.int32)
    rows, columns = np.nonzero(code)
    face = faces[code[rows, columns] - 1]
    q = np.stack([columns, rows], axis=1).astype(np.float32)
    a, b, c = (p[face[:, k]] for k in range(3))
    whole = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    whole = np.where(np.abs(whole) < 1e-6, 1e-6, whole)
    wb = (
        (q[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (q[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    ) / whole
    wc = (
        (b[:, 0] - a[:, 0]) * (q[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (q[:, 0] - a[:, 0])
    ) / whole
    weights = np.clip(np.stack([1.0 - wb - wc, wb, wc], axis=1), 0.0, 1.0)
    weights /= weights.sum(axis=1, keepdims=True)
    normals = vertex_normals(vertices, faces)

    def mixed(values: Floats) -> Floats:
        return np.asarray(np.einsum("nk,nk...->n...", weights, values[face]), np.float32)

    normal = mixed(normals)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    return SeenMesh(
        rows,
        columns,
        mixed(rest),
        normal,
        mixed(nearness.astype(np.float32)),
        mixed(tint) if tint is not None else np.zeros(len(rows), np.float32),
    )
