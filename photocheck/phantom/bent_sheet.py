"""The marker sheet bent and photographed: rolled about an axis, or folded along a line.

Each pixel's ray is met with the paper itself, so nothing is assumed of how a bend looks.  Paper
does not stretch: along the bend a length on the sheet is a length on the arc (a developable
surface).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.phantom.phone import encode
from photocheck.scale.light import Picture
from photocheck.scale.sheet import page_mm, sheet_bitmap

Floats = NDArray[np.float64]

_OVER = 3
"""Rays a pixel has along each side."""

_LONGER = 3200
"""Px, the longer side of the photo that a picture is cut out of."""

_SIZE = (900, 900)
"""Rows and columns of the picture: the part of the photo round the first sheet."""


@dataclass(frozen=True)
class Bend:
    """How the paper is bent.

    Attributes
    ----------
    kind : str
        "flat", "curl" or "fold".
    depth_mm : float
        How far the sheet's edge stands off the plane that touches its middle (a curl's sagitta
        over half of the sheet, a fold's height at the edge); towards the camera when negative.
    turn : float
        Direction across which it is bent, radians from the page's x.
    at_mm : float
        Of a fold, how far its line lies off the middle.
    """

    kind: str = "flat"
    depth_mm: float = 0.0
    turn: float = 0.0
    at_mm: float = 0.0


@dataclass(frozen=True)
class SheetView:
    """From where it is photographed.

    Attributes
    ----------
    distance_mm : float
    yaw, pitch, roll : float
        Of the sheet against the picture, radians.
    focal_px : float
    off_mm : (float, float)
        Of its middle from the line of sight.
    """

    distance_mm: float
    yaw: float
    pitch: float
    roll: float
    focal_px: float
    off_mm: tuple[float, float]


def drawn_view(rng: np.random.Generator) -> SheetView:
    """A view as owners have it: 1.8 to 3.5 m, up to 30 degrees aslant, a phone's main camera."""
    yaw, pitch = np.radians(rng.normal(0.0, 12.0, 2).clip(-30, 30))
    focal = _LONGER * rng.uniform(24.0, 28.0) / 36.0 * 1.04
    distance = rng.uniform(1800.0, 3500.0)
    off = rng.uniform(-0.25, 0.25, 2) * distance * (_LONGER / focal) * (1.0, 0.7)
    roll = float(np.radians(rng.normal(0.0, 4.0)))
    return SheetView(
        float(distance),
        float(yaw),
        float(pitch),
        roll,
        float(focal),
        (float(off[0]), float(off[1])),
    )


def half_across(bend: Bend, paper: str = "a4") -> float:
    """How far the sheet reaches from its middle across the bend, mm."""
    width, height = page_mm(paper)
    return float(0.5 * (width * abs(np.cos(bend.turn)) + height * abs(np.sin(bend.turn))))


def bent_sheet(
    seed: int, bends: list[tuple[Bend, SheetView]] | None = None, *, bend: Bend | None = None
) -> Picture:
    """A photo of one bent sheet, or of several, before a mottled wall.

    Parameters
    ----------
    seed : int
        Of view, light, ground, blur and noise.
    bends : list of (Bend, SheetView), optional
        Each sheet with its view; one by `bend`, seen as `drawn_view` has it, unless given.

    Returns
    -------
    (H, W, 3) uint8
    """
    rng = np.random.default_rng(seed)
    view = drawn_view(rng)
    shown = bends if bends is not None else [(bend or Bend(), view)]
    first = shown[0][1]
    middle = first.focal_px * np.array(first.off_mm) / first.distance_mm
    # of the line of sight, in the picture
    centre = np.array(_SIZE[::-1]) / 2 - 0.5 - middle
    scene = _wall(rng, _SIZE)
    for one, seen in shown:
        scene = _laid(rng, scene, one, seen, centre)
    scene = np.asarray(cv2.GaussianBlur(scene, (0, 0), rng.uniform(0.5, 1.2)), np.float64)
    codes = 255.0 * encode(scene)
    codes += rng.normal(0.0, rng.uniform(1.0, 3.0), codes.shape)
    picture = np.rint(codes.clip(0, 255)).astype(np.uint8)
    _, file = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])
    return np.asarray(cv2.imdecode(file, cv2.IMREAD_COLOR), np.uint8)[..., ::-1].copy()


