"""What blur and bad light at the marks cost in doubt, each with what puts it right.

A blurred edge can be placed no better than its blur, which the scale turns into centimetres of
doubt on the dog.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from photocheck.case.model import Point
from photocheck.photo.quality import BLURRED, CLIPPED, MarkQuality
from photocheck.photo.remark import Remark
from photocheck.speech import later, listed, tr

EDGE_SHARE: Final = 0.5
"""How well people place a mark on a blurred edge: this share of the blur's radius
(judgement; an edge blurred by a Gaussian rises from 31 to 69 % over one radius)."""
MARK_DOUBT_MM: Final = 5.5
"""What a mark is doubted by anyway, as in the estimate (`photocheck.body.shape`)."""


def blur_remarks(
    titles: Mapping[str, str],
    points_px: Mapping[str, Point],
    blurs_px: Sequence[float | None],
    px_per_cm: float,
    qualities: Sequence[MarkQuality],
) -> tuple[Remark, ...]:
    """Remarks on marks whose edge is so blurred that it adds to their doubt.

    Parameters
    ----------
    titles : mapping of landmark name to words
    points_px : mapping of landmark name to Point
    blurs_px : sequence of float or None
        From `edge_blur`, in the order of `points_px`.
    px_per_cm : float
        At the dog.
    qualities : sequence of MarkQuality
        From `photocheck.photo.quality.quality_at`, in the same order.

    A remark is made where the blur alone doubts the mark by as much as it is doubted anyway,
    and the fine texture around it is blurred too: where there is only a shadow's soft edge,
    hair and grain stay sharp.
    """
    if not px_per_cm > 0:
        raise ValueError("px_per_cm must be above zero")
    bad = [
        (name, blur)
        for name, blur, quality in zip(points_px, blurs_px, qualities, strict=True)
        if blur is not None
        and 10.0 * EDGE_SHARE * blur / px_per_cm >= MARK_DOUBT_MM
        and quality.blur is not None
        and quality.blur > BLURRED
    ]
    if not bad:
        return ()
    worst = max(blur for _, blur in bad)
    doubt = 10.0 * EDGE_SHARE * worst / px_per_cm
    names = tuple(name for name, _ in bad)
    return (
        Remark(
            "blurred",
            tr(
                "The photo is blurred at the {names}: an edge there is smeared over "
                "{px_per_cm:.1f} cm, so that a mark may be {doubt:.1f} cm off.",
                names=listed([tr(titles[n]) for n in names]),
                px_per_cm=2.0 * worst / px_per_cm,
                doubt=doubt / 10.0,
            ),
            tr(
                "Hold the phone with both hands, tap the dog to focus, and take the "
                "photo in more light while the dog stands still."
            ),
            marks=names,
            doubt_mm=doubt,
            at_px=tuple(points_px[n] for n in names),
        ),
    )


def light_remarks(
    titles: Mapping[str, str],
    points_px: Mapping[str, Point],
    qualities: Sequence[MarkQuality],
    *,
    clipped: float = CLIPPED,
) -> tuple[Remark, ...]:
    """Remarks on marks in black shadow or burnt-out light.

    Parameters
    ----------
    titles, points_px
        As for `blur_remarks`.
    qualities : sequence of MarkQuality
        From `photocheck.photo.quality.quality_at`, in the order of `points_px`.
    clipped : float
        Share of a mark's window at black or white from which it is remarked on.
    """
    said = []
    cases = (
        (
            "dark",
            "too_dark",
            later(
                "The photo is black at the {where}: {share} % of the picture around it shows "
                "nothing."
            ),
            later(
                "Turn so that the light falls on the dog's side, or add light, and take the photo "
                "again."
            ),
        ),
        (
            "bright",
            "too_bright",
            later(
                "The photo is burnt out at the {where}: {share} % of the picture around it shows "
                "nothing."
            ),
            later(
                "Go into even shade, or tap the dog on the screen so that the phone sets its light "
                "by it, and take the photo again."
            ),
        ),
    )
    for name, figure, sentence, instruction in cases:
        bad = [
            (mark, getattr(quality, figure))
            for mark, quality in zip(points_px, qualities, strict=True)
            if getattr(quality, figure) > clipped
        ]
        if bad:
            marks = tuple(mark for mark, _ in bad)
            share = max(part for _, part in bad)
            where = listed([tr(titles[m]) for m in marks])
            said.append(
                Remark(
                    name,
                    tr(sentence, where=where, share=f"{100 * share:.0f}"),
                    tr(instruction),
                    marks=marks,
                    at_px=tuple(points_px[m] for m in marks),
                )
            )
    return tuple(said)
