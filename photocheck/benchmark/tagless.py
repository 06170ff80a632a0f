"""Pictures without tags: how many are said to hold one.

Photographs are the ones that scikit-image ships in its wheel (BSD-3-Clause and public domain), the
practice dogs', and whatever folder is named; all of them turned, enlarged, shrunk, mirrored and
cut.  The rest is drawn: grids of black and white cells as codes and chessboards have them, print
and frames, surfaces, the marker sheet, and markers of OpenCV's families, those of tags as well,
but without a tag's wedge.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache, lru_cache, partial
from pathlib import Path
from typing import Final

import cv2
import numpy as np

from photocheck.phantom.composites import DRAWN, surface
from photocheck.phantom.phone import Picture, encode
from photocheck.practice.dogs import FOLDER as PRACTICE
from photocheck.scale.sheet import sheet_bitmap
from photocheck.scale.tag_detection import Search
from photocheck.scale.tag_layout import TAG_IDS
from photocheck.scale.tags import find_tags

FAMILIES: Final = (
    cv2.aruco.DICT_4X4_50, cv2.aruco.DICT_4X4_1000, cv2.aruco.DICT_5X5_100,
    cv2.aruco.DICT_6X6_250, cv2.aruco.DICT_ARUCO_ORIGINAL, cv2.aruco.DICT_APRILTAG_36h11,
)  # fmt: skip
_LARGEST: Final = 2000
"""Px, longer side of a photograph that is cut from, at most."""


@cache
def sources(folder: str) -> tuple[str, ...]:
    """Files of photographs."""
    import skimage

    shipped = Path(skimage.__file__).parent / "data"
    places = [shipped, PRACTICE, *([Path(folder)] if folder else [])]
    files = [file for place in places for file in sorted(place.rglob("*")) if file.is_file()]
    kinds = (".jpg", ".jpeg", ".png", ".webp")
    pictures = [str(file) for file in files if file.suffix.lower() in kinds]
    return tuple(file for file in pictures if _loaded(file) is not None)


@lru_cache(maxsize=200)
def _loaded(file: str) -> Picture | None:
    picture = cv2.imread(file, cv2.IMREAD_GRAYSCALE)
    if picture is None or min(picture.shape) < 60:
        return None
    while max(picture.shape) > _LARGEST:
        picture = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    return np.asarray(picture, np.uint8)


def _photograph(rng: np.random.Generator, folder: str) -> Picture:
    known = sources(folder)
    picture = _loaded(known[rng.integers(len(known))])
    assert picture is not None  # `sources` has only such
    height, width = picture.shape
    zoom = float(np.exp(rng.uniform(np.log(0.3), np.log(2.5))))
    size = int(rng.uniform(500, 1600)), int(rng.uniform(400, 1200))
    middle = np.array([rng.uniform(0.2, 0.8) * width, rng.uniform(0.2, 0.8) * height])
    matrix = cv2.getRotationMatrix2D((0.0, 0.0), float(rng.uniform(0, 360)), zoom)
    matrix[:, 2] = np.array(size) / 2 - matrix[:, :2] @ middle
    how = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
    cut = cv2.warpAffine(picture, matrix, size, flags=how, borderMode=cv2.BORDER_REFLECT)
    if rng.random() < 0.3:
        cut = 255 - cut if rng.random() < 0.3 else np.ascontiguousarray(cut[:, ::-1])
    return np.asarray(cut, np.uint8)


def _cells(rng: np.random.Generator, folder: str) -> Picture:
    """Random cells, or a chessboard, seen aslant."""
    rows = int(rng.integers(4, 60))
    columns = rows * 4 // 3
    if rng.random() < 0.2:
        cells = np.add.outer(np.arange(rows), np.arange(columns)) % 2 == 0
    else:
        cells = rng.random((rows, columns)) < rng.uniform(0.3, 0.7)
    large = cv2.resize(cells.astype(np.uint8) * 220 + 15, (1200, 900), None, 0, 0, 0)
    return _aslant(rng, np.asarray(large, np.uint8))


def _print(rng: np.random.Generator, folder: str) -> Picture:
    """Text and frames on paper, seen aslant."""
    page = np.full((900, 1200), int(rng.integers(180, 250)), np.uint8)
    for _ in range(int(rng.integers(20, 120))):
        at = int(rng.integers(-50, 1150)), int(rng.integers(0, 920))
        ink = int(rng.integers(0, 90))
        if rng.random() < 0.5:
            text = "".join(chr(c) for c in rng.integers(33, 127, int(rng.integers(1, 14))))
            font = int(rng.choice([0, 2, 3, 4]))
            large = float(rng.uniform(0.4, 4.0))
            cv2.putText(page, text, at, font, large, ink, int(rng.integers(1, 8)), cv2.LINE_AA)
            continue
        wide, high = (int(rng.uniform(12, 120)) for _ in range(2))
        high = wide if rng.random() < 0.7 else high
        corner = (at[0] + wide, at[1] + high)
        cv2.rectangle(page, at, corner, ink, -1 if rng.random() < 0.4 else wide // 6 + 1)
        if rng.random() < 0.5:
            inside = (at[0] + wide // 3, at[1] + high // 3)
            cv2.rectangle(page, inside, (at[0] + wide // 2, at[1] + high // 2), 240, -1)
    return _aslant(rng, page)


def _surface(rng: np.random.Generator, folder: str) -> Picture:
    light, _ = surface(rng, (700, 950), float(rng.uniform(1.0, 4.0)), DRAWN)
    return np.asarray(np.clip(255 * encode(light.mean(axis=2)), 0, 255), np.uint8)


def _markers(rng: np.random.Generator, folder: str) -> Picture:
    """Others' markers, tags' own without their wedge, or the marker sheet on a photograph."""
    picture = cv2.resize(_photograph(rng, folder), (1200, 900))
    if rng.random() < 0.15:
        sheet = cv2.resize(sheet_bitmap(2.0, whole=True), (420, 594), None, 0, 0, cv2.INTER_AREA)
        y, x = int(rng.integers(900 - 594)), int(rng.integers(1200 - 420))
        picture[y : y + 594, x : x + 420] = sheet
        return _aslant(rng, np.asarray(picture, np.uint8))
    family = cv2.aruco.getPredefinedDictionary(int(rng.choice(FAMILIES)))
    for _ in range(12):
        side = int(rng.uniform(20, 120))
        number = int(rng.integers(len(family.bytesList)))
        if family.markerSize == 4 and rng.random() < 0.3:
            number = int(rng.choice(list(TAG_IDS.values())))
        drawn = cv2.aruco.generateImageMarker(family, number, side)
        rim = max(side // (family.markerSize + 2), 1)
        low = rim * 3 if rng.random() < 0.5 else rim
        drawn = cv2.copyMakeBorder(drawn, rim, low, rim, rim, cv2.BORDER_CONSTANT, value=250)
        drawn = np.rot90(drawn, int(rng.integers(4)))
        height, width = drawn.shape
        y, x = int(rng.integers(900 - height)), int(rng.integers(1200 - width))
        picture[y : y + height, x : x + width] = drawn
    return _aslant(rng, np.asarray(picture, np.uint8))


def _aslant(rng: np.random.Generator, flat: Picture) -> Picture:
    height, width = flat.shape
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    moved = (corners + rng.uniform(-0.12, 0.12, (4, 2)) * height).astype(np.float32)
    matrix = cv2.getPerspectiveTransform(corners, moved)
    seen = cv2.warpPerspective(flat, matrix, (width, height), None, cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(seen, (0, 0), float(rng.uniform(0.4, 1.5))), np.uint8)


KINDS: Final[dict[str, tuple[float, Callable[[np.random.Generator, str], Picture]]]] = {
    "photographs": (0.55, _photograph),
    "surfaces": (0.05, _surface),
    "cells and chessboards": (0.15, _cells),
    "print and frames": (0.1, _print),
    "others' markers, tags' without a wedge, sheets": (0.15, _markers),
}


def tagless(seed: int, folder: str = "") -> tuple[str, Picture]:
    """A picture without tags and its kind."""
    rng = np.random.default_rng([seed, 7])
    shares = [share for share, _ in KINDS.values()]
    kind = str(rng.choice(list(KINDS), p=shares))
    picture = KINDS[kind][1](rng, folder)
    noise = rng.normal(0.0, rng.uniform(0.0, 4.0), picture.shape)
    return kind, np.clip(picture + noise, 0, 255).astype(np.uint8)


def _judged(seed: int, folder: str) -> tuple[str, int, int, int]:
    cv2.setNumThreads(1)
    kind, picture = tagless(seed, folder)
    like = [one for one in Search(picture).squares if one.code in TAG_IDS.values()]
    return kind, seed, len(like), len(find_tags(picture).tags)


def report(pictures: int, seed: int, jobs: int, folder: str = "") -> str:
    """A table as Markdown: of each kind, how many hold squares like a tag's, and how many a tag."""
    seeds = range(seed * 1_000_000, seed * 1_000_000 + pictures)
    with ProcessPoolExecutor(jobs) as executor:
        each = list(executor.map(partial(_judged, folder=folder), seeds, chunksize=20))
    return table(each, len(sources(folder)))


def table(each: Sequence[tuple[str, int, int, int]], files: int) -> str:
    """Counts by kind; the seeds of pictures with a tag are named below."""
    count, like, wrong = Counter[str](), Counter[str](), Counter[str]()
    for kind, _, squares, tags in each:
        for name in (kind, "all"):
            count[name] += 1
            like[name] += squares
            wrong[name] += tags > 0
    lines = [
        "| without tags | pictures | squares like a tag's | pictures with a tag reported |",
        "| --- | ---: | ---: | ---: |",
    ]
    for name in (*KINDS, "all"):
        lines.append(f"| {name} | {count[name]} | {like[name]} | {wrong[name]} |")
    seeds = [str(seed) for _, seed, _, tags in each if tags]
    said = f"Photographs are cut from {files} files."
    return "\n".join([*lines, "", said + (f" Wrong: {', '.join(seeds)}." if seeds else "")])