def _wall(rng: np.random.Generator, size: tuple[int, int]) -> Floats:
    light = np.zeros(size)
    for step in (8, 40, 160):
        rough = rng.normal(0.0, 1.0, (size[0] // step + 2, size[1] // step + 2))
        light += cv2.resize(rough, size[::-1], interpolation=cv2.INTER_CUBIC) * 0.02
    colour = rng.uniform(0.12, 0.4, 3)
    return np.clip(colour + light[..., None], 0.01, 1.0)


def _turned(view: SheetView) -> Floats:
    """The sheet's axes in the camera's frame, as columns."""
    cy, sy, cp, sp = np.cos(view.yaw), np.sin(view.yaw), np.cos(view.pitch), np.sin(view.pitch)
    cr, sr = np.cos(view.roll), np.sin(view.roll)
    yaw = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    pitch = np.array([[1, 0, 0], [0, cp, -sp], [0, sp, cp]])
    roll = np.array([[cr, -sr, 0], [sr, cr, 0], [0, 0, 1]])
    return np.asarray(yaw @ pitch @ roll)


def _laid(
    rng: np.random.Generator, scene: Floats, bend: Bend, view: SheetView, centre: Floats
) -> Floats:
    """The scene with the sheet in it, linear light."""
    height, width = scene.shape[:2]
    fine = (np.arange(height * _OVER) + 0.5) / _OVER - 0.5, (np.arange(width * _OVER) + 0.5) / _OVER
    x, y = np.meshgrid(fine[1] - 0.5, fine[0])
    middle = np.array([view.off_mm[0], view.off_mm[1], view.distance_mm])
    # only where the sheet can be
    reach = 0.75 * np.hypot(*page_mm("a4")) * view.focal_px / view.distance_mm
    at = view.focal_px * middle[:2] / middle[2] + centre
    rows = slice(*(np.clip([at[1] - reach, at[1] + reach], 0, height).astype(int) * _OVER))
    columns = slice(*(np.clip([at[0] - reach, at[0] + reach], 0, width).astype(int) * _OVER))
    x, y = x[rows, columns], y[rows, columns]
    if not x.size:
        return scene
    rays = np.stack(
        [
            (x - centre[0]) / view.focal_px,
            (y - centre[1]) / view.focal_px,
            np.ones_like(x),
        ],
        axis=-1,
    )
    axes = _turned(view)
    direction = rays @ axes  # in the sheet's own frame
    start = -middle @ axes
    u, v = _met(start, direction, bend)
    page = page_mm("a4")
    px_per_mm = 4.0
    blurred = cv2.GaussianBlur(
        np.asarray(sheet_bitmap(px_per_mm), np.float32),
        (0, 0),
        max(0.4 * px_per_mm * view.distance_mm / view.focal_px / _OVER, 0.1),
    )
    across = (u + page[0] / 2) * px_per_mm - 0.5
    down = (v + page[1] / 2) * px_per_mm - 0.5
    with np.errstate(invalid="ignore"):
        on = (np.abs(u) <= page[0] / 2) & (np.abs(v) <= page[1] / 2)
    ink = cv2.remap(
        blurred,
        np.where(on, across, 0.0).astype(np.float32),
        np.where(on, down, 0.0).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    white, black = rng.uniform(0.6, 0.85), rng.uniform(0.03, 0.06)
    light = black + (white - black) * ink / 255.0
    shape = (x.shape[0] // _OVER, _OVER, x.shape[1] // _OVER, _OVER)
    share = on.reshape(shape).mean(axis=(1, 3))
    mean = np.where(on, light, 0.0).reshape(shape).mean(axis=(1, 3))
    whole = scene.copy()
    part = np.s_[
        rows.start // _OVER : rows.start // _OVER + shape[0],
        columns.start // _OVER : columns.start // _OVER + shape[2],
    ]
    whole[part] = scene[part] * (1 - share[..., None]) + mean[..., None]
    return whole


def _met(start: Floats, direction: Floats, bend: Bend) -> tuple[Floats, Floats]:
    """Where rays meet the paper, as places on the page, mm; not a number where they miss it."""
    c, s = np.cos(bend.turn), np.sin(bend.turn)
    across = np.array([c, s, 0.0])
    along = np.array([-s, c, 0.0])
    a0, d0 = start @ across, direction @ across
    z0, dz = start[2], direction[..., 2]
    half = half_across(bend)
    if bend.kind == "flat" or abs(bend.depth_mm) < 1e-9:
        t = -z0 / dz
        w = a0 + t * d0
    elif bend.kind == "curl":
        # sagitta = R (1 - cos(half / R)); by Newton from the parabola's radius
        sign = np.sign(bend.depth_mm)
        radius = half**2 / (2 * abs(bend.depth_mm))
        for _ in range(50):
            left = radius * (1 - np.cos(half / radius)) - abs(bend.depth_mm)
            slope = 1 - np.cos(half / radius) - half / radius * np.sin(half / radius)
            radius -= left / slope
        middle = sign * radius
        qa = d0**2 + dz**2
        qb = d0 * a0 + dz * (z0 - middle)
        qc = a0**2 + (z0 - middle) ** 2 - radius**2
        with np.errstate(invalid="ignore"):
            root = np.sqrt(qb**2 - qa * qc)
        # of both walls of the cylinder the one that touches the middle of the sheet
        both = [(-qb - root) / qa, (-qb + root) / qa]
        z = [z0 + t * dz for t in both]
        nearer = np.abs(z[0]) < np.abs(z[1])
        t = np.where(nearer, both[0], both[1])
        w = radius * np.arctan2(a0 + t * d0, sign * (middle - (z0 + t * dz)))
    else:
        # two half planes through the line at `at_mm`, each raised to half of the height
        slope = bend.depth_mm / half / 2
        tilt = np.arcsin(np.clip(2 * slope, -0.95, 0.95))
        sides = []
        for side in (-1.0, 1.0):
            normal_z, normal_w = np.cos(tilt), -side * np.sin(tilt)
            t = -(normal_z * z0 + normal_w * (a0 - bend.at_mm)) / (normal_z * dz + normal_w * d0)
            reached = (a0 + t * d0 - bend.at_mm) / np.cos(tilt)
            sides.append((t, reached))
        (t1, w1), (t2, w2) = sides
        left = w1 <= 0
        t, w = np.where(left, t1, t2), np.where(left, w1, w2) + bend.at_mm
        valid = left | (w2 >= 0)
        w = np.where(valid, w, np.nan)
    rest = start @ along + t * (direction @ along)
    return w * c - rest * s, w * s + rest * c
