"""What dogs wear and what is held over them: collar, harness, leash, hands; people's legs."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from photocheck.phantom.field import Array
from photocheck.phantom.teaching.coat import linear
from photocheck.phantom.teaching.mesh_drawing import SeenMesh
from photocheck.phantom.teaching.teaching_bodies import TeachingBody

Floats = npt.NDArray[np.float32]

SKIN = ((224, 182, 152), (198, 148, 116), (150, 102, 74), (96, 64, 48))


def _cloth(rng: np.random.Generator) -> Floats:
    vivid = rng.uniform(0, 255, 3)
    grey = np.full(3, rng.uniform(10, 220))
    share = rng.random()
    return linear(share * vivid + (1 - share) * grey)


def worn(colour: Floats, seen: SeenMesh, body: TeachingBody, rng: np.random.Generator) -> Floats:
    """Reflectances with a collar, a harness or a coat over the dog's own, now and then."""
    r = seen.places.astype(np.float64)
    breast, top = body.points["breastbone"], body.points["shoulder_top"]
    what = rng.random()
    out = colour.copy()
    if what < 0.38:
        base = 0.5 * (breast + top)
        axis = base - body.poll
        axis = axis / np.linalg.norm(axis)
        at = body.poll + rng.uniform(0.22, 0.6) * (base - body.poll)
        flat = np.abs((r - at) @ axis) < rng.uniform(0.008, 0.028)
        near = np.linalg.norm(r - at, axis=1) < 0.26
        out[flat & near] = _cloth(rng)
    if 0.3 < what < 0.5:
        cloth = _cloth(rng)
        wide = rng.uniform(0.012, 0.03)
        chest = body.points["chest_bottom"]
        lean = rng.uniform(-0.15, 0.15)
        girth = np.abs(r[:, 0] - chest[0] - rng.uniform(0.0, 0.08) - lean * (r[:, 1] - chest[1]))
        trunk = (r[:, 1] > chest[1] - 0.03) & (r[:, 0] > breast[0] - 0.05)
        ring = top - breast
        side = np.array([-ring[1], ring[0]]) / np.hypot(ring[0], ring[1])
        off = np.abs((r[:, :2] - (breast[:2] + np.array([0.02, 0.03]))) @ side)
        over = (r[:, 1] > breast[1] - 0.02) & (off < wide) & (r[:, 1] < top[1] + 0.1)
        strap = (
            (np.abs(r[:, 1] - top[1] + 0.02) < 0.03)
            & (r[:, 0] > top[0])
            & (r[:, 0] < chest[0] + 0.05)
        )
        out[((girth < wide) & trunk) | over | strap] = cloth
    elif what > 0.97:
        cloth = _cloth(rng)
        first, last = top[0] - 0.02, body.points["tail_base"][0] - rng.uniform(0.02, 0.35)
        low = body.points["chest_bottom"][1] + rng.uniform(0.0, 0.25)
        out[(r[:, 0] > first) & (r[:, 0] < last) & (r[:, 1] > low)] = cloth
    return out


def leash(
    picture: Floats, alpha: Floats | None, neck: Array, size: int, rng: np.random.Generator
) -> None:
    """A line from the neck to somewhere above, sagging; drawn in place."""
    end = np.array([rng.uniform(-0.2, 1.2) * size, rng.uniform(-0.3, 0.25) * size])
    t = np.linspace(0, 1, 24)[:, None]
    sag = np.array([0.0, rng.uniform(-0.02, 0.22) * size])
    points = neck + t * (end - neck) + 4 * t * (1 - t) * sag
    colour = tuple(float(v) for v in rng.uniform(5, 250, 3))
    width = int(rng.integers(1, 5))
    line = np.rint(points * 8).astype(np.int32)[:, None]
    cv2.polylines(picture, [line], False, colour, width, cv2.LINE_AA, 3)


def _tube(picture: Floats, path: Array, radii: Array, colour: Array, light: float) -> None:
    """A rounded limb along a path, shaded across, drawn in place; colours 0 to 255."""
    mask = np.zeros(picture.shape[:2], np.uint8)
    for (a, b), (ra, rb) in zip(pairwise(path), pairwise(radii), strict=True):
        for t in np.linspace(0, 1, 12):
            at = a + t * (b - a)
            cv2.circle(mask, (int(at[0]), int(at[1])), max(int(ra + t * (rb - ra)), 1), 255, -1)
    if not mask.any():
        return
    inside = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    deep = np.clip(inside / max(float(radii.max()), 1.0), 0, 1)
    shade = (0.55 + 0.45 * np.sqrt(deep)) * light
    cover = cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), 0.8)[..., None]
    picture[:] = picture * (1 - cover) + cover * np.clip(colour * shade[..., None], 0, 255)


