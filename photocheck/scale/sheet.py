"""The project's own marker sheet: one layout for A4 and letter alike.

Four ArUco markers at the corners of a rectangle centred on the page, and
between the two rows a bar that proves the print scale.  All positions are in
millimetres from the centre of the page, x to the right and y down, so that the
paper does not matter to anything but the margins.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.errors import ScaleError
from photocheck.files import replacing
from photocheck.scale.catalogue import MM_PER_INCH, REFERENCES
from photocheck.speech import tr

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

_ABOVE: Final = (
    (11.0, "photocheck marker sheet"),
    (8.0, "1. Print at 100 % (actual size, no fitting to the page).  Measure the bar: 150 mm."),
    (8.0, "    If it is not 150 mm, print again, or write down what it measures and type it in."),
)
_BELOW: Final = (
    (
        8.0,
        "2. Glue the sheet flat on stiff board.  3. Hold it upright, parallel to the dog's side,",
    ),
    (
        8.0,
        "    level with the dog's middle, all four squares in the picture and nothing over them.",
    ),
    (
        7.0,
        "Never force or lean on a dog to make it stand.  Stop if it growls, freezes or shows pain,",
    ),
    (
        7.0,
        "and see a vet.  The check supports the maker's judgement and does not replace a fitting.",
    ),
)


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


def _texts(layout: SheetLayout) -> Iterator[tuple[float, float, float, bool, str]]:
    """Baseline x, y (mm), size (points), whether centred on x, and the text."""
    left = -layout.outer_mm[0] / 2 + 6
    y = -25.0
    for size, text in _ABOVE:
        yield left, y, size, False, text
        y += 4.6
    half = layout.bar_mm / 2
    for centimetre in range(int(layout.bar_mm // 10) + 1):
        label = f"{centimetre}" if centimetre else "0 cm"
        yield -half + 10.0 * centimetre, _BAR_TOP + _BAR_THICK + 5.2, 6.5, True, label
    for inch in range(7):
        label = f"{inch}" if inch else "0 in"
        x = (inch - 3) * MM_PER_INCH
        yield x, _INCH_TOP + 6.8, 6.5, True, label
    y = 17.0
    for size, text in _BELOW:
        yield left, y, size, False, text
        y += 4.0


def draw_sheet_pdf(path: str | Path, paper: str = "a4", layout: SheetLayout = LAYOUT) -> Path:
    """Write the marker sheet as a one-page PDF in vectors, at true size.

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
    from reportlab.pdfgen.canvas import Canvas

    width, height = page_mm(paper)
    goal = Path(path)
    if goal.is_dir():
        raise ScaleError(
            tr("The marker sheet cannot be written: that is a folder"),
            where=str(goal),
            do=tr("Choose a file name"),
        )
    with replacing(goal) as file:
        canvas = Canvas(file, pagesize=(width * mm, height * mm), invariant=1)
        canvas.setTitle("photocheck marker sheet")
        canvas.setAuthor("photocheck")
        canvas.setViewerPreference("PrintScaling", "None")
        white = (*white_cells(layout), *_white_pairs(layout))
        for grey, shapes in (
            (0, tuple(marker_squares(layout))),
            (1, white),
            (0, tuple(rulers(layout))),
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
        for x, y, size, centred, text in _texts(layout):
            canvas.setFont("Helvetica", size)
            draw = canvas.drawCentredString if centred else canvas.drawString
            draw((x + width / 2) * mm, (height / 2 - y) * mm, text)
        canvas.showPage()
        canvas.save()
    return goal


def sheet_bitmap(
    px_per_mm: float, paper: str = "a4", layout: SheetLayout = LAYOUT
) -> NDArray[np.uint8]:
    """The whole page as a grey picture, (H, W) uint8, 0 black and 255 white.

    Markers, proof bar and rulers, each pixel holding the share of it that is
    white (so edges lie where they should to a small fraction of a pixel);
    without the small print.  Not encoded: 128 means half the light.

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
