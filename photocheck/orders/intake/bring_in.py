"""Case files and their photos, brought in as new orders."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from photocheck.case.file import case_from_dict
from photocheck.case.validity import validate
from photocheck.errors import CaseError
from photocheck.orders.draft import Draft
from photocheck.orders.filling import renamed
from photocheck.orders.model import Store
from photocheck.schemas.reading import parse_json
from photocheck.speech import tr
from photocheck.uploads import LIMITS, Limits, take_for_order

File = tuple[str, bytes]
"""A name and what is in it."""


@dataclass(frozen=True)
class BroughtIn:
    """A new order, and what was handed in for nothing.

    Attributes
    ----------
    key : str
        Of the order; it holds the case as its draft and is not checked yet.
    unused : tuple of str
        Names of photos the case does not name.
    """

    key: str
    unused: tuple[str, ...]


def bring_in(
    store: Store,
    case_file: File,
    photos: Sequence[File],
    *,
    language: str = "en",
    limits: Limits = LIMITS,
) -> BroughtIn:
    """Open an order for a case file and its photos.

    Photos are told apart by name alone, for a browser does not say in which folder a file
    lay; small and capital letters count as the same.  No photo is read from disk, whatever
    path the case names.  What is kept is each photo written anew, of the same size in px, so
    that the marks stay where they are.

    Parameters
    ----------
    store : Store
    case_file : File
    photos : sequence of File
    language : str
        The owner's.
    limits : Limits
        For each photo.

    Raises
    ------
    CaseError
        When the case file cannot be used, or its photos are not all there.
    PhotoError
        When a photo is not taken in, or they are more than an order may hold.  No order is
        opened then.
    BusyError
        When too many photos are being read.
    """
    where, content = case_file
    data = parse_json(content, where=where)
    used, unused = photos_of_case(data, photos, where=where)
    taken: dict[str, bytes] = {}
    for path, photo in used.items():
        held = [len(content) for content in taken.values()]
        taken[path] = take_for_order(photo, held, limits=limits, where=path).content
    key = store.open(language)
    try:
        kept = {path: store.keep_photo(key, photo) for path, photo in taken.items()}
        store.save_draft(key, renamed(Draft.from_dict(data), kept))
    except BaseException:
        # Half an order is worth nothing to anybody.
        store.forget(key)
        raise
    return BroughtIn(key, unused)


def photos_of_case(
    data: Any, photos: Sequence[File], *, where: str
) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """What a case can be checked with, if it can be.

    Parameters
    ----------
    data : parsed JSON
    photos : sequence of File
        Nothing of them is decoded.

    Returns
    -------
    (dict of path to bytes, tuple of str)
        The photos, each by the path the case has for it; names of those it does not name.

    Raises
    ------
    CaseError
        When the case cannot be used, or its photos are not all there.
    """
    case = case_from_dict(data, where=where, check_files=False)
    # Before the photos: loading them takes long, and a case may name any number.
    validate(case)
    given = _by_name([name for name, _ in photos], tr("uploaded photos"))
    named = _by_name({entry["file"] for entry in data["photos"]}, tr("photos of the case"))
    missing = [path for name, path in named.items() if name not in given]
    if missing:
        raise CaseError(
            tr("the photo '{name}' was not uploaded", name=missing[0]),
            where=where,
            do=tr("Add it, under the name the case file gives it"),
        )
    contents = dict(photos)
    used = {path: contents[given[name]] for name, path in named.items()}
    return used, tuple(name for k, name in given.items() if k not in named)


def _by_name(names: Sequence[str] | set[str], what: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for name in sorted(names):
        if _key(name) in found:
            raise CaseError(
                tr("two {what} share the name '{name}'", what=what, name=_base(name)),
                do=tr("Rename one of them, here and in the case file"),
            )
        found[_key(name)] = name
    return found


def _base(path: str) -> str:
    # A case file written on another system may part folders with backslashes.
    return path.replace("\\", "/").rpartition("/")[2]


def _key(path: str) -> str:
    # The same letters are stored in different ways on different systems.
    return unicodedata.normalize("NFC", _base(path)).casefold()
