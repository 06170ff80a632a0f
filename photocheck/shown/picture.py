"""The annotated picture: the verdict, what was marked, and what follows, on the photo itself.

Made to be read on a phone: large labels on solid ground, colours that colour-blind
people can tell apart, and every colour's meaning also in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.lengths import as_said
from photocheck.orders.harmless import one_line
from photocheck.report.model import Report
from photocheck.scale.catalogue import REFERENCES
from photocheck.shown.crop import frame_of, mean_marks, view_of
from photocheck.shown.lettering import font_for
from photocheck.shown.naming import draw_labels, labels_of, reference_label, scale_bar, width_labels
from photocheck.shown.panels import is_flagged, stacked_up
from photocheck.shown.strokes import draw_lines, harness_lines
from photocheck.speech import listed, tr
from photocheck.words import READING_TITLES

if TYPE_CHECKING:
    from photocheck.locating import Located


NAME: Final = 60
"""Letters of a name."""


def _markers(reference: str) -> bool:
    return REFERENCES[reference].form == "markers"


def annotate(
    photo_rgb: NDArray[np.uint8],
    report: Report,
    index: int = 0,
    *,
    bare: bool = False,
    told: Sequence[str] = (),
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
    told : sequence of str
        What the banner says of the order besides its name and its dog's: its number, the day.

    Returns
    -------
    (h, w, 3) uint8
        `MIN_WIDTH` to `MAX_WIDTH` wide; a banner with the verdict above the part of
        the photo with the dog and the reference, and below it the lengths, one a row.
    """
    from PIL import ImageDraw

    result = report.photos[index]
    markings = report.case.photos[index].markings
    frame = frame_of(photo_rgb.shape[1], photo_rgb.shape[0], markings, result.reference_px)
    view = view_of(photo_rgb, frame)
    photo, size_px = view.photo, view.size_px
    font = font_for(size_px)
    marks = {name: view.at(xy) for name, xy in mean_marks(markings).items()}
    lines = harness_lines(marks, markings, view)
    outline = [view.at(xy) for xy in result.reference_px]
    flagged = {span.span for span in report.spans if is_flagged(span)}

    every = [view.at(xy) for m in markings for xy in m.marks.values()] if markings[1:] else []
    of_fours = _markers(result.reference)
    stance = [[view.at(xy) for xy in line] for f in result.stance[:1] for line in f.lines_px]
    photo = draw_lines(photo, lines, flagged, marks, every, outline, of_fours, stance, size_px)
    draw = ImageDraw.Draw(photo)
    labels = labels_of(marks, outline, result.reference, photo.size, size_px)
    labels |= width_labels(lines, result.widths, report.case.unit, size_px)
    bar = scale_bar(
        draw, photo.size, result, view.scale, report.case.unit, font, size_px, marks, outline
    )
    draw_labels(draw, photo.size, labels, bar, lines, marks, outline, font, size_px)
    if bare:
        return np.asarray(photo)
    said = [_would_fit(report), _of_order(report, told), _of_several(report, index)]
    said += [finding.sentence for finding in result.stance[:1]]
    return stacked_up(photo, report, said, size_px)


def _would_fit(report: Report) -> str:
    """The values that would fit in place of those in doubt, as the likeliest explanation has it."""
    best = next(iter(report.explanations), None)
    if best is None or not any(map(is_flagged, report.spans)):
        return ""
    values: dict[str, str] = {}
    for name, text, _ in best.candidates:
        values.setdefault(name, as_said(text))
    named = [
        tr("{reading} {value}", reading=tr(READING_TITLES[name]), value=value)
        for name, value in values.items()
    ]
    return tr("This would fit: {readings}.", readings=listed(named)) if named else ""


def _of_order(report: Report, told: Sequence[str]) -> str:
    """Whose picture it is: the order's name, its dog's, and what else is told."""
    name, dog = one_line(report.case.name, NAME), one_line(report.case.dog.name, NAME)
    named = (name, "" if dog in name else dog)
    return " · ".join(filter(None, (*named, *(one_line(text, NAME) for text in told))))


def _of_several(report: Report, index: int) -> str:
    """That the lengths below are of all photos together, which one alone does not show."""
    count = len(report.photos)
    if count < 2:
        return ""
    return tr(
        "Photo {number} of {count}; the lengths below are from all {count} together.",
        number=index + 1,
        count=count,
    )


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
    from PIL import ImageDraw

    height, width = photo_rgb.shape[:2]
    view = view_of(photo_rgb, (0, 0, width, height))
    size_px = view.size_px
    outline = [view.at(xy) for xy in found.points_px]
    of_fours = _markers(found.reference)
    photo = draw_lines(view.photo, {}, set(), {}, [], outline, of_fours, [], size_px)
    font = font_for(size_px)
    text = (
        tr(REFERENCES[found.reference].title),
        tr(
            "{distance:.2f} m away, {scale:.1f} px/cm",
            distance=found.distance_mm / 1000,
            scale=10 * found.px_per_mm,
        ),
    )
    labels = {"reference": reference_label(text, outline, photo.size, 0.0)}
    draw = ImageDraw.Draw(photo)
    draw_labels(draw, photo.size, labels, None, {}, {}, outline, font, size_px)
    return np.asarray(photo)
