"""The Cramér-Rao bound of a phantom's photo: how well anyone could do.

The Bayesian (van Trees) form: the information of the noisy points plus that of
the true distributions the scene was drawn from (`phantom.draws`), at the
scene's true values.  It uses the phantom's own camera, never the estimator's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.subjects import base_lengths
from photocheck.phantom.draws import (
    FOCALS_35MM,
    LEAN_DEG,
    LENS_SPREADS,
    OFFSETS,
    SLANTED,
    SLANTED_DEG,
    SQUARE_YAW_DEG,
    SWING_DEG,
    TOLD_SPREAD_MM,
)
from photocheck.phantom.scene import DOG_YAW_DEG, Scene
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.sheet import LAYOUT
from photocheck.words import LANDMARKS

Array = NDArray[np.float64]

# Standard deviations of the draws in `phantom.draws` and `phantom.scene`.
CAMERA_YAW = np.radians(
    np.sqrt(
        (1 - SLANTED) * SQUARE_YAW_DEG**2
        + SLANTED
        * (SLANTED_DEG[0] ** 2 + SLANTED_DEG[0] * SLANTED_DEG[1] + SLANTED_DEG[1] ** 2)
        / 3
    )
)
CAMERA_PITCH = np.radians(9.0)
FOCAL_TOLD = 0.5 / 26.0 / np.sqrt(3.0)
FOCAL_UNTOLD = float(np.std(np.log(FOCALS_35MM)))
DOG_YAW = np.radians(DOG_YAW_DEG)
SWING = {hung: np.radians(spread) for hung, spread in SWING_DEG.items()}
LEAN = {hung: np.radians(spread) for hung, (_, spread) in LEAN_DEG.items()}
BAR_MEASURED = 0.35 / LAYOUT.bar_mm
WIDTHS = {place: high - low for place, (_, low, high) in OFFSETS.items()}
"""Ranges of the uniform draws of the offset beyond the half width, mm."""
SIDES = {place: side for place, (side, _, _) in OFFSETS.items()}
HALF_WIDTH_LOG_SPREAD = 0.08
"""Of the last rib's half width between phantoms of one build, over their length."""


@dataclass(frozen=True)
class BoundPhoto:
    """One photo for the bound: its scene, mark noise (mm), point noise (px), markings."""

    scene: Scene
    mark_sd_mm: float
    corner_sd_px: float


_SHARED = 9  # eight landmark coordinates in the middle plane and the flank's half width
_OWN = 16  # camera 3 + 3, focal, two lens terms, size, offset, yaw, lean, dog's own shift 3


@dataclass(frozen=True, eq=False)
class Bound:
    """The bound of one case.

    Attributes
    ----------
    geometry : (3, 3)
        Least covariance of the logarithms of the straight lengths: half neck, front, rear.
    share : (2,)
        Of front and rear in the full length.
    """

    geometry: Array
    share: Array

    def spread(self, shape_spread: Array) -> Array:
        """Least standard deviation of each log-span, (4,).

        `shape_spread` (3,) is the standard deviation between dogs of
        ln(tape / straight length) that no photo shows.
        """
        three = self.geometry + np.diag(shape_spread**2)
        lift = np.vstack([np.eye(3), [0.0, *self.share]])
        return np.asarray(np.sqrt(np.diag(lift @ three @ lift.T)))


def bound_of(looks: Sequence[BoundPhoto]) -> Bound:
    """The Bayesian Cramér-Rao bound for photos of one dog.

    Parameters
    ----------
    looks : sequence of BoundPhoto
        At least one.
    """
    dog = looks[0].scene.dog
    points = {name: np.asarray(dog.visible[name], float) for name in LANDMARKS}
    truth = np.zeros(_SHARED + _OWN * len(looks))
    half = points["last_rib"][2]
    information = np.zeros((len(truth), len(truth)))
    information[8, 8] = 1.0 / (HALF_WIDTH_LOG_SPREAD * half) ** 2
    steps = np.concatenate([np.full(_SHARED, 0.01), *[_steps()] * len(looks)])
    for k, look in enumerate(looks):
        own = slice(_SHARED + _OWN * k, _SHARED + _OWN * (k + 1))
        cols = np.r_[0:_SHARED, own.start : own.stop]

        def seen(delta: Array, look: BoundPhoto = look) -> Array:
            return _observe(look, points, delta)

        at = np.zeros(len(cols))
        slopes = np.stack(
            [
                (seen(at + move) - seen(at - move)) / (2 * steps[cols[i]])
                for i, move in enumerate(np.diag(steps[cols]))
            ],
            axis=1,
        )
        slopes /= _spreads(look)[:, None]
        information[np.ix_(cols, cols)] += slopes.T @ slopes
        information[own, own] += np.diag(1.0 / _priors(look, k == 0) ** 2)
    covariance = np.linalg.inv(information)

    def spans(delta: Array) -> Array:
        return np.log(base_lengths(_moved(points, delta))[:3])

    gradient = np.stack(
        [
            (spans(move) - spans(-move)) / (2 * steps[i])
            for i, move in enumerate(np.diag(steps[:_SHARED]))
        ],
        axis=1,
    )
    geometry = gradient @ covariance[:_SHARED, :_SHARED] @ gradient.T
    base = base_lengths(points)
    return Bound(geometry, base[1:3] / base[3])


