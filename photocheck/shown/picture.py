"""The annotated picture: the verdict, what was marked, and what follows, on the photo itself.

Made to be read on a phone: large labels on solid ground, colours that colour-blind
people can tell apart, and every colour's meaning also in words.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, floor, hypot
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.lengths import format_length
from photocheck.case.model import Marking, Point
from photocheck.errors import PhotoError
from photocheck.files import replacing
from photocheck.judge.wording import interval_text
from photocheck.report.model import PhotoResult, Report, SpanResult
from photocheck.scale.catalogue import REFERENCES
from photocheck.shown.labels import Box, Wanted, nearest, place
from photocheck.shown.lines import pieces
from photocheck.speech import capital_first, tr
from photocheck.words import (
    LANDMARK_TITLES,
    LANDMARKS,
    SPAN_ENDS,
    SPAN_TITLES,
    VERDICT_TITLES,
)

if TYPE_CHECKING:
    from PIL import Image, ImageDraw, ImageFont

    from photocheck.locating import Located

Colour = tuple[int, int, int]

MAX_WIDTH: Final = 1600
"""Widest picture given out, px."""

MIN_WIDTH: Final = 1000
"""Narrowest, px: smaller photos are enlarged, for the letters' sake."""

MAX_ENLARGED: Final = 2.0
"""A photo is not cut down so far that it must be enlarged more than this."""

ROOM: Final = 0.5
"""Room kept around the dog's marks for its ears and tail, as a share of their longer extent."""

ROOM_AHEAD: Final = 0.65
"""The same in front of the breastbone, for a long nose held out."""

ROOM_BELOW: Final = 0.16
"""The same below the marked feet, where nothing of the dog is left to show."""

ROOM_FOR_LEGS: Final = 0.8
"""The same below the trunk when no foot is marked."""

ROOM_REFERENCE: Final = 0.2
"""Room around the reference, for its name, as a share of the longer extent of the dog's marks."""

TALLEST: Final = 3 / 4
"""Smallest width over height a photo is cut to."""

FLATTEST: Final = 3 / 2
"""Largest width over height a photo is cut to."""

FONT_SHARE: Final = 32
"""The picture's width over the font size: on a phone held upright, about 2 mm high."""

DARK: Final[Colour] = (17, 17, 17)
WHITE: Final[Colour] = (255, 255, 255)

# Okabe and Ito's palette, as printed by Wong, Nature Methods 8, 441 (2011).
SPAN_COLOURS: Final = MappingProxyType(
    {
        "half_neck": (240, 228, 66),
        "front_length": (86, 180, 233),
        "rear_length": (230, 159, 0),
        "full_length": (204, 121, 167),
    }
)
REFERENCE_COLOUR: Final[Colour] = (255, 255, 255)
RULE: Final[Colour] = (110, 110, 110)
"""Between rows."""

SHORT_REFERENCES: Final = MappingProxyType(
    {
        "marker_sheet": "marker sheet",
        "id_card": "card",
        "a4": "A4 sheet",
        "letter": "letter sheet",
        "two_points": "known distance",
        "disc": "disc",
        "ball": "ball",
    }
)
"""Titles of the reference objects, cut to what has room beside them."""

BANNER_COLOURS: Final = MappingProxyType(
    {
        "agrees": (0, 92, 69),
        "measure_again": (160, 62, 0),
        "retake": (0, 88, 140),
        "cannot_tell": (70, 70, 70),
    }
)
"""Grounds for white text: the palette's green, vermilion and blue, darkened."""


