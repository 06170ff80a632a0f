"""How well outlines are cut, and whether their trust tells: photographs, or composites.

A folder holds photographs and ``outlines.json``:

    {"photos": [{"file": "left.jpg",
                 "marks": {"breastbone": [412, 300], "shoulder_top": [520, 190], ...},
                 "outline": [[x, y], [x, y], ...],
                 "licence": "..."}]}

in pixels of the upright photo.  Instead of ``outline`` there may be ``mask``, the name of a
picture of the same size that is white where the animal is.  Any four-legged animal seen from
the side will do.  Without a folder, phantoms with ragged coats are set before photographs of
grass, gravel and brick that come with scikit-image.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.body.silhouette import TRUSTED, find_silhouette
from photocheck.case.model import Point
from photocheck.errors import PhotocheckError
from photocheck.speech import tr
from photocheck.words import ALL_LANDMARKS, LANDMARKS

Array = NDArray[np.float64]
Mask = NDArray[np.uint8]
Truth = tuple[str, NDArray[np.uint8], dict[str, Point], Mask]

TRUTHS: Final = "outlines.json"
SETS: Final = {"all marks": ALL_LANDMARKS, "four marks": LANDMARKS}
GROUNDS: Final = ("grass", "gravel", "brick")


@dataclass(frozen=True)
class OutlineFigures:
    """One outline: intersection over union with the truth, trust, seconds."""

    overlap: float
    trust: float
    seconds: float


def outline_figures(
    rgb: NDArray[np.uint8], marks: Mapping[str, Point], truth: Sequence[Point] | Mask
) -> OutlineFigures | None:
    """Cut the outline from marks and hold it against the truth.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
        The upright photo.
    marks : mapping of landmark name to Point
        breastbone, shoulder_top, last_rib and tail_base at least, px.
    truth : sequence of Point, or (H, W) uint8
        The true outline's corners, px, or a mask above 0 inside.

    Returns
    -------
    OutlineFigures or None
        None when nothing could be cut.
    """
    height, width = rgb.shape[:2]
    start = perf_counter()
    found = find_silhouette(rgb, marks)
    seconds = perf_counter() - start
    if found is None:
        return None
    inside = truth if isinstance(truth, np.ndarray) else filled(truth, (width, height))
    cut, true = found.full_mask((width, height)) > 0, inside > 0
    overlap = float((cut & true).sum() / max(int((cut | true).sum()), 1))
    return OutlineFigures(overlap, found.trust, seconds)


def filled(ring: Sequence[Point], size: tuple[int, int]) -> Mask:
    """A polygon's inside, (H, W) uint8, for a picture of (width, height)."""
    mask = np.zeros(size[::-1], np.uint8)
    fine = 4
    corners = np.rint(np.asarray(ring, float) * 2**fine).astype(np.int32)
    cv2.fillPoly(mask, [corners], 1, shift=fine)
    return mask


