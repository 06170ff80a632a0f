"""The annotated picture: the verdict, what was marked, and what follows, on the photo itself.

Made to be read on a phone: large labels on solid ground, colours that colour-blind
people can tell apart, and every colour's meaning also in words.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot, inf
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case import Marking, Point
from photocheck.desk.labels import Box, Wanted, nearest, place
from photocheck.desk.lines import pieces
from photocheck.errors import PhotoError
from photocheck.files import replacing
from photocheck.lengths import format_length
from photocheck.report import PhotoResult, Report, SpanResult
from photocheck.scale.catalogue import REFERENCES
from photocheck.words import (
    HELPER_LANDMARKS,
    LANDMARK_TITLES,
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

FONT_SHARE: Final = 36
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


@dataclass(frozen=True)
class _Label:
    lines: tuple[str, ...]
    colour: Colour
    anchor: Point
    away: tuple[float, float]
    flagged: bool = False


def annotate(photo_rgb: NDArray[np.uint8], report: Report, index: int = 0) -> NDArray[np.uint8]:
    """Draw a report onto one of its photos.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
        The upright photo the report was made from.
    report : Report
    index : int
        Which of the report's photos this is.

    Returns
    -------
    (h, w, 3) uint8
        `MIN_WIDTH` to `MAX_WIDTH` wide; a banner with the verdict above the photo,
        and below it the lengths that found no room on it.
    """
    from PIL import ImageDraw, ImageFont

    result = report.photos[index]
    unit = report.case.unit
    photo, scale, size_px = _fitted(photo_rgb)
    font = ImageFont.load_default(size_px)
    markings = report.case.photos[index].markings
    marks = {name: _scaled(xy, scale) for name, xy in _mean_marks(markings).items()}
    lines = _lines(marks, markings[0], scale)
    outline = [_scaled(xy, scale) for xy in result.reference_px]

    every = _every_mark(markings, scale)
    of_fours = _markers(result.reference)
    photo = _draw_lines(photo, lines, marks, every, outline, of_fours, size_px)
    draw = ImageDraw.Draw(photo)
    labels = _labels(report, marks, lines, outline, result)
    bar = _scale_bar(draw, photo.size, result, scale, unit, font, size_px, marks, outline)
    left_over = _draw_labels(draw, photo.size, labels, bar, lines, marks, outline, font, size_px)
    return _stack(photo, report, left_over, size_px)


def _scaled(xy: Point, scale: float) -> Point:
    # Pixel centres lie at whole numbers before and after.
    return (xy[0] + 0.5) * scale - 0.5, (xy[1] + 0.5) * scale - 0.5


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


def _every_mark(markings: Sequence[Marking], scale: float) -> list[Point]:
    if len(markings) < 2:
        return []
    return [_scaled(xy, scale) for m in markings for xy in m.marks.values()]


def _lines(marks: dict[str, Point], marking: Marking, scale: float) -> dict[str, list[Point]]:
    """The harness lines: end, bend points, end; the full length is front and rear."""
    lines = {}
    for span, (start, end) in SPAN_ENDS.items():
        if span == "full_length" or start not in marks or end not in marks:
            continue
        bends = [_scaled(xy, scale) for xy in marking.bends.get(span, ())]
        lines[span] = [marks[start], *bends, marks[end]]
    if "front_length" in lines and "rear_length" in lines:
        lines["full_length"] = lines["front_length"] + lines["rear_length"][1:]
    return lines


def _draw_lines(
    photo: Image.Image,
    lines: dict[str, list[Point]],
    marks: dict[str, Point],
    every: list[Point],
    outline: list[Point],
    of_fours: bool,
    size_px: float,
) -> Image.Image:
    """Draw lines and marks; `of_fours` when the outline is several markers' corners."""
    from PIL import Image, ImageDraw

    fine = 2  # drawn at twice the size and reduced, for smooth edges
    layer = Image.new("RGBA", (photo.width * fine, photo.height * fine), (0, 0, 0, 0))
    draw = ImageDraw.Draw(layer)
    thin = size_px / 8 * fine

    def stroke(points: list[Point], colour: Colour, width: float) -> None:
        at = [((x + 0.5) * fine, (y + 0.5) * fine) for x, y in points]
        draw.line(at, fill=(*colour, 255), width=max(1, round(width)), joint="curve")

    shapes = [outline[k : k + 4] for k in range(0, len(outline), 4)] if of_fours else [outline]
    for shape in shapes:
        if len(shape) < 2:
            continue
        closed = shape if len(shape) == 2 else [*shape, shape[0]]
        width = 1.1 if len(shapes) == 1 else 0.6
        stroke(closed, DARK, 2 * width * thin)
        stroke(closed, REFERENCE_COLOUR, width * thin)
    # The full length is the same line as front and rear: a broad band beneath them.
    for span, width in (
        ("full_length", 3.4),
        ("half_neck", 1.4),
        ("front_length", 1.4),
        ("rear_length", 1.4),
    ):
        if span in lines:
            stroke(lines[span], DARK, (width + 1.0) * thin)
            stroke(lines[span], SPAN_COLOURS[span], width * thin)

    def ring(xy: Point, radius: float, colour: Colour, width: float) -> None:
        x, y = (xy[0] + 0.5) * fine, (xy[1] + 0.5) * fine
        box = (x - radius, y - radius, x + radius, y + radius)
        draw.ellipse(box, outline=(*colour, 255), width=max(1, round(width)))

    for xy in every:
        ring(xy, thin * 0.8, DARK, thin * 0.8)
        ring(xy, thin * 0.6, WHITE, thin * 0.5)
    for xy in marks.values():
        # Open in the middle, so that the pixel marked can be seen.
        radius = size_px * 0.36 * fine
        ring(xy, radius + thin * 0.5, DARK, 2.0 * thin)
        ring(xy, radius, WHITE, 1.0 * thin)
    layer = layer.resize(photo.size, Image.Resampling.BOX)
    return Image.alpha_composite(photo.convert("RGBA"), layer).convert("RGB")


