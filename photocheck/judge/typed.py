"""What a reading may have been meant to be, from the very text that was typed.

Each generator undoes one kind of slip: it lists the texts from which that slip makes
the typed one, each with the probability that the slip, once made, turns exactly that
text into the typed one.  All work on the text and read it again with
`photocheck.case.lengths`, so that fractions, commas and units mean what they mean there.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final

from photocheck.case.lengths import POSSIBLE_MM, format_length, parse_length
from photocheck.case.model import Reading
from photocheck.errors import CaseError
from photocheck.scale.catalogue import MM_PER_INCH

NEIGHBOUR_KEYS: Final = {
    "1": "24",
    "2": "135",
    "3": "26",
    "4": "157",
    "5": "2468",
    "6": "359",
    "7": "48",
    "8": "5790",
    "9": "68",
    "0": "8",
}
"""Keys that touch along an edge on a telephone's number pad (ITU-T E.161, from memory)."""
NEIGHBOUR_SHARE: Final = 0.6
"""Of wrong digits: a neighbouring key; the others are misread, misheard or miswritten
(judgement, no source)."""
ACROSS_THE_POINT: Final = 0.5
"""A swap over the decimal point against one within the whole number (judgement)."""
EVEN_MM: Final = {"cm": 5.0, "in": MM_PER_INCH / 4.0}
"""What most people round to: half a centimetre, a quarter inch (judgement)."""
UNEVEN: Final = 0.1
"""How often those who round do not, or write 41.0 for 41 (judgement)."""
TAPE_MM: Final = {"cm": 1.0, "in": MM_PER_INCH / 16.0}
"""The finest marks of a tape (common practice, no source)."""
FINER: Final = 0.01
"""How often those who round write what no tape shows, as 37.35 cm (judgement)."""

_FRACTION = re.compile(r"(?P<above>\d+) ?/ ?(?P<below>\d+)")
_WHOLE = re.compile(r"^\s*\d+(?:[.,]\d+)?")
_TAPE_PARTS: Final = (2, 4, 8, 16)


@dataclass(frozen=True)
class Candidate:
    """One reading that may have been meant.

    Attributes
    ----------
    text : str
        With its unit, as the owner would write it.
    mm : float
    weight : float
        Probability that the slip, once made in this reading, turns this text into the typed
        one, times how often such a text is meant against the typed one.
    """

    text: str
    mm: float
    weight: float


def own_text(reading: Reading) -> str | None:
    """What was typed with vulgar fractions spelt out; None when it is not this reading's text."""
    return _own_text(reading.typed, reading.unit, reading.mm)


@lru_cache(maxsize=4096)
def _own_text(typed: str, unit: str, mm: float) -> str | None:
    spelt = "".join(
        f" {unicodedata.normalize('NFKC', c)}" if unicodedata.category(c) == "No" else c
        for c in typed
    ).replace("\u2044", "/")
    text = " ".join(spelt.split())
    return text if (read := _read(text, unit)) and abs(read / mm - 1.0) < 1e-6 else None


@lru_cache(maxsize=16384)
def _read(text: str, unit: str) -> float | None:
    try:
        return parse_length(text, unit)[0]
    except CaseError:
        return None


def swapped_digits(name: str, reading: Reading, even: bool = False) -> tuple[Candidate, ...]:
    """Two digits that stand beside each other exchanged, ``72`` for ``27``.

    >>> [one.text for one in swapped_digits("rear_length", Reading(720.0, "72", "cm"))]
    ['27 cm']
    """
    text = own_text(reading)
    if text is None:
        return ()
    places = _digits(text)
    pairs = list(pairwise(places))
    shares = [1.0 if b == a + 1 else ACROSS_THE_POINT for a, b in pairs]
    found = []
    for (a, b), share in zip(pairs, shares, strict=True):
        if text[a] != text[b]:
            found.append((_put(text, {a: text[b], b: text[a]}), share / sum(shares)))
    return _candidates(name, reading, even, found)


def wrong_digit(name: str, reading: Reading, even: bool = False) -> tuple[Candidate, ...]:
    """One digit in place of another, more often a neighbouring key: ``46`` for ``43``."""
    text = own_text(reading)
    if text is None:
        return ()
    places = _digits(text)
    found = []
    for at in places:
        typed = text[at]
        for meant in "0123456789":
            if meant == typed:
                continue
            near = NEIGHBOUR_KEYS[meant]
            share = (
                NEIGHBOUR_SHARE / len(near)
                if typed in near
                else (1.0 - NEIGHBOUR_SHARE) / (9 - len(near))
            )
            found.append((_put(text, {at: meant}), share / len(places)))
    return _candidates(name, reading, even, found)


