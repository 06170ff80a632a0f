"""Faces of invented cards and sheets of paper, printed as real ones are; linear light.

What matters to whoever looks for an edge is where print runs: stripes and bands from edge to
edge, frames, rules, lines of text, portraits, chips.  No design is anybody's: shapes, colours
and letters are drawn at random.
"""

from __future__ import annotations

from collections.abc import Callable
from types import MappingProxyType
from typing import Final

import cv2
import numpy as np

from photocheck.phantom.field import Array
from photocheck.phantom.textures import cloud

Drawn = Callable[[np.random.Generator, Array, float], None]


def card_face(rng: np.random.Generator, design: str, shape: tuple[int, int], px: float) -> Array:
    """A card's face, (rows, columns, 3) linear; ``px`` is pixels per mm, the long side across."""
    face = _ground(rng, shape, pale=0.35)
    CARD_DESIGNS[design](rng, face, px)
    return np.asarray(np.clip(face, 0.004, 0.92))


def sheet_face(rng: np.random.Generator, design: str, shape: tuple[int, int], px: float) -> Array:
    """A sheet's face, (rows, columns, 3) linear, upright; ``px`` is pixels per mm."""
    face = np.full((*shape, 3), rng.uniform(0.55, 0.85)) * (1 + 0.02 * rng.normal(size=3))
    if rng.random() < 0.12:
        face = face * rng.uniform(0.35, 1.0, 3)
    SHEET_DESIGNS[design](rng, face, px)
    return np.asarray(np.clip(face, 0.004, 0.92))


def _ink(rng: np.random.Generator) -> Array:
    """Dark as a rule, sometimes of a colour."""
    if rng.random() < 0.6:
        return np.full(3, rng.uniform(0.01, 0.12))
    return np.asarray(rng.uniform(0.01, 0.6, 3))


def _ground(rng: np.random.Generator, shape: tuple[int, int], pale: float) -> Array:
    if rng.random() < pale:
        base = np.full(3, rng.uniform(0.5, 0.85)) * rng.uniform(0.9, 1.0, 3)
    else:
        base = rng.uniform(0.02, 0.6, 3)
    face = np.ones((*shape, 3)) * base
    if rng.random() < 0.5:  # a blend from one colour to another
        other = base * rng.uniform(0.4, 1.8, 3)
        along = np.linspace(0, 1, shape[1])[None, :, None]
        down = np.linspace(0, 1, shape[0])[:, None, None]
        part = np.clip(rng.uniform(0, 1) * along + rng.uniform(0, 1) * down, 0, 1)
        face = face * (1 - part) + other * part
    return face


def _box(face: Array, px: float, x: float, y: float, width: float, height: float) -> Array:
    """A view of the rectangle at (x, y), of that size, mm."""
    left, top = max(round(x * px), 0), max(round(y * px), 0)
    return face[top : max(round((y + height) * px), top), left : max(round((x + width) * px), left)]


def _size(face: Array, px: float) -> tuple[float, float]:
    return face.shape[1] / px, face.shape[0] / px


def _text(
    rng: np.random.Generator, face: Array, px: float, x: float, y: float, width: float, tall: float
) -> None:
    """One line of letters `tall` mm high, written from (x, y) to at most `width` mm."""
    letters = list("abcdefghijklmnopqrstuvwxyzABCDEFGHKLMNPRST0123456789   ")
    scale = tall * px / 22.0
    thick = max(round(tall * px / 9.0), 1)
    words, font = "", cv2.FONT_HERSHEY_SIMPLEX
    while cv2.getTextSize(words + "m", font, scale, thick)[0][0] < width * px and len(words) < 200:
        words += str(rng.choice(letters))
    ink = np.zeros(face.shape[:2], np.uint8)
    cv2.putText(ink, words, (round(x * px), round((y + tall) * px)), font, scale, 255, thick, 16)
    part = ink[..., None] / 255.0
    face[:] = face * (1 - part) + _ink(rng) * part