def _labels(
    report: Report,
    marks: dict[str, Point],
    lines: dict[str, list[Point]],
    outline: list[Point],
    result: PhotoResult,
) -> dict[str, _Label]:
    unit = report.case.unit
    middle = _mean(list(marks.values()))
    labels: dict[str, _Label] = {}
    for span in report.spans:
        if span.span not in lines:
            continue
        anchor = _halfway(lines[span.span])
        away = (anchor[0] - middle[0], anchor[1] - middle[1])
        if span.span == "full_length":
            # Its halfway point is about the last rib; below the dog there is room.
            away = (0.0, 1.0)
        flagged = span.verdict not in ("", "agrees")
        labels[span.span] = _Label(
            _span_lines(span, unit), SPAN_COLOURS[span.span], anchor, away, flagged
        )
    for name, xy in marks.items():
        away = (xy[0] - middle[0], xy[1] - middle[1])
        labels[name] = _Label((LANDMARK_TITLES.get(name, name),), WHITE, xy, away)
    if outline:
        title = REFERENCES[result.reference].title
        labels["reference"] = _Label((title,), WHITE, _mean(outline), (0.0, 1.0))
    return labels


def _span_lines(span: SpanResult, unit: str) -> tuple[str, ...]:
    title = SPAN_TITLES[span.span]
    if span.verdict not in ("", "agrees"):
        title = f"{title}: {VERDICT_TITLES[span.verdict]}"
    tape = "not given" if span.reading_mm is None else format_length(span.reading_mm, unit)
    return title, f"tape {tape}", f"photo {format_length(span.photo_mm, unit)}"


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
) -> list[_Label]:
    """Place and draw the labels; gives back the lengths without room."""
    pad = size_px * 0.22
    wanted = []
    for key, label in labels.items():
        width, height = _text_size(draw, label.lines, font, size_px)
        outer = (width + 2 * pad, height + 2 * pad)
        # A helper's name is worth showing only beside its mark.
        reach = 4 * size_px if key in HELPER_LANDMARKS else inf
        wanted.append(Wanted(key, label.anchor, outer, label.away, reach))
    gap = size_px * 0.25
    field = (gap, gap, size[0] - gap, size[1] - gap)
    boxes = place(wanted, field, [bar] if bar else [], _ink(lines, marks, outline, size_px), gap)
    for key, box in boxes.items():
        _leader(draw, labels[key], box, size_px)
    for key, box in boxes.items():
        _box(draw, labels[key], box, pad, font, size_px)
    return [label for key, label in labels.items() if key in SPAN_TITLES and key not in boxes]


def _ink(
    lines: dict[str, list[Point]], marks: dict[str, Point], outline: list[Point], size_px: float
) -> NDArray[np.float64]:
    """What labels should not cover: marks above all, then lines and the reference."""
    points = [(x, y, 60.0) for x, y in marks.values()]
    shapes = [line for span, line in lines.items() if span != "full_length"]
    if len(outline) >= 2:
        shapes.append([*outline, outline[0]])
        points.append((*_mean(outline), 20.0))
    for shape in shapes:
        for (x0, y0), (x1, y1) in pairwise(shape):
            count = max(2, int(hypot(x1 - x0, y1 - y0) / (size_px / 2)))
            for t in np.linspace(0, 1, count):
                points.append((x0 + t * (x1 - x0), y0 + t * (y1 - y0), 1.5))
    return np.array(points, dtype=np.float64).reshape(-1, 3)


