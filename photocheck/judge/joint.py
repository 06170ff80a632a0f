"""All photos and all markings of one dog as one model: unknowns, misfits, spans.

Every observation and every prior is a residual in its own standard deviations,
so that the sum of squares is minus twice the log posterior.  What photos share
(the dog's shape, the size of the sheet, the camera) is one unknown; what each
photo has of its own (pose, how the dog stood in it) is one unknown per photo.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from photocheck.body import shape
from photocheck.body.heights import heights_told
from photocheck.body.trunk import Trunk, build_trunk, girth, log_spans, weight
from photocheck.case.model import DogFacts, first_marks
from photocheck.judge.front import Fronts
from photocheck.judge.shots import (
    SQUARE_MM,
    CameraView,
    Mark,
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
from photocheck.judge.unknowns import Key, Unknowns
from photocheck.scale import priors
from photocheck.scale.pinhole import Pinhole, turn_about_both, turn_in_plane
from photocheck.words import LANDMARKS

Array = NDArray[np.float64]

BODY_MARKS = (*LANDMARKS, "back_top", "chest_bottom")
"""Landmarks that enter the estimate; feet tell of the stance only."""


def facts_told(dog: DogFacts) -> dict[str, tuple[float, float]]:
    """What was told of a dog's size, as `Joint.facts`."""
    told: dict[str, tuple[float, float]] = {}
    if dog.girth_mm is not None:
        told["girth"] = dog.girth_mm, shape.GIRTH_OVER_ELLIPSE.log_spread
    if dog.weight_kg is not None:
        told["weight"] = dog.weight_kg, shape.WEIGHT_PER_TRUNK.log_spread
    for height in heights_told(dog):
        told[height.source] = height.mm, height.log_spread
    return told


