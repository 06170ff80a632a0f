"""The likeliest shapes looked at again, each in a window of its own size.

In the windows around a mark a thing is as large as chance has it: the same card is seen with
twice the px in one and not at all in another.  Shrunk, or blown up, until each is equally large,
all are weighed by the same measure, and what lies a few millimetres off a side is told from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import cv2
import numpy as np

from photocheck.scale.beyond import edges_beyond, shapes_around
from photocheck.scale.candidates import Window, edge_share, slope_across, steepest_across, window_about
from photocheck.scale.catalogue import ReferenceObject
from photocheck.scale.coarse import STIFF, fitted_in, window_px
from photocheck.scale.corners import contains
from photocheck.scale.light import Floats, Picture
from photocheck.scale.rivals import FittedShape

_ROOM: Final = 0.3


def closer(
    picture: Picture, kind: ReferenceObject, near: Floats, corners: Sequence[Floats]
) -> tuple[list[FittedShape], list[FittedShape], list[Floats]]:
    """Shapes (4, 2) px fitted again, those around them, and what is beyond each of all."""
    own, around = [], []
    for quad in corners:
        window = window_about(picture, quad, near, window_px(kind), _ROOM, grow=True)
        inside = (quad - window.origin) / window.scale
        made = fitted_in(window, kind, inside[None])
        own += made
        for one in made[:1]:
            at = one.in_window
            quads = shapes_around(at, edges_beyond(window, at, one.bows))
            if len(quads):
                around += fitted_in(window, kind, quads)
    return [o for o in own if contains(o.corners, near)], [o for o in around if contains(o.corners, near)]


def more_facts(kind: ReferenceObject, one: FittedShape) -> list[float]:
    window, c = one.window, one.in_window
    beyond = edges_beyond(window, c, one.bows)
    run = np.roll(c, -1, axis=0) - c
    length = np.hypot(*run.T)
    normal = run[:, ::-1] * [1.0, -1.0] / np.maximum(length, 1e-9)[:, None]
    # how much edge along each side, near its ends, at its tips
    def along(parts):
        pts = c[:, None] + parts[None, :, None] * run[:, None] + (one.bows[:, None] * 4 * parts * (1 - parts))[..., None] * normal[:, None]
        return edge_share(steepest_across(window, pts, normal))
    main = along(np.linspace(0.1, 0.9, 33))
    mm = 0.5 * (length[0] + length[2]) , 0.5 * (length[1] + length[3])
    px_per_mm = sum(mm) / sum(kind.size_mm)
    r = 3.18 * px_per_mm if kind.kind in STIFF else 0.0
    R = 5.0 * px_per_mm
    corner, tip = [], []
    for k in range(4):
        a = -run[k - 1] / max(length[k - 1], 1e-9); b = run[k] / max(length[k], 1e-9)
        if r > 0:
            t = np.linspace(0.15, 0.85, 7) * np.pi / 2
            centre = c[k] + r * (a + b)
            way = -(np.cos(t)[:, None] * a + np.sin(t)[:, None] * b)
            pts = centre + r * way
            n = way / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
            corner.append(float(_best(window, pts, n).mean()))
            s = np.linspace(0.0, 0.5, 4)[:, None] * r
            na, nb = np.array([a[1], -a[0]]), np.array([b[1], -b[0]])
            tip.append(float(np.mean([_best(window, c[k] + s * a, np.repeat(na[None], 4, 0), (0.0,)).mean(), _best(window, c[k] + s * b, np.repeat(nb[None], 4, 0), (0.0,)).mean()])))
        else:
            s = np.linspace(0.1, 1.0, 6)[:, None] * R
            na, nb = np.array([a[1], -a[0]]), np.array([b[1], -b[0]])
            corner.append(float(min(_best(window, c[k] + s * a, np.repeat(na[None], 6, 0)).mean(), _best(window, c[k] + s * b, np.repeat(nb[None], 6, 0)).mean())))
            tip.append(0.0)
    corner, tip = np.sort(corner), np.array(tip)
    lab = window.lab.astype(np.float64) * [100 / 255, 1, 1]
    # signed step along each side at two ranges, and how alike the ground outside is to within
    side = main.mean(axis=1)
    worst = np.sort(side)
    # tone steps: share of places along each side whose step is plain
    parts = np.linspace(0.1, 0.9, 24)
    pts = c[:, None] + parts[None, :, None] * run[:, None] + (one.bows[:, None] * 4 * parts * (1 - parts))[..., None] * normal[:, None]
    def tones(off):
        at = pts + off * normal[:, None]
        x = np.clip(np.rint(at[..., 0]).astype(int), 0, lab.shape[1] - 1); y = np.clip(np.rint(at[..., 1]).astype(int), 0, lab.shape[0] - 1)
        return lab[y, x]
    inn, out = (tones(-2) + tones(-3)) / 2, (tones(2) + tones(3)) / 2
    step = np.linalg.norm(inn - out, axis=2)
    plain = np.mean(step > 4.0, axis=1)
    inner_var = np.linalg.norm(inn - np.median(inn, axis=1, keepdims=True), axis=2).mean()
    outer_var = np.linalg.norm(out - np.median(out, axis=1, keepdims=True), axis=2).mean()
    light = (inn[..., 0] - out[..., 0]).mean(axis=1)
    signs = abs(np.sign(light) @ np.clip(np.abs(light) / 5, 0, 1)) / 4
    inward = edges_beyond(window, c[::-1], -one.bows[[2, 1, 0, 3]])
    return [
        worst[0], worst[1], side.mean(), corner[0], corner[1], corner.mean(), tip.mean(),
        float(beyond.plain.mean()), float(np.sort(beyond.plain)[1]), float(inward.plain.mean()), float(np.sort(inward.plain)[1]),
        float(plain.min()), float(np.sort(plain)[1]), float(plain.mean()), float(np.log1p(inner_var)), float(np.log1p(outer_var)), float(signs),
        float(np.abs(one.bows).max() / length.max()), float(np.log(max(window.scale, 0.05))),
    ]


MORE = ("edge least", "edge second", "edge mean", "corner least", "corner second", "corner mean", "tip", "beyond mean", "beyond second", "inward mean", "inward second",
        "plain least", "plain second", "plain mean", "inner var", "outer var", "signs", "bow", "scale")


def _best(window: Window, points: Floats, normal: Floats, shifts=(-1.0, 0.0, 1.0)) -> Floats:
    best = np.zeros(len(points))
    for s in shifts:
        best = np.maximum(best, slope_across(window, points[:, 0] + s * normal[:, 0], points[:, 1] + s * normal[:, 1], normal[:, 0], normal[:, 1]))
    return edge_share(best)
