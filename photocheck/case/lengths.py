"""Lengths and weights as people type them, and back.

Inch and centimetre are equal citizens.  All arithmetic here is exact
(`fractions.Fraction`); only the result is a float.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from photocheck.errors import CaseError
from photocheck.speech import number, tr
from photocheck.words import NECK_RING, READING_TITLES, READINGS, UNITS

MM_PER: Final[Mapping[str, Fraction]] = MappingProxyType(
    {
        "mm": Fraction(1),
        "cm": Fraction(10),
        "m": Fraction(1000),
        "in": Fraction(254, 10),
        "ft": Fraction(3048, 10),
    }
)
"""Exact: international yard and pound agreement of 1959; NIST SP 811 (2008), B.6."""

KG_PER: Final[Mapping[str, Fraction]] = MappingProxyType(
    {
        "kg": Fraction(1),
        "g": Fraction(1, 1000),
        "lb": Fraction(45359237, 100_000_000),
        "oz": Fraction(45359237, 1_600_000_000),
    }
)
"""Exact: the avoirdupois pound is 0.453 592 37 kg, 16 ounces; NIST SP 811 (2008), B.6."""

POSSIBLE_MM: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "half_neck": (25.0, 900.0),
        "front_length": (30.0, 1200.0),
        "rear_length": (20.0, 1200.0),
        "full_length": (60.0, 2000.0),
        NECK_RING: (50.0, 1800.0),
        "girth": (100.0, 2000.0),
    }
)
"""Shortest and longest that any dog could give, even with a reading doubled by
mistake, for such slips are the judgement's to name.  From memory, generous: the
smallest toy breeds to the largest mastiffs, and a margin."""

POSSIBLE_KG: Final = (0.3, 160.0)
"""From memory, generous: a puppy of the smallest breeds to the heaviest dog on record."""

_LENGTH_WORDS = {
    "mm": "mm",
    "millimetre": "mm",
    "millimetres": "mm",
    "millimeter": "mm",
    "millimeters": "mm",
    "cm": "cm",
    "cms": "cm",
    "centimetre": "cm",
    "centimetres": "cm",
    "centimeter": "cm",
    "centimeters": "cm",
    "m": "m",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "in": "in",
    "ins": "in",
    "inch": "in",
    "inches": "in",
    "zoll": "in",
    '"': "in",
    "ft": "ft",
    "foot": "ft",
    "feet": "ft",
    "'": "ft",
}
_WEIGHT_WORDS = {
    "kg": "kg",
    "kgs": "kg",
    "kilo": "kg",
    "kilos": "kg",
    "kilogram": "kg",
    "kilograms": "kg",
    "g": "g",
    "gram": "g",
    "grams": "g",
    "lb": "lb",
    "lbs": "lb",
    "pound": "lb",
    "pounds": "lb",
    "oz": "oz",
    "ounce": "oz",
    "ounces": "oz",
}

# Two-part lengths and weights: the smaller unit and how many make the larger.
_SMALLER = {"ft": ("in", 12), "m": ("cm", 100), "lb": ("oz", 16), "kg": ("g", 1000)}

_SAME = str.maketrans(
    {
        "\u2032": "'",  # prime
        "\u2019": "'",  # closing quotation mark
        "\u2018": "'",
        "\u00b4": "'",  # acute accent
        "`": "'",
        "\u2033": '"',  # double prime
        "\u201d": '"',
        "\u201c": '"',
        "\u2044": "/",  # fraction slash
        "\u2215": "/",  # division slash
        "\u2212": "-",  # minus
        "\u2013": "-",  # en dash
        "\u2010": "-",  # hyphen
        "\u2011": "-",  # non-breaking hyphen
    }
)

# Nothing on a dog is anywhere near either; they only keep nonsense from costing time.
_LARGEST = 10**9
_LONGEST = 80

_Refuse = Callable[[str], CaseError]

_NUMBER = r"\d+[ \-]+\d+ ?/ ?\d+|\d+ ?/ ?\d+|\d+[.,]\d+|[.,]\d+|\d+"
_PART = re.compile(rf"(?P<number>{_NUMBER}) ?(?P<unit>[a-z]+\.?|[\"'])?")


def parse_length(
    value: str | int | float,
    default_unit: str,
    *,
    field: str = "length",
    signed: bool = False,
) -> tuple[float, str]:
    """Read a length.

    Understood are whole and decimal numbers with point or comma, fractions
    (``14 1/2``, ``14-1/2``, ``14½``), the units mm, cm, m, in, ft with their names
    and their signs (the primes), and two-part lengths (``1 ft 2 1/2 in``, ``1' 2"``).

    Parameters
    ----------
    value : str or number
    default_unit : str
        ``"cm"`` or ``"in"``, for a bare number.
    field : str
        What to call it in messages.
    signed : bool
        Whether zero and negative lengths are allowed (distances with a side).

    Returns
    -------
    (float, str)
        Millimetres, and ``"cm"`` or ``"in"``: the system it was written in.

    Raises
    ------
    CaseError
        When it is not one unambiguous length, or not positive.
    """
    if default_unit not in UNITS:
        raise CaseError(
            tr("the unit {unit!r} is not known", unit=default_unit),
            where=field,
            do=tr("Use cm or in"),
        )
    example = "14 1/2 in" if default_unit == "in" else "36.8 cm"
    total, unit = _parse(
        value, default_unit, _LENGTH_WORDS, MM_PER, field, signed, example, "length"
    )
    return float(total), "in" if unit in ("in", "ft") else "cm"


def parse_weight(
    value: str | int | float, default_unit: str = "kg", *, field: str = "weight"
) -> float:
    """Read a weight: kg, g, lb, oz, or ``62 lb 8 oz``.

    Returns
    -------
    float
        Kilograms.

    Raises
    ------
    CaseError
        When it is not one unambiguous weight, or outside `POSSIBLE_KG`.
    """
    total, _ = _parse(value, default_unit, _WEIGHT_WORDS, KG_PER, field, False, "28 kg", "weight")
    kg = float(total)
    low, high = POSSIBLE_KG
    if not low <= kg <= high:
        wrong = (
            tr("{typed} is {kg:.4g} kg, heavier than any dog", typed=_shown(value), kg=kg)
            if kg > high
            else tr("{typed} is {kg:.4g} kg, lighter than any dog", typed=_shown(value), kg=kg)
        )
        raise CaseError(wrong, where=field, do=tr("Check the unit: 28 kg or 62 lb, for example"))
    return kg


def parse_reading(name: str, value: str | int | float, default_unit: str) -> tuple[float, str]:
    """Read a tape reading and refuse what no dog at all could give.

    Parameters
    ----------
    name : str
        One of `photocheck.words.READINGS`, or ``"girth"``.
    value, default_unit
        As for `parse_length`.

    Returns
    -------
    (float, str)
        Millimetres and the unit it was written in.

    Raises
    ------
    CaseError
    """
    title = READING_TITLES.get(name, name)
    mm, unit = parse_length(value, default_unit, field=title)
    low, high = POSSIBLE_MM[name]
    if low <= mm <= high:
        return mm, unit
    number = mm / float(MM_PER[unit])
    typed = f"{number:.4g} {unit}"
    other = "cm" if unit == "in" else "in"
    both = f"{typed} = {mm / float(MM_PER[other]):.1f} {other}"
    others = [u for u in ("cm", "in", "mm") if low <= number * float(MM_PER[u]) <= high]
    do = (
        tr(
            "{number:.4g} {unit} would be possible, so check the unit",
            number=number,
            unit=others[0],
        )
        if others
        else tr("Look at the tape again and type the number with its unit")
    )
    wrong = (
        tr("{both} is longer than any dog's {title}", both=both, title=tr(title))
        if mm > high
        else tr("{both} is shorter than any dog's {title}", both=both, title=tr(title))
    )
    raise CaseError(wrong, where=title, do=do)


def format_length(mm: float, unit: str) -> str:
    """A length for people: ``"36.8 cm"``, or inches to the nearest eighth, ``"14 1/2 in"``.

    With the decimal sign of the language spoken now.

    Parameters
    ----------
    mm : float
        Finite; may be negative.
    unit : str
        ``"cm"`` or ``"in"``.
    """
    sign = "-" if mm < 0 else ""
    size = abs(mm)
    if unit == "cm":
        text = f"{size / 10:.1f}"
        return number(f"{sign if float(text) else ''}{text} cm")
    if unit != "in":
        raise CaseError(tr("the unit {unit!r} is not known", unit=unit), do=tr("Use cm or in"))
    # Half an eighth goes up, as on a tape: floor(8 x + 1/2).
    eighths = int(Fraction(size) / MM_PER["in"] * 8 + Fraction(1, 2))
    whole, rest = divmod(eighths, 8)
    fraction = Fraction(rest, 8)
    parts = [str(whole)] if whole or not rest else []
    if rest:
        parts.append(f"{fraction.numerator}/{fraction.denominator}")
    return f"{sign if eighths else ''}{' '.join(parts)} in"


def exact_text(mm: float) -> str:
    """A length that `parse_length` reads back as the very same number, ``"367.5 mm"``.

    Below a millionth of a millimetre it is zero.
    """
    if abs(mm) < 1e-6:
        return "0 mm"
    return f"{format(Decimal(repr(float(mm))), 'f')} mm"


def _parse(
    value: str | int | float,
    default_unit: str,
    words: Mapping[str, str],
    factors: Mapping[str, Fraction],
    field: str,
    signed: bool,
    example: str,
    what: str,
) -> tuple[Fraction, str]:
    def refuse(wrong: str) -> CaseError:
        do = (
            tr("Type a weight like {example}", example=example)
            if what == "weight"
            else tr("Type a length like {example}", example=example)
        )
        return CaseError(wrong, where=field, do=do)

    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise refuse(
            tr("{typed} is not a weight", typed=_shown(value))
            if what == "weight"
            else tr("{typed} is not a length", typed=_shown(value))
        )
    if isinstance(value, int) and abs(value) > _LARGEST:
        raise refuse(tr("that number is too large"))
    text = value if isinstance(value, str) else format(_decimal(value, refuse), "f")
    if len(text) > _LONGEST:
        raise refuse(tr("{typed} is too long", typed=_shown(value)))
    text = _tidy(text)
    if not text:
        raise refuse(tr("nothing was typed"))
    negative = text.startswith("-")
    body = text[1:].strip() if negative else text.removeprefix("+").strip()
    parts = _parts(body, words, value, refuse)
    total, unit = _sum(parts, default_unit, factors, value, refuse)
    if negative:
        total = -total
    if not signed and total < 0:
        raise refuse(tr("{typed} is negative", typed=_shown(value)))
    if not signed and total == 0:
        raise refuse(
            tr("a weight of zero cannot be right")
            if what == "weight"
            else tr("a length of zero cannot be right")
        )
    if abs(total) > _LARGEST:
        raise refuse(tr("{typed} is too large", typed=_shown(value)))
    return total, unit


def _decimal(value: int | float, refuse: _Refuse) -> Decimal:
    # The shortest text of a float is what was typed: 36.8 means 368/10 and not the
    # binary fraction next to it.
    number = Decimal(repr(value))
    if not number.is_finite():
        raise refuse(tr("{name} is not a number", name=str(value)))
    return number


def _tidy(text: str) -> str:
    spelt = []
    for char in text:
        if unicodedata.category(char) == "No" and "\u2044" in unicodedata.normalize("NFKC", char):
            # A vulgar fraction; the space keeps 14½ from becoming 141/2.
            spelt.append(" " + unicodedata.normalize("NFKC", char) + " ")
        else:
            spelt.append(char)
    plain = "".join(spelt).translate(_SAME).casefold()
    plain = " ".join(plain.split())  # also the non-breaking and thin spaces
    return plain.replace("''", '"').replace("' '", '"')


def _parts(
    body: str, words: Mapping[str, str], value: object, refuse: _Refuse
) -> list[tuple[Fraction, str | None]]:
    parts: list[tuple[Fraction, str | None]] = []
    at = 0
    while at < len(body):
        match = _PART.match(body, at)
        if match is None:
            raise refuse(tr("{typed} cannot be read", typed=_shown(value)))
        word = match["unit"]
        unit = None
        if word is not None:
            unit = words.get(word.rstrip("."))
            if unit is None:
                raise refuse(
                    tr("{typed} has the unknown unit {unit!r}", typed=_shown(value), unit=word)
                )
        parts.append((_number(match["number"], value, refuse), unit))
        at = match.end()
        if at < len(body) and unit is not None and body[at] in " ,":
            at += 1
            while at < len(body) and body[at] == " ":
                at += 1
        elif at < len(body) and unit is None:
            raise refuse(tr("{typed} cannot be read as one number", typed=_shown(value)))
    return parts


def _number(text: str, value: object, refuse: _Refuse) -> Fraction:
    if "/" in text:
        whole, _, rest = re.sub(r" ?/ ?", "/", text).replace("-", " ").rpartition(" ")
        above, below = rest.split("/")
        if int(below) == 0 or int(below) > 64 or (whole and int(above) >= int(below)):
            raise refuse(tr("{typed} has a fraction that no tape shows", typed=_shown(value)))
        return Fraction(int(whole or 0)) + Fraction(int(above), int(below))
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", text):
        # A decimal comma or a thousands comma: 1,234 mm is one or the other.
        raise refuse(
            tr("{typed} can be read in two ways because of its comma", typed=_shown(value))
        )
    return Fraction(text.replace(",", "."))


def _sum(
    parts: list[tuple[Fraction, str | None]],
    default_unit: str,
    factors: Mapping[str, Fraction],
    value: object,
    refuse: _Refuse,
) -> tuple[Fraction, str]:
    if not parts:
        raise refuse(tr("{typed} cannot be read", typed=_shown(value)))
    first, unit = parts[0]
    if len(parts) == 1:
        unit = unit or default_unit
        return first * factors[unit], unit
    if len(parts) > 2 or unit not in _SMALLER:
        raise refuse(tr("{typed} holds more than one number", typed=_shown(value)))
    smaller, count = _SMALLER[unit]
    second, second_unit = parts[1]
    if (second_unit or smaller) != smaller or first.denominator != 1 or not second < count:
        raise refuse(tr("{typed} mixes units in a way that cannot be read", typed=_shown(value)))
    return first * factors[unit] + second * factors[smaller], unit


def _shown(value: object) -> str:
    text = value if isinstance(value, str) else repr(value)
    text = "".join(c if c.isprintable() else " " for c in text)
    return f"'{text[:40]}...'" if len(text) > 43 else f"'{text}'"


if set(READINGS) - set(POSSIBLE_MM):
    raise AssertionError("every reading needs its limits")
