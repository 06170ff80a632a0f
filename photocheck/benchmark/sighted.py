"""Cards, sheets, balls and discs that nobody pointed at: what is shown, and how often wrongly.

Composites (`photocheck.phantom.composites`) stand for a part of an owner's photo, a third of its
width, as if taken with a lens that shows only that: their cards and sheets are as large as beside
a dog, and so is what is believed of how far off they are.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.case.samples import samples_folder
from photocheck.locating import beside_dog
from photocheck.phantom.composites import Composite, composite
from photocheck.phantom.rounds import round_composite
from photocheck.photo.load import load_photo
from photocheck.scale.corners import side_lengths
from photocheck.scale.ellipses import Ellipse, fit_ellipse
from photocheck.scale.kinds import BesideDog
from photocheck.scale.unaided import Sighting, sightings
from photocheck.scale.unaided_rounds import RoundSighting, round_sightings

Floats = NDArray[np.float64]

KINDS: Final = ("id_card", "a4", "letter", "")
FIRST_SEED: Final = 7000
"""Seeds from here on; what is chosen in `photocheck.scale.unaided` was chosen below 200."""
NEAR_ENOUGH: Final = 0.03
"""Worst corner of what counts as right, over the longer side."""
_FOCAL: Final = 1.6
"""Focal length over the composite's longer side: 0.72 (26 mm) of a photo 2.2 times as wide."""
_SAMPLE: Final = "nettle"
_CUP: Final = "coffee"
"""Name of that ground (`photocheck.phantom.composites`)."""
_RUNS: Final = 5


@dataclass(frozen=True)
class SightedPicture:
    """What was shown of one composite.

    Attributes
    ----------
    kind : str
        What is in it; empty for nothing.
    right, first, wrong : bool
        Whether it was shown; as its own kind first; and whether something else was.
    """

    kind: str
    right: bool
    first: bool
    wrong: bool


def judged(made: Composite, found: Sequence[Sighting]) -> SightedPicture:
    """What was found in a composite, held against what is in it."""
    near = [made.kind != "" and _off(one.corners, made.corners_px) < NEAR_ENOUGH for one in found]
    first = any(ok and one.seen[0].kind == made.kind for ok, one in zip(near, found, strict=True))
    return SightedPicture(made.kind, any(near), first, not all(near))


def _off(corners: Floats, truth: Floats) -> float:
    ways = [np.hypot(*(np.roll(truth, k, axis=0) - corners).T) for k in range(4)]
    return min(float(np.max(way)) for way in ways) / float(side_lengths(truth).max())


def look(kind: str, paper: bool, seed: int) -> SightedPicture:
    """One composite, looked at; with the paper in use told where `paper` is true."""
    made = composite(kind, "dog", seed)
    told = kind if paper and kind in ("a4", "letter") else ""
    beside = BesideDog(_FOCAL * max(made.picture.shape[:2]), told)
    return judged(made, sightings(made.picture, beside))


ROUND: Final = ("ball", "disc")
ROUND_ENOUGH: Final = 0.05
"""Of half its size, how far centre and size of what counts as right may be off: a coin with its
side is 3 % larger than its face, which the finder's own doubt knows."""


def judged_round(kind: str, outline: Floats, found: Sequence[RoundSighting]) -> SightedPicture:
    """What was found of round things, held against the outline (n, 2) px of what is there."""
    truth = fit_ellipse(outline) if kind else None
    near = [truth is not None and _off_round(one.ellipse, truth) < ROUND_ENOUGH for one in found]
    first = any(ok and kind in one.kinds[:1] for ok, one in zip(near, found, strict=True))
    return SightedPicture(kind, any(near), first, not all(near))


def _off_round(one: Ellipse, truth: Ellipse) -> float:
    size = float(np.mean(truth.half))
    apart = float(np.hypot(*(one.centre - truth.centre)))
    return max(apart, abs(float(np.mean(one.half)) - size)) / size


