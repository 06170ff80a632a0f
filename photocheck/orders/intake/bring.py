"""Entries brought into the store, each whole or not at all, and none twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from photocheck.errors import PhotocheckError
from photocheck.orders.gaps import gaps
from photocheck.orders.intake.entries import Entry
from photocheck.orders.store.brought import Brought, fill_in, find_brought, put_order
from photocheck.orders.store.database import DatabaseStore
from photocheck.speech import tr
from photocheck.uploads import LIMITS, Limits, take_for_order

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
        Sentences; what the order still lacks is not among them.
    key : str
        Of the order; empty when it was held back, is only tried, or was forgotten since.
    ready : bool
        Whether the order lacks nothing and has not been checked.
    """

    where: str
    title: str
    outcome: str
    problems: tuple[str, ...] = ()
    key: str = ""
    ready: bool = False


def bring(
    store: DatabaseStore | None,
    entries: Iterable[Entry],
    *,
    language: str,
    try_only: bool = False,
    update: bool = False,
    limits: Limits = LIMITS,
    on_result: Callable[[Result], None] | None = None,
) -> list[Result]:
    """Bring orders in.  An order whose result was given is in the store for good.

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
    limits : Limits
        For the photos, which are written anew as those that owners upload.
    on_result : callable, optional
    """
    results = []
    for entry in entries:
        try:
            result = _bring(store, entry, language, try_only, update, limits)
        except PhotocheckError as error:
            result = Result(entry.where, entry.title, "held_back", (str(error),))
        results.append(result)
        if on_result:
            on_result(result)
    return results


def counted(results: Iterable[Result]) -> Counter[str]:
    """How many of each outcome."""
    return Counter(result.outcome for result in results)


def _bring(
    store: DatabaseStore | None,
    entry: Entry,
    language: str,
    try_only: bool,
    update: bool,
    limits: Limits,
) -> Result:
    if entry.problems:
        return Result(entry.where, entry.title, "held_back", entry.problems)
    before = None if store is None else find_brought(store, entry.origin)
    if store is not None and before is not None:
        return _again(store, before, entry, try_only, update, limits)
    photos = _taken(entry, limits)
    if try_only or store is None:
        return Result(entry.where, entry.title, "new", ready=not gaps(entry.draft))
    key, new = put_order(
        store,
        entry.draft,
        photos,
        origin=entry.origin,
        content=entry.content,
        language=entry.language or language,
    )
    outcome = "new" if new else "there"
    return Result(entry.where, entry.title, outcome, key=key, ready=not gaps(entry.draft))


def _again(
    store: DatabaseStore,
    before: Brought,
    entry: Entry,
    try_only: bool,
    update: bool,
    limits: Limits,
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
    changed = before.content != entry.content
    if changed and not (update and not order.checks):
        do = (
            tr("Correct it at the desk.")
            if order.checks
            else tr("Correct it at the desk, or import again with --update.")
        )
        said = tr("This order came in before and said something else; it stays as it was.")
        return Result(entry.where, entry.title, "held_back", (f"{said} {do}",), before.key)
    bare = not order.checks and not order.draft.photos and bool(entry.draft.photos)
    if changed or bare:
        photos = _taken(entry, limits, store.photo_bytes(before.key)) if bare else {}
        if not try_only:
            fill_in(
                store,
                before.key,
                entry.draft,
                photos,
                origin=entry.origin,
                content=entry.content,
                values=changed,
            )
            order = store.order(before.key)
    ready = not order.checks and not gaps(order.draft)
    outcome = "completed" if changed or bare else "there"
    return Result(entry.where, entry.title, outcome, key=before.key, ready=ready)


def _taken(entry: Entry, limits: Limits, held: Sequence[int] = ()) -> dict[str, bytes]:
    """The photos written anew, for an order that holds some of `held` bytes already."""
    taken: dict[str, bytes] = {}
    for name, content in entry.photos():
        so_far = [*held, *map(len, taken.values())]
        taken[name] = take_for_order(content, so_far, limits=limits, where=name).content
    return taken
