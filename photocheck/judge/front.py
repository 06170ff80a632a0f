"""Photos from the front in the joint model: what they tell of the widths of neck and chest.

The level frame is that of the reference, as in photos from the side: x to the picture's right,
y down, z away from the camera.  The dog looks at the camera; seen from above, the ring at the
neck and the chest are ellipses, turned with the dog, and what is marked left and right are the
points where viewing rays graze them.  Tags were stuck on before at the ellipse's own ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.body import shape
from photocheck.body.trunk import Trunk, scaled
from photocheck.judge.shots import (
    SQUARE_MM,
    CameraView,
    Shot,
    camera_at,
    camera_view_of,
    offset_slack,
    plane_to_pixels,
    px_per_mm,
    reserve_view,
    start_camera,
    view_residuals,
)
from photocheck.judge.tagged import TAG_SIZE, size_residuals, whitening
from photocheck.judge.unknowns import Unknowns
from photocheck.scale import priors
from photocheck.scale.pinhole import Pinhole
from photocheck.scale.tags_seen import TagSeen
from photocheck.words import FRONT_PAIRS, TAGS

Array = NDArray[np.float64]


class Fronts:
    """The photos from the front of one joint model.

    Parameters
    ----------
    shots : sequence of Shot
        Their views' offsets are `priors.FrontOffset`.
    first : int
        The number of the first among all photos of the model.
    unknowns : Unknowns
        Of the whole model; what is needed is reserved by `reserve`.
    """

    def __init__(self, shots: Sequence[Shot], first: int, unknowns: Unknowns) -> None:
        self.shots = tuple(shots)
        self.first = first
        self._unknowns = unknowns
        self._px_per_mm: list[float] = []

    # -- building -----------------------------------------------------------

    def reserve(self) -> None:
        """Reserve the unknowns; what photos share has the same key as with those from the side."""
        u = self._unknowns
        for k, shot in enumerate(self.shots, start=self.first):
            reserve_view(u, shot, k)
            camera = start_camera(shot)
            plane = np.array([0.0, 0.0, 0.0])
            self._px_per_mm.append(px_per_mm(camera, plane))
            for m, pair, seen in _pairs(shot):
                at = camera.onto_plane(seen, plane, np.array([0.0, 0.0, 1.0])).mean(axis=0)
                u.add(("front_pair", k, m, pair), [float(at[0]), float(at[1])], 1e-2)
                u.add((_tilt(shot, m), k, m, pair), [0.0], 1e-4)
                u.add(("front_look", *_look(shot, m, pair)), [0.0], 1e-4)
            if shot.view.tags.tags:
                u.add(TAG_SIZE, [0.0], 1e-4)

    # -- evaluating ----------------------------------------------------------

    def parts(self, theta: Array, trunk: Trunk) -> list[tuple[str, Array]]:
        """Residuals with the source of doubt they stand for; priors are the joint model's."""
        u = self._unknowns
        parts: list[tuple[str, Array]] = []
        for k, shot in enumerate(self.shots, start=self.first):
            camera = camera_at(u, theta, shot, k)
            parts.extend(view_residuals(u, theta, shot, k, camera))
            for m, pair, seen in _pairs(shot):
                spread = shot.markings[m].spread_mm or shape.MARK_SPREAD_MM
                points = self._grazed(theta, k, m, pair, camera, trunk)
                miss = camera.project(points) - seen
                if tags := _tags_of(shot, m, pair):
                    scale = self._px_per_mm[k - self.first]
                    for i, tag in enumerate(tags):
                        on_it = max(priors.TAG_GRAZED_MM, shot.view.tip_mm)
                        white = whitening(tag, scale, on_it)
                        parts.append(("tags", miss[..., i, :] @ white.T))
                    parts.extend(self._sizes(theta, camera, points, tags))
                    continue
                miss = miss / (spread * self._px_per_mm[k - self.first])
                parts.append(("marks", miss.reshape(*miss.shape[:-2], -1)))
            if chest := shot.view.tags.of("breastbone"):
                depth = self.offset(theta, k, trunk)
                plane = np.stack([np.zeros_like(depth), np.zeros_like(depth), depth], axis=-1)
                at = camera.onto_plane(chest.tip_px[None], plane, np.array([0.0, 0.0, 1.0]))
                parts.extend(self._sizes(theta, camera, at, [chest]))
        return parts

    def _sizes(
        self, theta: Array, camera: Pinhole, at: Array, tags: Sequence[TagSeen]
    ) -> list[tuple[str, Array]]:
        """The sizes of tags at (..., n, 3)."""
        return [("tags", size_residuals(self._unknowns, theta, camera, at, tags))]

    def offset(self, theta: Array, k: int, trunk: Trunk) -> Array:
        """The reference in front of the breastbone, towards the camera, (...), mm."""
        prior = self._prior(k)
        behind = (
            prior.shoulders * trunk.behind_breastbone("shoulder_top")
            + prior.chests * trunk.chest_behind_breastbone
            + prior.lengths * trunk.straight
        )
        return np.asarray(prior.beyond_mm - behind + offset_slack(self._unknowns, theta, prior, k))

    def _prior(self, k: int) -> priors.FrontOffset:
        prior = self.shots[k - self.first].view.offset
        if not isinstance(prior, priors.FrontOffset):
            raise TypeError("a photo from the front needs an offset from the front")
        return prior

    def _depth(self, theta: Array, k: int, pair: str, trunk: Trunk) -> Array:
        """How far behind the reference plane a pair's middle lies, (...), mm."""
        behind = 0.5 * trunk.behind_breastbone("shoulder_top")
        if pair == "chest_width":
            behind = trunk.chest_behind_breastbone
        return self.offset(theta, k, trunk) + behind

    def _grazed(
        self, theta: Array, k: int, m: int, pair: str, camera: Pinhole, trunk: Trunk
    ) -> Array:
        """Where rays graze the ellipse of a pair at the left and the right, level frame.

        Of tags its widest places instead.

        (..., 2, 3) mm.  Contact points of the tangents from a point e to an ellipse: in
        coordinates in which it is the unit circle, w.e = 1 and |w| = 1.
        """
        u = self._unknowns
        width = trunk.neck_width if pair == "neck_width" else trunk.width
        shot = self.shots[k - self.first]
        kind = _look(shot, m, pair)
        usual = shape.TAGGED_LOOK if kind == TAGGED else shape.FRONT_LOOK[pair]
        look = scaled(usual, u.one(theta, ("front_look", *kind)))
        across = 0.5 * width * look + trunk.pressed
        # the ring leans back from the breastbone to the shoulder top; the chest is taken as round
        along = across
        if pair == "neck_width":
            along = 0.5 * np.abs(trunk.behind_breastbone("shoulder_top")) + 1e-3
        yaw = priors.FRONT_YAW_RAD.at(u.one(theta, ("dog_yaw", k)))
        middle = u.of(theta, ("front_pair", k, m, pair))
        depth = self._depth(theta, k, pair, trunk)
        eye = camera.position()
        from_x, from_z = eye[..., 0] - middle[..., 0], eye[..., 2] - depth
        c, s = np.cos(yaw), np.sin(yaw)
        # the eye in the ellipse's own axes, each counted in its half axis
        e_x, e_z = (c * from_x - s * from_z) / across, (s * from_x + c * from_z) / along
        squared = e_x**2 + e_z**2
        aside = np.sqrt(np.maximum(1.0 - 1.0 / squared, 0.0) / squared)
        tilt = priors.FRONT_TILT_RAD.at(u.one(theta, (_tilt(shot, m), k, m, pair)))
        stuck = bool(_tags_of(shot, m, pair))
        points = []
        for side in (-1.0, 1.0):
            w_x = (e_x / squared - side * aside * e_z) * across
            w_z = (e_z / squared + side * aside * e_x) * along
            if stuck:  # before anybody took a photo: at the dog's own sides, however it stands
                w_x, w_z = side * across, np.zeros_like(across)
            x, z = c * w_x + s * w_z, -s * w_x + c * w_z
            points.append(
                np.stack([middle[..., 0] + x, middle[..., 1] + x * np.tan(tilt), depth + z], -1)
            )
        return np.stack(points, axis=-2)

    # -- what is told of each -------------------------------------------------

    def to_pixels(self, theta: Array, k: int, trunk: Trunk, lift_mm: float) -> Array:
        """Homography (3, 3) from the plane across the neck's ring, mm, to px.

        `lift_mm` nearer to the camera; x to the picture's right and y down, the origin at the
        reference's place in it.
        """
        depth = self._depth(theta, k, "neck_width", trunk) - lift_mm
        level = np.column_stack([SQUARE_MM, np.full(4, float(depth))])
        return plane_to_pixels(
            camera_at(self._unknowns, theta, self.shots[k - self.first], k), level
        )

    def camera_view(self, theta: Array, covariance: Array, k: int, trunk: Trunk) -> CameraView:
        """How a photo from the front was taken; px per mm are across the neck's ring."""
        shot = self.shots[k - self.first]
        marking = next(m for m, pair, _ in _pairs(shot) if pair == "neck_width")
        middle = self._unknowns.of(theta, ("front_pair", k, marking, "neck_width"))
        depth = self._depth(theta, k, "neck_width", trunk)
        return camera_view_of(
            self._unknowns,
            theta,
            covariance,
            shot,
            k,
            offset_mm=float(self.offset(theta, k, trunk)),
            at=np.array([middle[0], middle[1], float(depth)]),
        )