def contrast(one: Colour, other: Colour) -> float:
    """Contrast ratio of two sRGB colours, 1 to 21 (WCAG 2.2, "contrast ratio")."""
    bright, dim = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def _luminance(colour: Colour) -> float:
    linear = [
        c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4
        for c in colour
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


Frame = tuple[int, int, int, int]
"""Left, top, right, bottom of a part of the photo, px; the right and bottom ones excluded."""


@dataclass(frozen=True)
class _Label:
    lines: tuple[str, ...]
    anchor: Point
    away: tuple[float, float]
    shape: Box
    """What it names, px: leaders end at its edge."""


@dataclass(frozen=True)
class _View:
    """A part of the photo at the size it is given out."""

    photo: Image.Image
    frame: Frame
    scale: float
    size_px: float
    """Of the letters."""

    def at(self, xy: Point) -> Point:
        """Where a point of the whole photo lies."""
        # Pixel centres lie at whole numbers before and after.
        left, top = self.frame[:2]
        return (
            (xy[0] - left + 0.5) * self.scale - 0.5,
            (xy[1] - top + 0.5) * self.scale - 0.5,
        )


def annotate(
    photo_rgb: NDArray[np.uint8], report: Report, index: int = 0, *, bare: bool = False
) -> NDArray[np.uint8]:
    """Draw a report onto one of its photos.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
        The upright photo the report was made from.
    report : Report
    index : int
        Which of the report's photos this is.
    bare : bool
        Leave out the banner and the rows of lengths.

    Returns
    -------
    (h, w, 3) uint8
        `MIN_WIDTH` to `MAX_WIDTH` wide; a banner with the verdict above the part of
        the photo with the dog and the reference, and below it the lengths, one a row.
    """
    from PIL import ImageDraw, ImageFont

    result = report.photos[index]
    markings = report.case.photos[index].markings
    frame = _frame(photo_rgb.shape[1], photo_rgb.shape[0], markings, result.reference_px)
    view = _view(photo_rgb, frame)
    photo, size_px = view.photo, view.size_px
    font = ImageFont.load_default(size_px)
    marks = {name: view.at(xy) for name, xy in _mean_marks(markings).items()}
    lines = _lines(marks, markings, view)
    outline = [view.at(xy) for xy in result.reference_px]
    flagged = {span.span for span in report.spans if _is_flagged(span)}

    every = [view.at(xy) for m in markings for xy in m.marks.values()] if markings[1:] else []
    of_fours = _markers(result.reference)
    stance = [[view.at(xy) for xy in line] for f in result.stance[:1] for line in f.lines_px]
    photo = _draw_lines(photo, lines, flagged, marks, every, outline, of_fours, stance, size_px)
    draw = ImageDraw.Draw(photo)
    labels = _labels(marks, outline, result.reference, photo.size, size_px)
    bar = _scale_bar(
        draw, photo.size, result, view.scale, report.case.unit, font, size_px, marks, outline
    )
    _draw_labels(draw, photo.size, labels, bar, lines, marks, outline, font, size_px)
    if bare:
        return np.asarray(photo)
    said = [finding.sentence for finding in result.stance[:1]]
    return _stack(photo, report, said, size_px)


def _frame(
    width: int, height: int, markings: Sequence[Marking], reference: Sequence[Point]
) -> Frame:
    """The part of the photo worth showing: the dog with its head and tail, and the reference."""

    def box(points: Sequence[Point]) -> Box:
        # What lies outside the photo cannot be shown; the photo's edge towards it can.
        xs = [min(max(x, 0.0), float(width)) for x, _ in points]
        ys = [min(max(y, 0.0), float(height)) for _, y in points]
        return min(xs), min(ys), max(xs), max(ys)

    dog = [xy for m in markings for xy in m.marks.values()]
    dog += [xy for m in markings for line in m.bends.values() for xy in line]
    left, top, right, bottom = box(dog) if dog else (0.0, 0.0, 0.0, 0.0)
    extent = max(right - left, bottom - top)
    if extent == 0:
        return 0, 0, width, height  # nothing says where the dog is
    feet = any(name in m.marks for m in markings for name in ("front_foot", "rear_foot"))
    below = ROOM_BELOW if feet else ROOM_FOR_LEGS
    means = _mean_marks(markings)
    before, after = ROOM, ROOM
    if "breastbone" in means and "tail_base" in means:
        faces_left = means["breastbone"][0] < means["tail_base"][0]
        before, after = (ROOM_AHEAD, ROOM) if faces_left else (ROOM, ROOM_AHEAD)
    left, right = left - before * extent, right + after * extent
    top, bottom = top - ROOM * extent, bottom + below * extent
    if reference:
        held, rim = box(reference), ROOM_REFERENCE * extent
        left, top = min(left, held[0] - rim), min(top, held[1] - rim)
        right, bottom = max(right, held[2] + rim), max(bottom, held[3] + rim)
    left, right = max(left, 0.0), min(right, float(width))
    top, bottom = max(top, 0.0), min(bottom, float(height))

    wide = max(right - left, MIN_WIDTH / MAX_ENLARGED, TALLEST * (bottom - top))
    left, right = _widened(left, right, wide, width)
    top, bottom = _widened(top, bottom, (right - left) / FLATTEST, height)
    return floor(left), floor(top), min(ceil(right), width), min(ceil(bottom), height)


def _widened(low: float, high: float, length: float, limit: int) -> tuple[float, float]:
    """An interval grown to a length, evenly as far as 0 and the limit let it."""
    length = min(max(length, high - low), float(limit))
    low = min(max((low + high - length) / 2, 0.0), limit - length)
    return low, low + length


def _is_flagged(span: SpanResult) -> bool:
    return span.verdict not in ("", "agrees")


def _markers(reference: str) -> bool:
    return REFERENCES[reference].form == "markers"


def _mean_marks(markings: Sequence[Marking]) -> dict[str, Point]:
    names = dict.fromkeys(name for marking in markings for name in marking.marks)
    means = {}
    for name in names:
        placed = [m.marks[name] for m in markings if name in m.marks]
        means[name] = (
            sum(x for x, _ in placed) / len(placed),
            sum(y for _, y in placed) / len(placed),
        )
    return means


def _lines(
    marks: dict[str, Point], markings: Sequence[Marking], view: _View
) -> dict[str, list[Point]]:
    """The harness lines: end, bend points, end; the full length is front and rear."""
    lines = {}
    for span, (start, end) in SPAN_ENDS.items():
        if span == "full_length" or start not in marks or end not in marks:
            continue
        # The bends of several people cannot be averaged: those of the first who gave any.
        given = next((m.bends[span] for m in markings if m.bends.get(span)), ())
        lines[span] = [marks[start], *map(view.at, given), marks[end]]
    if "front_length" in lines and "rear_length" in lines:
        lines["full_length"] = lines["front_length"] + lines["rear_length"][1:]
    return lines


def _line_width(span: str, flagged: bool) -> float:
    """In eighths of the letters' size."""
    # The full length is the same line as front and rear: a broad band beneath them.
    if span == "full_length":
        return 7.0 if flagged else 5.4
    return 2.6 if flagged else 1.7


def _stroke_span(
    draw: ImageDraw.ImageDraw, line: Sequence[Point], span: str, flagged: bool, thin: float
) -> None:
    """A span's line on a dark rim; a flagged one thicker and broken by white, px throughout."""
    width = _line_width(span, flagged) * thin
    _stroke(draw, line, DARK, width + 1.1 * thin)
    _stroke(draw, line, SPAN_COLOURS[span], width)
    if flagged:
        # Longer dashes in the band, so that it can be told from what lies on it.
        for piece in _dashes(line, (9.0 if span == "full_length" else 4.0) * thin):
            _stroke(draw, piece, DARK, width)
            _stroke(draw, _shortened(piece, 0.6 * thin), WHITE, width)


def _stroke(draw: ImageDraw.ImageDraw, line: Sequence[Point], colour: Colour, width: float) -> None:
    draw.line(list(line), fill=colour, width=max(1, round(width)), joint="curve")


def _dashes(line: Sequence[Point], length: float) -> list[list[Point]]:
    """Every second piece of a line cut into pieces of equal length, colour at both ends."""
    whole = sum(hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(line))
    if whole == 0:
        return []
    count = max(3, 2 * round((whole / length - 1) / 2) + 1)
    step = whole / count
    return [_part(line, k * step, (k + 1) * step) for k in range(1, count, 2)]


def _shortened(line: Sequence[Point], by: float) -> list[Point]:
    whole = sum(hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(line))
    return _part(line, min(by, whole / 2), max(whole - by, whole / 2))


def _part(line: Sequence[Point], start: float, end: float) -> list[Point]:
    """The part of a line between two ways along it."""
    part: list[Point] = []
    done = 0.0
    for a, b in pairwise(line):
        piece = hypot(b[0] - a[0], b[1] - a[1])
        if piece > 0 and done <= end and done + piece >= start:
            for way in (max(start - done, 0.0), min(end - done, piece)):
                t = way / piece
                part.append((a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])))
        done += piece
    return part


