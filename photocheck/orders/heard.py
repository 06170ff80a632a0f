"""What was heard of a harness that was delivered: what may be told, and what it can teach.

"Fitted" supports the readings that were cut by as true, as far as the pattern forgives: the
allowances of `photocheck.fit.allowances` and the shop's own ease hide an error smaller than they
are, so nothing finer is ever concluded from it.  "Tight at the neck" says that the neck opening
was too small for this dog on that day, and not by how much: dog, cloth, ease and reading may each
be the reason.  So it is counted and shown, and never learnt as a number.  A number comes only from
a tape: a reading that was taken anew takes the place of the one that was cut by
(`photocheck.orders.taught`), and is then learnt like any other reading that was accepted, by half.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Final

from photocheck.case.lengths import parse_reading
from photocheck.fit.answer import MEASURE_TITLES
from photocheck.fit.cut_lengths import MEASURES, NECK_OPENING
from photocheck.orders.model import Check, Heard, Order, OrderError, Remeasured
from photocheck.speech import later, tr
from photocheck.words import READING_TITLES

RESULTS: Final = ("fitted", "tight_or_loose", "returned")
"""What may be heard of a harness."""

RESULT_TITLES: Final = {
    "fitted": later("It fits"),
    "tight_or_loose": later("Tight or loose somewhere"),
    "returned": later("It came back"),
}

FELT: Final = ("tight", "loose")
FELT_TITLES: Final = {
    "": later("just right"),
    "tight": later("too tight"),
    "loose": later("too loose"),
}

MEASURED_FOR: Final[Mapping[str, str]] = MappingProxyType(
    {name: "half_neck" if name == NECK_OPENING else name for name in MEASURES}
)
"""The reading that is taken anew for each measure that was tight or loose."""

ASK_AFTER_DAYS: Final = 14
"""Days after the acceptance when the owner's page asks (judgement: the harness is sewn, sent and
was pulled in a few times)."""

_AHEAD: Final = timedelta(days=1)
"""A day that has begun somewhere on earth may be tomorrow here."""


def accepted_check(order: Order) -> Check | None:
    """The check that was cut by: the latest of the order, where it was accepted; else None."""
    return order.checks[-1] if order.state == "accepted" else None


def last_heard(order: Order) -> Heard | None:
    """What counts: what was told last of the check that stands accepted."""
    check = accepted_check(order)
    told = [one for one in order.heard if check is not None and one.check == check.number]
    return told[-1] if told else None


def asks_owner(order: Order, now: datetime) -> bool:
    """Whether the owner is asked by now: accepted for `ASK_AFTER_DAYS`, and nothing heard yet."""
    if accepted_check(order) is None or last_heard(order) is not None:
        return False
    return now - order.decisions[-1].at >= timedelta(days=ASK_AFTER_DAYS)


def measured_again(typed: Mapping[str, str], unit: str) -> dict[str, Remeasured]:
    """Readings taken anew, as typed; those left empty are none.

    Parameters
    ----------
    typed : mapping of reading to str
    unit : str
        Of numbers without one.

    Raises
    ------
    CaseError
        When one cannot be read; the message names it.

    >>> measured_again({"half_neck": "41", "rear_length": " "}, "cm")
    {'half_neck': Remeasured(typed='41', unit='cm', mm=410.0)}
    """
    found = {}
    for name, text in typed.items():
        if text.strip():
            mm, read_in = parse_reading(name, text.strip(), unit)
            found[name] = Remeasured(text.strip(), read_in, mm)
    return found


def refuse_unmeant(heard: Heard, *, opened: datetime, now: datetime) -> None:
    """Refuse what cannot be meant.

    Raises
    ------
    OrderError
    """
    if heard.result not in RESULTS:
        raise OrderError(
            tr("'{result}' is not known of a harness", result=heard.result[:60]),
            do=tr("Use one of {options}", options=", ".join(RESULTS)),
        )
    if not set(heard.felt) <= set(MEASURES) or not set(heard.felt.values()) <= set(FELT):
        raise OrderError(
            tr("this part of a harness is not known"),
            do=tr("Use one of {options}", options=", ".join(MEASURES)),
        )
    if heard.result == "fitted" and (heard.felt or heard.measured):
        raise OrderError(
            tr("a harness that fits is neither tight nor loose"),
            do=tr("Say what of both is so"),
        )
    if heard.result == "tight_or_loose" and not heard.felt:
        raise OrderError(
            tr("where it is tight or loose is not said"), do=tr("Name at least one part")
        )
    if not set(heard.measured) <= {MEASURED_FOR[name] for name in heard.felt}:
        raise OrderError(
            tr("a reading was measured again where nothing is tight or loose"),
            do=tr("Say where the harness is tight or loose"),
        )
    if heard.day > (now + _AHEAD).date() or heard.day < (opened - _AHEAD).date():
        raise OrderError(
            tr("on {day} nobody can have known this yet", day=heard.day.isoformat()),
            do=tr("Give a day between the order and today"),
        )


def felt_text(measure: str, how: str) -> str:
    """How one measure was, in a few words: "neck opening too tight"."""
    return f"{tr(MEASURE_TITLES[measure])} {tr(FELT_TITLES[how])}"


def heard_sentence(heard: Heard) -> str:
    """It as one line: the result, where, and what was measured again."""
    parts = [tr(RESULT_TITLES[heard.result])]
    parts += [felt_text(name, how) for name, how in heard.felt.items()]
    parts += [
        tr("{reading} measured again: {value}", reading=tr(READING_TITLES[n]), value=one.typed)
        for n, one in heard.measured.items()
    ]
    return "; ".join(parts)