def hand(picture: Floats, at: Array, scale: float, rng: np.random.Generator) -> None:
    """A forearm with a hand that ends near a place, px; drawn in place."""
    skin = np.array(SKIN[int(rng.integers(len(SKIN)))]) * rng.uniform(0.8, 1.1)
    angle = rng.uniform(-np.pi * 0.95, -np.pi * 0.05)
    away = np.array([np.cos(angle), np.sin(angle)])
    wrist = at + away * 0.14 * scale
    arm = wrist + away * 0.9 * scale
    sleeve = rng.uniform(0, 255, 3) * rng.uniform(0.2, 1.0)
    _tube(
        picture,
        np.stack([wrist, arm]),
        np.array([0.045, 0.07]) * scale,
        sleeve if rng.random() < 0.6 else skin,
        1.0,
    )
    _tube(picture, np.stack([wrist, at]), np.array([0.04, 0.045]) * scale, skin, 1.0)
    across = np.array([-away[1], away[0]])
    for k in (-1.2, -0.4, 0.4, 1.2):
        start = at + across * k * 0.022 * scale
        stop = start - away * rng.uniform(0.04, 0.08) * scale + across * k * 0.008 * scale
        _tube(picture, np.stack([start, stop]), np.array([0.013, 0.011]) * scale, skin, 1.0)


def legs_of_somebody(picture: Floats, foot: Array, scale: float, rng: np.random.Generator) -> None:
    """Trousers and shoes of somebody who stands, ``foot`` px on the ground; drawn in place."""
    cloth = rng.uniform(10, 200, 3) * rng.uniform(0.3, 1.0)
    if rng.random() < 0.4:
        cloth = np.array([50, 65, 100]) * rng.uniform(0.5, 1.4)
    bare = rng.random() < 0.2
    skin = np.array(SKIN[int(rng.integers(len(SKIN)))])
    light = rng.uniform(0.7, 1.15)
    for side in (-1, 1):
        at = foot + np.array(
            [side * rng.uniform(0.08, 0.2) * scale, rng.uniform(-0.03, 0.03) * scale]
        )
        knee = at + np.array([rng.normal(0, 0.04), -0.75]) * scale
        hip = foot + np.array([side * 0.1, -1.6]) * scale
        _tube(
            picture,
            np.stack([at, knee, hip]),
            np.array([0.08, 0.1, 0.15]) * scale,
            skin if bare else cloth,
            light,
        )
        toe = at + np.array([rng.choice([-1, 1]) * 0.14, 0.02]) * scale
        _tube(
            picture,
            np.stack([at, toe]),
            np.array([0.065, 0.055]) * scale,
            rng.uniform(5, 240, 3),
            light,
        )


def sheet(picture: Floats, at: Array, side: float, rng: np.random.Generator) -> None:
    """A white sheet, a card or a box about a place, px; drawn in place."""
    wide, tall = side * rng.uniform(0.5, 1.3), side
    angle = rng.normal(0, 0.15)
    c, s = np.cos(angle), np.sin(angle)
    corners = np.array([[-wide, -tall], [wide, -tall], [wide, tall], [-wide, tall]]) / 2
    corners[2:] += rng.normal(0, 0.06, 2) * side
    corners = corners @ np.array([[c, s], [-s, c]]) + at
    colour = rng.uniform(215, 252) * np.ones(3) if rng.random() < 0.7 else rng.uniform(0, 255, 3)
    cv2.fillPoly(picture, [np.rint(corners * 8).astype(np.int32)], colour.tolist(), cv2.LINE_AA, 3)
    if rng.random() < 0.5:  # something printed on it
        for _ in range(int(rng.integers(1, 7))):
            u, v = rng.uniform(0.1, 0.8, 2)
            w = rng.uniform(0.05, 0.2)
            quad = [
                corners[0]
                + (u + a) * (corners[1] - corners[0])
                + (v + b) * (corners[3] - corners[0])
                for a, b in ((0, 0), (w, 0), (w, w), (0, w))
            ]
            cv2.fillPoly(
                picture,
                [np.rint(np.array(quad) * 8).astype(np.int32)],
                (20, 20, 20),
                cv2.LINE_AA,
                3,
            )
