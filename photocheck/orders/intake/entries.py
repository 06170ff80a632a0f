"""What is to come in: one entry for each order of a table or of case files.

What an order is known by, so that importing it again does not double it: its number in a table
that has a column for it, the name of a case that has one, and else all that the row or case says.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any

from photocheck.case.file import case_from_dict
from photocheck.case.validity import MOST_PHOTOS
from photocheck.errors import CaseError, PhotocheckError, printable, reason_of
from photocheck.orders.draft import Draft, DraftMarking
from photocheck.orders.filling import new_photo
from photocheck.orders.gaps import gaps
from photocheck.orders.intake.bring_in import photos_of_case
from photocheck.orders.intake.case_files import (
    CaseSource,
    find_cases,
    passed_over,
    photo_names,
    some,
)
from photocheck.orders.intake.headings import Column, columns_of, is_known
from photocheck.orders.intake.photo_folder import Matches, PhotoFolder
from photocheck.orders.intake.row import Told, told_by
from photocheck.orders.intake.table import read_table
from photocheck.speech import tr

File = tuple[str, bytes]


@dataclass(frozen=True)
class Entry:
    """An order to come in, or why it cannot.

    Attributes
    ----------
    where : str
        "line 7" of a table, or the case file.
    title : str
        What the order is called.
    problems : tuple of str
        Sentences; when there are any, the rest counts for nothing.
    origin, content : str
        SHA-256 of what it is known by, and of what it says.
    draft : Draft
        Its photos are called as `photos` gives them.
    language : str
        The owner's; empty when not told.
    photos : callable
        Reads the photos' files, so that no more than one order's are in memory.
    """

    where: str
    title: str
    problems: tuple[str, ...] = ()
    origin: str = ""
    content: str = ""
    draft: Draft = field(default_factory=Draft)
    language: str = ""
    photos: Callable[[], Sequence[File]] = tuple


@dataclass(frozen=True)
class Entries:
    """All that is to come in.

    Attributes
    ----------
    entries : tuple of Entry
    columns : tuple of Column
        Of a table; empty for case files.
    notes : tuple of str
        Sentences about what was passed over.
    """

    entries: tuple[Entry, ...]
    columns: tuple[Column, ...]
    notes: tuple[str, ...]


def entries_of_table(
    path: str | os.PathLike[str],
    folder: PhotoFolder | None,
    *,
    told: Mapping[str, str],
    remembered: Mapping[str, str],
    unit: str,
) -> Entries:
    """The orders of a CSV file.

    Parameters
    ----------
    path : path
    folder : PhotoFolder or None
        Where photos lie; with it, an order without a photo is held back.
    told, remembered
        As for `photocheck.orders.intake.headings.columns_of`.
    unit : str
        Of lengths for which the table tells none, "cm" or "in"; may be empty.

    Raises
    ------
    CaseError
        When it is no table, or its columns cannot be told apart.
    """
    table = read_table(path, is_known)
    columns = columns_of(table.head, told, remembered, where=str(path))
    if not any(column.field for column in columns):
        raise CaseError(
            tr("no column is headed by a word that is known here"),
            where=str(path),
            do=tr("Check the first line, or say what a column holds: --column half_neck=HEADING"),
        )
    rows = {row.line: told_by(columns, row.cells, unit) for row in table.rows if not row.problem}
    matches = _matches(rows, folder)
    seen: dict[str, tuple[int, str]] = {}
    entries = [
        Entry(tr("line {line}", line=row.line), "", (row.problem,))
        if row.problem
        else _entry(row.line, rows[row.line], matches, folder, seen)
        for row in table.rows
    ]
    used = {name for names in matches.photos.values() for name in names}
    idle = [] if folder is None else [name for name in folder.files if name not in used]
    notes = (tr("Photos that no order has: {names}.", names=some(idle)),) if idle else ()
    return Entries(tuple(entries), columns, notes)


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


def _matches(rows: Mapping[int, Told], folder: PhotoFolder | None) -> Matches:
    photos: dict[int, list[str]] = {}
    problems: dict[int, str] = {}
    wanted: dict[int, Sequence[str]] = {}
    for line, told in rows.items():
        if told.photo and folder is None:
            problems[line] = tr(
                "The photo '{name}' cannot be looked for. Say where photos lie: --photos FOLDER.",
                name=told.photo[:80],
            )
        elif told.photo and folder is not None:
            try:
                photos[line] = folder.named(told.photo)
            except CaseError as error:
                problems[line] = str(error)
        else:
            wanted[line] = [name for name in (told.order, told.name, told.dog) if name]
    if folder is not None:
        matched = folder.matched(wanted, {name for names in photos.values() for name in names})
        photos |= matched.photos
        problems |= matched.problems
        for line in wanted:
            if line not in photos and line not in problems:
                problems[line] = tr(
                    "No photo is named after this order. Name it in a column 'photo', or rename "
                    "the photo."
                )
    for line, names in photos.items():
        if len(names) > MOST_PHOTOS:
            problems[line] = tr(
                "There are {count} photos. Choose the best {most} or fewer.",
                count=len(names),
                most=MOST_PHOTOS,
            )
        elif len(names) > 1 and rows[line].marks:
            problems[line] = tr("Marks in a table are for one photo. Leave the others out.")
    return Matches({n: names for n, names in photos.items() if n not in problems}, problems)


def _entry(
    line: int,
    told: Told,
    matches: Matches,
    folder: PhotoFolder | None,
    seen: dict[str, tuple[int, str]],
) -> Entry:
    where = tr("line {line}", line=line)
    said = {"draft": told.draft.to_dict(), "reference": told.reference.to_dict()}
    # What an order was known by in earlier versions it is known by for good.
    content = _hash("row", {**vars(told), **said, "problems": (), "photo": ""})
    origin = _hash("order", told.order.casefold()) if told.order else content
    names = matches.photos.get(line, [])
    markings = (DraftMarking(told.marks, by="import"),) if told.marks else ()
    photos = tuple(new_photo(name, told.reference, markings) for name in names)
    draft = told.draft.but("photos", photos)
    problems = list(told.problems)
    if line in matches.problems:
        problems.append(matches.problems[line])
    if not problems and not gaps(draft):
        try:
            case_from_dict(draft.to_dict(), where=where, check_files=False)
        except CaseError as error:
            problems.append(str(error))
    problems += _twice(origin, content, line, seen)
    files = {} if folder is None else {name: folder.files[name] for name in names}
    return Entry(
        where,
        told.title,
        tuple(map(printable, problems)),
        origin,
        content,
        draft,
        told.language,
        partial(_read, files),
    )


def _twice(origin: str, content: str, line: int, seen: dict[str, tuple[int, str]]) -> Iterator[str]:
    before, said = seen.setdefault(origin, (line, content))
    if before != line and said == content:
        yield tr("Line {before} says the same. Delete one of them.", before=before)
    elif before != line:
        yield tr(
            "Line {before} has this order already and says something else. Correct one of them.",
            before=before,
        )


def _case_entry(
    source: CaseSource, folder: PhotoFolder | None, seen: dict[str, tuple[int, str]]
) -> Entry:
    try:
        data = source.read()
        photos = source.photos(data, folder)
        photos_of_case(data, photos, where=source.title)
    except PhotocheckError as error:
        return Entry(source.title, "", (str(error),))
    content = _hash("case", [data, [sha256(photo).hexdigest() for _, photo in photos]])
    name = str(data.get("name", "")).strip()
    origin = _hash("case name", name.casefold()) if name else content
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
        photos=partial(_photos_again, source, data, folder),
    )


def _photos_again(source: CaseSource, data: Any, folder: PhotoFolder | None) -> list[File]:
    photos = source.photos(data, folder)
    wanted = photo_names(data)
    return sorted(photos, key=lambda photo: wanted.index(photo[0]))


def _read(files: Mapping[str, Path]) -> list[File]:
    read = []
    for name, path in files.items():
        try:
            read.append((name, path.read_bytes()))
        except OSError as error:
            raise CaseError(
                tr("the photo cannot be opened ({reason})", reason=reason_of(error)),
                where=name,
                do=tr("Check that you may read it"),
            ) from error
    return read


def _hash(kind: str, what: Any) -> str:
    text = json.dumps([kind, what], ensure_ascii=True, sort_keys=True, allow_nan=False)
    return sha256(text.encode()).hexdigest()
