"""The tags for the dog as a PDF to print: two pages, at true size, in the language spoken now."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np

from photocheck.errors import ScaleError
from photocheck.letters import BOLD, FONT, written
from photocheck.scale.sheet import (
    LABEL_PT,
    Rectangle,
    marker_cells,
    page_mm,
    printed,
    proof,
    ruler_labels,
    rulers,
    upright,
    upright_label,
)
from photocheck.scale.tag_layout import CELLS, PAPER_TAPER, TAG_IDS, TAG_MM, TIP, WEDGE, WHITE
from photocheck.shown.tag_places import (
    COLUMN_MM,
    FOOT,
    LEFT,
    LEG,
    TOP,
    PrintedTag,
    row_mm,
    tag_places,
)
from photocheck.speech import later, tr
from photocheck.words import LANDMARK_HINTS, LANDMARK_TITLES

SETS: Final = {"usual": later("usual set"), "small": later("small set")}
"""What is written on each tag, so that no two sets are mixed."""

HEAD_TOP: Final = -125.5
RULERS_DOWN: Final = -103.5
UPRIGHT_DOWN: Final = -58.0
"""Baseline of the title, and how far the bars lie from where the marker sheet has them, mm."""
TEXT_RIGHT: Final = 78.0
TITLE_PT: Final = 11.0
TEXT_PT: Final = 7.4
TEXT_STEP: Final = 3.3
NAME_PT: Final = 8.0
NAME_STEP: Final = 3.2
SMALL_PT: Final = 6.2
SMALL_STEP: Final = 2.5
LINE_MM: Final = 0.2
"""Width of the lines to cut and to fold along, mm."""

Text = tuple[float, float, str, float, bool, str]
"""Baseline x, y (mm), font, size (points), whether centred on x, and the text."""


def how_to() -> tuple[str, ...]:
    """What an owner should know of the tags, in the language spoken now."""
    return (
        tr("Print on thick paper or card, or glue this page to thin card before you cut."),
        tr(
            "Cut along the dashed lines. Leave the white round the squares: without it the photo "
            "does not show where a square ends."
        ),
        tr(
            "Fold one foot to the front and the other to the back along the dotted lines: the tag "
            "stands on the dog like a small flag, its print facing the camera. The last rib's is "
            "not folded and lies flat on the flank."
        ),
        tr(
            "The paper's tip touches the point. Above, in front or below: the square may point "
            "any way, as long as the camera sees all of it."
        ),
        tr(
            "Hold each by its feet: with paper tape on the hair, or the feet under a hair tie or "
            "a collar. Never glue, never tape on skin, nothing over the black."
        ),
        tr(
            "First the tags, then the tape: measure from tip to tip. Take the photo with the same "
            "tags where they are; those of the neck are for the photo from the front."
        ),
        tr(
            "The back above the elbow and the chest's bottom are not needed, but sharpen the "
            "check; leave off what would cover another. One set only, the usual or the small one."
        ),
        tr(
            "Take them off at once if the dog minds or licks them. Watch it all the time: tags "
            "are no toys. Count them when you take them off; if one was swallowed, ask a vet."
        ),
    )


def draw_tags_pdf(path: str | Path, paper: str = "a4", size: str = "usual") -> Path:
    """Write the tags as a PDF of two pages in vectors, at true size.

    It speaks the language spoken now, its letters are in the file, and each page has the bars that
    prove the print.  The file is whole or not there.

    Parameters
    ----------
    path : path of the file to write; replaced when it exists
    paper : "a4" or "letter"
    size : a key of `photocheck.scale.tag_layout.TAG_MM`

    Raises
    ------
    ScaleError
        When paper or size is not known or the path is a folder.
    PhotocheckError
        When the file cannot be written.
    """
    from reportlab.lib.units import mm

    width, height = page_mm(paper)
    if size not in TAG_MM:
        raise ScaleError(
            tr("Tags of the size {size!r} are not known", size=size),
            where="size",
            do=tr("Choose usual or small"),
        )
    with printed(path, paper, tr("Tags for the dog")) as canvas:
        for number, places in enumerate(tag_places(size)):
            # From here on in mm from the middle of the page; y still goes up.
            canvas.translate(width / 2 * mm, height / 2 * mm)
            canvas.scale(mm, mm)
            _page(canvas, number, places, paper.lower(), size)
            canvas.showPage()
    return Path(path)


def _page(canvas: Any, number: int, places: tuple[PrintedTag, ...], paper: str, size: str) -> None:
    for place in places:
        _tag(canvas, place)
    canvas.setFillGray(0)
    for rectangle in _bars(paper):
        _rectangle(canvas, rectangle)
    texts = [*_head(number, paper, size), *(t for place in places for t in _words(place, size))]
    if number:
        told = list(_instructions(places))
        texts += told
        _standing(canvas, LEFT + COLUMN_MM + 20.0, told[-1][1] + 6.0)
    for x, y, font, points, centred, text in texts:
        canvas.setFont(font, _mm(points))
        draw = canvas.drawCentredString if centred else canvas.drawString
        draw(x, -y, text)


def _mm(points: float) -> float:
    return points * 25.4 / 72.0


def _bars(paper: str) -> Iterator[Rectangle]:
    for down, bars in ((RULERS_DOWN, rulers()), (UPRIGHT_DOWN, upright(paper))):
        for left, top, right, bottom in bars:
            yield left, top + down, right, bottom + down


def _rectangle(canvas: Any, rectangle: Rectangle) -> None:
    left, top, right, bottom = rectangle
    canvas.rect(left, -bottom, right - left, bottom - top, stroke=0, fill=1)


def _tag(canvas: Any, place: PrintedTag) -> None:
    canvas.setFillGray(0)
    corners = place.square
    _rectangle(canvas, (*corners[0], *corners[2]))
    _shape(canvas, place.wedge)
    canvas.setFillGray(1)
    white = ~marker_cells(TAG_IDS[place.landmark])
    left, top = corners[0]
    for down, across in ((0, 0), (0, 1), (1, 0)):
        # Each cell, and each two side by side: a viewer would show the seam between them.
        both = white[: white.shape[0] - down, : white.shape[1] - across]
        for row, column in np.argwhere(both & white[down:, across:]):
            x, y = left + column * place.cell, top + row * place.cell
            right, bottom = x + (1 + across) * place.cell, y + (1 + down) * place.cell
            _rectangle(canvas, (x, y, right, bottom))
    canvas.setLineWidth(LINE_MM)
    canvas.setLineJoin(1)
    canvas.setStrokeGray(0.45)
    # Whole beside the tip: there it matters most where the scissors go.
    canvas.setDash()
    _shape(canvas, place.taper, fill=0, stroke=1, closed=False)
    canvas.setDash(2.0, 1.4)
    _shape(canvas, place.cut, fill=0, stroke=1)
    canvas.setDash(0.3, 0.9)
    for (x, y), (to_x, to_y) in place.folds:
        canvas.line(x, -y, to_x, -to_y)


def _shape(
    canvas: Any, points: Any, fill: int = 1, stroke: int = 0, *, closed: bool = True
) -> None:
    line = canvas.beginPath()
    line.moveTo(points[0][0], -points[0][1])
    for x, y in points[1:]:
        line.lineTo(x, -y)
    if closed:
        line.close()
    canvas.drawPath(line, fill=fill, stroke=stroke)


def _lines(text: str, font: str, points: float, room: float) -> list[str]:
    from reportlab.lib.utils import simpleSplit

    split: list[str] = simpleSplit(written(text), font, _mm(points), room)
    return split


def _head(number: int, paper: str, size: str) -> Iterator[Text]:
    title = tr(
        "Tags for the dog: {set}, page {page} of {pages}", set=tr(SETS[size]), page=number + 1,
        pages=len(tag_places(size)),
    )  # fmt: skip
    yield LEFT, HEAD_TOP, BOLD, TITLE_PT, False, title
    said = proof(paper) + " " + tr("If they are not, print again.")
    for row, line in enumerate(_lines(said, FONT, TEXT_PT, TEXT_RIGHT - LEFT)):
        yield LEFT, HEAD_TOP + 4.2 + row * TEXT_STEP, FONT, TEXT_PT, False, line
    for x, y, label in ruler_labels():
        yield x, y + RULERS_DOWN, FONT, LABEL_PT, True, label
    x, y, label = upright_label(paper)
    yield x, y + UPRIGHT_DOWN, FONT, LABEL_PT, True, label


def _words(place: PrintedTag, size: str) -> Iterator[Text]:
    """The name on the tag, what its feet are for, and below it which point is meant."""
    x = place.middle[0]
    top = place.cut[0, 1]
    room = place.cut[1, 0] - place.cut[0, 0] - 3.0
    name = _lines(tr(LANDMARK_TITLES[place.landmark]), BOLD, NAME_PT, room)
    for row, line in enumerate(name):
        yield x, top + 3.8 + row * NAME_STEP, BOLD, NAME_PT, True, line
    told = tr("{set}, spare", set=tr(SETS[size])) if place.spare else tr(SETS[size])
    yield x, top + 3.6 + len(name) * NAME_STEP, FONT, SMALL_PT, True, told
    feet = (tr("to the front"), tr("to the back")) if place.stands else (tr("tape here"),) * 2
    for (foot_x, foot_y), said in zip(place.feet, feet, strict=True):
        for row, line in enumerate(_lines(said, FONT, SMALL_PT, 3 * place.cell - 2.0)):
            yield foot_x, foot_y + row * SMALL_STEP, FONT, SMALL_PT, True, line
    hint = tr(LANDMARK_HINTS[place.landmark])
    if place.spare:
        hint = tr("Spare: use it in place of, never beside, the other.")
    bottom = float(np.max(place.cut[:, 1]))
    for row, line in enumerate(_lines(hint, FONT, SMALL_PT, COLUMN_MM - 3.0)):
        yield place.cut[0, 0], bottom + 3.0 + row * SMALL_STEP, FONT, SMALL_PT, False, line


def _instructions(places: tuple[PrintedTag, ...]) -> Iterator[Text]:
    """In the room that the last row leaves."""
    left = LEFT + COLUMN_MM + 1.0
    room = TEXT_RIGHT - left
    y = TOP + row_mm(places[0].side_mm) + 3.0
    for number, text in enumerate(how_to(), start=2):
        for line in _lines(f"{number}. {text}", FONT, TEXT_PT, room):
            yield left, y, FONT, TEXT_PT, False, line
            y += TEXT_STEP
        y += 1.4


def _standing(canvas: Any, x: float, top: float) -> None:
    """A drawing of a tag that stands on the dog's back, its white's upper left corner at x, top."""
    cell = 1.9

    def at(points: Any) -> Any:
        """From cells (across, down, towards the viewer) to the page, looked at from above."""
        across, down, near = np.asarray(points, dtype=np.float64).T
        return np.column_stack(
            [x + (across + WHITE - 0.55 * near) * cell, top + (down + WHITE + 0.4 * near) * cell]
        )

    tip, half = TIP[1], CELLS / 2

    def foot(inner: float, outer: float, near: float) -> Any:
        return at([(outer, tip, 0), (inner, tip, 0), (inner, tip, near), (outer, tip, near)])

    back = at([(-9.0, tip + 0.9, 0), (-4.0, tip, 0), (4.0, tip, 0), (9.0, tip + 0.5, 0)])
    paper = [(-WHITE, -WHITE), (WHITE, -WHITE), (WHITE, tip), (LEG, tip), (PAPER_TAPER[2])]
    paper += [(0.0, tip), PAPER_TAPER[0], (-LEG, tip), (-WHITE, tip)]
    canvas.setDash()
    canvas.setStrokeGray(0.2)
    canvas.setFillGray(1)
    line = canvas.beginPath()
    line.moveTo(back[0][0], -back[0][1])
    line.curveTo(*(value for px, py in back[1:] for value in (px, -py)))
    canvas.drawPath(line, stroke=1, fill=0)
    _shape(canvas, foot(LEG, WHITE, -FOOT), stroke=1)
    _shape(canvas, at([(*point, 0.0) for point in paper]), stroke=1)
    _shape(canvas, foot(-LEG, -WHITE, FOOT), stroke=1)
    canvas.setFillGray(0)
    square = ((-half, -half), (half, -half), (half, half), (-half, half))
    _shape(canvas, at([(*point, 0.0) for point in square]))
    _shape(canvas, at([(*point, 0.0) for point in WEDGE]))
