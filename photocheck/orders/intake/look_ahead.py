"""A table looked at before anything of it comes in: its columns, and what each row becomes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from photocheck.orders.intake.bring import Result, bring
from photocheck.orders.intake.columns import Column, columns_as, refuse_doubled
from photocheck.orders.intake.entries import Entries, entries_of, refuse_unknown
from photocheck.orders.intake.photo_folder import PhotoFolder
from photocheck.orders.intake.table import Table
from photocheck.orders.store.database import DatabaseStore
from photocheck.speech import tr

_SAMPLES = 2


@dataclass(frozen=True)
class Preview:
    """What would come in.

    Attributes
    ----------
    entries : Entries
    results : tuple of Result
        What would become of each entry; no photo was looked at.
    """

    entries: Entries
    results: tuple[Result, ...]

    @property
    def columns(self) -> tuple[Column, ...]:
        """What each column was taken for."""
        return self.entries.columns

    @property
    def anything(self) -> bool:
        """Whether there is something to do: to bring in, to complete or to check."""
        return any(r.outcome in ("new", "completed") or r.ready for r in self.results)


def understood(
    table: Table,
    photos: PhotoFolder,
    *,
    chosen: Mapping[int, str],
    remembered: Mapping[str, str],
    unit: str,
) -> Entries:
    """What a table tells, whatever a store holds.

    Parameters
    ----------
    table : Table
    photos : PhotoFolder
        Those that were handed in with it.
    chosen, remembered
        As for `photocheck.orders.intake.columns.columns_as`.
    unit : str
        Of lengths for which the table tells none, "cm" or "in"; may be empty.

    Raises
    ------
    CaseError
        When two columns are chosen for the same, or none is known.
    """
    columns = columns_as(table.head, chosen, remembered)
    refuse_doubled(columns, where=table.name)
    refuse_unknown(columns, where=table.name, do=tr("Say below what a column holds"))
    folder = photos if photos.files else None
    return entries_of(table, folder, columns=columns, unit=unit, no_folder=tr("Add the photos."))


def held_against(store: DatabaseStore, found: Entries, *, update: bool = False) -> Preview:
    """What would become of what a table tells, in a store as it is now.

    Parameters
    ----------
    store : DatabaseStore
    found : Entries
        Of `understood`.
    update : bool
        As for `photocheck.orders.intake.bring.bring`.
    """
    looked = bring(store, found.entries, language="en", try_only=True, update=update, limits=None)
    return Preview(found, tuple(looked))


def handed_in(files: Sequence[tuple[str, Callable[[], bytes]]]) -> PhotoFolder:
    """Photos that were handed in one by one, as a folder of them.

    Two of the same name stay apart, as if each lay in a folder of its own, so that a table that
    names them is told that they may be either.

    Parameters
    ----------
    files : sequence of (str, callable)
        Names, and what gives the bytes.

    >>> sorted(handed_in([("a.jpg", bytes), ("b.jpg", bytes), ("a.jpg", bytes)]).files)
    ['1/a.jpg', '3/a.jpg', 'b.jpg']
    """
    often = Counter(name for name, _ in files)
    named = {
        f"{number}/{name}" if often[name] > 1 else name: read
        for number, (name, read) in enumerate(files, start=1)
    }
    return PhotoFolder(named)


def samples(table: Table, number: int) -> tuple[str, ...]:
    """The first few things that stand in a column, by its number from 0."""
    found: dict[str, None] = {}
    for row in table.rows:
        if not row.problem and row.cells[number]:
            found[row.cells[number]] = None
        if len(found) == _SAMPLES:
            break
    return tuple(found)
