"""One order on one page: a self-contained HTML file to keep, to send or to print.

Nothing in it is loaded from anywhere, and the page forbids it; all that people typed is
escaped.  Long texts are shortened so that it stays one page of A4 or letter paper; the
export has them whole.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Mapping
from importlib.resources import files
from math import ceil
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.fit.answer import FitAnswer
from photocheck.orders.harmless import one_line
from photocheck.orders.model import Check, Decision, Order
from photocheck.report.model import Report
from photocheck.shown.colours import BANNER_COLOURS
from photocheck.shown.picture import annotate
from photocheck.shown.record_facts import (
    ELLIPSIS,
    HEADLINE,
    LINE,
    LINES,
    NAME,
    PICTURES,
    REASON,
    SENTENCE,
    about,
    checked_pictures,
    cut_off,
    decision_said,
    doubt_table,
    latest_check,
    made_sentence,
    sections_of,
    spans_table,
)
from photocheck.speech import spoken, tr

PICTURE_WIDTH: Final = 1100
"""Widest picture, px: 110 mm of paper at 250 dots an inch."""
QUALITY: Final = 82


def order_record(
    order: Order, photo: Callable[[str], bytes], *, fit: FitAnswer | None = None
) -> str:
    """The record of an order's latest check and of the decision on it.

    Parameters
    ----------
    order : Order
    photo : callable
        Gives a photo's bytes by the name it has in the order.
    fit : FitAnswer, optional

    Raises
    ------
    OrderError
        When the order was not checked yet, or a photo is not the one that was checked.
    PhotoError
        When a photo cannot be read.
    """
    check = latest_check(order)
    return record_html(
        check,
        checked_pictures(check.report, photo),
        order=order.key,
        decision=order.decision,
        fit=fit,
    )


def record_html(
    check: Check,
    pictures: Mapping[str, NDArray[np.uint8]],
    *,
    order: str = "",
    decision: Decision | None = None,
    fit: FitAnswer | None = None,
) -> str:
    """One page for one check, said in the language spoken now.

    Parameters
    ----------
    check : Check
    pictures : mapping of photo path to (H, W, 3) uint8
        The upright photos; those that are missing are only named.
    order : str
        The order's key.
    decision : Decision, optional
    fit : FitAnswer, optional

    Returns
    -------
    str
        A whole HTML document.
    """
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    source = files("photocheck.shown").joinpath("record.html").read_text(encoding="utf-8")
    report = check.told
    name = one_line(report.case.name or report.case.dog.name, NAME)
    # Which program wrote the record, where that is another, takes a line of the foot.
    lines = LINES - len(report.photos) - (0 if check.by_this_program else 1)
    sections, whole = _room_for(sections_of(report, fit), lines)
    made = made_sentence(check)
    if not whole:
        made += " " + tr("Shortened to one page; the export has everything.")
    return environment.from_string(source).render(
        language=spoken(),
        title=name or tr("Order without a name"),
        record_of=tr("Record of one check"),
        headline=cut_off(report.headline, HEADLINE),
        ground="#{:02x}{:02x}{:02x}".format(*BANNER_COLOURS[report.verdict]),
        pictures=_pictures(report, pictures),
        about=about(check, order),
        spans=spans_table(report),
        tables=[doubt_table(report)] if report.budget else [],
        sections=sections,
        decision={"title": tr("Decision"), "said": decision_said(decision)},
        cautions=[cut_off(" ".join(report.cautions), 2 * REASON)] if report.cautions else [],
        photos_title=tr("Photos, each with its SHA-256 checksum:"),
        photos=[
            {"title": one_line(photo.path, NAME), "sha256": one_line(photo.sha256, 64)}
            for photo in report.photos
        ],
        made=made,
    )


def _pictures(report: Report, pictures: Mapping[str, NDArray[np.uint8]]) -> list[dict[str, str]]:
    made = []
    for index, entry in enumerate(report.case.photos[:PICTURES]):
        if entry.path not in pictures:
            continue
        rgb = annotate(pictures[entry.path], report, index, bare=True)
        alt = (
            tr("The photo from the front with its marks and widths.")
            if entry.view == "front"
            else tr("The side photo with its marks and the lengths drawn between them.")
        )
        made.append({"source": _data_uri(rgb), "alt": alt})
    return made


def _data_uri(rgb: NDArray[np.uint8]) -> str:
    from PIL import Image

    picture = Image.fromarray(rgb)
    picture.thumbnail((PICTURE_WIDTH, 4 * PICTURE_WIDTH), Image.Resampling.LANCZOS)
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=QUALITY, optimize=True)
    return f"data:image/jpeg;base64,{base64.b64encode(file.getvalue()).decode('ascii')}"


def _room_for(
    sections: list[tuple[str, list[str]]], left: int
) -> tuple[list[dict[str, Any]], bool]:
    """As much of the sections as so many lines hold, and whether that is all."""
    whole = True
    shown: list[dict[str, Any]] = []
    for title, texts in sections:
        items: list[str] = []
        left -= 2  # the title and the gap before it
        for text in dict.fromkeys(texts):
            said = cut_off(text, SENTENCE)
            lines = ceil(len(said) / LINE)
            if lines > left:
                whole = False
                continue
            whole = whole and not said.endswith(ELLIPSIS)
            left -= lines
            items.append(said)
        if items:
            shown.append({"title": title, "items": items})
        else:
            left += 2
    return shown, whole
