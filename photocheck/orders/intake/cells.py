"""What a cell of a table says, in the words people use."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from typing import Final

from photocheck.case.lengths import MM_PER, parse_length, parse_weight
from photocheck.case.model import Point
from photocheck.errors import CaseError
from photocheck.orders.bounds import LONGEST_FIELD
from photocheck.orders.intake.headings import age_words, squeeze
from photocheck.scale.catalogue import REFERENCES
from photocheck.speech import LANGUAGES, speaking, tr
from photocheck.words import BUILDS, COATS, PLACE_TITLES

_WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "coat": {"short": "kurzhaarig", "medium": "mittellang", "long": "langhaarig"},
    "build": {"medium": "normal", "broad": "kräftig"},
    "reference": {
        "marker_sheet": "marker sheet, sheet, Markenbogen, Bogen",
        "id_card": "card, Karte",
        "a4": "A4, DIN A4",
        "letter": "letter, US letter",
        "disc": "Scheibe",
    },
    "place": {},
    "language": {"en": "englisch", "de": "german"},
}
"""How people write what a cell may hold, besides its name and titles."""

_EMAIL: Final = re.compile(r"[^\s@,;<>]+@[^\s@,;<>]+")
"""One address and nothing else (RFC 5322, 3.4.1, without comments and quoted strings)."""

_HAS_UNIT: Final = re.compile(r"[^\W\d_]|[\"'\u2032\u2033\u2018\u2019\u201c\u201d]")


def has_unit(cell: str) -> bool:
    """Whether a length or weight is written with its unit."""
    return bool(_HAS_UNIT.search(cell))


def unit_word(cell: str) -> str:
    """The unit that a cell names, "cm" or "in".

    Raises
    ------
    CaseError
    """
    try:
        mm, system = parse_length(f"1 {cell}", "cm")
    except CaseError:
        mm, system = 0.0, ""
    if mm not in (float(MM_PER["cm"]), float(MM_PER["in"])):
        raise CaseError(
            tr("the unit '{unit}' is not known", unit=cell[:40]), do=tr("Write cm or in")
        )
    return system


def weight(cell: str, column_unit: str, unit: str) -> str:
    """A weight as typed, with its unit where the column has one.

    Raises
    ------
    CaseError
    """
    if not has_unit(cell):
        if not column_unit and unit == "in":
            raise CaseError(
                tr("'{weight}' may be kilograms or pounds", weight=cell[:40]),
                where=tr("weight"),
                do=tr("Write the unit in the heading or the cell, kg or lb"),
            )
        cell = f"{cell} {column_unit}".strip()
    parse_weight(cell)
    return cell


def age_months(cell: str, unit: str) -> float:
    """An age in months.

    Raises
    ------
    CaseError
    """
    match = re.fullmatch(r"(\d{1,3}(?:[.,]\d+)?)\s*([^\W\d_]*)\.?", cell)
    word = match[2].casefold() if match else ""
    for told in ("months", "years"):
        if match and (word in age_words(told) if word else told == unit):
            age = float(match[1].replace(",", ".")) * (12 if told == "years" else 1)
            if age <= 360:
                return age
    raise CaseError(
        tr("'{age}' is no age with its unit", age=cell[:40]),
        where=tr("age"),
        do=tr("Write 8 months or 3 years, or the unit in the heading"),
    )


def email(cell: str) -> str:
    """An e-mail address.

    Raises
    ------
    CaseError
    """
    if len(cell) <= LONGEST_FIELD and _EMAIL.fullmatch(cell):
        return cell
    raise CaseError(
        tr("'{text}' is no e-mail address", text=cell[:40]), do=tr("Write one, name@example.org")
    )


def telephone(cell: str) -> str:
    """A telephone number as it stands.

    Raises
    ------
    CaseError
    """
    if len(cell) <= LONGEST_FIELD and any(c.isdigit() for c in cell):
        return cell
    raise CaseError(
        tr("'{text}' is no telephone number", text=cell[:40]), do=tr("Write it with its digits")
    )


def point(cell: str, field: str) -> Point:
    """A point in px of the upright photo.

    Raises
    ------
    CaseError
    """
    parts = [part.strip(",") for part in re.split(r"[;\s]+", cell.strip("()[] "))]
    if len(parts) == 1:
        parts = parts[0].split(",")
    try:
        x, y = (float(part.replace(",", ".")) for part in parts)
        if max(abs(x), abs(y)) <= 1e6:  # not for "nan"
            return x, y
    except ValueError:
        pass
    raise CaseError(
        tr("'{text}' is not a point", text=cell[:40]),
        where=field,
        do=tr("Write x and y in pixels of the upright photo, 812 340 for example"),
    )


def choice(cell: str, field: str) -> str:
    """Which of the words a field may hold is meant.

    Raises
    ------
    CaseError
    """
    words = _choices(field)
    found = words.get(squeeze(cell))
    if found is None:
        raise CaseError(
            tr("'{text}' is not known here", text=cell[:40]),
            where=field,
            do=tr("Use one of {names}", names=", ".join(dict.fromkeys(words.values()))),
        )
    return found


@cache
def _choices(field: str) -> dict[str, str]:
    titles: Mapping[str, str] = {
        "coat": {word: word for word in COATS},
        "build": {word: word for word in BUILDS},
        "reference": {kind: item.title for kind, item in REFERENCES.items()},
        "place": PLACE_TITLES,
        "language": LANGUAGES,
    }[field]
    words: dict[str, str] = {}
    for key, title in titles.items():
        said = [key, *_WORDS[field].get(key, "").split(", ")]
        for language in LANGUAGES:
            with speaking(language):
                said.append(tr(title))
        words |= {squeeze(text): key for text in said if text}
    return words
