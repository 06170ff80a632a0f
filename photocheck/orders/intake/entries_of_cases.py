"""What is to come in of case files: one entry for each case."""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import partial
from hashlib import sha256
from typing import Any

from photocheck.errors import PhotocheckError, printable
from photocheck.orders.draft import Draft
from photocheck.orders.intake.bring_in import photos_of_case
from photocheck.orders.intake.case_files import CaseSource, find_cases, passed_over
from photocheck.orders.intake.entries import Entries, Entry, hash_of, no_such_photo
from photocheck.orders.intake.photo_folder import PhotoFolder
from photocheck.speech import tr


def entries_of_cases(
    paths: Sequence[str | os.PathLike[str]], folder: PhotoFolder | None
) -> Entries:
    """The orders of case files.

    Raises
    ------
    CaseError
        When there is not a single one.
    """
    sources, others = find_cases(paths)
    seen: dict[str, tuple[int, str]] = {}
    entries = tuple(_case_entry(source, folder, seen) for source in sources)
    return Entries(entries, (), passed_over(others))


def _case_entry(
    source: CaseSource, folder: PhotoFolder | None, seen: dict[str, tuple[int, str]]
) -> Entry:
    try:
        data = source.read()
        photos = source.photos(data, folder)
        photos_of_case(data, photos, where=source.title)
    except PhotocheckError as error:
        return Entry(source.title, "", (str(error),))
    content = hash_of("case", [data, [sha256(photo).hexdigest() for _, photo in photos]])
    name = str(data.get("name", "")).strip()
    origin = hash_of("case name", name.casefold()) if name else content
    problems: tuple[str, ...] = ()
    before = seen.setdefault(origin, (len(seen), source.title))
    if before[1] != source.title:
        problems = (
            tr(
                "{file} has the same name, '{name}'. Give one of them another.",
                file=before[1],
                name=name,
            ),
        )
    return Entry(
        source.title,
        name or str(data.get("dog", {}).get("name", "")),
        tuple(map(printable, problems)),
        origin,
        content,
        Draft.from_dict(data),
        read=partial(_photo_again, source, data, folder),
        whole=True,
    )


def _photo_again(source: CaseSource, data: Any, folder: PhotoFolder | None, name: str) -> bytes:
    for _, content in source.photos(data, folder, only=name):
        return content
    return no_such_photo(name)