class Joint:
    """The joint model of one case.

    Parameters
    ----------
    shots : sequence of Shot
    dog : DogFacts
    dropped : set of (shot, marking, landmark)
        Marks to leave out.
    ratios : shape.TapeRatios
        What the shop has learnt for dogs like this one.
    facts_left_out : set of str
        Keys of `facts` to leave out.
    fronts : sequence of Shot
        Photos from the front; the others are from the side.

    Attributes
    ----------
    facts : mapping of "girth", "weight", "height" or "breed" to (float, float)
        What was told of the dog, mm or kg, and its standard deviation of ln from what a trunk
        lets expect.
    unknowns : Unknowns
    marks : tuple of Mark
    sources : tuple of str
        For each residual, which source of doubt it stands for.
    mark_rows : slice
        The residuals of `marks`, two each.
    size_rows : mapping of int to Mark
        Which residual is the size of which tag.
    """

    def __init__(
        self,
        shots: Sequence[Shot],
        dog: DogFacts,
        dropped: frozenset[tuple[int, int, str]] = frozenset(),
        ratios: shape.TapeRatios = shape.SHIPPED,
        facts_left_out: frozenset[str] = frozenset(),
        fronts: Sequence[Shot] = (),
    ) -> None:
        self.shots = tuple(shots)
        self.dog = dog
        self.ratios = ratios
        self.facts = {
            fact: told for fact, told in facts_told(dog).items() if fact not in facts_left_out
        }
        self.unknowns = Unknowns()
        self.fronts = Fronts(fronts, len(self.shots), self.unknowns)
        self._cameras = tuple(start_camera(shot) for shot in self.shots)
        self._origins = self._start_origins()
        self._mirror = self._facings()
        self._bend_owner = self._choose_bends(dropped)
        self.marks = self._collect(dropped)
        self._reserve()
        self._own = [
            [(i, mark) for i, mark in enumerate(self.marks) if mark.shot == k]
            for k in range(len(self.shots))
        ]
        self._seen = [np.array([mark.seen_px for _, mark in own]) for own in self._own]
        self._laid: dict[tuple[int, ...], tuple[NDArray[np.intp], Array]] = {}
        self._of_photo = [tuple(mark for _, mark in own) for own in self._own]
        self._px_per_mm = np.ones(len(self.marks))
        self._white: dict[int, Array] = {}
        self._rescale(self.unknowns.start)
        self.sources: tuple[str, ...] = ()
        self.sources = tuple(
            source
            for source, rows in self._parts(self.unknowns.start)
            for _ in range(rows.shape[-1])
        )
        self.mark_rows = slice(0, 2 * len(self.marks))
        after = [i for i, source in enumerate(self.sources) if source == "tags"]
        sized = [mark for k in range(len(self.shots)) for mark in self._sized(k)]
        rows = [i for i in after if i >= self.mark_rows.stop]
        self.size_rows = dict(zip(rows, sized, strict=False))  # those from the front come last

    # -- building -----------------------------------------------------------

    def _start_plane(self, shot: Shot) -> Array:
        offset = shot.view.offset
        depth = offset.half_widths * 100.0 + offset.beyond_mm
        return np.array([0.0, 0.0, depth])

    def _start_origins(self) -> list[Array]:
        """A fixed point amid each photo's marks: the dog turns about it."""
        origins = []
        for shot, camera in zip(self.shots, self._cameras, strict=True):
            pixels = np.array(
                [
                    marking.marks[name]
                    for marking in shot.markings
                    for name in LANDMARKS
                    if name in marking.marks
                ]
            )
            seen = camera.onto_plane(pixels, self._start_plane(shot), np.array([0.0, 0.0, 1.0]))
            origins.append(seen.mean(axis=0)[:2])
        return origins

    def _facings(self) -> list[float]:
        """For each photo -1 where the dog faces the other way than in the first, else 1."""
        ways = []
        for shot in self.shots:
            marks = first_marks(shot.markings)
            ways.append(np.sign(marks["tail_base"][0] - marks["breastbone"][0]) or 1.0)
        return [float(way * ways[0]) for way in ways]

    def _choose_bends(self, dropped: frozenset[tuple[int, int, str]]) -> dict[str, tuple[int, int]]:
        """Bend points are taken from the last marking that has them for a span."""
        owner: dict[str, tuple[int, int]] = {}
        for k, shot in enumerate(self.shots):
            for j, marking in enumerate(shot.markings):
                for span, bends in marking.bends.items():
                    if bends:
                        owner[span] = (k, j)
        return owner

    def _collect(self, dropped: frozenset[tuple[int, int, str]]) -> tuple[Mark, ...]:
        marks: list[Mark] = []
        for k, shot in enumerate(self.shots):
            for j, marking in enumerate(shot.markings):
                spread = marking.spread_mm or shape.MARK_SPREAD_MM
                for name in BODY_MARKS:
                    if name in marking.marks and (k, j, name) not in dropped:
                        seen = np.array(marking.marks[name], float)
                        tag = shot.tag(j, name)
                        marks.append(Mark(k, j, name, ("body", name), seen, spread, tag))
                for span, bends in marking.bends.items():
                    if self._bend_owner.get(span) == (k, j):
                        for i, bend in enumerate(bends):
                            key: Key = ("bend", span, i)
                            seen = np.array(bend, float)
                            marks.append(Mark(k, j, f"{span} bend {i + 1}", key, seen, spread))
        return tuple(marks)

    def _reserve(self) -> None:
        u = self.unknowns
        for mark in self.marks:
            if mark.key not in u:
                camera, origin = self._cameras[mark.shot], self._origins[mark.shot]
                plane = self._start_plane(self.shots[mark.shot])
                at = camera.onto_plane(mark.seen_px[None], plane, np.array([0.0, 0.0, 1.0]))
                flat = (at[0, :2] - origin) * np.array([self._mirror[mark.shot], 1.0])
                u.add(mark.key, [float(flat[0]), float(flat[1])], 1e-2)
        for term in shape.TERM_TITLES:
            u.add(("term", term), [0.0], 1e-4)
        for k, shot in enumerate(self.shots):
            reserve_view(u, shot, k)
            u.add(("dog_lean", k), [0.0], 1e-4)
            if k:
                u.add(("stand", k), [0.0, 0.0, 0.0], 1e-4)
        if any(mark.tag for mark in self.marks):
            u.add(TAG_SIZE, [0.0], 1e-4)
        self.fronts.reserve()

    def _rescale(self, theta: Array) -> None:
        """Pixels per mm at each mark, for mark noise given in mm on the body."""
        trunk = self.trunk(theta)
        for i, mark in enumerate(self.marks):
            k = mark.shot
            camera = self._camera(theta, k)
            (at,) = self._marked_points(theta, k, [mark], trunk)
            self._px_per_mm[i] = px_per_mm(camera, at)
            if mark.tag:
                self._white[i] = whitening(mark.tag, self._px_per_mm[i], self.shots[k].view.tip_mm)

    # -- evaluating ----------------------------------------------------------

    def _camera(self, theta: Array, k: int) -> Pinhole:
        return camera_at(self.unknowns, theta, self.shots[k], k)

    def trunk(self, theta: Array) -> Trunk:
        """The dog's trunk, (...)."""
        u = self.unknowns
        points = {str(k[1]): u.of(theta, k) for k in u.kinds("body")}
        bends: dict[str, list[Array]] = {}
        for k in u.kinds("bend"):
            bends.setdefault(str(k[1]), []).append(u.of(theta, k))
        terms = {term: u.one(theta, ("term", term)) for term in shape.TERM_TITLES}
        return build_trunk(points, bends, terms, self.dog, self.ratios)

    def offset(self, theta: Array, k: int, trunk: Trunk) -> Array:
        """The reference in front of the dog's middle plane, (...), mm."""
        prior = self.shots[k].view.offset
        mean = prior.half_widths * trunk.half_flank + prior.beyond_mm
        return np.asarray(mean + offset_slack(self.unknowns, theta, prior, k))

    def _rise(self, mark: Mark) -> float:
        """How far a mark's point lies out of the middle plane towards the near side.

        In half flanks.
        """
        if mark.landmark == "last_rib":
            return 1.0
        if mark.key[0] != "bend":
            return 0.0
        # Along the front the tape reaches the flank at its end; along the rear it leaves it.
        span, place = str(mark.key[1]), float(mark.key[2])
        count = sum(1 for m in self.marks if m.key[:2] == mark.key[:2])
        part = (place + 1.0) / (count + 1.0)
        return {"front_length": part, "rear_length": 1.0 - part, "half_neck": 0.0}[span]

    def _level(self, theta: Array, k: int, flat: Array, lift: Array, trunk: Trunk) -> Array:
        """Body coordinates (..., n, 2) to the level frame of photo k, (..., n, 3)."""
        u = self.unknowns
        if k:
            stand = u.of(theta, ("stand", k))
            flat = flat * np.array([self._mirror[k], 1.0])
            turned = turn_in_plane(stand[..., 0])[..., None, :, :] @ flat[..., None]
            # shifts are counted in tenths of a metre, to be of the size of the angle
            flat = turned[..., 0] + 100.0 * stand[..., None, 1:]
        return self._from_dog_plane(theta, k, flat, lift, trunk)

    def _from_dog_plane(
        self, theta: Array, k: int, flat: Array, lift: Array, trunk: Trunk
    ) -> Array:
        """The dog's plane as it stood in photo k to that photo's level frame.

        Points (..., n, 2), lifted out of the plane by (..., n) mm, to (..., n, 3).
        """
        u = self.unknowns
        in_body = np.empty((*np.broadcast_shapes(flat.shape[:-1], lift.shape), 3))
        in_body[..., :2] = flat
        in_body[..., 2] = -lift
        yaw = priors.DOG_YAW_RAD.at(u.one(theta, ("dog_yaw", k)))
        lean = self.shots[k].view.offset.lean.at(u.one(theta, ("dog_lean", k)))
        turn = turn_about_both(yaw, lean)
        turned_body = (turn[..., None, :, :] @ in_body[..., None])[..., 0]
        depth = self.offset(theta, k, trunk)
        turned_body[..., :2] += self._origins[k]
        turned_body[..., 2] += depth[..., None]
        return np.asarray(turned_body)

    def _marked_points(self, theta: Array, k: int, marks: Sequence[Mark], trunk: Trunk) -> Array:
        """Where n marks' points are, in the level frame of photo k, (..., n, 3)."""
        these = tuple(map(id, marks))
        if these not in self._laid:  # asked for some hundred times in every fit
            first = [self.unknowns.place(mark.key).start for mark in marks]
            self._laid[these] = (
                np.array([[at, at + 1] for at in first]),
                np.array([self._rise(mark) for mark in marks]),
            )
        places, rises = self._laid[these]
        lift = trunk.half_flank[..., None] * rises
        return self._level(theta, k, np.take(theta, places, axis=-1), lift, trunk)

    def _mark_residuals(
        self, theta: Array, trunk: Trunk, cameras: Sequence[Pinhole]
    ) -> list[tuple[str, Array]]:
        """Two rows for each mark, in their order; those of tags have a source of their own."""
        rows: list[tuple[str, Array]] = []
        for k, own in enumerate(self._own):
            if not own:
                continue
            level = self._marked_points(theta, k, self._of_photo[k], trunk)
            scale = np.array([mark.spread_mm * self._px_per_mm[i] for i, mark in own])
            miss = cameras[k].project(level) - self._seen[k]
            by_hand = miss / scale[:, None]
            if not any(mark.tag for _, mark in own):
                rows.append(("marks", by_hand.reshape(*miss.shape[:-2], -1)))
                continue
            for place, (i, mark) in enumerate(own):
                if mark.tag:
                    rows.append(("tags", miss[..., place, :] @ self._white[i].T))
                else:
                    rows.append(("marks", by_hand[..., place, :]))
        return rows

    def _sized(self, k: int) -> list[Mark]:
        """The tags of photo k whose size is an observation of its own."""
        return [mark for _, mark in self._own[k] if mark.tag]

    def _size_residuals(
        self, theta: Array, trunk: Trunk, cameras: Sequence[Pinhole]
    ) -> list[tuple[str, Array]]:
        rows = []
        for k in range(len(self.shots)):
            if sized := self._sized(k):
                at = self._marked_points(theta, k, sized, trunk)
                tags = [mark.tag for mark in sized if mark.tag]
                rows.append(("tags", size_residuals(self.unknowns, theta, cameras[k], at, tags)))
        return rows

    def _parts(self, theta: Array) -> list[tuple[str, Array]]:
        """Residuals with the source of doubt they stand for."""
        u = self.unknowns
        trunk = self.trunk(theta)
        cameras = [self._camera(theta, k) for k in range(len(self.shots))]
        parts = self._mark_residuals(theta, trunk, cameras)
        parts.extend(self._size_residuals(theta, trunk, cameras))
        for k, shot in enumerate(self.shots):
            parts.extend(view_residuals(u, theta, shot, k, cameras[k]))
        parts.extend(self.fronts.parts(theta, trunk))
        for kind, source in PRIOR_SOURCES.items():
            parts.extend((source, u.of(theta, key)) for key in u.kinds(kind))
        parts.extend((str(key[1]), u.of(theta, key)) for key in u.kinds("term"))
        parts.extend(self._facts(trunk))
        parts.extend(self._boards(trunk))
        return parts

    def _facts(self, trunk: Trunk) -> list[tuple[str, Array]]:
        """What girth, weight and height say of the trunk's proportions and of its size.

        They are the only evidence on an error common to all readings besides the reference
        itself; `photocheck.judge.outliers.outlying_fact` leaves out one that contradicts it.
        """
        return [
            (fact, np.log(told / self.expected_fact(trunk, fact))[..., None] / spread)
            for fact, (told, spread) in self.facts.items()
        ]

    def expected_fact(self, trunk: Trunk, fact: str) -> Array:
        """What a trunk lets expect of a key of `facts`, (...): mm, of the weight kg."""
        if fact == "girth":
            return girth(trunk)
        if fact == "weight":
            return weight(trunk)
        return np.asarray(shape.HEIGHT_OVER_F.median * trunk.straight)

    def _boards(self, trunk: Trunk) -> list[tuple[str, Array]]:
        """Widths measured between two boards, against the neck's and the trunk's.

        A ruler between boards is no tape reading: it tells of the size as well.
        """
        told = []
        if (mm := self.dog.neck_width_mm) is not None:
            told.append(("neck_boards", mm, trunk.neck_width))
        if (mm := self.dog.chest_width_mm) is not None:
            told.append(("chest_boards", mm, trunk.width))
        return [
            (source, np.log(mm / width)[..., None] / shape.width_log_spread(mm))
            for source, mm, width in told
        ]

    def residuals(self, theta: Array) -> Array:
        """All residuals in their standard deviations, (..., p) to (..., m)."""
        return np.concatenate([rows for _, rows in self._parts(theta)], axis=-1)

    def log_spans(self, theta: Array) -> Array:
        """Log-spans, (..., p) to (..., 4)."""
        return log_spans(self.trunk(theta))

    def to_pixels(self, theta: Array, k: int, lift_mm: float) -> Array:
        """Homography (3, 3) from the dog's plane in photo k, mm, to px.

        For the plane `lift_mm` nearer to the camera than the dog's middle; x to the
        picture's right and y down, the origin amid the marks.
        """
        trunk = self.trunk(theta)
        if k >= len(self.shots):
            return self.fronts.to_pixels(theta, k, trunk, lift_mm)
        level = self._from_dog_plane(theta, k, SQUARE_MM, np.full(4, lift_mm), trunk)
        return plane_to_pixels(self._camera(theta, k), level)

    def camera_view(self, theta: Array, covariance: Array, k: int) -> CameraView:
        """How photo k was taken; those from the front are counted after the others."""
        if k >= len(self.shots):
            return self.fronts.camera_view(theta, covariance, k, self.trunk(theta))
        trunk = self.trunk(theta)
        (middle,) = self._level(theta, k, np.zeros((1, 2)), np.zeros(1), trunk)
        return camera_view_of(
            self.unknowns,
            theta,
            covariance,
            self.shots[k],
            k,
            offset_mm=float(self.offset(theta, k, trunk)),
            at=middle,
        )


PRIOR_SOURCES = {
    "size": "size",
    "focal": "focal",
    "lens": "lens",
    "centre": "framing",
    "growth": "framing",
    "offset": "offset",
    "session": "offset",
    "dog_yaw": "dog_turn",
    "dog_lean": "dog_turn",
    "front_tilt": "marks",
    "tag_tilt": "tags",
    "front_look": "front_look",
}
"""Which source of doubt the prior of each unknown stands for."""
