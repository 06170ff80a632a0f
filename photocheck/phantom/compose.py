"""What is laid over a drawn phantom picture: hair along its direction, and the reference."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import cv2
import numpy as np

from photocheck.phantom.field import Array
from photocheck.phantom.look import Look
from photocheck.phantom.phone import Light, Picture
from photocheck.phantom.scene import Scene
from photocheck.phantom.textures import cloud, reference_face

Window = tuple[slice, slice]
FINER: Final = 3
"""Supersampling of reference objects, per axis."""


def add_hair(
    clean: Light, cover: Picture, flow: Picture, scene: Scene, rng: np.random.Generator
) -> None:
    """Draw streaks along the hair, in place, and an outline that is not cut with a knife.

    Parameters
    ----------
    clean : (rows, columns, 3)
        Linear light.
    cover : (rows, columns) uint8
        How much of each pixel the dog fills.
    flow : (rows, columns, 3) uint8
        Direction of the hair in the picture in the first two channels (127.5 is
        none), the third marks the dog.
    scene : Scene
    rng : numpy Generator
    """
    rows, columns = np.nonzero(cover > 5)
    if not len(rows):
        return
    pad = 24
    top, left = max(rows.min() - pad, 0), max(columns.min() - pad, 0)
    window = np.s_[top : rows.max() + pad, left : columns.max() + pad]
    scale = float(scene.camera.px_per_mm(scene.pivot)[0])
    coat = scene.dog.plan.coat_mm
    filled = cover[window] / 255.0
    inside = flow[window][..., 2] > 128
    away = np.where(inside[..., None], flow[window][..., :2] / 127.5 - 1.0, 0.0)
    # Carry directions a little past the outline, where the hair ends.
    weight = cv2.GaussianBlur(inside.astype(np.float64), (0, 0), 6.0)
    away = np.asarray(cv2.GaussianBlur(away, (0, 0), 6.0)) / np.maximum(weight, 1e-3)[..., None]
    away = away / np.maximum(np.linalg.norm(away, axis=2, keepdims=True), 0.2)
    shape = away.shape[:2]
    # Locks wander a little from the flow.
    swing = 0.35 * cloud(rng, shape, max(18.0 * scale, 4.0)) + 0.15 * cloud(rng, shape, 5.0)
    c, s = np.cos(swing), np.sin(swing)
    away = np.stack(
        [c * away[..., 0] - s * away[..., 1], s * away[..., 0] + c * away[..., 1]], axis=2
    )
    hair_px = (8.0 + 0.9 * coat) * scale
    streak = _along(rng.normal(size=shape), away, hair_px)
    locks = _along(cloud(rng, shape, max(4.0 * scale, 2.0)), away, 1.5 * hair_px)
    grain = 0.6 * streak + 0.5 * locks
    depth = 0.10 + 0.004 * min(coat, 25.0)
    # Push the picture along the hair by the streaks: the outline frays.
    fray = (0.8 + 0.12 * coat) * scale * streak
    at_y, at_x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    edge = np.asarray(cv2.GaussianBlur(filled, (0, 0), max(2.0 * scale, 1.0)))
    edge = np.clip(4.0 * edge * (1.0 - edge), 0.0, 1.0)
    shift = (fray * edge)[..., None] * away
    part = cv2.remap(
        clean[window].astype(np.float32),
        (at_x - shift[..., 0]).astype(np.float32),
        (at_y - shift[..., 1]).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    tone = np.exp(depth * grain * filled)
    clean[window] = part * tone[..., None]


def _along(noise: Array, away: Array, length_px: float) -> Array:
    """Smear noise along a direction field (line integral convolution), unit variance."""
    shape = noise.shape
    at_y, at_x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    source = noise.astype(np.float32)
    total = source.copy()
    steps = int(np.clip(length_px, 4, 28))
    stride = float(length_px / steps)
    ax, ay = away[..., 0].astype(np.float32), away[..., 1].astype(np.float32)
    for sign in (1.0, -1.0):
        px, py = at_x.copy(), at_y.copy()
        for _ in range(steps // 2):
            dx = cv2.remap(ax, px, py, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
            dy = cv2.remap(ay, px, py, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
            px += np.float32(sign * stride) * dx
            py += np.float32(sign * stride) * dy
            total += cv2.remap(source, px, py, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(total / (total.std() + 1e-6), dtype=np.float64)


def add_reference(
    clean: Light, cover: Picture, hidden: Picture, scene: Scene, look: Look, margin: int
) -> None:
    """Lay the reference into the picture, in place, where the dog does not hide it.

    Parameters
    ----------
    clean : (rows, columns, 3)
        Linear light, without the reference.
    cover, hidden : (rows, columns) uint8
        How much of each pixel the reference and the dog fill.
    scene : Scene
    look : Look
    margin : int
        Pixels around the picture proper.
    """
    placed, camera = scene.reference, scene.camera
    shape = (clean.shape[0], clean.shape[1])
    if placed.form == "ball":
        window, colour, opaque = _ball(scene, look, margin, shape)
    else:
        facing = abs(float(placed.axes[2, 2]))
        light = look.sun_share * 1.7 * max(look.sun[2], 0.15) * facing
        light += (1 - look.sun_share) * 1.05
        scale = float(camera.px_per_mm(np.array([placed.centre]))[0])
        face, alpha, to_mm = reference_face(placed, float(np.clip(2.0 * scale, 0.6, 12.0)))
        to_px = _face_homography(scene, margin) @ to_mm
        window, colour, opaque = _warp(face * light, alpha, to_px, shape)
    if not opaque.size:
        return
    # The warp knows the object's own edge best; the drawing only what the dog hides of it.
    beside = cv2.dilate(hidden[window], np.ones((5, 5))) > 0
    share = np.where(beside, np.minimum(cover[window] / 255.0, opaque), opaque)[..., None]
    clean[window] = clean[window] * (1.0 - share) + colour * share


def _window(seen: Array, shape: tuple[int, int]) -> tuple[Array, Array, Window]:
    """The part of the picture around points (n, 2) px: its corners and its slices."""
    room = np.array([shape[1], shape[0]])
    low = np.clip(np.floor(seen.min(axis=0)).astype(int) - 2, 0, room)
    high = np.clip(np.ceil(seen.max(axis=0)).astype(int) + 3, low, room)
    return low, high, (slice(low[1], high[1]), slice(low[0], high[0]))


def _face_homography(scene: Scene, margin: int) -> Array:
    """Nominal mm of the reference's plane to px of the undistorted picture, (3, 3)."""
    placed, camera = scene.reference, scene.camera
    middle = np.array(placed.centre) - np.array(camera.position)
    axes = placed.size_factor * placed.axes[:2]
    into = np.stack([axes[0], axes[1], middle], axis=1)
    matrix = camera.matrix.copy()
    matrix[:2, 2] += margin
    return np.asarray(matrix @ camera.axes @ into)