def look_round(kind: str, seed: int) -> SightedPicture | None:
    """One picture of a ball, a coin, or none of them, looked at for round things.

    None where its ground is a photograph of a cup on its saucer, which are round.
    """
    if kind in ROUND:
        one = round_composite(kind, seed)
        what, picture, outline = one.what, one.picture, one.outline_px
    else:
        made = composite(kind, "dog", seed)
        what, picture, outline = made.what, made.picture, np.zeros((0, 2))
    if _CUP in what:
        return None
    return judged_round(kind if kind in ROUND else "", outline, round_sightings(picture))


def rounds_wrong_in_samples() -> tuple[int, int]:
    """In how many of the samples' photos something round is shown, and how many there are."""
    photos = sorted(samples_folder().glob("*/*.jpg"))
    return sum(bool(round_sightings(load_photo(path).rgb)) for path in photos), len(photos)


def cost() -> tuple[float, float]:
    """CPU time of a look at a sample, over a plain decode of its file; and in seconds."""
    path = samples_folder() / _SAMPLE / "side.jpg"
    content = np.frombuffer(path.read_bytes(), np.uint8)
    photo = load_photo(path)
    spent = []
    for _ in range(_RUNS):
        began = time.process_time()
        if not sightings(photo.rgb, beside_dog(photo)):
            round_sightings(photo.rgb)
        looked = time.process_time()
        cv2.imdecode(content, cv2.IMREAD_COLOR)
        spent.append((looked - began, time.process_time() - looked))
    looks, decodes = np.median(np.array(spent), axis=0)
    return float(looks / decodes), float(looks)


def report(pictures: int, jobs: int) -> str:
    """The table, as Markdown."""
    seeds = range(FIRST_SEED, FIRST_SEED + pictures)
    lines = [
        f"{pictures} composites of each, seeds from {FIRST_SEED}.",
        "",
        "| in the picture | shown | as its kind first | the paper in use known | "
        "something wrong shown |",
        "| --- | --- | --- | --- | --- |",
    ]
    with ProcessPoolExecutor(jobs) as pool:
        for kind in KINDS:
            plain = list(pool.map(partial(look, kind, False), seeds))
            told = plain
            if kind in ("a4", "letter"):
                told = list(pool.map(partial(look, kind, True), seeds))
            lines.append(_row(kind, plain, told))
        lines += [
            "",
            "Round things, looked for where nothing of these was found:",
            "",
            "| in the picture | shown | as its kind first | something wrong shown |",
            "| --- | --- | --- | --- |",
        ]
        for kind in (*ROUND, *KINDS):
            lines.append(_round_row(kind, list(pool.map(partial(look_round, kind), seeds))))
    wrong, photos = rounds_wrong_in_samples()
    lines.append(f"| none: a sample's photo | - | - | {wrong} of {photos} |")
    ratio, seconds = cost()
    lines += [
        "",
        f"A look at a sample of 2000 x 1500 px: {ratio:.0f} times the CPU time of a plain decode "
        f"({seconds:.1f} s).",
    ]
    return "\n".join(lines)


def _round_row(kind: str, looked: Sequence[SightedPicture | None]) -> str:
    told = [one for one in looked if one is not None]
    wrong = f"{sum(one.wrong for one in told)} of {len(told)}"
    if kind not in ROUND:
        return f"| none: {kind or 'nothing'} | - | - | {wrong} |"
    right = sum(one.right for one in told)
    first = sum(one.first for one in told)
    return f"| {kind} | {right} of {len(told)} | {first} of {right} | {wrong} |"


def _row(kind: str, plain: Sequence[SightedPicture], told: Sequence[SightedPicture]) -> str:
    wrong = f"{sum(one.wrong for one in plain)} of {len(plain)}"
    if not kind:
        return f"| nothing | - | - | - | {wrong} |"
    right = sum(one.right for one in plain)
    shown = f"{right} of {len(plain)}"
    first = f"{sum(one.first for one in plain)} of {right}"
    known = f"{sum(one.first for one in told)} of {sum(one.right for one in told)}"
    return f"| {kind} | {shown} | {first} | {known if kind != 'id_card' else '-'} | {wrong} |"
