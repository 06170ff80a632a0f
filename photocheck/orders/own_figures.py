"""How well a shop checks, from its own checks, decisions and what was heard of its harnesses.

Every figure is a count with its total and a Wilson interval, or a median with its quartiles; what
rests on fewer than `FEWEST` says so.  What each one means is said where it is computed, and on
the page that shows it (`photocheck.shown.own_figures_told`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from photocheck.orders.heard import RESULTS
from photocheck.orders.model import Order
from photocheck.orders.order_facts import UNDECIDED, OrderFacts, facts_of
from photocheck.orders.precision import Agreement, Precision, agreement, precision
from photocheck.words import EVERY_LANDMARK, READINGS

FEWEST: Final = 10
"""Fewer than so many say next to nothing: 5 of 10 may be anything from 24 to 76 % (Wilson)."""

DAY_S: Final = 86_400.0

MOST_PAIRS: Final = 2000
"""Pairs of takes that are drawn; the figures beside them rest on all (judgement)."""


@dataclass(frozen=True)
class Share:
    """So many of so many, with the 95 % interval of the share.

    Wilson's interval (Wilson 1927, J. Am. Stat. Assoc. 22:209), by SciPy; ``low`` and ``high``
    are 0 and 1 where there are none.
    """

    count: int
    of: int
    low: float
    high: float

    @property
    def tells(self) -> bool:
        """Whether there are enough to say something."""
        return self.of >= FEWEST

    @property
    def share(self) -> float:
        """0 where there are none."""
        return self.count / self.of if self.of else 0.0


@dataclass(frozen=True)
class Duration:
    """How long something took, hours: how often, quartiles, and what share within a day."""

    count: int
    lower_h: float
    median_h: float
    upper_h: float
    within_a_day: Share


@dataclass(frozen=True)
class MonthOfPhotos:
    """The photos of one month: how many, their median px per cm on the dog, those remarked on."""

    month: str
    photos: int
    px_per_cm: float
    remarked: Share


@dataclass(frozen=True)
class OwnFigures:
    """A shop's own figures.

    Attributes
    ----------
    orders : int
        Checked at least once.
    flagged : int
        Readings that a check told to measure again, each value once.
    slips : Share
        Of the flagged readings that were read again, those that then read another length: two good
        takes would differ so much in fewer than one of 100 (`judge.tolerances.TAKES_DIFFER`).
    false_alarms : Share
        Of all orders, those in which a flagged reading was read again and confirmed: the second
        differs no more than good takes do.
    as_it_was, open : int
        Flagged readings accepted unchanged, and those nobody has read again.
    kinds : mapping of explanation to int
        Orders with a slip, by the likeliest explanation of the check that flagged it.
    photos_mended : Share
        Of the orders asked for another photo, those that needed none after photos or marks changed.
    undecided : Share
        Of all orders, those whose last check neither lets pass nor names what is wrong.
    undecided_why : mapping of doubt source to int
        What brings most of the doubt in these.
    verdicts : mapping of verdict to int
        Of the first check.
    months : tuple of MonthOfPhotos
        Oldest first.
    decided, answered : Duration
        From a check to the first decision on it; from asking again to the owner's next check.
    heard : Share
        Of all harnesses that were heard of, those that fitted.
    heard_agreed : Share
        The same of those cut by a check that agreed.
    results : mapping of result to int
    felt : mapping of "measure tight" or "measure loose" to int
    tapes : mapping of reading to Precision
        Mm; those taken more than once.
    tape_pairs : Agreement or None
        Second take less first by the same hands, mm; all readings together.
    marks : mapping of landmark to Precision
        Mm on the dog along one axis of the photo; those set by several people.
    """

    orders: int
    flagged: int
    slips: Share
    false_alarms: Share
    as_it_was: int
    open: int
    kinds: Mapping[str, int]
    photos_mended: Share
    undecided: Share
    undecided_why: Mapping[str, int]
    verdicts: Mapping[str, int]
    months: tuple[MonthOfPhotos, ...]
    decided: Duration
    answered: Duration
    heard: Share
    heard_agreed: Share
    results: Mapping[str, int]
    felt: Mapping[str, int]
    tapes: Mapping[str, Precision]
    tape_pairs: Agreement | None
    marks: Mapping[str, Precision]


def share_of(count: int, of: int) -> Share:
    """A count of a total with Wilson's interval.

    >>> share_of(5, 10)
    Share(count=5, of=10, low=0.23659..., high=0.76340...)
    """
    if not of:
        return Share(0, 0, 0.0, 1.0)
    from scipy.stats import binomtest

    ends = binomtest(count, of).proportion_ci(method="wilson")
    return Share(count, of, float(ends.low), float(ends.high))


def own_figures(orders: Iterable[Order]) -> OwnFigures:
    """The figures of many orders, of which no more than one is held at a time.

    Parameters
    ----------
    orders : iterable of Order
        As `photocheck.orders.store.DatabaseStore.whole` gives them.
    """
    return figures_of([found for order in orders if (found := facts_of(order)) is not None])


def figures_of(facts: Sequence[OrderFacts]) -> OwnFigures:
    """The same from what counts of each order."""
    flagged = [one for fact in facts for one in fact.flagged]
    endings = Counter(one.ending for one in flagged)
    again = endings["slip"] + endings["false_alarm"]
    kinds = Counter(
        kind for fact in facts for kind in {f.kind for f in fact.flagged if f.ending == "slip"}
    )
    alarmed = sum(any(f.ending == "false_alarm" for f in fact.flagged) for fact in facts)
    undecided = [fact for fact in facts if fact.last in UNDECIDED]
    results = Counter(fact.result for fact in facts if fact.result)
    heard = sum(results.values())
    agreed = [fact.result for fact in facts if fact.result and fact.agreed]
    asked = [fact for fact in facts if fact.photo_asked]
    return OwnFigures(
        orders=len(facts),
        flagged=len(flagged),
        slips=share_of(endings["slip"], again),
        false_alarms=share_of(alarmed, len(facts)),
        as_it_was=endings["as_it_was"],
        open=endings["open"],
        kinds=dict(kinds.most_common()),
        photos_mended=share_of(sum(fact.photo_mended for fact in asked), len(asked)),
        undecided=share_of(len(undecided), len(facts)),
        undecided_why=dict(Counter(fact.why for fact in undecided if fact.why).most_common()),
        verdicts=dict(Counter(fact.first for fact in facts).most_common()),
        months=_months(facts),
        decided=_duration([s for fact in facts for s in fact.decided_s]),
        answered=_duration([s for fact in facts for s in fact.answered_s]),
        heard=share_of(results["fitted"], heard),
        heard_agreed=share_of(agreed.count("fitted"), len(agreed)),
        results={name: results[name] for name in RESULTS},
        felt=dict(
            Counter(f"{name} {how}" for fact in facts for name, how in fact.felt).most_common()
        ),
        tapes=_tapes(facts),
        tape_pairs=agreement([pair for fact in facts for pair in fact.pairs]),
        marks=_marks(facts),
    )


def _duration(seconds: Sequence[float]) -> Duration:
    if not seconds:
        return Duration(0, 0.0, 0.0, 0.0, share_of(0, 0))
    lower, middle, upper = (float(q) / 3600.0 for q in np.percentile(seconds, [25, 50, 75]))
    within = share_of(sum(s <= DAY_S for s in seconds), len(seconds))
    return Duration(len(seconds), lower, middle, upper, within)


def _months(facts: Sequence[OrderFacts]) -> tuple[MonthOfPhotos, ...]:
    photos = [photo for fact in facts for photo in fact.photos]
    found = []
    for month in sorted({photo.month for photo in photos}):
        these = [photo for photo in photos if photo.month == month]
        found.append(
            MonthOfPhotos(
                month,
                len(these),
                float(np.median([photo.px_per_cm for photo in these])),
                share_of(sum(photo.remarked for photo in these), len(these)),
            )
        )
    return tuple(found)


def _tapes(facts: Sequence[OrderFacts]) -> dict[str, Precision]:
    cells: dict[str, list[tuple[tuple[float, ...], ...]]] = {}
    for fact in facts:
        for name, takes in fact.takes:
            cells.setdefault(name, []).append(takes)
    return {name: precision(cells[name]) for name in READINGS if name in cells}


def _marks(facts: Sequence[OrderFacts]) -> dict[str, Precision]:
    cells: dict[str, list[list[tuple[float]]]] = {}
    for fact in facts:
        for landmark, places in fact.marks:
            cells.setdefault(landmark, []).append([(place,) for place in places])
    return {name: precision(cells[name]) for name in EVERY_LANDMARK if name in cells}
