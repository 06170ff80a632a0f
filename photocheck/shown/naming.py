"""The names beside marks and reference, and the bar that shows ten centimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.lengths import format_length
from photocheck.case.model import Point
from photocheck.report.model import PhotoResult, WidthResult
from photocheck.shown.colours import DARK, WHITE
from photocheck.shown.crop import FONT_SHARE
from photocheck.shown.labels import Box, Sought, nearest, place
from photocheck.shown.lettering import line_height, text_size
from photocheck.shown.strokes import mark_radius
from photocheck.speech import later, tr
from photocheck.words import (
    FACT_TITLES,
    LANDMARK_TITLES,
    LANDMARKS,
)

if TYPE_CHECKING:
    from PIL import ImageDraw, ImageFont


SHORT_REFERENCES: Final = MappingProxyType(
    {
        "marker_sheet": later("marker sheet"),
        "dog_tags": later("tags"),
        "id_card": later("card"),
        "a4": later("A4 sheet"),
        "letter": later("letter sheet"),
        "two_points": later("known distance"),
        "disc": later("disc"),
        "ball": later("ball"),
    }
)
"""Titles of the reference objects, cut to what has room beside them."""


SHORT_LANDMARKS: Final = MappingProxyType(
    {
        "back_top": later("back"),
        "chest_bottom": later("chest bottom"),
        "front_foot": later("front foot"),
        "rear_foot": later("rear foot"),
    }
)
"""Names of the helper marks, cut in the same way."""

_HELPERS_AWAY: Final = MappingProxyType(
    {
        "back_top": (0.0, -1.0),
        "chest_bottom": (0.0, 1.0),
        "front_foot": (0.0, 1.0),
        "rear_foot": (0.0, 1.0),
    }
)
"""Off the dog."""


@dataclass(frozen=True)
class Label:
    """A name to be put beside what it names, px."""

    lines: tuple[str, ...]
    anchor: Point
    away: tuple[float, float]
    shape: Box
    """What it names, px: leaders end at its edge."""
    round: bool = False
    """Whether that is a ring in the box."""


def labels_of(
    marks: dict[str, Point],
    outline: list[Point],
    reference: str,
    size: tuple[int, int],
    size_px: float,
) -> dict[str, Label]:
    """The names of the marks and of the reference, the four that every check needs first."""
    labels: dict[str, Label] = {}
    middle = _mean([marks[name] for name in LANDMARKS if name in marks])
    for name in LANDMARKS:
        if name in marks:
            x, y = marks[name]
            away = (x - middle[0], y - middle[1])
            if name == "breastbone":
                away = (away[0], 0.0)  # in front of the chest, clear of the lines
            shape = _ring(name, (x, y), size_px)
            labels[name] = Label((tr(LANDMARK_TITLES[name]),), (x, y), away, shape, round=True)
    if outline:
        title = tr(SHORT_REFERENCES[reference])
        labels["reference"] = reference_label((title,), outline, size, middle[1])
    for name, title in SHORT_LANDMARKS.items():
        if name in marks:
            shape = _ring(name, marks[name], size_px)
            away = _HELPERS_AWAY[name]
            labels[name] = Label((tr(title),), marks[name], away, shape, round=True)
    return labels


def _ring(name: str, at: Point, size_px: float) -> Box:
    """The box round a mark's ring."""
    x, y = at
    radius = mark_radius(name, size_px) + size_px / 8
    return (x - radius, y - radius, x + radius, y + radius)


def width_labels(
    lines: dict[str, list[Point]], widths: Sequence[WidthResult], unit: str, size_px: float
) -> dict[str, Label]:
    """The widths seen from the front, each below the middle of its line."""
    labels = {}
    for width in widths:
        if width.name in lines:
            (left, low), (right, high) = lines[width.name]
            x, y = 0.5 * (left + right), 0.5 * (low + high)
            spread = format_length(0.5 * (width.high_mm - width.low_mm), unit)
            text = f"{format_length(width.mm, unit)} ± {spread}"
            half = size_px / 8
            shape = (x - half, y - half, x + half, y + half)
            labels[width.name] = Label(
                (tr(FACT_TITLES[width.name]), text), (x, y), (0.0, 1.0), shape
            )
    return labels


