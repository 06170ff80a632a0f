"""The shop's own files at a desk that runs: its sizes, its learnt ratios, its templates.

They come from the environment, so that every process of a server sees the same, and are read
again when they have changed.  A file that became broken stays an error until it is put right:
nothing is ever replaced by what is shipped in silence.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from photocheck.errors import PhotocheckError
from photocheck.photo.kind import reads_heic
from photocheck.speech import tr

if TYPE_CHECKING:
    from photocheck.fit.shelf import Size
    from photocheck.judge.ratios import Ratios
    from photocheck.judge.tolerances import Tolerances

SHELF_VARIABLE: Final = "PHOTOCHECK_SHELF"
RATIOS_VARIABLE: Final = "PHOTOCHECK_RATIOS"
TEMPLATES_VARIABLE: Final = "PHOTOCHECK_TEMPLATES"
HEIC_VARIABLE: Final = "PHOTOCHECK_HEIC"
TOLERANCES_VARIABLE: Final = "PHOTOCHECK_TOLERANCES"
NAME_VARIABLE: Final = "PHOTOCHECK_SHOP"
REACH_VARIABLE: Final = "PHOTOCHECK_SHOP_REACH"
COLOUR_VARIABLE: Final = "PHOTOCHECK_SHOP_COLOUR"

_COLOUR: Final = re.compile(r"#[0-9a-fA-F]{6}")

_ANSWERS: Final = {"0": False, "no": False, "1": True, "yes": True}

_Stamp = tuple[int, int, int]


class ShopError(PhotocheckError):
    """What the environment says of the shop's files cannot be meant."""


@dataclass(frozen=True)
class Shop:
    """The shop's own files, and what it takes.

    Attributes
    ----------
    shelf : str
        The table of sizes; empty to make everything to measure.
    ratios : str
        The learnt ratios, a file of ``photocheck learn``; empty for those shipped.
    templates : str
        The folder of message templates; empty for those shipped.
    heic : bool
        Whether HEIC photos are taken in; where they can be read, unless said otherwise.
    tolerances : str
        What the shop lets pass, as `photocheck.judge.tolerances.read_tolerances` reads it; empty
        for what is shipped.
    name, reach : str
        What the workshop calls itself, and how to reach it, as its owners read it; empty for
        neither.
    colour : str
        Its own, as "#rrggbb"; empty for none.
    """

    shelf: str = ""
    ratios: str = ""
    templates: str = ""
    heic: bool = field(default_factory=reads_heic)
    tolerances: str = ""
    name: str = ""
    reach: str = ""
    colour: str = ""

    def sizes(self) -> tuple[Size, ...]:
        """The sizes on the shelf as the file has them now; empty when there is none.

        Raises
        ------
        ShelfError
        """
        return _sizes(self.shelf, _stamp(self.shelf)) if self.shelf else ()

    def learnt(self) -> Ratios | None:
        """The learnt ratios as the file has them now; None when there are none.

        Raises
        ------
        CaseError
        """
        return _learnt(self.ratios, _stamp(self.ratios)) if self.ratios else None

    def tolerated(self) -> Tolerances:
        """What the shop lets pass.

        Raises
        ------
        CaseError
        """
        from photocheck.judge.tolerances import read_tolerances

        return read_tolerances(self.tolerances, where=TOLERANCES_VARIABLE)

    def check(self) -> None:
        """Read everything once.

        Raises
        ------
        PhotocheckError
            What is wrong with the first file that cannot be used.
        """
        self.sizes()
        self.learnt()
        self.tolerated()
        if self.colour and not is_colour(self.colour):
            raise ShopError(
                tr("'{colour}' is no colour", colour=self.colour[:20]),
                where=COLOUR_VARIABLE,
                do=tr("Write it as #rrggbb, #1f4e5f for example"),
            )
        if self.templates:
            from photocheck.orders.messages.drafting import check_templates

            check_templates(self.templates)


def is_colour(text: str) -> bool:
    """Whether a text is a colour as a page takes it.

    >>> is_colour("#1f4e5f"), is_colour("red;")
    (True, False)
    """
    return _COLOUR.fullmatch(text) is not None


def environment_of(shop: Shop) -> dict[str, str]:
    """The variables that tell `shop_of` the same, in whatever folder it runs."""

    def whole(path: str) -> str:
        return os.path.abspath(path) if path else ""

    return {
        SHELF_VARIABLE: whole(shop.shelf),
        RATIOS_VARIABLE: whole(shop.ratios),
        TEMPLATES_VARIABLE: whole(shop.templates),
        HEIC_VARIABLE: "yes" if shop.heic else "no",
        TOLERANCES_VARIABLE: shop.tolerances,
        NAME_VARIABLE: shop.name,
        REACH_VARIABLE: shop.reach,
        COLOUR_VARIABLE: shop.colour,
    }


def shop_of(environment: Mapping[str, str] | None = None) -> Shop:
    """The shop that an environment tells of; that of this process by default.

    Raises
    ------
    ShopError
        When the answer on HEIC is neither yes nor no.
    """
    told = os.environ if environment is None else environment
    heic = told.get(HEIC_VARIABLE, "").strip().casefold()
    if heic and heic not in _ANSWERS:
        raise ShopError(
            tr("'{answer}' is neither yes nor no", answer=heic[:20]),
            where=HEIC_VARIABLE,
            do=tr("Write yes or no"),
        )
    return Shop(
        told.get(SHELF_VARIABLE, ""),
        told.get(RATIOS_VARIABLE, ""),
        told.get(TEMPLATES_VARIABLE, ""),
        _ANSWERS[heic] if heic else reads_heic(),
        told.get(TOLERANCES_VARIABLE, ""),
        told.get(NAME_VARIABLE, ""),
        told.get(REACH_VARIABLE, ""),
        told.get(COLOUR_VARIABLE, ""),
    )


def _stamp(path: str) -> _Stamp:
    """Another one whenever the file was written or replaced; zeros when it is not there."""
    try:
        found = Path(path).stat()
    except OSError:
        return 0, 0, 0
    return found.st_mtime_ns, found.st_size, found.st_ino


# An error is not kept: a broken file is read, and told of, each time.
@lru_cache(maxsize=4)
def _sizes(path: str, stamp: _Stamp) -> tuple[Size, ...]:
    from photocheck.fit.shelf import read_shelf

    return read_shelf(path)


@lru_cache(maxsize=4)
def _learnt(path: str, stamp: _Stamp) -> Ratios:
    from photocheck.judge.ratios import read_ratios

    return read_ratios(path)
