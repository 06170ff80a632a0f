"""How much a pixel's colour speaks for the dog: normal mixtures, learnt from one photo."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Map = NDArray[np.float32]

DOG_COLOURS: Final = 6
GROUND_COLOURS: Final = 10
"""Normal parts of the two mixtures; twice as many changed little."""
LEARNT_FROM: Final = 3000
"""Pixels drawn to learn a mixture from."""
PLACE: Final = 5.0
"""What a trunk's length counts beside colour differences: a colour may be sky above and coat
below; more made what was not yet learnt at a place look like the dog."""
SPREAD: Final = (3.0, 2.0, 2.0, 4.0, 4.0)
"""Least standard deviations of L, a, b and of place, so that a plain wall is no needle."""
NEW_ON_DOG: Final = 0.10
NEW_ON_GROUND: Final = 0.02
"""Shares of colours not learnt yet: dogs are patchy (judgement)."""
MOST: Final = 4.0
"""No single pixel speaks louder than this, ln of the odds."""


class Colours:
    """The colours and places of a small copy's pixels, ready to be learnt from.

    Parameters
    ----------
    lab : (h, w, 3) float32
        CIE L, a, b.
    trunk : float
        Length breastbone - tail base, px.
    """

    def __init__(self, lab: Map, trunk: float) -> None:
        self.shape = lab.shape[:2]
        h, w = self.shape
        rows, columns = np.mgrid[:h, :w].astype(np.float32)
        place = PLACE / trunk
        planes = [lab[..., 0] - 50.0, lab[..., 1], lab[..., 2]]
        planes += [place * (columns - w / 2.0), place * (rows - h / 2.0)]
        self.features = np.stack(planes, axis=-1).reshape(h * w, -1).astype(np.float32)
        i, j = np.triu_indices(self.features.shape[1])
        one = np.ones((h * w, 1), np.float32)
        self.squares = np.hstack([one, self.features, self.features[:, i] * self.features[:, j]])
        self.anything = -float(np.log(100.0 * 80.0 * 80.0 * (place * w) * (place * h)))
        self.rng = np.random.default_rng(3)

    def speak(self, dog: Map, ground: Map) -> Map:
        """ln of the odds for the dog of every pixel, (h, w).

        Parameters
        ----------
        dog, ground : (h, w) float32
            How much each pixel is to teach of either.
        """
        is_dog = self._density(dog, DOG_COLOURS, NEW_ON_DOG)
        is_ground = self._density(ground, GROUND_COLOURS, NEW_ON_GROUND)
        odds = np.clip(is_dog - is_ground, -MOST, MOST)
        return np.asarray(odds.reshape(self.shape), np.float32)

    def _density(self, teach: Map, parts: int, new: float) -> Map:
        """ln of a mixture's density at every pixel: clusters of drawn pixels, each made normal."""
        weights = teach.ravel().astype(float)
        known = np.full(len(self.features), np.log(new) + self.anything, np.float32)
        if not weights.sum() > 0.0:
            return known
        chosen = self.rng.choice(len(weights), LEARNT_FROM, p=weights / weights.sum())
        drawn = np.ascontiguousarray(self.features[chosen])
        cv2.setRNGSeed(1)  # the clusters start from a random draw
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 12, 0.5)
        _, labels, _ = cv2.kmeans(
            drawn, parts, np.empty(0, np.int32), stop, 1, cv2.KMEANS_PP_CENTERS
        )
        found = []
        for number in range(parts):
            group = drawn[labels.ravel() == number].astype(float)
            if len(group) > 2 * group.shape[1]:
                found.append(self._normal(group, len(group) / len(drawn)))
        if not found:
            return known
        each = self.squares @ np.array(found, np.float32).T + np.float32(np.log(1.0 - new))
        most = each.max(axis=1)
        mixed = most + np.log(np.exp(each - most[:, None]).sum(axis=1))
        return np.asarray(np.logaddexp(mixed, known), np.float32)

    def _normal(self, group: Array, share: float) -> Array:
        """ln of a normal density as coefficients of 1, the features and their products."""
        mean = group.mean(axis=0)
        covariance = np.cov(group.T) + np.diag(np.square(SPREAD))
        inverse = np.linalg.inv(covariance)
        i, j = np.triu_indices(len(mean))
        volume = float(np.linalg.slogdet(2.0 * np.pi * covariance)[1])
        constant = np.log(share) - 0.5 * volume - 0.5 * mean @ inverse @ mean
        products = np.where(i == j, -0.5, -1.0) * inverse[i, j]
        return np.concatenate([[constant], inverse @ mean, products])