def lost_or_doubled_digit(name: str, reading: Reading, even: bool = False) -> tuple[Candidate, ...]:
    """A digit that was not typed, ``4`` for ``42``, or typed twice, ``422`` for ``42``."""
    text = own_text(reading)
    if text is None:
        return ()
    places = _digits(text)
    shares: dict[str, float] = {}
    for at in places:
        if at + 1 in places and text[at] == text[at + 1]:
            meant = text[:at] + text[at + 1 :]
            shares[meant] = 0.5 / (len(places) - 1)  # one of the digits then there
    if places:
        run_ends = [p + 1 for p in places if p + 1 not in places]
        for at in sorted({*places, *run_ends}):
            for digit in "0123456789":
                meant = text[:at] + digit + text[at:]
                # the same text comes about in several ways when digits are alike
                shares[meant] = shares.get(meant, 0.0) + 0.5 / (len(places) + 1)
    return _candidates(name, reading, even, list(shares.items()))


def shifted_decimal(name: str, reading: Reading, even: bool = False) -> tuple[Candidate, ...]:
    """The decimal point one place off: ``425`` for ``42.5``."""
    text = own_text(reading)
    if text is None or "/" in text or not (number := _WHOLE.match(text)):
        return ()
    digits = number[0].strip().replace(",", ".")
    whole, _, part = digits.partition(".")
    mark = "," if "," in number[0] else "."
    rest = text[number.end() :]
    longer = (whole + (part[:1] or "0")).lstrip("0") + (mark + part[1:] if part[1:] else "")
    shorter = (whole[:-1] or "0") + mark + whole[-1] + part
    shorter = shorter.rstrip("0").rstrip(mark) if mark in shorter else shorter
    return _candidates(name, reading, even, [(longer + rest, 0.5), (shorter + rest, 0.5)])


def misread_fraction(name: str, reading: Reading, even: bool = False) -> tuple[Candidate, ...]:
    """The parts of an inch misread, left out or put in: ``14 1/2`` for ``14 1/4``."""
    text = own_text(reading)
    if text is None or reading.unit != "in":
        return ()
    old = _FRACTION.search(text)
    whole = re.match(r"\d+(?= \d+ ?/)|\d+(?= ?(?:[a-z\"']|$))", text)
    if whole is None or "ft" in text or "'" in text.replace("''", ""):
        return ()
    rest = text[old.end() if old else whole.end() :]
    below = max(4, int(old["below"]) if old else 4)
    if below not in _TAPE_PARTS:
        return ()
    now = int(old["above"]) / int(old["below"]) if old else 0.0
    found = []
    for above in range(below):
        if abs(above / below - now) > 1e-9:
            found.append((whole[0] + _fraction(above, below) + rest, 1.0 / (below - 1)))
    return _candidates(name, reading, even, found)


def _fraction(above: int, below: int) -> str:
    while above and above % 2 == 0:
        above, below = above // 2, below // 2
    return f" {above}/{below}" if above else ""


def _digits(text: str) -> list[int]:
    """Places of the digits outside a fraction, which is typed as one sign or picked as one."""
    taken: set[int] = set()
    for part in _FRACTION.finditer(text):
        taken.update(range(*part.span()))
    return [i for i, c in enumerate(text) if c.isascii() and c.isdigit() and i not in taken]


def _put(text: str, changes: dict[int, str]) -> str:
    return "".join(changes.get(i, c) for i, c in enumerate(text))


def _candidates(
    name: str, reading: Reading, even: bool, found: list[tuple[str, float]]
) -> tuple[Candidate, ...]:
    """Read the texts and keep what a dog can give.

    How often a text is meant is the density of ln(mm) times the tape's step over its
    length; against the typed text, which has the same step, that leaves typed / meant.
    Whoever rounds (`even`) hardly ever means a text that is not round.
    """
    low, high = POSSIBLE_MM[name]
    return tuple(
        Candidate(
            with_unit(text, reading.unit),
            mm,
            share * reading.mm / mm * (_habit(text, mm, reading.unit) if even else 1.0),
        )
        for text, share in found
        if not re.match(r"0\d", text)
        and (mm := _read(text, reading.unit))
        and low <= mm <= high
        and abs(mm / reading.mm - 1.0) > 1e-9
    )


def _habit(text: str, mm: float, unit: str) -> float:
    """How often such a text is meant by one who rounds and writes no idle zero."""
    if not _whole(mm / TAPE_MM[unit]):
        return FINER
    idle = re.search(r"[.,]\d*0(?!\d)", text) is not None
    return UNEVEN if idle or not is_even(mm, unit) else 1.0


def is_even(mm: float, unit: str) -> bool:
    """Whether a length is a whole number of half centimetres or quarter inches."""
    return _whole(mm / EVEN_MM[unit])


def _whole(steps: float) -> bool:
    return abs(steps - round(steps)) < 1e-6


def with_unit(text: str, unit: str) -> str:
    """A typed number with its unit, if it names none."""
    return text if re.search(r"[a-z\"']", text.casefold()) else f"{text} {unit}"


def scaled_reading(reading: Reading, factor: float, weight: float = 1.0) -> Candidate:
    """The reading times a factor, written in the owner's unit."""
    mm = reading.mm * factor
    return Candidate(format_length(mm, reading.unit), mm, weight)
