"""How much one order may hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from photocheck.errors import PhotoError
from photocheck.speech import tr, tr_n
from photocheck.uploads.take import LIMITS, Limits, Upload, take_upload


@dataclass(frozen=True)
class Quota:
    """What one order may hold.

    Attributes
    ----------
    photos : int
    total_bytes : int
        Of all its photos as they are kept.
    """

    photos: int = 24
    total_bytes: int = 300_000_000

    def refuse_beyond(self, held: Sequence[int], more: int, *, where: str = "") -> None:
        """Refuse one more photo of `more` bytes when the order cannot hold it.

        Parameters
        ----------
        held : sequence of int
            Bytes of each photo the order holds.
        more : int
        where : str
            What to call the photo in messages.

        Raises
        ------
        PhotoError
        """
        if len(held) >= self.photos:
            raise PhotoError(
                tr_n(
                    "this order holds {count} photo already, the most it may",
                    "this order holds {count} photos already, the most it may",
                    len(held),
                ),
                where=where,
                do=tr("Use one of them, or ask the workshop"),
            )
        if sum(held) + more > self.total_bytes:
            raise PhotoError(
                tr(
                    "the photos of this order would have more than {most:.0f} MB together",
                    most=self.total_bytes / 1e6,
                ),
                where=where,
                do=tr("Send a smaller copy, 4000 pixels wide for example"),
            )


QUOTA: Final = Quota()
"""Twice the photos a check uses at most, and 12 MB for each (judgement)."""


def take_for_order(
    content: bytes,
    held: Sequence[int],
    *,
    quota: Quota = QUOTA,
    limits: Limits = LIMITS,
    where: str = "photo",
) -> Upload:
    """`take_upload` for an order that holds photos of `held` bytes.

    The quota is looked at before the file is decoded and again before it is given back.  Of
    uploads to one order at the same moment only the store sees all, and looks once more
    (`photocheck.orders.model.Store.keep_photo`).

    Parameters
    ----------
    content : bytes
    held : sequence of int
        Bytes of each photo the order holds (`photocheck.orders.model.Store.photo_bytes`).
    quota : Quota
    limits : Limits
    where : str
        What to call the photo in messages.

    Raises
    ------
    PhotoError
        When the order can hold no more, and as `take_upload` does.
    BusyError
        As `take_upload` does.
    """
    quota.refuse_beyond(held, 0, where=where)
    upload = take_upload(content, limits=limits, where=where)
    quota.refuse_beyond(held, len(upload.content), where=where)
    return upload
