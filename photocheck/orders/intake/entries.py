"""What is to come in: one entry for each order of a table or of case files.

What an order is known by, so that importing it again does not double it: its number in a table
that has a column for it, the name of a case that has one, and else all that the row or case says.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

from photocheck.case.file import case_from_dict
from photocheck.case.model import Point
from photocheck.case.validity import MOST_PHOTOS
from photocheck.errors import CaseError, printable
from photocheck.orders.draft import Draft, DraftMarking
from photocheck.orders.filling import new_photo
from photocheck.orders.gaps import gaps
from photocheck.orders.intake.case_files import (
    some,
)
from photocheck.orders.intake.columns import Column, columns_of
from photocheck.orders.intake.headings import is_known
from photocheck.orders.intake.photo_folder import Matches, PhotoFolder
from photocheck.orders.intake.row import Told, told_by
from photocheck.orders.intake.table import Table, read_table, table_of
from photocheck.speech import tr


def no_such_photo(name: str) -> bytes:
    """What reads photos where there are none.

    Raises
    ------
    CaseError
    """
    raise CaseError(tr("there is no photo '{name}' in the folder", name=name[:80]))


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
        Its photos are called as `read` takes them.
    language : str
        The owner's; empty when not told.
    read : callable
        Gives a photo's bytes by its name, so that no more than one order's are in memory.
    remarks : tuple of str
        What it comes in without, each a sentence.
    without_photo : str
        Why it has none, where there is something to say of it; a sentence.
    before : (str, str) or None
        Origin and content as earlier versions had them, which read fewer columns, where they
        were others.
    whole : bool
        Whether it comes in with all its photos or not at all, as a case file does.
    checkable : bool
        Whether it can be checked once it lacks nothing; a remark says why not.
    """

    where: str
    title: str
    problems: tuple[str, ...] = ()
    origin: str = ""
    content: str = ""
    draft: Draft = field(default_factory=Draft)
    language: str = ""
    read: Callable[[str], bytes] = field(default=no_such_photo, compare=False)
    remarks: tuple[str, ...] = ()
    without_photo: str = ""
    before: tuple[str, str] | None = None
    whole: bool = False
    checkable: bool = True


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
    content: bytes | None = None,
) -> Entries:
    """The orders of a table in a file.

    Parameters
    ----------
    path : path
    folder : PhotoFolder or None
        Where photos lie.
    told, remembered
        As for `photocheck.orders.intake.columns.columns_of`.
    unit : str
        Of lengths for which the table tells none, "cm" or "in"; may be empty.
    content : bytes, optional
        Of a table that is no file; `path` is what to call it then.

    Raises
    ------
    CaseError
        When it is no table, or its columns cannot be told apart.
    """
    table = (
        read_table(path, is_known)
        if content is None
        else table_of(content, is_known, name=str(path))
    )
    columns = columns_of(table.head, told, remembered, where=str(path))
    refuse_unknown(
        columns,
        where=str(path),
        do=tr("Check the first line, or say what a column holds: --column half_neck=HEADING"),
    )
    where = tr("Say where photos lie: --photos FOLDER.")
    return entries_of(table, folder, columns=columns, unit=unit, no_folder=where)


def entries_of(
    table: Table,
    folder: PhotoFolder | None,
    *,
    columns: Sequence[Column],
    unit: str,
    no_folder: str,
) -> Entries:
    """The orders of a table whose columns are known.

    An order whose photo is still to come comes in without it; the same table again, with the
    photo there, completes it.

    Parameters
    ----------
    table : Table
    folder : PhotoFolder or None
        Where photos lie.
    columns : sequence of Column
    unit : str
    no_folder : str
        What to do about photos that are named while there is no folder, a sentence.
    """
    rows = {row.line: told_by(columns, row.cells, unit) for row in table.rows if not row.problem}
    matches = _matches(rows, folder, no_folder)
    seen: dict[str, tuple[int, str]] = {}
    entries = [
        Entry(tr("line {line}", line=row.line), "", (row.problem,))
        if row.problem
        else _entry(row.line, rows[row.line], matches, folder, seen)
        for row in table.rows
    ]
    notes = []
    if table.others:
        notes.append(
            tr(
                "Read was the sheet '{name}'; not read: {others}.",
                name=table.sheet,
                others=some(table.others),
            )
        )
    used = {name for names in matches.photos.values() for name in names}
    if idle := [name for name in (folder.files if folder else ()) if name not in used]:
        notes.append(tr("Photos that no order has: {names}.", names=some(idle)))
    if folder and folder.outside:
        notes.append(
            tr("Passed over, for they lead out of the folder: {names}.", names=some(folder.outside))
        )
    return Entries(tuple(entries), tuple(columns), tuple(map(printable, notes)))