def reference_label(
    lines: tuple[str, ...], outline: list[Point], size: tuple[int, int], dog_y: float
) -> Label:
    """Above or below the reference: away from the dog, unless the picture ends too soon."""
    xs, ys = [x for x, _ in outline], [y for _, y in outline]
    shape = (min(xs), min(ys), max(xs), max(ys))
    height = (len(lines) + 0.8) * line_height(size[0] / FONT_SHARE)
    upper = (shape[1] + shape[3]) / 2 < dog_y
    above = shape[1] > height if upper else size[1] - shape[3] < height
    anchor = ((shape[0] + shape[2]) / 2, shape[1] if above else shape[3])
    return Label(lines, anchor, (0.0, -1.0 if above else 1.0), shape)


def draw_labels(
    draw: ImageDraw.ImageDraw,
    size: tuple[int, int],
    labels: dict[str, Label],
    bar: Box | None,
    lines: dict[str, list[Point]],
    marks: dict[str, Point],
    outline: list[Point],
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    size_px: float,
) -> None:
    """Put each name where it hides least, on a ground, with a leader to what it names."""
    pad = size_px * 0.22
    wanted = []
    for key, label in labels.items():
        width, height = text_size(draw, label.lines, font, size_px)
        outer = (width + 2 * pad, height + 2 * pad)
        wanted.append(Sought(key, label.anchor, outer, label.away))
    gap = size_px * 0.25
    field = (gap, gap, size[0] - gap, size[1] - gap)
    boxes = place(wanted, field, [bar] if bar else [], _ink(lines, marks, outline, size_px), gap)
    for key, box in boxes.items():
        _leader(draw, labels[key], box, size_px)
    for key, box in boxes.items():
        _box(draw, labels[key], box, pad, font, size_px)


def _ink(
    lines: dict[str, list[Point]], marks: dict[str, Point], outline: list[Point], size_px: float
) -> NDArray[np.float64]:
    """What labels should not cover: marks above all, then lines, the reference, the dog."""
    points = [(x, y, 60.0) for x, y in marks.values()]
    for name, (x, y) in marks.items():
        radius = mark_radius(name, size_px) + size_px / 8
        turns = np.linspace(0, 2 * np.pi, 12, endpoint=False)
        points += [(x + radius * np.cos(a), y + radius * np.sin(a), 6.0) for a in turns]
    shapes = [line for span, line in lines.items() if span != "full_length"]
    if len(outline) >= 2:
        shapes.append([*outline, outline[0]])
    for shape in shapes:
        for (x0, y0), (x1, y1) in pairwise(shape):
            count = max(2, int(hypot(x1 - x0, y1 - y0) / (size_px / 2)))
            for t in np.linspace(0, 1, count):
                points.append((x0 + t * (x1 - x0), y0 + t * (y1 - y0), 3.0))
    for area, weight in ((outline, 3.0), (_head(marks), 0.7), ([*marks.values()], 0.25)):
        if len(area) < 3:
            continue
        low, high = np.min(area, axis=0), np.max(area, axis=0)
        for x in np.arange(low[0], high[0], size_px):
            points += [(x, y, weight) for y in np.arange(low[1], high[1], size_px)]
    return np.array(points, dtype=np.float64).reshape(-1, 3)


def _head(marks: dict[str, Point]) -> list[Point]:
    """Corners of where the dog's head must be, px: above the breastbone; empty if not known."""
    if not {"breastbone", "shoulder_top", "tail_base"} <= marks.keys():
        return []
    (x, low), (withers_x, withers) = marks["breastbone"], marks["shoulder_top"]
    trunk = marks["tail_base"][0] - x
    top = withers - 0.35 * abs(trunk)
    front = x - 0.3 * trunk
    return [(front, top), (front, (low + withers) / 2), (withers_x, withers), (withers_x, top)]


