"""The project's own marker sheet: one layout for A4 and letter alike.

Four ArUco markers at the corners of a rectangle centred on the page, and
between the two rows a bar that proves the print scale, and one beside it that
proves the other direction.  All positions are in millimetres from the centre of
the page, x to the right and y down, so that the paper does not matter to
anything but the margins.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.errors import ScaleError
from photocheck.files import replacing
from photocheck.scale.catalogue import MM_PER_INCH, REFERENCES
from photocheck.speech import spoken, tr

Rectangle = tuple[float, float, float, float]
"""Left, top, right, bottom; mm from the centre of the page."""

PAPER_MM: Final = {kind: REFERENCES[kind].size_mm[::-1] for kind in ("a4", "letter")}
"""Width and height, portrait, mm."""


@dataclass(frozen=True)
class SheetLayout:
    """What is printed where.

    Attributes
    ----------
    marker_ids : (int, int, int, int)
        Top left, top right, bottom right, bottom left; from OpenCV's DICT_4X4_50.
        Of all fours these have a high least distance between any two in any turn
        (7 of 16 cells), and 8 cells change when one of them is turned on itself.
    marker_mm : float
        Side of a marker with its black border, mm.
    modules : int
        Cells along a marker's side, border included.
    outer_mm : (float, float)
        Width and height of the rectangle the four markers fill, mm.
    bar_mm : float
        Length of the proof bar, mm.
    """

    marker_ids: tuple[int, int, int, int] = (8, 11, 30, 15)
    marker_mm: float = 80.0
    modules: int = 6
    outer_mm: tuple[float, float] = (180.0, 245.0)
    bar_mm: float = 150.0

    @property
    def module_mm(self) -> float:
        """Side of one cell, mm."""
        return self.marker_mm / self.modules

    def marker_centres(self) -> NDArray[np.float64]:
        """Centres of the markers in the order of `marker_ids`, (4, 2) mm."""
        across = (self.outer_mm[0] - self.marker_mm) / 2
        down = (self.outer_mm[1] - self.marker_mm) / 2
        return np.array([[-across, -down], [across, -down], [across, down], [-across, down]])


LAYOUT: Final = SheetLayout()

_BAR_TOP: Final = -9.0
_BAR_THICK: Final = 3.0
_INCH_TOP: Final = 5.5
_LINE: Final = 0.35  # mm, width of a tick

_UPRIGHT_AT: Final = 81.0
_UPRIGHT_MM: Final = {"a4": 50.0, "letter": 2 * MM_PER_INCH}
"""Where the upright bar stands, mm, and how long it is: the longest round length that leaves a cell
of white round the markers."""

_TEXT_ROOM: Final = 158.0
_TEXT_PT: Final = 7.4
LABEL_PT: Final = 6.5
_TEXT_STEP: Final = 3.25
"""Width of the lines beside the upright bar, mm; size of their letters, points; from one to the
next, mm; `LABEL_PT` is the size of the bars' numbers."""


def page_mm(paper: str) -> tuple[float, float]:
    """Width and height of the page, mm.

    Raises
    ------
    ScaleError
        When the paper is neither "a4" nor "letter".

    >>> page_mm("A4")
    (210.0, 297.0)
    """
    size = PAPER_MM.get(paper.lower())
    if size is None:
        raise ScaleError(
            tr("The paper {paper!r} is not known", paper=paper),
            where="paper",
            do=tr("Choose a4 or letter"),
        )
    return size


def sheet_points(layout: SheetLayout = LAYOUT) -> tuple[tuple[int, ...], NDArray[np.float64]]:
    """Marker ids, and the (16, 2) corners of the markers in mm.

    Rows 4 i to 4 i + 3 are the corners of marker ``ids[i]``, clockwise from its
    own top left, as OpenCV's detector returns them.
    """
    half = layout.marker_mm / 2
    square = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    corners = layout.marker_centres()[:, None, :] + square[None, :, :]
    return layout.marker_ids, corners.reshape(16, 2)