def _draw_lines(
    photo: Image.Image,
    lines: dict[str, list[Point]],
    flagged: set[str],
    marks: dict[str, Point],
    every: list[Point],
    outline: list[Point],
    of_fours: bool,
    stance: list[list[Point]],
    size_px: float,
) -> Image.Image:
    """Draw lines and marks; `of_fours` when the outline is several markers' corners.

    `stance` are the lines that show why the dog seems not to stand square.
    """
    from PIL import Image, ImageDraw

    fine = 2  # drawn at twice the size and reduced, for smooth edges
    layer = Image.new("RGBA", (photo.width * fine, photo.height * fine), (0, 0, 0, 0))
    draw = ImageDraw.Draw(layer)
    thin = size_px / 8 * fine

    def finer(points: Sequence[Point]) -> list[Point]:
        return [((x + 0.5) * fine, (y + 0.5) * fine) for x, y in points]

    shapes = [outline[k : k + 4] for k in range(0, len(outline), 4)] if of_fours else [outline]
    for shape in shapes:
        if len(shape) < 2:
            continue
        closed = finer(shape if len(shape) == 2 else [*shape, shape[0]])
        width = 1.1 if len(shapes) == 1 else 0.6
        _stroke(draw, closed, DARK, 2 * width * thin)
        _stroke(draw, closed, REFERENCE_COLOUR, width * thin)
    for line in stance:
        # Fine white dashes on a dark rim: evidence, not one of the tape's ways.
        if len(line) > 1:
            _stroke(draw, finer(line), DARK, 1.2 * thin)
            for piece in _dashes(finer(line), 2.5 * thin):
                _stroke(draw, piece, WHITE, 0.7 * thin)
    for span in ("full_length", "half_neck", "front_length", "rear_length"):
        if span in lines:
            _stroke_span(draw, finer(lines[span]), span, span in flagged, thin)

    def ring(
        xy: Point, radius: float, colour: Colour | None, width: float, inside: bool = False
    ) -> None:
        x, y = (xy[0] + 0.5) * fine, (xy[1] + 0.5) * fine
        box = (x - radius, y - radius, x + radius, y + radius)
        clear = (0, 0, 0, 0) if inside else None
        draw.ellipse(box, fill=clear, outline=colour, width=max(1, round(width)))

    radii = {name: _radius(name, size_px) * fine for name in marks}
    for name, xy in marks.items():
        # Open in the middle, so that the pixel marked can be seen: lines end at the ring.
        ring(xy, radii[name] + thin * 0.5, DARK, 2.0 * thin, inside=True)
    for xy in every:
        ring(xy, thin * 1.1, DARK, thin * 1.1)
        ring(xy, thin * 0.7, WHITE, thin * 0.7)
    for name, xy in marks.items():
        ring(xy, radii[name], WHITE, 1.0 * thin)
    layer = layer.resize(photo.size, Image.Resampling.BOX)
    return Image.alpha_composite(photo.convert("RGBA"), layer).convert("RGB")


