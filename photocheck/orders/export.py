"""Orders out: a table for spreadsheets, and everything as JSON.

The JSON format is published in ``orders.schema.json``; cases and reports in it are as
``case.schema.json`` and ``report.schema.json`` have them.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any, Final

from photocheck import __version__
from photocheck.case.takes import reading_from_json
from photocheck.errors import CaseError
from photocheck.orders.draft import DogTold, Draft, reading_text, takes_of
from photocheck.orders.harmless import whole
from photocheck.orders.heard import last_heard
from photocheck.orders.model import Check, CutNote, Decision, Heard, Order
from photocheck.report.file import report_to_dict
from photocheck.words import FACT_TITLES, READINGS, SPANS

FORMAT: Final = "photocheck-orders/1"

COLUMNS: Final[dict[str, str]] = {
    "order": "the order's key",
    "name": "what the owner called it, or the dog",
    "dog": "the dog's name",
    "breed": "in the owner's words",
    "opened": "when the order was begun, UTC, ISO 8601",
    "language": "the owner's",
    "state": "being_filled_in, waiting, accepted, asked_again or refused",
    "checks": "how often it was checked; what follows is of the last check",
    "checked": "when, UTC",
    "checked_by": "by whom",
    "verdict": "agrees, could_hide, measure_again, retake or cannot_tell",
    "headline": "the verdict as a sentence",
    "unit": "the owner's unit, cm or in",
    **{
        column: meaning
        for name in READINGS
        for column, meaning in (
            (f"{name}_typed", "the tape reading as typed; several takes parted by ' / '"),
            (f"{name}_mm", "the same, mm; of several takes the middle one, of two the mean"),
        )
    },
    **{
        column: meaning
        for name in SPANS
        for column, meaning in (
            (f"{name}_photo_mm", "what the photo shows, mm"),
            (f"{name}_low_mm", "lower end of its 95 % interval, mm"),
            (f"{name}_high_mm", "upper end, mm"),
            (f"{name}_verdict", "the verdict on this reading"),
        )
    },
    "decision": "accepted, asked_again or refused, when the last check was decided on; empty when "
    "that was taken back",
    "decided": "when, UTC",
    "decided_by": "by whom",
    "reason": "why",
    "program": "version of photocheck that checked",
    "ratios": "version of the shape ratios; empty for those shipped",
    "photos_sha256": "checksums of the photos, parted by spaces",
    "number": "the order's number, where the workshop gave it one; as are the next, as told last",
    "owner": "who orders",
    "email": "their e-mail address",
    "telephone": "their telephone number",
    "reach": "how to reach them in their own words",
    "notes": "what else was said with the order",
    "photos": "how many photos it has",
    "age_months": "the dog's age",
    "weight": "the dog's weight, as typed",
    "coat": "short, medium or long",
    "coat_depth": "as typed",
    "build": "in photocheck's words",
    **dict.fromkeys(FACT_TITLES, "as typed"),
    "cut": "yes when the harness of the last check was cut",
    "cut_at": "when that was noted, UTC",
    "cut_by": "by whom",
    "outcome": "fitted, tight_or_loose or returned, as it was told last of the accepted check",
    "outcome_day": "when it was found so, ISO 8601",
    "outcome_felt": "what was tight or loose, as 'neck_opening tight; rear_length loose'",
}
"""The columns of the table, in their order, and what they hold.  New ones are only ever added
at the end, and none changes its meaning.  An order that was not checked yet has what was filled in
so far; what cannot be read as a length has no mm."""

NUMBERS: Final = frozenset(
    column for column in COLUMNS if column.endswith("_mm") or column in ("checks", "photos")
)
"""The columns whose cells are numbers."""

_STARTS_A_FORMULA: Final = "=+-@\t\r\n\0\uff1d\uff0b\uff0d\uff20"
_AFTER_A_SEPARATOR: Final = re.compile(rf"([;,\t\r\n\"'|])(?=[{re.escape(_STARTS_A_FORMULA)}])")


def orders_csv(orders: Iterable[Order], *, delimiter: str = ",") -> str:
    """Orders as a table, one a line; lengths to a tenth of a millimetre.

    Quoted throughout, with CRLF, as RFC 4180 has it.  Texts that a spreadsheet might take
    for a formula get an apostrophe before them: OWASP, "CSV Injection", and ASVS 5.0,
    1.2.10.

    Parameters
    ----------
    orders : iterable of Order
    delimiter : str
        A comma, or a semicolon for spreadsheets in countries with decimal commas.
    """
    file = io.StringIO(newline="")
    writer = csv.DictWriter(
        file, list(COLUMNS), delimiter=delimiter, quoting=csv.QUOTE_ALL, lineterminator="\r\n"
    )
    writer.writeheader()
    for order in orders:
        writer.writerow({name: guarded(text) for name, text in row_of(order).items()})
    return file.getvalue()


def guarded(text: str) -> str:
    """A text that no spreadsheet takes for a formula, whichever separator it splits at."""
    inside = _AFTER_A_SEPARATOR.sub(r"\1'", whole(text))
    return f"'{inside}" if inside.startswith(tuple(_STARTS_A_FORMULA)) else inside


def orders_to_dict(orders: Iterable[Order]) -> dict[str, Any]:
    """Orders with their whole history, ready for `json.dumps`."""
    return {
        "format": FORMAT,
        "written": utc_text(datetime.now(UTC)),
        "program": __version__,
        "orders": [_order(order) for order in orders],
    }


def orders_json(orders: Iterable[Order]) -> str:
    """`orders_to_dict` as text that UTF-8 holds."""
    told = orders_to_dict(orders)
    return whole(json.dumps(told, ensure_ascii=False, indent=2, allow_nan=False))


def utc_text(moment: datetime) -> str:
    """A moment as ``2026-03-29T07:05:00Z``; one without a time zone is taken for UTC."""
    aware = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    return f"{aware:%Y-%m-%dT%H:%M:%SZ}"


def row_of(order: Order) -> dict[str, str]:
    """An order by `COLUMNS`, as it was told: not yet guarded against spreadsheets."""
    row = dict.fromkeys(COLUMNS, "")
    told = order.told
    row |= {
        "order": order.key,
        "name": order.name,
        "opened": utc_text(order.opened),
        "language": order.language,
        "state": order.state,
        "checks": str(len(order.checks)),
        "number": told.owner.number,
        "owner": told.owner.name,
        "email": told.owner.email,
        "telephone": told.owner.telephone,
        "reach": told.owner.reach,
        "notes": told.owner.notes,
        "photos": str(len(told.photos)),
        **_dog(told.dog),
    }
    if cut := order.cut:
        row |= {"cut": "yes", "cut_at": utc_text(cut.at), "cut_by": cut.by}
    if heard := last_heard(order):
        felt = "; ".join(f"{name} {how}" for name, how in heard.felt.items())
        row |= {
            "outcome": heard.result,
            "outcome_day": heard.day.isoformat(),
            "outcome_felt": felt,
        }
    if not order.checks:
        return row | _filled_in(told)
    check = order.checks[-1]
    report, case = check.told, check.report.case
    row |= {
        "dog": case.dog.name,
        "breed": case.dog.breed,
        "checked": utc_text(check.at),
        "checked_by": check.by,
        "verdict": report.verdict,
        "headline": report.headline,
        "unit": case.unit,
        "program": check.program,
        "ratios": check.ratios,
        "photos_sha256": " ".join(photo.sha256 for photo in report.photos),
    }
    for name, reading in case.readings.items():
        row[f"{name}_typed"] = reading.typed
        row[f"{name}_mm"] = f"{reading.mm:.1f}"
    for span in report.spans:
        row[f"{span.span}_photo_mm"] = f"{span.photo_mm:.1f}"
        row[f"{span.span}_low_mm"] = f"{span.low_mm:.1f}"
        row[f"{span.span}_high_mm"] = f"{span.high_mm:.1f}"
        row[f"{span.span}_verdict"] = span.verdict
    if decision := order.decision:
        row |= {
            "decision": decision.choice,
            "decided": utc_text(decision.at),
            "decided_by": decision.by,
            "reason": decision.reason,
        }
    return row


def _dog(dog: DogTold) -> dict[str, str]:
    """The facts of the dog as they were told."""
    told = {
        "dog": dog.name,
        "breed": dog.breed,
        "age_months": dog.age_months,
        "coat": dog.coat,
        "build": dog.build,
        **{name: getattr(dog, name) for name in ("weight", "coat_depth", *FACT_TITLES)},
    }
    return {name: "" if value is None else str(value) for name, value in told.items()}


def _filled_in(told: Draft) -> dict[str, str]:
    """The readings of an order that is being filled in, as far as they can be read."""
    row = {"unit": told.unit}
    for name in READINGS:
        if name not in told.readings:
            continue
        row[f"{name}_typed"] = reading_text(told.readings[name])
        given = [take.typed for take in takes_of(told.readings[name]) if take.text]
        with suppress(CaseError):
            mm = (
                reading_from_json(name, (given[1:] and given) or given[0], told.bare_unit).mm
                if given
                else None
            )
            row[f"{name}_mm"] = "" if mm is None else f"{mm:.1f}"
    return row


def _order(order: Order) -> dict[str, Any]:
    told = {"outcomes": [_heard(heard) for heard in order.heard]} if order.heard else {}
    return {
        "order": order.key,
        "name": order.name,
        "opened": utc_text(order.opened),
        "language": order.language,
        "state": order.state,
        "draft": order.draft.to_dict(),
        "checks": [_check(check) for check in order.checks],
        "decisions": [_decision(decision) for decision in order.decisions],
        "cuts": [_cut(note) for note in order.cuts],
        **told,
    }


def _check(check: Check) -> dict[str, Any]:
    return {
        "number": check.number,
        "at": utc_text(check.at),
        "by": check.by,
        "language": check.language,
        "program": check.program,
        "ratios": check.ratios,
        "case": check.case.to_dict(),
        "report": report_to_dict(check.report),
    }


def _heard(heard: Heard) -> dict[str, Any]:
    return {
        "check": heard.check,
        "at": utc_text(heard.at),
        "day": heard.day.isoformat(),
        "by": heard.by,
        "from_owner": heard.from_owner,
        "result": heard.result,
        "felt": dict(heard.felt),
        "measured": {name: asdict(one) for name, one in heard.measured.items()},
        "words": heard.words,
    }


def _decision(decision: Decision) -> dict[str, Any]:
    return {
        "check": decision.check,
        "at": utc_text(decision.at),
        "by": decision.by,
        "choice": decision.choice,
        "reason": decision.reason,
        "message": decision.message,
    }


def _cut(note: CutNote) -> dict[str, Any]:
    return {
        "check": note.check,
        "at": utc_text(note.at),
        "by": note.by,
        "what": note.what,
        "content": dict(note.content),
    }