def marker_cells(marker_id: int) -> NDArray[np.bool_]:
    """The (6, 6) cells of a DICT_4X4_50 marker with its border; True is black."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, marker_id, 6) == 0)


def marker_squares(layout: SheetLayout = LAYOUT) -> Iterator[Rectangle]:
    """The outer black square of each marker, in the order of `SheetLayout.marker_ids`; mm."""
    half = layout.marker_mm / 2
    for cx, cy in layout.marker_centres():
        yield (float(cx) - half, float(cy) - half, float(cx) + half, float(cy) + half)


def white_cells(layout: SheetLayout = LAYOUT) -> Iterator[Rectangle]:
    """Every white cell inside the markers' black squares; mm."""
    cell = layout.module_mm
    for marker_id, (left, top, _, _) in zip(layout.marker_ids, marker_squares(layout), strict=True):
        for row, column in np.argwhere(~marker_cells(marker_id)):
            x, y = left + float(column) * cell, top + float(row) * cell
            yield (x, y, x + cell, y + cell)


def _white_pairs(layout: SheetLayout) -> Iterator[Rectangle]:
    """Unions of two white cells side by side: they cover the seams a viewer might show."""
    cells = list(white_cells(layout))
    for one in cells:
        for other in cells:
            right = abs(one[2] - other[0]) < 1e-6 and abs(one[1] - other[1]) < 1e-6
            below = abs(one[3] - other[1]) < 1e-6 and abs(one[0] - other[0]) < 1e-6
            if right or below:
                yield (one[0], one[1], other[2], other[3])