def _pairs(shot: Shot) -> list[tuple[int, str, Array]]:
    """Each pair that somebody marked: which marking, its name, left and right (2, 2) px."""
    return [
        (m, pair, np.array(sorted(marking.marks[name] for name in names), float))
        for m, marking in enumerate(shot.markings)
        for pair, names in FRONT_PAIRS.items()
        if all(name in marking.marks for name in names)
    ]


TAGGED: Final = ("neck_width", TAGS)
"""Of what is shared by photos from the front in which the tape's own way at the neck is seen."""


def _look(shot: Shot, marking: int, pair: str) -> tuple[str, ...]:
    """What of a pair's look its photo shares with others: tags the tape was held at have theirs."""
    tagged = shot.view.at_tags and pair == TAGGED[0] and _tags_of(shot, marking, pair)
    return TAGGED if tagged else (pair,)


def _tilt(shot: Shot, marking: int) -> str:
    """The kind of unknown that a pair's tilt is: whose doubt it is, of marks by hand or of tags."""
    return "tag_tilt" if shot.markings[marking].by == TAGS else "front_tilt"


def _tags_of(shot: Shot, marking: int, pair: str) -> list[TagSeen]:
    """The two tags that placed a pair, left and right in the picture; none for marks by hand."""
    found = [tag for name in FRONT_PAIRS[pair] if (tag := shot.tag(marking, name))]
    return sorted(found, key=lambda tag: float(tag.tip_px[0])) if len(found) == 2 else []