def _radius(name: str, size_px: float) -> float:
    """Of a mark's ring, px: the four that every check needs stand out."""
    return size_px * (0.40 if name in LANDMARKS else 0.30)


def _labels(
    marks: dict[str, Point],
    outline: list[Point],
    reference: str,
    size: tuple[int, int],
    size_px: float,
) -> dict[str, _Label]:
    """The names of the four marks and of the reference: the rest of the photo stays free."""
    labels: dict[str, _Label] = {}
    middle = _mean([marks[name] for name in LANDMARKS if name in marks])
    for name in LANDMARKS:
        if name in marks:
            x, y = marks[name]
            away = (x - middle[0], y - middle[1])
            if name == "breastbone":
                away = (away[0], 0.0)  # in front of the chest, clear of the lines
            radius = _radius(name, size_px) + size_px / 8
            shape = (x - radius, y - radius, x + radius, y + radius)
            labels[name] = _Label((tr(LANDMARK_TITLES[name]),), (x, y), away, shape)
    if outline:
        title = SHORT_REFERENCES[reference]
        labels["reference"] = _reference_label((title,), outline, size, middle[1])
    return labels


def _reference_label(
    lines: tuple[str, ...], outline: list[Point], size: tuple[int, int], dog_y: float
) -> _Label:
    """Above or below the reference: away from the dog, unless the picture ends too soon."""
    xs, ys = [x for x, _ in outline], [y for _, y in outline]
    shape = (min(xs), min(ys), max(xs), max(ys))
    height = (len(lines) + 0.8) * _line_height(size[0] / FONT_SHARE)
    upper = (shape[1] + shape[3]) / 2 < dog_y
    above = shape[1] > height if upper else size[1] - shape[3] < height
    anchor = ((shape[0] + shape[2]) / 2, shape[1] if above else shape[3])
    return _Label(lines, anchor, (0.0, -1.0 if above else 1.0), shape)


