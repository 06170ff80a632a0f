"""Lines, rings and dashes on the photo: the tape's ways, the marks, the reference."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import hypot
from typing import TYPE_CHECKING, Final

from photocheck.body.shape import FRONT_TURN_ALONG, FRONT_TURN_BELOW
from photocheck.case.model import Marking, Point
from photocheck.shown.colours import (
    DARK,
    REFERENCE_COLOUR,
    SPAN_COLOURS,
    WHITE,
    WIDTH_COLOURS,
    Colour,
)
from photocheck.shown.crop import Cropped
from photocheck.words import (
    FRONT_PAIRS,
    LANDMARKS,
    SPAN_ENDS,
)

if TYPE_CHECKING:
    from PIL import Image, ImageDraw


WAY_POINTS: Final = 16
"""Pieces of a curved line: each shorter than the line is wide."""


def harness_lines(
    marks: dict[str, Point], markings: Sequence[Marking], view: Cropped
) -> dict[str, list[Point]]:
    """The harness lines: end, bend points, end; the full length is front and rear.

    In a photo from the front the widths.
    """
    lines = {}
    for span, (start, end) in SPAN_ENDS.items():
        if span == "full_length" or start not in marks or end not in marks:
            continue
        # The bends of several people cannot be averaged: those of the first who gave any.
        given = next((m.bends[span] for m in markings if m.bends.get(span)), ())
        lines[span] = [marks[start], *map(view.at, given), marks[end]]
        if span == "front_length" and not given:
            lines[span] = _behind_the_foreleg(marks[start], marks[end])
    for width, (left, right) in FRONT_PAIRS.items():
        if left in marks and right in marks:
            lines[width] = [marks[left], marks[right]]
    if "front_length" in lines and "rear_length" in lines:
        lines["full_length"] = lines["front_length"] + lines["rear_length"][1:]
    return lines


def _behind_the_foreleg(breastbone: Point, last_rib: Point) -> list[Point]:
    """How the tape runs between the forelegs and out behind one, where nobody marked its bends.

    A parabola through the point at which the body's model expects it to turn.
    """
    along, below = FRONT_TURN_ALONG, FRONT_TURN_BELOW.median
    (x0, y0), (x1, y1) = breastbone, last_rib
    dx, dy = x1 - x0, y1 - y0
    down = 1.0 if dx > 0 else -1.0  # square to the chord, towards the ground
    turn = (x0 + along * dx - down * below * dy, y0 + along * dy + down * below * dx)
    # of the parabola that is at the turn for t = along
    here, there, both = (1.0 - along) ** 2, along**2, 2.0 * along * (1.0 - along)
    knee = ((turn[0] - here * x0 - there * x1) / both, (turn[1] - here * y0 - there * y1) / both)
    found = []
    for k in range(WAY_POINTS + 1):
        t = k / WAY_POINTS
        weights = ((1.0 - t) ** 2, 2.0 * t * (1.0 - t), t**2)
        found.append(
            (
                weights[0] * x0 + weights[1] * knee[0] + weights[2] * x1,
                weights[0] * y0 + weights[1] * knee[1] + weights[2] * y1,
            )
        )
    return found


def _line_width(span: str, flagged: bool) -> float:
    """In eighths of the letters' size."""
    # The full length is the same line as front and rear: a broad band beneath them.
    if span == "full_length":
        return 7.0 if flagged else 5.4
    return 2.6 if flagged else 1.7


def stroke_span(
    draw: ImageDraw.ImageDraw, line: Sequence[Point], span: str, flagged: bool, thin: float
) -> None:
    """A span's line on a dark rim; a flagged one thicker and broken by white, px throughout."""
    width = _line_width(span, flagged) * thin
    _stroke(draw, line, DARK, width + 1.1 * thin)
    _stroke(draw, line, {**SPAN_COLOURS, **WIDTH_COLOURS}[span], width)
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


def draw_lines(
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
    for span in ("full_length", "half_neck", "front_length", "rear_length", *FRONT_PAIRS):
        if span in lines:
            stroke_span(draw, finer(lines[span]), span, span in flagged, thin)

    def ring(
        xy: Point, radius: float, colour: Colour | None, width: float, inside: bool = False
    ) -> None:
        x, y = (xy[0] + 0.5) * fine, (xy[1] + 0.5) * fine
        box = (x - radius, y - radius, x + radius, y + radius)
        clear = (0, 0, 0, 0) if inside else None
        draw.ellipse(box, fill=clear, outline=colour, width=max(1, round(width)))

    radii = {name: mark_radius(name, size_px) * fine for name in marks}
    for name, xy in marks.items():
        # Open in the middle, so that the pixel marked can be seen: lines end at the ring.
        ring(xy, radii[name] + thin * 0.5, DARK, 2.0 * thin, inside=True)
    for xy in every:
        ring(xy, thin * 1.1, DARK, thin * 1.1)
        ring(xy, thin * 0.7, WHITE, thin * 0.7)
    for name, xy in marks.items():
        ring(xy, radii[name], WHITE, 1.0 * thin)
    return _laid_over(photo, layer, fine)


def _laid_over(photo: Image.Image, layer: Image.Image, fine: int) -> Image.Image:
    """The photo under a layer `fine` times its size, of which only the drawn part is reduced."""
    from PIL import Image

    seen = photo.convert("RGB")  # a copy in any case
    drawn = layer.getbbox()
    if drawn is None:
        return seen
    left, top = drawn[0] // fine, drawn[1] // fine
    right, bottom = -(-drawn[2] // fine), -(-drawn[3] // fine)
    part = layer.crop((left * fine, top * fine, right * fine, bottom * fine)).reduce(fine)
    under = seen.crop((left, top, right, bottom)).convert("RGBA")
    seen.paste(Image.alpha_composite(under, part).convert("RGB"), (left, top))
    return seen


def mark_radius(name: str, size_px: float) -> float:
    """Of a mark's ring, px: the four that every check needs stand out."""
    return size_px * (0.40 if name in LANDMARKS else 0.30)