def _warp(
    face: Array, alpha: Array, to_px: Array, shape: tuple[int, int]
) -> tuple[Window, Array, Array]:
    """Warp a face into its window of the picture, supersampled."""
    rows, columns = alpha.shape
    ring = np.array([[-1.0, -1], [columns, -1], [columns, rows], [-1, rows]])
    low, high, window = _window(cv2.perspectiveTransform(ring[None], to_px)[0], shape)
    size = (int(high[0] - low[0]), int(high[1] - low[1]))
    if min(size) < 1:
        return window, np.zeros((0, 0, 3)), np.zeros((0, 0))
    # Pixel p of the window holds the fine pixels FINER p ... FINER p + FINER - 1.
    finer = np.array(
        [
            [FINER, 0.0, 0.5 * (FINER - 1) - FINER * low[0]],
            [0.0, FINER, 0.5 * (FINER - 1) - FINER * low[1]],
            [0.0, 0.0, 1.0],
        ]
    )
    grown = (size[0] * FINER, size[1] * FINER)
    colour = cv2.warpPerspective(
        face.astype(np.float32),
        finer @ to_px,
        grown,
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    opaque = cv2.warpPerspective(
        alpha.astype(np.float32), finer @ to_px, grown, flags=cv2.INTER_LINEAR
    )
    return (
        window,
        np.asarray(cv2.resize(colour, size, interpolation=cv2.INTER_AREA), dtype=np.float64),
        np.asarray(cv2.resize(opaque, size, interpolation=cv2.INTER_AREA), dtype=np.float64),
    )


def _ball(
    scene: Scene, look: Look, margin: int, shape: tuple[int, int]
) -> tuple[Window, Array, Array]:
    """A lit ball in its window: each fine pixel's ray meets the sphere or misses it."""
    placed, camera = scene.reference, scene.camera
    r = 0.5 * placed.size_factor * (placed.diameter_mm or 0.0)
    straight = replace(camera, distortion=())
    rim = straight.project(placed.outline(camera.position, 64)) + margin
    low, high, window = _window(rim, shape)
    size = (int(high[0] - low[0]), int(high[1] - low[1]))
    if min(size) < 1:
        return window, np.zeros((0, 0, 3)), np.zeros((0, 0))
    x = low[0] + (np.arange(size[0] * FINER) - 0.5 * (FINER - 1)) / FINER
    y = low[1] + (np.arange(size[1] * FINER) - 0.5 * (FINER - 1)) / FINER
    matrix = camera.matrix
    across, down = np.meshgrid(
        (x - margin - matrix[0, 2]) / matrix[0, 0], (y - margin - matrix[1, 2]) / matrix[1, 1]
    )
    rays = np.stack([across, down, np.ones_like(across)], axis=-1) @ camera.axes
    rays /= np.linalg.norm(rays, axis=-1, keepdims=True)
    centre = np.array(placed.centre) - np.array(camera.position)
    along = rays @ centre
    inside = along**2 - centre @ centre + r * r
    root = np.sqrt(np.maximum(inside, 0.0))
    normal = (rays * (along - root)[..., None] - centre) / r
    sun = np.array(look.sun) / np.linalg.norm(look.sun)
    light = look.sun_share * 1.7 * np.clip(normal @ sun, 0.0, None)
    light += (1 - look.sun_share) * (0.65 + 0.45 * normal[..., 1])
    seam = np.abs(normal[..., 0] * 0.8 + 0.6 * np.sin(2.2 * normal[..., 1])) < 0.07
    colour = np.where(seam[..., None], (0.75, 0.75, 0.72), (0.55, 0.42, 0.03)) * light[..., None]
    hit = (inside > 0).astype(np.float64)
    opaque = np.asarray(cv2.resize(hit, size, interpolation=cv2.INTER_AREA), dtype=np.float64)
    mixed = np.asarray(cv2.resize(colour * hit[..., None], size, interpolation=cv2.INTER_AREA))
    return window, mixed / np.maximum(opaque, 1e-6)[..., None], opaque