def rulers(layout: SheetLayout = LAYOUT) -> Iterator[Rectangle]:
    """The black rectangles of the proof bar, its cm ticks and the inch ruler; mm."""
    half = layout.bar_mm / 2
    yield (-half, _BAR_TOP, half, _BAR_TOP + _BAR_THICK)
    for centimetre in range(int(layout.bar_mm // 10) + 1):
        x = -half + 10.0 * centimetre
        # The outermost ticks end flush with the bar, so that its length is the bar's.
        x = min(max(x, -half + _LINE / 2), half - _LINE / 2)
        yield (x - _LINE / 2, _BAR_TOP + _BAR_THICK, x + _LINE / 2, _BAR_TOP + _BAR_THICK + 2.5)
    long = 6 * MM_PER_INCH / 2
    yield (-long, _INCH_TOP, long, _INCH_TOP + _LINE)
    for eighth in range(49):
        x = -long + eighth * MM_PER_INCH / 8
        x = min(max(x, -long + _LINE / 2), long - _LINE / 2)
        depth = 4.0 if eighth % 8 == 0 else 2.8 if eighth % 4 == 0 else 1.6
        yield (x - _LINE / 2, _INCH_TOP + _LINE, x + _LINE / 2, _INCH_TOP + _LINE + depth)


def upright(paper: str) -> Iterator[Rectangle]:
    """The black rectangles of the upright bar, which proves the other direction; mm.

    A printer may feed paper faster or slower than it writes across.
    """
    length = _UPRIGHT_MM[paper]
    top, left = -length / 2, _UPRIGHT_AT
    yield (left, top, left + _BAR_THICK / 2, -top)
    steps = 16 if paper == "letter" else 5
    for step in range(steps + 1):
        y = top + length * step / steps
        y = min(max(y, top + _LINE / 2), -top - _LINE / 2)
        long = step % 8 == 0 if paper == "letter" else True
        depth = 2.5 if long else 1.4
        yield (left - depth, y - _LINE / 2, left, y + _LINE / 2)


def ruler_labels(layout: SheetLayout = LAYOUT) -> Iterator[tuple[float, float, str]]:
    """The numbers at `rulers`: the middle of each and its baseline, mm."""
    half = layout.bar_mm / 2
    for centimetre in range(int(layout.bar_mm // 10) + 1):
        label = f"{centimetre}" if centimetre else "0 cm"
        yield -half + 10.0 * centimetre, _BAR_TOP + _BAR_THICK + 5.2, label
    for inch in range(7):
        yield (inch - 3) * MM_PER_INCH, _INCH_TOP + 6.8, f"{inch}" if inch else "0 in"


def upright_label(paper: str) -> tuple[float, float, str]:
    """The length at the foot of `upright`: its middle and its baseline, mm."""
    foot = tr("2 in") if paper == "letter" else tr("50 mm")
    return _UPRIGHT_AT, _UPRIGHT_MM[paper] / 2 + 3.2, foot


def proof(paper: str) -> str:
    """How to print a page and to prove it by its bars, in the language spoken now."""
    if paper == "letter":
        return tr(
            "1. Print at 100 % (actual size, no fitting to the page). Hold a ruler to both scales: "
            "the level one is 6 in long, the upright one on the right 2 in."
        )
    return tr(
        "1. Print at 100 % (actual size, no fitting to the page). Hold a ruler to both bars: the "
        "level one is 150 mm long, the upright one on the right 50 mm."
    )


def _above(paper: str) -> Iterator[str]:
    """What stands above the bar, in the language spoken now."""
    yield proof(paper)
    if paper == "letter":
        yield tr(
            "If they are not, print again; only where both are off alike, you may instead type in "
            "what the thick bar measures, which is 5 29/32 in when it is right."
        )
        return
    yield tr(
        "If they are not, print again; only where both are off alike, you may instead type in what "
        "the level bar measures."
    )


def _below() -> Iterator[str]:
    yield tr(
        "2. Glue the sheet flat on stiff board. 3. Hold it upright, parallel to the dog's side, "
        "level with the dog's middle, all four squares in the picture and nothing over them."
    )
    yield tr(
        "Never force or lean on a dog to make it stand. Stop if it growls, freezes or shows pain, "
        "and see a vet. The check supports the maker's judgement and does not replace a fitting."
    )


def _texts(layout: SheetLayout, paper: str) -> Iterator[tuple[float, float, float, bool, str]]:
    """Baseline x, y (mm), size (points), whether centred on x, and the text."""
    from reportlab.lib.units import mm
    from reportlab.lib.utils import simpleSplit

    left = -layout.outer_mm[0] / 2 + 6
    yield left, -26.5, 11.0, False, tr("photocheck marker sheet")
    lines = [line for text in _above(paper) for line in _lines(text, simpleSplit, mm)]
    for number, line in enumerate(lines):
        yield left, -22.2 + number * _TEXT_STEP, _TEXT_PT, False, line
    for x, y, label in (*ruler_labels(layout), upright_label(paper)):
        yield x, y, LABEL_PT, True, label
    lines = [line for text in _below() for line in _lines(text, simpleSplit, mm)]
    for number, line in enumerate(lines):
        yield left, 17.5 + number * _TEXT_STEP, _TEXT_PT, False, line


def _lines(text: str, split: Callable[..., list[str]], mm: float) -> list[str]:
    from photocheck.letters import FONT, written

    return split(written(text), FONT, _TEXT_PT, _TEXT_ROOM * mm)


def draw_sheet_pdf(path: str | Path, paper: str = "a4", layout: SheetLayout = LAYOUT) -> Path:
    """Write the marker sheet as a one-page PDF in vectors, at true size.

    It speaks the language spoken now, and its letters are in the file; on letter paper it is
    proved in inches.

    The file is written beside its goal and then renamed, so that a reader never
    sees half of it.

    Parameters
    ----------
    path : path of the file to write; replaced when it exists
    paper : "a4" or "letter"

    Raises
    ------
    ScaleError
        When the paper is not known or the path is a folder.
    PhotocheckError
        When the file cannot be written.
    """
    from reportlab.lib.units import mm

    from photocheck.letters import FONT

    width, height = page_mm(paper)
    with printed(path, paper, tr("photocheck marker sheet")) as canvas:
        white = (*white_cells(layout), *_white_pairs(layout))
        for grey, shapes in (
            (0, tuple(marker_squares(layout))),
            (1, white),
            (0, (*rulers(layout), *upright(paper.lower()))),
        ):
            canvas.setFillGray(grey)
            for left, top, right, bottom in shapes:
                canvas.rect(
                    (left + width / 2) * mm,
                    (height / 2 - bottom) * mm,
                    (right - left) * mm,
                    (bottom - top) * mm,
                    stroke=0,
                    fill=1,
                )
        for x, y, size, centred, text in _texts(layout, paper.lower()):
            canvas.setFont(FONT, size)
            draw = canvas.drawCentredString if centred else canvas.drawString
            draw((x + width / 2) * mm, (height / 2 - y) * mm, text)
        canvas.showPage()
    return Path(path)


@contextmanager
def printed(path: str | Path, paper: str, title: str) -> Iterator[Any]:
    """A ReportLab canvas for pages to print at true size; the file is written whole at the end.

    It says which language is spoken, brings its letters, and asks viewers not to scale it.

    Raises
    ------
    ScaleError
        When the paper is not known or the path is a folder.
    PhotocheckError
        When the file cannot be written.
    """
    from reportlab.lib.units import mm
    from reportlab.pdfgen.canvas import Canvas

    # Here: whoever looks for markers needs this module and no letters.
    from photocheck.letters import FONT, fonts

    width, height = page_mm(paper)
    fonts()
    goal = Path(path)
    if goal.is_dir():
        raise ScaleError(
            tr("{title}: this cannot be written, it is a folder", title=title),
            where=str(goal),
            do=tr("Choose a file name"),
        )
    with replacing(goal) as file:
        canvas = Canvas(
            file,
            pagesize=(width * mm, height * mm),
            invariant=1,
            initialFontName=FONT,
            lang=spoken(),
        )
        canvas.setTitle(title)
        canvas.setAuthor("photocheck")
        canvas.setViewerPreference("PrintScaling", "None")
        yield canvas
        canvas.save()


def sheet_bitmap(
    px_per_mm: float, paper: str = "a4", layout: SheetLayout = LAYOUT, *, whole: bool = False
) -> NDArray[np.uint8]:
    """The whole page as a grey picture, (H, W) uint8, 0 black and 255 white.

    Markers, proof bar and rulers, each pixel holding the share of it that is
    white (so edges lie where they should to a small fraction of a pixel);
    without the small print and, unless it shall be `whole`, without the upright bar, which the
    finders' simulated photos never had.  Not encoded: 128 means half the light.

    Parameters
    ----------
    px_per_mm : float
    paper : "a4" or "letter"

    Raises
    ------
    ScaleError
        When the paper is not known or the resolution is outside 0.5 to 40 px per mm.
    """
    if not 0.5 <= px_per_mm <= 40:
        raise ScaleError(
            tr("{px_per_mm:g} px per mm cannot be drawn", px_per_mm=px_per_mm),
            do=tr("Choose between 0.5 and 40 px per mm"),
        )
    width, height = page_mm(paper)
    columns, rows = round(width * px_per_mm), round(height * px_per_mm)
    ink = np.zeros((rows, columns))
    half = np.array([width, height]) / 2
    marks = [(1.0, shape) for shape in (*marker_squares(layout), *rulers(layout))]
    marks += [(-1.0, shape) for shape in white_cells(layout)]
    if whole:
        marks += [(1.0, shape) for shape in upright(paper.lower())]
    for amount, shape in marks:
        left, top, right, bottom = (np.array(shape) + np.tile(half, 2)) * px_per_mm
        across, down = _coverage(left, right, columns), _coverage(top, bottom, rows)
        x, y = np.flatnonzero(across), np.flatnonzero(down)
        if x.size and y.size:
            part = np.s_[y[0] : y[-1] + 1, x[0] : x[-1] + 1]
            ink[part] += amount * np.outer(down[part[0]], across[part[1]])
    return np.asarray(np.rint(255 * (1 - np.clip(ink, 0, 1))), dtype=np.uint8)


def bitmap_px(
    points_mm: NDArray[np.float64], px_per_mm: float, paper: str = "a4"
) -> NDArray[np.float64]:
    """Where sheet points (N, 2) mm lie in `sheet_bitmap`, (N, 2) px, pixel centres at integers."""
    return np.asarray((points_mm + np.array(page_mm(paper)) / 2) * px_per_mm - 0.5)


def _coverage(low: float, high: float, count: int) -> NDArray[np.float64]:
    """Share of each of `count` unit cells that the stretch from low to high covers."""
    edges = np.arange(count)
    return np.asarray(np.clip(np.minimum(edges + 1, high) - np.maximum(edges, low), 0.0, 1.0))