def _leader(draw: ImageDraw.ImageDraw, label: _Label, box: Box, size_px: float) -> None:
    x, y = label.anchor
    near = nearest(label.anchor, box)
    if hypot(near[0] - x, near[1] - y) < size_px * 0.6:
        return
    draw.line([near, (x, y)], fill=DARK, width=max(3, round(size_px / 8)))
    draw.line([near, (x, y)], fill=label.colour, width=max(1, round(size_px / 20)))


def _box(
    draw: ImageDraw.ImageDraw,
    label: _Label,
    box: Box,
    pad: float,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    size_px: float,
) -> None:
    # What needs attention is dark on white among labels that are light on dark.
    ground, text = (WHITE, DARK) if label.flagged else (DARK, label.colour)
    edge = max(2, round(size_px / (7 if label.flagged else 14)))
    draw.rounded_rectangle(box, radius=size_px * 0.2, fill=ground, outline=label.colour, width=edge)
    for number, line in enumerate(label.lines):
        at = (box[0] + pad, box[1] + pad * 0.6 + number * _line_height(size_px))
        draw.text(at, line, fill=text, font=font)


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
    points = np.array([*marks.values(), *outline], dtype=float).reshape(-1, 2)

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
    photo: Image.Image, report: Report, left_over: list[_Label], size_px: float
) -> NDArray[np.uint8]:
    """The banner above the photo, the labels that found no room below it."""
    from PIL import Image, ImageDraw, ImageFont

    font = ImageFont.load_default(size_px)
    large = ImageFont.load_default(size_px * 1.35)
    measure = ImageDraw.Draw(photo)
    pad = size_px * 0.5
    room = photo.width - 2 * pad
    title = VERDICT_TITLES[report.verdict]
    first, _, rest = report.headline.partition(": ")
    if first.lower() != title:
        # Most headlines begin with the verdict; this one says it in other words.
        first, rest = title[0].upper() + title[1:], report.headline
    titles = _wrapped(measure, first, large, room)
    texts = _wrapped(measure, rest[:1].upper() + rest[1:], font, room) if rest else []
    top = round(
        2 * pad + len(titles) * _line_height(size_px * 1.35) + len(texts) * _line_height(size_px)
    )
    notes = [
        (line, label.colour)
        for label in left_over
        for line in _wrapped(measure, ", ".join(label.lines), font, room)
    ]
    bottom = round(2 * pad + len(notes) * _line_height(size_px)) if notes else 0
    whole = Image.new("RGB", (photo.width, top + photo.height + bottom), DARK)
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
    y = top + photo.height + pad * 0.8
    for line, colour in notes:
        draw.text((pad, y), line, fill=colour, font=font)
        y += _line_height(size_px)
    return np.asarray(whole)


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


def _halfway(line: Sequence[Point]) -> Point:
    pieces = [hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(line)]
    left = sum(pieces) / 2
    for (a, b), piece in zip(pairwise(line), pieces, strict=True):
        if left <= piece and piece > 0:
            t = left / piece
            return a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])
        left -= piece
    return line[-1]


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

    photo, scale, size_px = _fitted(photo_rgb)
    outline = [_scaled(xy, scale) for xy in found.points_px]
    photo = _draw_lines(photo, {}, {}, [], outline, _markers(found.reference), size_px)
    font = ImageFont.load_default(size_px)
    text = (
        REFERENCES[found.reference].title,
        f"{found.distance_mm / 1000:.2f} m away, {10 * found.px_per_mm:.1f} px/cm",
    )
    labels = {"reference": _Label(text, WHITE, _mean(outline), (0.0, 1.0))}
    draw = ImageDraw.Draw(photo)
    _draw_labels(draw, photo.size, labels, None, {}, {}, outline, font, size_px)
    return np.asarray(photo)


def _fitted(photo_rgb: NDArray[np.uint8]) -> tuple[Image.Image, float, float]:
    """The photo at the width given out, its scale, and the letters' size in px."""
    import cv2
    from PIL import Image

    height, given = photo_rgb.shape[:2]
    width = min(max(given, MIN_WIDTH), MAX_WIDTH)
    scale = width / given
    if width != given:
        # Both keep the picture's outer edges in place, as `_scaled` has it.
        way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        size = (width, max(1, round(height * scale)))
        photo_rgb = cv2.resize(photo_rgb, size, interpolation=way).astype(np.uint8, copy=False)
    photo = Image.fromarray(photo_rgb)
    return photo, scale, width / FONT_SHARE


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