def photographs(folder: Path) -> Iterator[Truth]:
    """Name, picture, marks and true mask of every photo of a folder.

    Raises
    ------
    PhotocheckError
        When the truth or a picture cannot be read.
    """
    from photocheck.photo.load import load_photo

    path = folder / TRUTHS
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        entries: list[dict[str, Any]] = list(told["photos"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise PhotocheckError(
            tr(
                "{path} cannot be read as a list of outlines: {error}. Its form is described at "
                "the head of photocheck/benchmark/outlines.py.",
                path=path,
                error=error,
            )
        ) from error
    for entry in entries:
        try:
            name = str(entry["file"])
            rgb = load_photo(folder / name).rgb
            size = (rgb.shape[1], rgb.shape[0])
            marks = {key: (float(x), float(y)) for key, (x, y) in entry["marks"].items()}
            if "outline" in entry:
                mask = filled([(float(x), float(y)) for x, y in entry["outline"]], size)
            else:
                grey = load_photo(folder / str(entry["mask"])).rgb[..., 0]
                mask = np.asarray(
                    cv2.resize((grey > 127).astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
                )
        except (KeyError, TypeError, ValueError) as error:
            raise PhotocheckError(
                tr(
                    "An entry of {path} is not as it should be ({error}): it needs file, marks, "
                    "and outline or mask, in pixels.",
                    path=path,
                    error=error,
                )
            ) from error
        yield name, rgb, marks, mask


def composites(count: int, seed: int) -> Iterator[Truth]:
    """Rendered phantoms with ragged coats before photographed grounds."""
    from skimage import data

    from photocheck.benchmark.stances import true_mask
    from photocheck.phantom.look import COATS, Look
    from photocheck.phantom.plan import random_plan
    from photocheck.phantom.render import render
    from photocheck.phantom.scene import observe, random_scene
    from photocheck.phantom.solid import make_dog

    size = (900, 675)
    for number in range(count):
        rng = np.random.default_rng([seed, number, 13])
        dog = make_dog(random_plan(rng, posture="square"), 90)
        scene = random_scene(rng, dog=dog, kind="marker_sheet", size_px=size, oblique=False)
        rgb = np.asarray(render(scene, Look(seed=number, coat=str(rng.choice(list(COATS))))))
        mask = _ragged(true_mask(scene), rng)
        ground = str(GROUNDS[number % len(GROUNDS)])
        picture = np.asarray(getattr(data, ground)(), np.uint8)
        behind = _ground(picture, size, ground, rng)
        soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.8)[..., None]
        # Hair beyond the phantom's edge takes the colour next to it.
        hair = cv2.dilate(mask, np.ones((3, 3), np.uint8)) - mask * true_mask(scene)
        own = cv2.inpaint(rgb, hair, 3, cv2.INPAINT_TELEA)
        mixed = soft * own + (1.0 - soft) * behind
        noisy = np.clip(mixed + rng.normal(0.0, 4.0, mixed.shape), 0, 255).astype(np.uint8)
        marks = dict(observe(scene, rng, 4.0).marking.marks)
        yield f"{ground} {number + 1}", noisy, marks, mask


def _ragged(mask: Mask, rng: np.random.Generator) -> Mask:
    """The mask with hair: its edge moved in and out by some pixels, in tufts."""
    tufts = cv2.GaussianBlur(rng.normal(size=mask.shape).astype(np.float32), (0, 0), 2.0)
    signed = cv2.distanceTransform(mask, cv2.DIST_L2, 3) - cv2.distanceTransform(
        1 - mask, cv2.DIST_L2, 3
    )
    return np.asarray(signed + 2.5 * tufts / max(float(tufts.std()), 1e-6) > 0.0, np.uint8)


def _ground(
    grey: NDArray[np.uint8], size: tuple[int, int], name: str, rng: np.random.Generator
) -> Array:
    """A grey texture in a colour of its own, tiled by mirroring, (H, W, 3)."""
    tint = {"grass": (0.55, 0.85, 0.35), "gravel": (0.95, 0.9, 0.85), "brick": (1.1, 0.7, 0.55)}
    width, height = size
    tiled = np.pad(grey, ((0, max(height - grey.shape[0], 0)), (0, max(width - grey.shape[1], 0))),
                   mode="symmetric")[:height, :width]  # fmt: skip
    shade = rng.uniform(0.7, 1.2) * np.asarray(tint[name])
    return np.asarray(tiled[..., None] * shade, float)


def report(folder: Path | None, photos: int, seed: int) -> str:
    """All tables as Markdown.

    Raises
    ------
    PhotocheckError
        When the folder cannot be read.
    """
    source = composites(photos, seed) if folder is None else photographs(folder)
    rows: dict[str, list[OutlineFigures]] = {title: [] for title in SETS}
    lines = ["| photo | " + " | ".join(f"{title}: overlap, trust" for title in SETS) + " |"]
    lines.append("| --- |" + " --- |" * len(SETS))
    for name, rgb, marks, mask in source:
        cells = []
        for title, names in SETS.items():
            few = {key: at for key, at in marks.items() if key in names}
            figures = outline_figures(rgb, few, mask)
            if figures is None:
                cells.append("none")
                continue
            rows[title].append(figures)
            cells.append(f"{figures.overlap:.2f}, {figures.trust:.2f}")
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join([summary(rows), "", *lines])


def rank_correlation(overlap: Array, trust: Array) -> str:
    """Spearman's, as it is told; a dash where there is nothing to order."""
    from scipy.stats import spearmanr

    if len(overlap) > 2 and np.ptp(overlap) > 0 and np.ptp(trust) > 0:
        return f"{float(spearmanr(overlap, trust).statistic):.2f}"
    return "-"


def summary(rows: Mapping[str, Sequence[OutlineFigures]]) -> str:
    """Markdown: overlap, rank correlation with the trust, and time."""
    lines = [
        "| marks | outlines | overlap: median | worst tenth | worst | rank correlation with trust "
        "| trusted | their worst | milliseconds |",
        "| --- |" + " ---: |" * 8,
    ]
    for title, found in rows.items():
        if not found:
            continue
        overlap = np.array([one.overlap for one in found])
        trust = np.array([one.trust for one in found])
        tells = rank_correlation(overlap, trust)
        good = overlap[trust >= TRUSTED]
        worst = f"{good.min():.2f}" if len(good) else "-"
        time = 1000.0 * float(np.median([one.seconds for one in found]))
        lines.append(
            f"| {title} | {len(found)} | {np.median(overlap):.3f} | "
            f"{np.quantile(overlap, 0.1):.2f} | {overlap.min():.2f} | {tells} | {len(good)} | "
            f"{worst} | {time:.0f} |"
        )
    return "\n".join(lines)