def refuse_unknown(columns: Sequence[Column], *, where: str, do: str) -> None:
    """Refuse a table of which no column is known.

    Raises
    ------
    CaseError
    """
    if not any(column.field for column in columns):
        raise CaseError(tr("no column is headed by a word that is known here"), where=where, do=do)


def _matches(rows: Mapping[int, Told], folder: PhotoFolder | None, no_folder: str) -> Matches:
    photos: dict[int, list[str]] = {}
    problems: dict[int, str] = {}
    wanted: dict[int, Sequence[str]] = {}
    for line, told in rows.items():
        if told.photo and folder is None:
            said = tr("The photo '{name}' cannot be looked for.", name=told.photo[:80])
            problems[line] = f"{said} {no_folder}".strip()
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
    return Matches({n: names for n, names in photos.items() if n not in problems}, problems)


def _entry(
    line: int,
    told: Told,
    matches: Matches,
    folder: PhotoFolder | None,
    seen: dict[str, tuple[int, str]],
) -> Entry:
    where = tr("line {line}", line=line)
    origin, content, before = _known_by(told)
    names = matches.photos.get(line, [])
    remarks = list(told.remarks)
    draft, markings = told.draft, (DraftMarking(told.marks, by="import"),) if told.marks else ()
    if markings and len(names) > 1:
        draft, markings = _noted(draft, told.marks), ()
        remarks.append(
            tr(
                "Marks in a table are for one photo, and there are several: the order comes in "
                "without them; its notes keep them."
            )
        )
    photos = tuple(new_photo(name, told.reference, markings) for name in names)
    draft = draft.but("photos", photos)
    checkable = True
    if not told.problems and not gaps(draft):
        try:
            case_from_dict(draft.to_dict(), where=where, check_files=False)
        except CaseError as error:
            remarks.append(str(error))
            checkable = False
    return Entry(
        where,
        told.title,
        tuple(map(printable, (*told.problems, *_twice(origin, content, line, seen)))),
        origin,
        content,
        draft,
        told.language,
        no_such_photo if folder is None else folder.read,
        tuple(map(printable, remarks)),
        printable(matches.problems.get(line, "")),
        before,
        checkable=checkable,
    )


def _noted(draft: Draft, marks: Mapping[str, Point]) -> Draft:
    """A copy whose notes hold the marks."""
    lines = [f"{name}: {x:g} {y:g}" for name, (x, y) in marks.items()]
    notes = "\n".join(filter(None, (draft.owner.notes, *lines)))
    return draft.but("owner", draft.owner.but("notes", notes))


def _known_by(told: Told) -> tuple[str, str, tuple[str, str] | None]:
    """Origin and content, and the two as earlier versions had them where they were others.

    What an order was known by in earlier versions it is known by for good.
    """
    said = {
        **{name: getattr(told, name) for name in ("order", "name", "dog", "language", "marks")},
        **{"problems": (), "photo": ""},
        "draft": told.draft.but("owner", None).to_dict(),
        "reference": told.reference.to_dict(),
    }
    number = hash_of("order", told.order.casefold()) if told.order else ""
    old = hash_of("row", said)
    owner = told.draft.owner
    more = [owner.email, owner.telephone, owner.notes]
    if not any(more):
        return number or old, old, None
    new = hash_of("row", {**said, "owner": more})
    return number or new, new, (number or old, old)


def _twice(origin: str, content: str, line: int, seen: dict[str, tuple[int, str]]) -> Iterator[str]:
    before, said = seen.setdefault(origin, (line, content))
    if before != line and said == content:
        yield tr("Line {before} says the same. Delete one of them.", before=before)
    elif before != line:
        yield tr(
            "Line {before} has this order already and says something else. Correct one of them.",
            before=before,
        )


def hash_of(kind: str, what: Any) -> str:
    """SHA-256 of anything that can be written as JSON."""
    text = json.dumps([kind, what], ensure_ascii=True, sort_keys=True, allow_nan=False)
    return sha256(text.encode()).hexdigest()