def _steps() -> Array:
    return np.array(
        [0.1, 0.1, 0.1, 1e-5, 1e-5, 1e-5, 1e-5, 1e-5, 1e-5, 1e-5, 0.1, 1e-5, 1e-5, 0.01, 0.01, 1e-6]
    )


def _priors(look: BoundPhoto, first: bool) -> Array:
    """Standard deviations of one photo's own unknowns."""
    scene, placed = look.scene, look.scene.reference
    hung = placed.place.startswith("wall")
    size = REFERENCES[placed.kind].size_spread
    offset = WIDTHS[placed.place] / np.sqrt(12.0)
    if placed.told_offset_mm is not None:
        offset = 1.0 / np.hypot(1.0 / offset, 1.0 / TOLD_SPREAD_MM)
    if placed.bar_mm is not None:
        size = BAR_MEASURED
    loose, any_turn = 1e5, 1.0
    # the first photo defines the dog's own axes; later ones see it moved and turned in them
    shift, turn = (1e-6, 1e-6) if first else (loose, any_turn)
    return np.array(
        [
            loose,
            loose,
            loose,
            CAMERA_YAW,
            CAMERA_PITCH,
            any_turn,
            FOCAL_TOLD if scene.exif_focal_35mm else FOCAL_UNTOLD,
            *LENS_SPREADS,
            size,
            offset,
            np.hypot(DOG_YAW, SWING[hung]),
            LEAN[hung],
            shift,
            shift,
            turn,
        ]
    )


def _spreads(look: BoundPhoto) -> Array:
    """Standard deviation of each observed number, px."""
    scene, placed = look.scene, look.scene.reference
    marks = np.array([scene.landmarks[name] for name in LANDMARKS])
    px = np.repeat(look.mark_sd_mm * scene.camera.px_per_mm(marks), 2)
    count = 24 if placed.form in ("disc", "ball") else 2 * len(placed.nominal_points())
    return np.concatenate([np.full(count, look.corner_sd_px), px])


def _moved(points: dict[str, Array], delta: Array) -> dict[str, Array]:
    """Landmarks in the dog's own frame after a small change of the shared unknowns."""
    moved = {}
    for i, name in enumerate(LANDMARKS):
        step = np.array([delta[2 * i], delta[2 * i + 1], delta[8] if name == "last_rib" else 0.0])
        moved[name] = points[name] + step
    return moved


def _observe(look: BoundPhoto, points: dict[str, Array], delta: Array) -> Array:
    """Everything seen in one photo after a small change of the unknowns, px."""
    scene, placed, camera = look.scene, look.scene.reference, look.scene.camera
    own = delta[_SHARED:]
    turn, _ = cv2.Rodrigues(own[3:6])
    rotation = turn @ camera.axes
    position = np.array(camera.position) + own[:3]
    shift = -rotation @ position
    matrix = camera.matrix.copy()
    matrix[0, 0] *= np.exp(own[6])
    matrix[1, 1] *= np.exp(own[6])
    bent = np.zeros(5)
    bent[: len(camera.distortion)] = camera.distortion
    bent[:2] += own[7:9]
    vector, _ = cv2.Rodrigues(rotation)

    def project(world: Array) -> Array:
        flat, _ = cv2.projectPoints(np.ascontiguousarray(world), vector, shift, matrix, bent)
        return np.asarray(flat[:, 0], float)

    grown = np.exp(own[9])
    if placed.form in ("disc", "ball"):
        rim = placed.outline(camera.position, 24)
        centre = np.array(placed.centre)
        clean = project(rim)
        outward = clean - clean.mean(axis=0)
        outward /= np.linalg.norm(outward, axis=1, keepdims=True)
        # an outline point is only located across the outline
        changed = project(centre + (rim - centre) * grown)
        reference = np.sum((changed - clean_of(look)) * outward_of(look), axis=1)
    else:
        reference = project(
            placed.place_points(grown * placed.size_factor * placed.nominal_points())
        )
    landmarks = _moved(points, delta)
    world = scene.to_world(np.array([landmarks[name] for name in LANDMARKS]))
    pivot = scene.pivot + np.array([0.0, np.mean(world[:, 1]), 0.0])
    yaw, lean, roll = own[11], own[12], own[15]
    small, _ = cv2.Rodrigues(np.array([lean, yaw, roll]))
    side = SIDES[placed.place]
    slide = np.array([own[13], own[14], -own[10] - side * delta[8]])
    marks = project((world - pivot) @ small.T + pivot + slide)
    return np.concatenate([reference.ravel(), marks.ravel()])


def clean_of(look: BoundPhoto) -> Array:
    """A disc's or ball's outline as seen without noise, (24, 2), px."""
    scene = look.scene
    return scene.camera.project(scene.reference.outline(scene.camera.position, 24))


def outward_of(look: BoundPhoto) -> Array:
    """Unit vectors out of that outline, (24, 2)."""
    clean = clean_of(look)
    away = clean - clean.mean(axis=0)
    return np.asarray(away / np.linalg.norm(away, axis=1, keepdims=True))
