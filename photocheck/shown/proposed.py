"""A proposal as text and as a picture: hollow rings, for nobody has placed anything yet."""

from __future__ import annotations

from math import ceil, floor, sqrt
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.propose.proposal import Proposal, ProposedMark
from photocheck.propose.why_none import said_of
from photocheck.shown.colours import DARK, REFERENCE_COLOUR, WHITE
from photocheck.shown.crop import view_of
from photocheck.shown.lettering import font_for
from photocheck.shown.naming import draw_labels, labels_of
from photocheck.shown.plain import wrapped
from photocheck.shown.strokes import mark_radius
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES

if TYPE_CHECKING:
    from PIL import ImageDraw

ROOM: Final = 0.12
"""Room about the dog's frame, as a share of its longer side."""
DASHES: Final = 8
"""Pieces of a hollow ring."""


def plain_proposal(proposal: Proposal) -> str:
    """What is proposed, or why nothing is, as text."""
    lines = []
    if proposal.marks:
        lines.append(tr("proposed, for you to confirm (x,y px, standard deviation)"))
        lines += [_line(name, mark) for name, mark in proposal.marks.items()]
    if proposal.facing:
        turned = {"left": tr("The dog faces left."), "right": tr("The dog faces right.")}
        lines.append(turned[proposal.facing])
    if proposal.frame:
        # with points in every language, as options take them
        corners = ",".join(f"{value:.0f}" for value in proposal.frame)
        lines.append(tr("The dog's frame: {corners} (left, top, right, bottom).", corners=corners))
    if proposal.why_none:
        lines.append(wrapped(said_of(proposal.why_none)))
    return "\n".join(lines)


def _line(name: str, mark: ProposedMark) -> str:
    x, y = mark.xy
    spread = sqrt((mark.covariance[0][0] + mark.covariance[1][1]) / 2.0)
    sure = tr("{share:.0f} in 100 lie within 5 % of the trunk", share=100.0 * mark.confidence)
    return f"  {x:.1f},{y:.1f} ±{spread:.1f}  {tr(LANDMARK_TITLES[name])}; {sure}"


def draw_proposal(photo_rgb: NDArray[np.uint8], proposal: Proposal) -> NDArray[np.uint8]:
    """Draw a proposal onto the part of the photo that shows the dog.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
    proposal : Proposal

    Returns
    -------
    (h, w, 3) uint8
        `MIN_WIDTH` to `MAX_WIDTH` wide.
    """
    from PIL import ImageDraw

    height, width = photo_rgb.shape[:2]
    part = (0, 0, width, height)
    if proposal.frame:
        left, top, right, bottom = proposal.frame
        room = ROOM * max(right - left, bottom - top)
        part = (
            max(floor(left - room), 0),
            max(floor(top - room), 0),
            min(ceil(right + room) + 1, width),
            min(ceil(bottom + room) + 1, height),
        )
    view = view_of(photo_rgb, part)
    photo, size_px = view.photo.convert("RGB"), view.size_px
    draw = ImageDraw.Draw(photo)
    if proposal.frame:
        box = [*view.at(proposal.frame[:2]), *view.at(proposal.frame[2:])]
        draw.rectangle(box, outline=DARK, width=round(size_px / 4))
        draw.rectangle(box, outline=REFERENCE_COLOUR, width=round(size_px / 8))
    marks = {name: view.at(mark.xy) for name, mark in proposal.marks.items()}
    for name, at in marks.items():
        _hollow(draw, at, mark_radius(name, size_px), size_px / 8)
    if proposal.needed:
        labels = labels_of(marks, [], "", photo.size, size_px)
        font = font_for(size_px)
        draw_labels(draw, photo.size, labels, None, {}, marks, [], font, size_px)
    return np.asarray(photo)


def _hollow(
    draw: ImageDraw.ImageDraw, at: tuple[float, float], radius: float, width: float
) -> None:
    """A ring in pieces, on a dark rim."""
    for colour, reach, wide in ((DARK, width, 3 * width), (WHITE, 0.0, width)):
        size = radius + reach
        box = (at[0] - size, at[1] - size, at[0] + size, at[1] + size)
        for piece in range(DASHES):
            start = 360.0 * piece / DASHES
            draw.arc(box, start, start + 200.0 / DASHES, colour, max(1, round(wide)))
