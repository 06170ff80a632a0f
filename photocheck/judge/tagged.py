"""Tags on the dog as observations: where their tips are, and how far off they are by their size.

A tag's tip is a mark with its own covariance.  Its size is one observation more: how many pixels a
millimetre has at the tag, against the camera's at the same place.  How large all tags came off the
printer is one unknown, shared by all photos, and by the reference where tags give the scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.judge.unknowns import Key, Unknowns
from photocheck.scale import priors
from photocheck.scale.catalogue import DOG_TAGS, REFERENCES
from photocheck.scale.pinhole import Pinhole
from photocheck.scale.tags_seen import TagSeen

Array = NDArray[np.float64]

TAG_SIZE: Final[Key] = ("size", (DOG_TAGS, 1.0, None))
"""The unknown of the tags' printed size: `shots.size_key` of a photo whose reference they are."""

_PATCH_MM: Final = 5.0
"""Sides of the small square that faces the camera, whose picture tells px per mm."""


def log_px_per_mm(camera: Pinhole, at: Array) -> Array:
    """ln of the pixels that a mm has which faces the camera, (..., n), at places (..., n, 3).

    The root of the area of a small square's picture, so that it holds off the middle too.
    """
    across, down = camera.rotation[..., 0, :], camera.rotation[..., 1, :]
    here = camera.project(at)
    right = camera.project(at + _PATCH_MM * across[..., None, :]) - here
    below = camera.project(at + _PATCH_MM * down[..., None, :]) - here
    area = right[..., 0] * below[..., 1] - right[..., 1] * below[..., 0]
    return np.asarray(0.5 * np.log(np.maximum(area, 1e-12)) - np.log(_PATCH_MM))


def size_residuals(
    u: Unknowns, theta: Array, camera: Pinhole, at: Array, tags: Sequence[TagSeen]
) -> Array:
    """Misfit of the tags' sizes, (..., n), in their standard deviations.

    Parameters
    ----------
    camera : Pinhole
        Of the photo in which the tags were seen.
    at : (..., n, 3)
        Where their points are, level frame, mm.
    """
    spread = REFERENCES[DOG_TAGS].size_spread
    grown = spread * u.one(theta, TAG_SIZE)
    told = np.array([np.log(tag.px_per_mm) for tag in tags])
    doubt = np.array([tag.px_per_mm_spread for tag in tags])
    away = (camera.rotation[..., 2, :][..., None, :] * at).sum(axis=-1)
    away = away + camera.translation[..., 2, None]
    miss = log_px_per_mm(camera, at) + grown[..., None] - told
    return np.asarray(miss / np.hypot(doubt, priors.TAG_DEPTH_MM / away))


def whitening(tag: TagSeen, px_per_mm: float, spread_mm: float) -> Array:
    """What makes a tip's misfit in px one in its standard deviations, (2, 2).

    Parameters
    ----------
    spread_mm : float
        How exactly the tip lies on its point, per axis.
    """
    on_it = (spread_mm * px_per_mm) ** 2 * np.eye(2)
    return np.asarray(np.linalg.inv(np.linalg.cholesky(tag.tip_covariance + on_it)))
