"""Entries brought into the store, each whole or not at all, and none twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Final

from photocheck.errors import PhotocheckError
from photocheck.orders.draft import Draft, DraftPhoto
from photocheck.orders.gaps import gaps
from photocheck.orders.intake.entries import Entry
from photocheck.orders.model import StoreError
from photocheck.orders.store.brought import Brought, all_brought, fill_in, find_brought, put_order
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.worn_tags import FoundTags, told_by_tags
from photocheck.speech import tr
from photocheck.uploads import LIMITS, Limits, take_for_order

FindTags = Callable[[bytes, str], FoundTags]

OUTCOMES: Final = ("new", "completed", "there", "held_back")
"""Came in; was there and got its photos or new values; was there already; has problems."""


@dataclass(frozen=True)
class Result:
    """What became of an entry.

    Attributes
    ----------
    where, title : str
        The entry's.
    outcome : str
        One of `OUTCOMES`.
    problems : tuple of str
        Why it was held back, sentences.
    key : str
        Of the order; empty when it was held back, is only tried, or was forgotten since.
    ready : bool
        Whether the order lacks nothing and has not been checked.
    remarks : tuple of str
        What the order came in without, sentences.
    waits : bool
        Whether it waits for a photo.
    """

    where: str
    title: str
    outcome: str
    problems: tuple[str, ...] = ()
    key: str = ""
    ready: bool = False
    remarks: tuple[str, ...] = ()
    waits: bool = False


def bring(
    store: DatabaseStore | None,
    entries: Iterable[Entry],
    *,
    language: str,
    try_only: bool = False,
    update: bool = False,
    limits: Limits | None = LIMITS,
    find_tags: FindTags | None = None,
    on_result: Callable[[Result], None] | None = None,
) -> list[Result]:
    """Bring orders in.  An order whose result was given is in the store for good.

    A photo that cannot be taken costs that photo, and the order comes in.

    Parameters
    ----------
    store : DatabaseStore or None
        None, for a store that is not there yet, only when nothing but a try is asked for.
    entries : iterable of Entry
    language : str
        The owners', where an entry tells none.
    try_only : bool
        Look at everything, photos too, and bring nothing in.
    update : bool
        Whether an entry that says something else than when it came in replaces what its order
        says, as long as that has not been checked.
    limits : Limits or None
        For the photos, which are written anew as those that owners upload; None, only when
        nothing but a try is asked for, to look at no photo.
    find_tags : callable, optional
        Gives the tags on the dog of a photo, of its bytes and view; they mark the photos of
        orders that lack nothing else.
    on_result : callable, optional
    """
    results = []
    known = None
    if try_only and store is not None:
        # Nothing comes in meanwhile, so all may be asked for at once.
        entries = tuple(entries)
        known = all_brought(store, (it for entry in entries for it in _origins(entry)))
    how = _How(language, try_only, update, limits, find_tags, known)
    for entry in entries:
        try:
            result = _bring(store, entry, how)
        except StoreError:
            raise
        except PhotocheckError as error:
            result = Result(entry.where, entry.title, "held_back", (str(error),))
        results.append(result)
        if on_result:
            on_result(result)
    return results


def counted(results: Iterable[Result]) -> Counter[str]:
    """How many of each outcome."""
    return Counter(result.outcome for result in results)


@dataclass(frozen=True)
class _How:
    """As `bring` was told."""

    language: str
    try_only: bool
    update: bool
    limits: Limits | None
    find_tags: FindTags | None
    known: Mapping[str, Brought] | None
    """What came in before, where that was asked for at once."""


def _origins(entry: Entry) -> tuple[str, ...]:
    return (entry.origin, entry.before[0]) if entry.before else (entry.origin,)


def _before(store: DatabaseStore, origin: str, how: _How) -> Brought | None:
    return find_brought(store, origin) if how.known is None else how.known.get(origin)


def _bring(store: DatabaseStore | None, entry: Entry, how: _How) -> Result:
    if entry.problems:
        return Result(entry.where, entry.title, "held_back", entry.problems)
    if store is not None:
        known_by = [(entry.origin, entry.content), *([entry.before] if entry.before else [])]
        for origin, _ in known_by:
            if before := _before(store, origin, how):
                same = before.content in [content for _, content in known_by]
                return _again(store, before, replace(entry, origin=origin), how, changed=not same)
    photos, wrong = _taken(entry, how.limits)
    draft = _with_taken(entry, photos, how)
    if how.try_only or store is None:
        return _told(entry, "new", "", draft, wrong)
    key, new = put_order(
        store,
        draft,
        photos,
        origin=entry.origin,
        content=entry.content,
        language=entry.language or how.language,
    )
    return _told(entry, "new" if new else "there", key, draft, wrong)


def _told(entry: Entry, outcome: str, key: str, draft: Draft, wrong: Sequence[str]) -> Result:
    """The result for an order that has not been checked."""
    waits = not draft.photos
    without = (entry.without_photo,) if waits and entry.without_photo else ()
    cells = () if outcome == "there" else entry.remarks
    return Result(
        entry.where,
        entry.title,
        outcome,
        key=key,
        ready=entry.checkable and not gaps(draft),
        remarks=(*cells, *wrong, *without),
        waits=waits,
    )


def _again(
    store: DatabaseStore, before: Brought, entry: Entry, how: _How, *, changed: bool
) -> Result:
    """An entry whose order came in before."""
    if not before.key:
        return Result(
            entry.where,
            entry.title,
            "held_back",
            (tr("This order was deleted after it had come in, and stays so."),),
        )
    order = store.order(before.key)
    if changed and not (how.update and not order.checks):
        do = (
            tr("Correct it at the desk.")
            if order.checks
            else tr(
                "Correct it at the desk, or import again and let it replace the order (--update)."
            )
        )
        said = tr("This order came in before and said something else; it stays as it was.")
        return Result(entry.where, entry.title, "held_back", (f"{said} {do}",), before.key)
    if order.checks:
        return Result(entry.where, entry.title, "there", key=before.key)
    draft = order.draft
    photos: dict[str, bytes] = {}
    wrong: tuple[str, ...] = ()
    bare = not order.draft.photos and bool(entry.draft.photos)
    if bare:
        photos, wrong = _taken(entry, how.limits, store.photo_bytes(before.key))
        bare = bool(photos) or how.limits is None
    if changed or bare:
        new = _with_taken(entry, photos, how)
        draft = new if changed else draft.but("photos", new.photos)
        if changed and order.draft.photos:
            draft = draft.but("photos", order.draft.photos)
        if not how.try_only:
            fill_in(
                store,
                before.key,
                new,
                photos,
                origin=entry.origin,
                content=entry.content,
                values=changed,
            )
    return _told(entry, "completed" if changed or bare else "there", before.key, draft, wrong)


def _taken(
    entry: Entry, limits: Limits | None, held: Sequence[int] = ()
) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """The photos written anew, for an order that holds some of `held` bytes already.

    Also: of those that cannot be taken, why, each a sentence.
    """
    taken: dict[str, bytes] = {}
    wrong: list[str] = []
    if limits is None:
        return taken, ()
    for photo in entry.draft.photos:
        so_far = [*held, *map(len, taken.values())]
        try:
            content = entry.read(photo.file)
            upload = take_for_order(content, so_far, limits=limits, where=photo.file)
        except PhotocheckError as error:
            if entry.whole:
                raise
            wrong.append(f"{error} {tr('The order comes in without this photo.')}")
            continue
        taken[photo.file] = upload.content
    return taken, tuple(wrong)


def _with_taken(entry: Entry, taken: Mapping[str, bytes], how: _How) -> Draft:
    """The draft with the photos that were taken, marked by tags where nobody has marked them.

    With all photos, as they are, where none was looked at.
    """
    if how.limits is None:
        return entry.draft
    kept = tuple(photo for photo in entry.draft.photos if photo.file in taken)
    draft, find = entry.draft.but("photos", kept), how.find_tags
    if find is None or any(gap.step != "marks" for gap in gaps(draft)):
        return draft

    def found(photo: DraftPhoto) -> FoundTags:
        # Whatever keeps them from being looked for now, the order comes in; to be marked later.
        with suppress(PhotocheckError):
            return find(taken[photo.file], photo.view or "side")
        return FoundTags()

    return told_by_tags(draft, found)
