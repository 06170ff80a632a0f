"""What is to be cut: the accepted orders, each with its lengths as `photocheck.fit` gives them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from functools import lru_cache
from typing import Any, Final

from photocheck.case.lengths import format_length
from photocheck.errors import PhotocheckError
from photocheck.fit.answer import MEASURE_TITLES, FitAnswer, Wish, fit
from photocheck.fit.cut_lengths import MEASURES
from photocheck.fit.growth import AdultWeight
from photocheck.fit.shelf import Size
from photocheck.orders.bounds import LONGEST_FIELD, LONGEST_TOLD
from photocheck.orders.harmless import one_line
from photocheck.orders.model import Check, CutNote, Order
from photocheck.speech import later, spoken, tr

TO_MEASURE: Final = later("made to measure")

COAT_TITLES: Final = {"short": later("short"), "medium": later("medium"), "long": later("long")}

TITLES: Final[Mapping[str, str]] = {
    "number": later("order"),
    "name": later("name"),
    "dog": later("dog"),
    "owner": later("owner"),
    **{name: MEASURE_TITLES[name] for name in MEASURES},
    "size": later("size"),
    "coat": later("coat"),
    "notes": later("notes"),
    "decided": later("accepted on"),
    "cut": later("cut"),
}
"""What stands above a column of the list, for `tr`."""


@dataclass(frozen=True)
class CutRow:
    """One accepted order as the cutter reads it.

    Attributes
    ----------
    key : str
        The order's.
    check : int
        The number of the check that the lengths rest on.
    number, name, dog, owner, notes : str
        As they were told; empty where they were not.  `number` is the order's own.
    unit : str
        The owner's.
    lengths : mapping of measure name to float
        Mm, what `photocheck.fit.answer.fit` gives, or what was cut already; empty where nothing
        may be cut, which `problem` explains.
    size : str
        The size of the shelf that fits; empty to cut to measure.
    coat : str
        As `photocheck.case.model` has it; empty when unknown.
    problem : str
        Why no length can be given; empty otherwise.
    decided : datetime
        When it was accepted, UTC.
    cut : CutNote or None
        That it was cut, and by whom.
    """

    key: str
    check: int
    number: str
    name: str
    dog: str
    owner: str
    notes: str
    unit: str
    lengths: Mapping[str, float]
    size: str
    coat: str
    problem: str
    decided: datetime
    cut: CutNote | None

    def length(self, measure: str) -> str:
        """A length as the desk and the message say it; empty where there is none."""
        return format_length(self.lengths[measure], self.unit) if self.lengths else ""

    @property
    def made(self) -> str:
        """The size, or that it is made to measure, in the language spoken now."""
        return "" if self.problem else self.size or tr(TO_MEASURE)

    @property
    def content(self) -> dict[str, Any]:
        """What is noted when it is cut."""
        return {**self.lengths, "size": self.size}


def wish_of(order: Order) -> Wish | None:
    """What was wished for when the order's last check was settled, as it was noted."""
    noted = order.wished
    if noted is None:
        return None
    kg = noted.content.get("weight_later_kg")
    growth = str(noted.content.get("growth") or "as_is")
    adult = noted.content.get("adult")
    grown = AdultWeight(**adult) if isinstance(adult, dict) else None
    return Wish(float(kg) if isinstance(kg, int | float) else None, growth, grown)


def cut_row(order: Order, sizes: Sequence[Size] = ()) -> CutRow:
    """An accepted order as one line of the list.

    Parameters
    ----------
    order : Order
        With its last check and its last decision.
    sizes : sequence of Size
        The shop's shelf; empty to cut to measure.
    """
    check, decision, told = order.checks[-1], order.decisions[-1], order.told
    cut = order.cut
    lengths: Mapping[str, float]
    problem = size = ""
    if cut is not None and all(name in cut.content for name in MEASURES):
        lengths = {name: float(cut.content[name]) for name in MEASURES}
        size = str(cut.content.get("size") or "")
    else:
        lengths, size, problem = _settled(check, tuple(sizes), wish_of(order))
    dog = check.report.case.dog
    return CutRow(
        key=order.key,
        check=check.number,
        number=one_line(told.owner.number, LONGEST_FIELD),
        name=one_line(order.name, LONGEST_FIELD),
        dog=one_line(dog.name, LONGEST_FIELD),
        owner=one_line(told.owner.name or told.owner.reach, LONGEST_FIELD),
        notes=one_line(told.owner.notes or order.draft.owner.notes, LONGEST_TOLD),
        unit=check.report.case.unit,
        lengths=lengths,
        size=size,
        coat=dog.coat if dog.coat in COAT_TITLES else "",
        problem=problem,
        decided=decision.at,
        cut=cut,
    )


def cut_rows_of(orders: Iterable[Order], sizes: Sequence[Size] = ()) -> list[CutRow]:
    """Accepted orders as lines of the list, the one accepted first first."""
    rows = [cut_row(order, sizes) for order in orders if order.state == "accepted"]
    return sorted(rows, key=lambda row: row.decided)


def chosen_cuts(
    rows: Iterable[CutRow],
    *,
    since: date | None = None,
    until: date | None = None,
    not_cut: bool = False,
    zone: tzinfo = UTC,
) -> list[CutRow]:
    """The lines accepted in a time, and of these perhaps only what is not cut yet.

    Parameters
    ----------
    rows : iterable of CutRow
    since, until : date, optional
        The first and the last day, both counted in.
    not_cut : bool
    zone : tzinfo
        Whose days are meant.
    """
    return [
        row
        for row in rows
        if not (not_cut and row.cut)
        and (since is None or day_of(row.decided, zone) >= since)
        and (until is None or day_of(row.decided, zone) <= until)
    ]


def day_of(moment: datetime, zone: tzinfo = UTC) -> date:
    """The day of a moment; one without a time zone is taken for UTC."""
    aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return aware.astimezone(zone).date()


def _settled(
    check: Check, sizes: tuple[Size, ...], wish: Wish | None
) -> tuple[Mapping[str, float], str, str]:
    """Lengths, size and problem, as `fit` has them."""
    try:
        answer = _answered(_Asked(check, sizes, wish, spoken()))
    except PhotocheckError as error:
        return {}, "", str(error)
    if not answer.measures:
        return {}, "", " ".join((answer.headline, *answer.reasons))
    size = answer.sizes[0].name if answer.outcome == "size" else ""
    return {one.name: one.mm for one in answer.measures}, size, ""


@dataclass(frozen=True)
class _Asked:
    """All that `fit` goes by, and the language of its sentences."""

    check: Check
    sizes: tuple[Size, ...]
    wish: Wish | None
    language: str

    def __hash__(self) -> int:
        return hash((self.check.number, self.language))


@lru_cache(maxsize=2000)
def _answered(asked: _Asked) -> FitAnswer:
    """Kept: a shelf takes `fit` a hundredth of a second, and a list is drawn many times."""
    return fit(asked.check.told, asked.sizes, asked.wish)