def _draw_labels(
    draw: ImageDraw.ImageDraw,
    size: tuple[int, int],
    labels: dict[str, _Label],
    bar: Box | None,
    lines: dict[str, list[Point]],
    marks: dict[str, Point],
    outline: list[Point],
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    size_px: float,
) -> None:
    pad = size_px * 0.22
    wanted = []
    for key, label in labels.items():
        width, height = _text_size(draw, label.lines, font, size_px)
        outer = (width + 2 * pad, height + 2 * pad)
        wanted.append(Wanted(key, label.anchor, outer, label.away))
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
        radius = _radius(name, size_px) + size_px / 8
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


def _leader(draw: ImageDraw.ImageDraw, label: _Label, box: Box, size_px: float) -> None:
    middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    end = nearest(middle, label.shape)
    near = nearest(end, box)
    if hypot(near[0] - end[0], near[1] - end[1]) < size_px * 0.4:
        return
    draw.line([near, end], fill=DARK, width=max(3, round(size_px / 6)))
    draw.line([near, end], fill=WHITE, width=max(1, round(size_px / 14)))


def _box(
    draw: ImageDraw.ImageDraw,
    label: _Label,
    box: Box,
    pad: float,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    size_px: float,
) -> None:
    edge = max(2, round(size_px / 16))
    draw.rounded_rectangle(box, radius=size_px * 0.2, fill=DARK, outline=WHITE, width=edge)
    for number, line in enumerate(label.lines):
        at = (box[0] + pad, box[1] + pad * 0.6 + number * _line_height(size_px))
        draw.text(at, line, fill=WHITE, font=font)


def _line_height(size_px: float) -> float:
    return size_px * 1.15


def _text_size(
    draw: ImageDraw.ImageDraw,
    lines: Sequence[str],
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    size_px: float,
) -> tuple[float, float]:
    width = max(draw.textlength(line, font=font) for line in lines)
    return float(width), len(lines) * _line_height(size_px)


