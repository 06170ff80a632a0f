"""A shop's own figures as tables of words, for the desk's page and the command line alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from photocheck.body.shape import TERM_TITLES
from photocheck.judge.wording import DOUBT_TITLES
from photocheck.orders.heard import RESULT_TITLES, felt_text
from photocheck.orders.own_figures import FEWEST, Duration, OwnFigures, Share
from photocheck.orders.precision import LEAST_FREEDOM, Agreement, Precision
from photocheck.scale.catalogue import MM_PER_INCH
from photocheck.shown.plain import table
from photocheck.speech import capital_first, later, number, tr, tr_n
from photocheck.words import LANDMARK_TITLES, READING_TITLES, VERDICT_TITLES

KIND_TITLES: Final[Mapping[str, str]] = {
    "wrong_digit": later("a wrong digit"),
    "swapped_digits": later("two digits swapped"),
    "lost_or_doubled_digit": later("a digit lost or doubled"),
    "shifted_decimal": later("the decimal point moved"),
    "misread_fraction": later("a fraction misread"),
    "other_unit_in_one": later("one reading in the other unit"),
    "other_unit_in_all": later("all readings in the other unit"),
    "neck_doubled": later("the whole neck as the half neck"),
    "ring_halved": later("the half neck as the neck ring"),
    "swapped_readings": later("two readings swapped"),
    "full_given_as_part": later("the full length as a part"),
    "begun_at_second_unit": later("the tape begun one unit in"),
    "last_rib_elsewhere": later("the last rib taken elsewhere"),
    "full_on_another_line": later("the full length along another line"),
    "reference_off": later("the reference or its place"),
    "dog_crouching": later("a dog that crouched"),
    "dog_stretched": later("a dog that stood stretched"),
    "dog_arched": later("a dog that arched its back"),
    "marks_exchanged": later("exchanged marks"),
    "marks_impossible": later("marks that no dog has"),
    "unnamed": later("no named reason"),
}
"""Kinds of slips in a few words, by the names of `photocheck.judge.explanations.KINDS`."""

TOO_FEW: Final = later("too few to say")

Rows = list[tuple[str, ...]]


@dataclass(frozen=True)
class Block:
    """A part of the page: its title, what it means, and a table, the heads first."""

    title: str
    meaning: str
    rows: Rows


def blocks(found: OwnFigures, unit: str = "cm") -> tuple[Block, ...]:
    """All that is told, in the order in which it is read.

    Parameters
    ----------
    found : OwnFigures
    unit : str
        "cm" or "in": of lengths.
    """
    parts = [_caught(found), _kinds(found), _undecided(found), _photos(found), _replies(found)]
    parts += [_heard(found), _tapes(found, unit), _marks(found, unit)]
    return tuple(part for part in parts if len(part.rows) > 1)


def plain_own_figures(found: OwnFigures, unit: str = "cm") -> str:
    """The same as plain text."""
    head = tr_n("{count} order was checked.", "{count} orders were checked.", found.orders)
    said = [head]
    for block in blocks(found, unit):
        said.append(f"{block.title}\n{block.meaning}\n{table(block.rows)}")
    if found.tape_pairs is not None:
        said.append(agreement_sentence(found.tape_pairs, unit))
    return "\n\n".join(said)


def share_text(share: Share) -> str:
    """A share with its counts and interval, or that there are too few."""
    if not share.of:
        return tr("none yet")
    counts = tr("{count} of {of}", count=share.count, of=share.of)
    if not share.tells:
        return f"{counts}: {tr(TOO_FEW)}"
    return tr(
        "{counts}: {share:.0f} % ({low:.0f} to {high:.0f} %)",
        counts=counts,
        share=100 * share.share,
        low=100 * share.low,
        high=100 * share.high,
    )


def agreement_sentence(found: Agreement, unit: str = "cm") -> str:
    """Bias and limits of agreement of takes by the same hands, in words."""
    one = MM_PER_INCH if unit == "in" else 10.0
    count = len(found.means)
    if count < FEWEST:
        return tr("{count} pairs of takes: {few}.", count=count, few=tr(TOO_FEW))
    return tr(
        "{count} pairs of takes by the same hands: the second is {bias:+.2f} ± {reach:.2f} {unit} "
        "off the first in the mean, and 95 of 100 lie between {low:+.2f} and {high:+.2f} {unit} "
        "(either limit ± {limit:.2f}).",
        count=count,
        bias=found.bias / one,
        reach=found.bias_reach / one,
        low=found.low / one,
        high=found.high / one,
        limit=found.limit_reach / one,
        unit=unit,
    )


def _heads(first: str, second: str = "") -> tuple[str, ...]:
    return first, second or tr("of how many, and the 95 % interval")


def _caught(found: OwnFigures) -> Block:
    rows: Rows = [
        _heads(tr("what")),
        (tr("flagged readings that were a slip"), share_text(found.slips)),
        (tr("orders with a false alarm"), share_text(found.false_alarms)),
        (tr("flagged readings, all"), str(found.flagged)),
        (tr("accepted as they were"), str(found.as_it_was)),
        (tr("not read again"), str(found.open)),
        (tr("orders asked for another photo, and mended by it"), share_text(found.photos_mended)),
    ]
    meaning = tr(
        "A slip: flagged, read again, and another length than two good takes of one reading ever "
        "are but once in a hundred. A false alarm: flagged, and the second reading confirmed it."
    )
    return Block(tr("Slips caught, and false alarms"), meaning, rows if found.orders else [])


def _kinds(found: OwnFigures) -> Block:
    rows: Rows = [_heads(tr("kind of slip"), tr("orders"))]
    rows += [(tr(KIND_TITLES.get(name, name)), str(count)) for name, count in found.kinds.items()]
    meaning = tr("By the likeliest explanation of the check that flagged it.")
    return Block(tr("Of which kind"), meaning, rows)


def _undecided(found: OwnFigures) -> Block:
    rows: Rows = [_heads(tr("what"))]
    if found.orders:
        rows.append((tr("undecided at the last check"), share_text(found.undecided)))
    rows += [
        (
            tr("most doubt: {source}", source=tr(DOUBT_TITLES.get(name) or _term(name))),
            str(count),
        )
        for name, count in found.undecided_why.items()
    ]
    rows += [
        (tr("first check: {verdict}", verdict=tr(VERDICT_TITLES[name])), str(count))
        for name, count in found.verdicts.items()
    ]
    meaning = tr("Undecided: an error could hide, or the photo cannot tell.")
    return Block(tr("Undecided, and why"), meaning, rows)


def _term(name: str) -> str:
    return TERM_TITLES.get(name, name)


def _photos(found: OwnFigures) -> Block:
    rows: Rows = [
        (tr("month"), tr("photos"), tr("px per cm on the dog, median"), tr("with a remark"))
    ]
    rows += [
        (
            month.month,
            str(month.photos),
            f"{month.px_per_cm:.0f}" if month.photos >= FEWEST else tr(TOO_FEW),
            share_text(month.remarked),
        )
        for month in found.months
    ]
    meaning = tr("Of the last check of each order. A remark: blur, light, or a doubtful frame.")
    return Block(tr("Photos, month by month"), meaning, rows)


def _replies(found: OwnFigures) -> Block:
    rows: Rows = [(tr("who"), tr("how often"), tr("middle half"), tr("within a day"))]
    rows += [
        (title, str(one.count), _hours(one), share_text(one.within_a_day))
        for title, one in (
            (tr("the workshop, to a decision"), found.decided),
            (tr("owners, to what they were asked"), found.answered),
        )
        if one.count
    ]
    meaning = tr(
        "From a check to the first decision on it; from asking again to the owner's next check."
    )
    return Block(tr("Reply times"), meaning, rows)


def _hours(one: Duration) -> str:
    if one.count < FEWEST:
        return tr(TOO_FEW)
    return tr(
        "{lower:.1f} to {upper:.1f} h, median {median:.1f} h",
        lower=one.lower_h,
        upper=one.upper_h,
        median=one.median_h,
    )


def _heard(found: OwnFigures) -> Block:
    rows: Rows = [_heads(tr("what"))]
    if found.heard.of:
        rows += [
            (tr("harnesses that fitted"), share_text(found.heard)),
            (tr("of those cut by a check that agreed"), share_text(found.heard_agreed)),
        ]
        rows += [
            (tr(RESULT_TITLES[name]), str(count)) for name, count in found.results.items() if count
        ]
        rows += [(_felt(name), str(count)) for name, count in found.felt.items()]
    meaning = tr(
        "Of accepted orders that somebody told of. Who is content says so less often than who is "
        "not, so this is no share of all harnesses."
    )
    return Block(tr("How harnesses fitted"), meaning, rows)


def _felt(name: str) -> str:
    measure, _, how = name.partition(" ")
    return felt_text(measure, how)


def _tapes(found: OwnFigures, unit: str) -> Block:
    meaning = tr(
        "From readings taken more than once, in the terms of ISO 5725-2: repeatability is the "
        "standard deviation between takes by the same hands, reproducibility that between takes "
        "by different hands on the same dog."
    )
    rows = _precision_rows(found.tapes, READING_TITLES, unit)
    return Block(tr("How exact the tapes are"), meaning, rows)


def _marks(found: OwnFigures, unit: str) -> Block:
    meaning = tr(
        "From photos that several people marked: the standard deviation between people along one "
        "axis of the photo, on the dog. Nobody marks a photo twice, so what one person repeats "
        "to is not known."
    )
    rows = _precision_rows(found.marks, LANDMARK_TITLES, unit)
    return Block(tr("How exact the marks are"), meaning, rows)


def _precision_rows(found: Mapping[str, Precision], titles: Mapping[str, str], unit: str) -> Rows:
    one = MM_PER_INCH if unit == "in" else 10.0
    rows: Rows = [
        (
            tr("what"),
            tr("repeatability, {unit}", unit=unit),
            tr("reproducibility, {unit}", unit=unit),
            tr("items, results"),
        )
    ]
    for name, each in found.items():
        rows.append(
            (
                capital_first(tr(titles[name])),
                _repeat(each, one),
                _people(each, one),
                f"{each.items}, {each.results}",
            )
        )
    return rows


def _repeat(each: Precision, one: float) -> str:
    if each.repeatability is None:
        return tr("not known")
    if not each.tells_repeat:
        return tr("{few} ({count} differences)", few=tr(TOO_FEW), count=each.repeat_freedom)
    assert each.repeat_low is not None  # with it comes its interval
    assert each.repeat_high is not None
    return tr(
        "{value:.2f} ({low:.2f} to {high:.2f})",
        value=each.repeatability / one,
        low=each.repeat_low / one,
        high=each.repeat_high / one,
    )


def _people(each: Precision, one: float) -> str:
    if each.reproducibility is None:
        return tr("not known")
    if not each.tells_people:
        return tr("{few} ({count} differences)", few=tr(TOO_FEW), count=each.people_freedom)
    return number(f"{each.reproducibility / one:.2f}")


def limits_note() -> str:
    """From where on a figure is told."""
    return tr(
        "Told from {fewest} on; standard deviations from {freedom} degrees of freedom on.",
        fewest=FEWEST,
        freedom=LEAST_FREEDOM,
    )