def _leader(draw: ImageDraw.ImageDraw, label: Label, box: Box, size_px: float) -> None:
    near, end = leader_of(label, box)
    if hypot(near[0] - end[0], near[1] - end[1]) < size_px * 0.1:
        return  # they touch
    draw.line([near, end], fill=DARK, width=max(3, round(size_px / 6)))
    draw.line([near, end], fill=WHITE, width=max(1, round(size_px / 14)))


def leader_of(label: Label, box: Box) -> tuple[Point, Point]:
    """From the edge of a label's box to the edge of what it names, px."""
    if label.round:
        near = nearest(label.anchor, box)
        dx, dy = near[0] - label.anchor[0], near[1] - label.anchor[1]
        away = hypot(dx, dy) or 1.0
        radius = min((label.shape[2] - label.shape[0]) / 2, away)
        return near, (label.anchor[0] + radius * dx / away, label.anchor[1] + radius * dy / away)
    middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    end = nearest(middle, label.shape)
    return nearest(end, box), end


def _box(
    draw: ImageDraw.ImageDraw,
    label: Label,
    box: Box,
    pad: float,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    size_px: float,
) -> None:
    edge = max(2, round(size_px / 16))
    draw.rounded_rectangle(box, radius=size_px * 0.2, fill=DARK, outline=WHITE, width=edge)
    for number, line in enumerate(label.lines):
        at = (box[0] + pad, box[1] + pad * 0.6 + number * line_height(size_px))
        draw.text(at, line, fill=WHITE, font=font)


def scale_bar(
    draw: ImageDraw.ImageDraw,
    size: tuple[int, int],
    result: PhotoResult,
    scale: float,
    unit: str,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    size_px: float,
    marks: dict[str, Point],
    outline: list[Point],
) -> Box | None:
    """A bar of 10 cm or 4 in in the dog's plane, in the emptiest corner."""
    mm = 101.6 if unit == "in" else 100.0
    length = mm * result.px_per_mm * scale
    length_text = format_length(mm, unit) if unit == "in" else "10 cm"
    text = tr("{length} on the dog", length=length_text)
    pad = size_px * 0.3
    text_width, text_height = text_size(draw, (text,), font, size_px)
    width = max(length, text_width) + 2 * pad
    height = text_height + size_px * 0.7 + pad
    if not (0 < length < size[0] - 4 * pad and height < size[1] / 3):
        return None
    points = np.array([*marks.values(), *outline, *_head(marks)], dtype=float).reshape(-1, 2)

    def room(box: Box) -> float:
        dx = np.maximum(np.maximum(box[0] - points[:, 0], points[:, 0] - box[2]), 0)
        dy = np.maximum(np.maximum(box[1] - points[:, 1], points[:, 1] - box[3]), 0)
        return float(np.hypot(dx, dy).min()) if len(points) else 0.0

    corners = [
        (x, y, x + width, y + height)
        for y in (size[1] - height - pad, pad)
        for x in (pad, size[0] - width - pad)
    ]
    box = max(corners, key=room)
    draw.rounded_rectangle(box, radius=size_px * 0.2, fill=DARK)
    draw.text((box[0] + pad, box[1] + pad * 0.4), text, fill=WHITE, font=font)
    y = box[3] - pad - size_px * 0.15
    x = box[0] + (width - length) / 2
    tick = size_px * 0.22
    line = max(2, round(size_px / 10))
    draw.line([(x, y), (x + length, y)], fill=WHITE, width=line)
    for end in (x, x + length):
        draw.line([(end, y - tick), (end, y + tick)], fill=WHITE, width=line)
    return box


def _mean(points: Sequence[Point]) -> Point:
    if not points:
        return 0.0, 0.0
    return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)