def _scale_bar(
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
    text = f"{format_length(mm, unit) if unit == 'in' else '10 cm'} on the dog"
    pad = size_px * 0.3
    text_width, text_height = _text_size(draw, (text,), font, size_px)
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


def _stack(
    photo: Image.Image, report: Report, said: Sequence[str], size_px: float
) -> NDArray[np.uint8]:
    """The banner above the photo with what is said of it, the lengths below it."""
    from PIL import Image, ImageDraw, ImageFont

    font = ImageFont.load_default(size_px)
    large = ImageFont.load_default(size_px * 1.35)
    measure = ImageDraw.Draw(photo)
    pad = size_px * 0.5
    room = photo.width - 2 * pad
    title = tr(VERDICT_TITLES[report.verdict])
    first, _, rest = report.headline.partition(": ")
    if first.lower() != title:
        # Most headlines begin with the verdict; this one says it in other words.
        first, rest = capital_first(title), report.headline
    titles = _wrapped(measure, first, large, room)
    texts = [
        line
        for text in (capital_first(rest), *said)
        if text
        for line in _wrapped(measure, text, font, room)
    ]
    top = round(
        2 * pad + len(titles) * _line_height(size_px * 1.35) + len(texts) * _line_height(size_px)
    )
    strip = _strip(photo.width, report, font, size_px)
    whole = Image.new("RGB", (photo.width, top + photo.height + strip.height), DARK)
    draw = ImageDraw.Draw(whole)
    draw.rectangle((0, 0, photo.width, top - 1), fill=BANNER_COLOURS[report.verdict])
    y = pad * 0.8
    for line in titles:
        draw.text((pad, y), line, fill=WHITE, font=large)
        y += _line_height(size_px * 1.35)
    for line in texts:
        draw.text((pad, y), line, fill=WHITE, font=font)
        y += _line_height(size_px)
    whole.paste(photo, (0, top))
    whole.paste(strip, (0, top + photo.height))
    return np.asarray(whole)


@dataclass(frozen=True)
class _Row:
    """One length in the strip: its cells hold one text line each, or several."""

    span: str
    flagged: bool
    cells: tuple[tuple[str, ...], ...]

    @property
    def deep(self) -> int:
        return max(map(len, self.cells))


def _strip(
    width: int,
    report: Report,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    size_px: float,
) -> Image.Image:
    """The lengths below the photo, a row each; empty when there are none."""
    from PIL import Image, ImageDraw

    if not report.spans:
        return Image.new("RGB", (width, 0))
    measure = ImageDraw.Draw(Image.new("RGB", (1, 1)))
    pad = size_px * 0.5
    swatch = 2.4 * size_px
    room = width - 3 * pad - swatch
    head, rows, columns = _fitting(measure, report, font, room, size_px)
    lefts = [2 * pad + swatch + sum(columns[:k]) for k in range(len(columns))]

    line, air = _line_height(size_px), size_px * 0.35
    height = line + 3 * air + sum(row.deep * line + 2 * air for row in rows)
    strip = Image.new("RGB", (width, ceil(height)), DARK)
    draw = ImageDraw.Draw(strip)
    for left, text in zip(lefts, head, strict=True):
        if text:
            draw.text((left, air * 0.7), text, fill=WHITE, font=font)
    y = line + 2 * air
    for row in rows:
        below = y + row.deep * line + 2 * air
        # What needs attention is dark on white among rows that are light on dark.
        ground, ink = (WHITE, DARK) if row.flagged else (DARK, WHITE)
        draw.rectangle((0, round(y), width, round(below) - 1), fill=ground)
        draw.line([(0, round(y)), (width, round(y))], fill=RULE, width=max(1, round(size_px / 20)))
        middle = y + air + line / 2
        ends = [(pad, middle), (pad + swatch, middle)]
        _stroke_span(draw, ends, row.span, row.flagged, size_px / 6)
        for left, cell in zip(lefts, row.cells, strict=True):
            for number, text in enumerate(filter(None, cell)):
                draw.text((left, y + air * 0.7 + number * line), text, fill=ink, font=font)
        y = below
    return strip


def _fitting(
    measure: ImageDraw.ImageDraw,
    report: Report,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    room: float,
    size_px: float,
) -> tuple[tuple[str, ...], list[_Row], list[float]]:
    """Headings, rows and column widths: one line a row if that fits, else two, else more."""
    between = 0.8 * size_px

    def widths(head: tuple[str, ...], rows: list[_Row]) -> list[float]:
        texts = [
            [name, *(text for row in rows for text in row.cells[k])] for k, name in enumerate(head)
        ]
        return [max(measure.textlength(text, font=font) for text in cell) for cell in texts]

    def spread(columns: list[float]) -> list[float]:
        # Room left over goes between the columns, but not so much that the eye loses the row.
        left = (room - sum(columns)) / (len(columns) - 1)
        return [column + min(max(left, between), 3 * size_px) for column in columns]

    unit = report.case.unit
    said = [(span, _said(span, unit)) for span in report.spans]
    head: tuple[str, ...] = ("length", "tape", "photo", "95 % interval", "")
    rows = [
        _Row(span.span, _is_flagged(span), tuple((text,) for text in texts)) for span, texts in said
    ]
    columns = widths(head, rows)
    if not columns[-1]:
        head, columns = head[:-1], columns[:-1]
        rows = [replace(row, cells=row.cells[:-1]) for row in rows]
    if sum(columns) + between * (len(columns) - 1) <= room:
        return head, rows, spread(columns)

    def stacked(wrap: float) -> list[_Row]:
        return [
            _Row(
                span.span,
                _is_flagged(span),
                (
                    (title, *(_wrapped(measure, verdict, font, wrap) if verdict else ())),
                    (tape,),
                    (photo, interval),
                ),
            )
            for span, (title, tape, photo, interval, verdict) in said
        ]

    head = ("length", "tape", "photo, 95 % interval")
    rows = stacked(room)
    columns = widths(head, rows)
    spare = room - 2 * between - columns[1] - columns[2]
    if columns[0] > spare:
        # The verdict's words make way for the numbers.
        rows = stacked(spare)
        columns = widths(head, rows)
    return head, rows, spread(columns)


def _said(span: SpanResult, unit: str) -> tuple[str, str, str, str, str]:
    """Title, tape, photo, interval, and the verdict when it is not "agrees"."""
    tape = "not given" if span.reading_mm is None else format_length(span.reading_mm, unit)
    return (
        tr(SPAN_TITLES[span.span]),
        tape,
        format_length(span.photo_mm, unit),
        interval_text(span.low_mm, span.high_mm, unit),
        tr(VERDICT_TITLES[span.verdict]) if _is_flagged(span) else "",
    )


def _wrapped(
    draw: ImageDraw.ImageDraw,
    text: str,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    room: float,
) -> list[str]:
    lines: list[str] = []
    for word in pieces(text):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and draw.textlength(longer, font=font) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines or [""]


def _mean(points: Sequence[Point]) -> Point:
    if not points:
        return 0.0, 0.0
    return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)