def _lines(
    rng: np.random.Generator, face: Array, px: float, x: float, y: float, width: float, down: float
) -> None:
    """A paragraph: strokes of words, lines from `y` down to `down`, mm."""
    tall = rng.uniform(1.8, 4.0)
    step = tall * rng.uniform(1.5, 2.2)
    ink, ragged = _ink(rng), rng.random() < 0.6
    while y + tall < down:
        right = x + width * (rng.uniform(0.7, 1.0) if ragged else 1.0)
        at = x
        while at < right:
            word = min(rng.uniform(1.0, 6.0) * tall, right - at)
            area = _box(face, px, at, y, word, tall)
            if area.size:
                grain = rng.random((*area.shape[:2], 1)) < 0.55
                strokes = cv2.resize(
                    (rng.random((2, max(int(word / tall * 3), 1))) < 0.6).astype(np.uint8),
                    area.shape[1::-1],
                    interpolation=cv2.INTER_NEAREST,
                )[..., None]
                area[:] = np.where(grain | (strokes > 0), area * 0.35 + 0.65 * ink, area)
            at += word + 0.5 * tall
        y += step


def _picture(
    rng: np.random.Generator, face: Array, px: float, x: float, y: float, w: float, h: float
) -> None:
    """A printed photo: a sky, a ground, a few blobs."""
    area = _box(face, px, x, y, w, h)
    if area.size == 0:
        return
    shape = area.shape[:2]
    small = (max(shape[0] // 4, 4), max(shape[1] // 4, 4))
    tone = np.stack([cloud(rng, small, max(small[0] / 5.0, 2.0)) for _ in range(3)], axis=2)
    scene = np.ascontiguousarray(rng.uniform(0.03, 0.5, 3) * np.exp(0.5 * tone))
    for _ in range(rng.integers(1, 5)):
        centre = (int(rng.uniform(0, small[1])), int(rng.uniform(0, small[0])))
        axes = (
            int(rng.uniform(0.05, 0.3) * small[1]) + 1,
            int(rng.uniform(0.05, 0.4) * small[0]) + 1,
        )
        colour = [float(c) for c in rng.uniform(0.02, 0.7, 3)]
        cv2.ellipse(scene, centre, axes, 0, 0, 360, colour, -1)
    area[:] = cv2.resize(scene, shape[::-1], interpolation=cv2.INTER_CUBIC)


def _plain(rng: np.random.Generator, face: Array, px: float) -> None:
    pass


def _stripe(rng: np.random.Generator, face: Array, px: float) -> None:
    """A magnetic stripe from edge to edge, a signature field, small print."""
    width, _ = _size(face, px)
    _box(face, px, 0, rng.uniform(3.5, 6.0), width, rng.uniform(9.5, 13.0))[:] = rng.uniform(
        0.005, 0.04
    )
    if rng.random() < 0.7:
        _box(face, px, rng.uniform(3, 10), 21, rng.uniform(40, 62), 8)[:] = 0.75
    _lines(rng, face, px, 4, rng.uniform(32, 38), rng.uniform(40, 76), 50)


def _band(rng: np.random.Generator, face: Array, px: float) -> None:
    """A band of another colour from edge to edge, at any of the four sides, and some text."""
    width, height = _size(face, px)
    deep = rng.uniform(0.12, 0.4)
    side = rng.integers(4)
    boxes = (
        (0.0, 0.0, width, deep * height),
        (0.0, (1 - deep) * height, width, deep * height),
        (0.0, 0.0, deep * width, height),
        ((1 - deep) * width, 0.0, deep * width, height),
    )
    area = _box(face, px, *boxes[side])
    area[:] = rng.uniform(0.02, 0.7, 3)
    _text(rng, face, px, 0.08 * width, 0.5 * height, 0.8 * width, 0.08 * height)


def _bank(rng: np.random.Generator, face: Array, px: float) -> None:
    """A chip, a row of raised digits, a name, a mark in a corner."""
    _box(face, px, 9.5, 17.5, 13.0, 11.0)[:] = np.array([0.6, 0.5, 0.25]) * rng.uniform(0.6, 1.3)
    _text(rng, face, px, 9, 31, 66, 4.5)
    _text(rng, face, px, 9, 44, 36, 3.0)
    if rng.random() < 0.6:
        for part in (0, 5):
            centre = (round((70 + part) * px), round(44 * px))
            colour = [float(c) for c in rng.uniform(0.05, 0.8, 3)]
            cv2.circle(face, centre, max(round(4.5 * px), 1), colour, -1)
    if rng.random() < 0.4:
        _stripe_at(rng, face, px)


def _stripe_at(rng: np.random.Generator, face: Array, px: float) -> None:
    width, height = _size(face, px)
    _box(face, px, 0, rng.uniform(0.55, 0.8) * height, width, rng.uniform(2, 8))[:] = rng.uniform(
        0.02, 0.8, 3
    )


def _identity(rng: np.random.Generator, face: Array, px: float) -> None:
    """A portrait to the left, lines of data, a heading edge to edge or not."""
    width, _ = _size(face, px)
    if rng.random() < 0.6:
        _box(face, px, 0, 0, width, rng.uniform(7, 12))[:] = rng.uniform(0.02, 0.6, 3)
    x, y = rng.uniform(2.5, 6), rng.uniform(12, 16)
    w, h = rng.uniform(20, 26), rng.uniform(26, 34)
    _box(face, px, x, y, w, h)[:] = rng.uniform(0.2, 0.8)
    for centre, axes, colour in (
        ((x + w / 2, y + 0.42 * h), (0.26 * w, 0.24 * h), (0.45, 0.27, 0.2)),
        ((x + w / 2, y + h), (0.42 * w, 0.3 * h), tuple(rng.uniform(0.02, 0.4, 3))),
    ):
        at = (round(centre[0] * px), round(min(centre[1], y + h - axes[1] * 0.99) * px))
        sizes = (max(round(axes[0] * px), 1), max(round(axes[1] * px), 1))
        cv2.ellipse(face, at, sizes, 0, 0, 360, [float(c) for c in colour], -1)
    _lines(rng, face, px, x + w + 4, y, width - x - w - 9, 47)
    if rng.random() < 0.3:
        _box(face, px, 0, 46, width, 8)[:] = rng.uniform(0.3, 0.8)
        _text(rng, face, px, 3, 48, 78, 3)


def _framed(rng: np.random.Generator, face: Array, px: float) -> None:
    """A border of another colour, or a fine line, a few mm inside the edge."""
    width, height = _size(face, px)
    edge = rng.uniform(1.5, 5.0) if height < 100 else rng.uniform(4.0, 20.0)
    if rng.random() < 0.5:
        _box(face, px, edge, edge, width - 2 * edge, height - 2 * edge)[:] = rng.uniform(
            0.02, 0.8, 3
        )
    else:
        thick = rng.uniform(0.3, 1.5)
        inner = _box(face, px, edge, edge, width - 2 * edge, height - 2 * edge)
        kept = _box(
            face, px, edge + thick, edge + thick,
            width - 2 * (edge + thick), height - 2 * (edge + thick),
        ).copy()  # fmt: skip
        inner[:] = _ink(rng)
        at = max(round((edge + thick) * px), 0) - max(round(edge * px), 0)
        inner[at : at + kept.shape[0], at : at + kept.shape[1]] = kept
    _lines(rng, face, px, 0.2 * width, 0.3 * height, 0.6 * width, 0.75 * height)


def _full_picture(rng: np.random.Generator, face: Array, px: float) -> None:
    """Printed to the edge with a picture, some words over it."""
    width, height = _size(face, px)
    _picture(rng, face, px, 0, 0, width, height)
    if rng.random() < 0.6:
        _text(rng, face, px, 0.1 * width, 0.6 * height, 0.7 * width, 0.1 * height)


def _code(rng: np.random.Generator, face: Array, px: float) -> None:
    """A square code and a bar code."""
    width, height = _size(face, px)
    size = 0.4 * min(width, height)
    for x, y, w, h, cells in (
        (0.1 * width, 0.25 * height, size, size, (21, 21)),
        (0.55 * width, 0.6 * height, 0.35 * width, 0.2 * height, (1, 60)),
    ):
        area = _box(face, px, x, y, w, h)
        dark = cv2.resize(
            (rng.random(cells) < 0.5).astype(np.uint8),
            area.shape[1::-1],
            interpolation=cv2.INTER_NEAREST,
        )
        area[:] = np.where(dark[..., None] > 0, 0.02, 0.8)
    _lines(rng, face, px, 0.1 * width, 0.06 * height, 0.7 * width, 0.2 * height)


def _letter(rng: np.random.Generator, face: Array, px: float) -> None:
    """Paragraphs in one or two columns between margins."""
    width, height = _size(face, px)
    edge = rng.uniform(12, 28)
    columns = 1 if rng.random() < 0.65 else 2
    each = (width - 2 * edge - 8 * (columns - 1)) / columns
    for k in range(columns):
        y = edge
        while y < height - edge - 10:
            down = min(y + rng.uniform(20, 90), height - edge)
            _lines(rng, face, px, edge + k * (each + 8), y, each, down)
            y = down + rng.uniform(4, 12)
    if rng.random() < 0.5:
        _text(rng, face, px, edge, 0.35 * edge, 0.6 * width, 0.35 * edge)


def _headed(rng: np.random.Generator, face: Array, px: float) -> None:
    """A heading or a foot from edge to edge over a letter."""
    width, height = _size(face, px)
    _letter(rng, face, px)
    deep = rng.uniform(12, 45)
    top = 0.0 if rng.random() < 0.7 else height - deep
    _box(face, px, 0, top, width, deep)[:] = rng.uniform(0.02, 0.6, 3)


def _table(rng: np.random.Generator, face: Array, px: float) -> None:
    """Rules across and down, some cells filled, words in others."""
    width, height = _size(face, px)
    edge = rng.uniform(8, 25)
    top, bottom = edge + rng.uniform(0, 60), height - edge - rng.uniform(0, 80)
    rows, columns = int(rng.integers(4, 18)), int(rng.integers(2, 7))
    thick, ink = rng.uniform(0.25, 0.8), _ink(rng)
    ys, xs = np.linspace(top, bottom, rows + 1), np.linspace(edge, width - edge, columns + 1)
    if rng.random() < 0.6:
        _box(face, px, edge, top, width - 2 * edge, ys[1] - top)[:] = rng.uniform(0.1, 0.7, 3)
    for y in ys:
        _box(face, px, edge, y, width - 2 * edge, max(thick, 1.01 / px))[:] = ink
    for x in xs if rng.random() < 0.8 else xs[[0, -1]]:
        _box(face, px, x, top, max(thick, 1.01 / px), bottom - top)[:] = ink
    for _ in range(rows):
        i, k = int(rng.integers(rows)), int(rng.integers(columns))
        _lines(rng, face, px, xs[k] + 2, ys[i] + 1, xs[1] - xs[0] - 4, ys[i + 1])


def _photos(rng: np.random.Generator, face: Array, px: float) -> None:
    """One large printed photo, or a few, and words under them."""
    width, height = _size(face, px)
    edge = rng.uniform(5, 25)
    if rng.random() < 0.6:
        tall = rng.uniform(0.4, 0.85) * (height - 2 * edge)
        _picture(rng, face, px, edge, edge, width - 2 * edge, tall)
        _lines(rng, face, px, edge, edge + tall + 6, width - 2 * edge, height - edge)
    else:
        for k in range(4):
            x = edge + (k % 2) * (width / 2 - edge / 2)
            y = edge + (k // 2) * (height / 2 - edge / 2)
            _picture(rng, face, px, x, y, width / 2 - 1.5 * edge, height / 2 - 1.8 * edge)


def _ruled(rng: np.random.Generator, face: Array, px: float) -> None:
    """Writing paper: lines from edge to edge, or squares."""
    width, height = _size(face, px)
    step, ink = rng.uniform(4, 10), face[0, 0] * rng.uniform(0.4, 0.8)
    thick = max(0.3, 1.01 / px)
    for y in np.arange(rng.uniform(step, 35), height, step):
        _box(face, px, 0, y, width, thick)[:] = ink
    if rng.random() < 0.5:
        for x in np.arange(step, width, step):
            _box(face, px, x, 0, thick, height)[:] = ink
    elif rng.random() < 0.5:
        _box(face, px, rng.uniform(15, 30), 0, thick, height)[:] = np.array([0.5, 0.1, 0.1])


CARD_DESIGNS: Final = MappingProxyType(
    {
        "plain": _plain,
        "stripe": _stripe,
        "band": _band,
        "bank": _bank,
        "identity": _identity,
        "framed": _framed,
        "picture": _full_picture,
        "code": _code,
    }
)
"""How a card may be printed."""

SHEET_DESIGNS: Final = MappingProxyType(
    {
        "plain": _plain,
        "letter": _letter,
        "headed": _headed,
        "table": _table,
        "photos": _photos,
        "framed": _framed,
        "ruled": _ruled,
        "picture": _full_picture,
        "code": _code,
    }
)
"""How a sheet of paper may be printed."""