def draw_located(photo_rgb: NDArray[np.uint8], found: Located) -> NDArray[np.uint8]:
    """Draw what was seen of the reference onto the photo.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
    found : Located

    Returns
    -------
    (h, w, 3) uint8
        `MIN_WIDTH` to `MAX_WIDTH` wide.
    """
    from PIL import ImageDraw, ImageFont

    height, width = photo_rgb.shape[:2]
    view = _view(photo_rgb, (0, 0, width, height))
    size_px = view.size_px
    outline = [view.at(xy) for xy in found.points_px]
    of_fours = _markers(found.reference)
    photo = _draw_lines(view.photo, {}, set(), {}, [], outline, of_fours, [], size_px)
    font = ImageFont.load_default(size_px)
    text = (
        REFERENCES[found.reference].title,
        f"{found.distance_mm / 1000:.2f} m away, {10 * found.px_per_mm:.1f} px/cm",
    )
    labels = {"reference": _reference_label(text, outline, photo.size, 0.0)}
    draw = ImageDraw.Draw(photo)
    _draw_labels(draw, photo.size, labels, None, {}, {}, outline, font, size_px)
    return np.asarray(photo)


def _view(photo_rgb: NDArray[np.uint8], frame: Frame) -> _View:
    """A part of the photo at the width given out."""
    import cv2
    from PIL import Image

    left, top, right, bottom = frame
    part = photo_rgb[top:bottom, left:right]
    height, given = part.shape[:2]
    width = min(max(given, MIN_WIDTH), MAX_WIDTH)
    scale = width / given
    if width != given:
        # Both keep the picture's outer edges in place, as `_View.at` has it.
        way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        size = (width, max(1, round(height * scale)))
        part = cv2.resize(part, size, interpolation=way).astype(np.uint8, copy=False)
    photo = Image.fromarray(np.ascontiguousarray(part))
    return _View(photo, frame, scale, width / FONT_SHARE)


def picture_kind(path: str | os.PathLike[str]) -> str:
    """``"JPEG"`` or ``"PNG"`` by the ending of the name.

    Raises
    ------
    PhotoError
        For another ending.
    """
    suffix = Path(path).suffix.lower()
    kind = {".jpg": "JPEG", ".jpeg": "JPEG", ".png": "PNG"}.get(suffix)
    if kind is None:
        raise PhotoError(
            f"a picture cannot be written as '{suffix}'" if suffix else "the name has no ending",
            where=os.fspath(path),
            do="End the name in .jpg or .png",
        )
    return kind


def write_picture(path: str | os.PathLike[str], rgb: NDArray[np.uint8]) -> None:
    """Write a picture, JPEG or PNG by the name's ending, whole or not at all.

    Parameters
    ----------
    path : path
    rgb : (H, W, 3) uint8

    Raises
    ------
    PhotoError
        For another ending, or when the file cannot be written.
    """
    from PIL import Image

    kind = picture_kind(path)
    with replacing(path) as target:
        picture = Image.fromarray(rgb)
        if kind == "JPEG":
            picture.save(target, "JPEG", quality=88)
        else:
            picture.save(target, "PNG")
