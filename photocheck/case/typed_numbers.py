"""Numbers with units as people type them: whole, decimal, in fractions, in two parts.

All arithmetic here is exact (`fractions.Fraction`).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Final

from photocheck.errors import CaseError
from photocheck.speech import tr

LENGTH_WORDS: Final = {
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
WEIGHT_WORDS: Final = {
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
        "\u2012": "-",  # figure dash
        "\uff0d": "-",  # fullwidth hyphen-minus
        "\ufe63": "-",  # small hyphen-minus
        "\u2010": "-",  # hyphen
        "\u2011": "-",  # non-breaking hyphen
    }
)
_MINUS = "-" + "".join(chr(sign) for sign, plain in _SAME.items() if plain == "-")

# Nothing on a dog is anywhere near either; they only keep nonsense from costing time.
_LARGEST = 10**9
_LONGEST = 80

_Refuse = Callable[[str], CaseError]

_NUMBER = r"\d+[ \-]+\d+ ?/ ?\d+|\d+ ?/ ?\d+|\d+[.,]\d+|[.,]\d+|\d+"
_PART = re.compile(rf"(?P<number>{_NUMBER}) ?(?P<unit>[a-z]+\.?|[\"'])?")


def parse_typed(
    value: str | int | float,
    default_unit: str,
    words: Mapping[str, str],
    factors: Mapping[str, Fraction],
    field: str,
    signed: bool,
    example: str,
    what: str,
) -> tuple[Fraction, str]:
    """Read one number with its unit, or a whole one with a part in the smaller unit.

    Parameters
    ----------
    value : str or number
    default_unit : str
        A key of `factors`, for a bare number.
    words : mapping of str to str
        What people write for each unit.
    factors : mapping of unit to Fraction
        Of each unit in the smallest common one, exact.
    field, example : str
        What it is called in messages, and one that can be read.
    signed : bool
        Whether zero and below are allowed.
    what : str
        "length" or "weight".

    Returns
    -------
    (Fraction, str)
        In the common unit, and the unit that was written.

    Raises
    ------
    CaseError
        When it is not one unambiguous number, or not positive.
    """

    def refuse(wrong: str) -> CaseError:
        do = (
            tr("Type a weight like {example}", example=example)
            if what == "weight"
            else tr("Type a length like {example}", example=example)
        )
        return CaseError(wrong, where=field, do=do)

    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise refuse(
            tr("{typed} is not a weight", typed=shown(value))
            if what == "weight"
            else tr("{typed} is not a length", typed=shown(value))
        )
    if isinstance(value, int) and abs(value) > _LARGEST:
        raise refuse(tr("that number is too large"))
    text = value if isinstance(value, str) else format(_decimal(value, refuse), "f")
    if len(text) > _LONGEST:
        raise refuse(tr("{typed} is too long", typed=shown(value)))
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
        raise refuse(tr("{typed} is negative", typed=shown(value)))
    if not signed and total == 0:
        raise refuse(
            tr("a weight of zero cannot be right")
            if what == "weight"
            else tr("a length of zero cannot be right")
        )
    if abs(total) > _LARGEST:
        raise refuse(tr("{typed} is too large", typed=shown(value)))
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
            raise refuse(tr("{typed} cannot be read", typed=shown(value)))
        word = match["unit"]
        unit = None
        if word is not None:
            unit = words.get(word.rstrip("."))
            if unit is None:
                raise refuse(
                    tr("{typed} has the unknown unit {unit!r}", typed=shown(value), unit=word)
                )
        parts.append((_number(match["number"], value, refuse), unit))
        at = match.end()
        if at < len(body) and unit is not None and body[at] in " ,":
            at += 1
            while at < len(body) and body[at] == " ":
                at += 1
        elif at < len(body) and unit is None:
            raise refuse(tr("{typed} cannot be read as one number", typed=shown(value)))
    return parts


def _number(text: str, value: object, refuse: _Refuse) -> Fraction:
    if "/" in text:
        whole, _, rest = re.sub(r" ?/ ?", "/", text).replace("-", " ").rpartition(" ")
        above, below = rest.split("/")
        if int(below) == 0 or int(below) > 64 or (whole and int(above) >= int(below)):
            raise refuse(tr("{typed} has a fraction that no tape shows", typed=shown(value)))
        return Fraction(int(whole or 0)) + Fraction(int(above), int(below))
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", text):
        # A decimal comma or a thousands comma: 1,234 mm is one or the other.
        raise refuse(tr("{typed} can be read in two ways because of its comma", typed=shown(value)))
    return Fraction(text.replace(",", "."))


def _sum(
    parts: list[tuple[Fraction, str | None]],
    default_unit: str,
    factors: Mapping[str, Fraction],
    value: object,
    refuse: _Refuse,
) -> tuple[Fraction, str]:
    if not parts:
        raise refuse(tr("{typed} cannot be read", typed=shown(value)))
    first, unit = parts[0]
    if len(parts) == 1:
        unit = unit or default_unit
        return first * factors[unit], unit
    if len(parts) > 2 or unit not in _SMALLER:
        raise refuse(tr("{typed} holds more than one number", typed=shown(value)))
    smaller, count = _SMALLER[unit]
    second, second_unit = parts[1]
    if (second_unit or smaller) != smaller or first.denominator != 1 or not second < count:
        raise refuse(tr("{typed} mixes units in a way that cannot be read", typed=shown(value)))
    return first * factors[unit] + second * factors[smaller], unit


def without_sign(text: str) -> str:
    """What was typed without the minus before it, however and how often that was written.

    >>> without_sign(" \u22121,5 cm"), without_sign("-1"), without_sign("14-1/2 in")
    ('1,5 cm', '1', '14-1/2 in')
    >>> without_sign("- \u2212 1")
    '1'
    """
    return re.sub(rf"^[\s{re.escape(_MINUS)}]+", "", text).strip()


def bare_fraction(text: str) -> bool:
    """Whether a text holds a fraction and no unit.

    Nobody divides a centimetre into halves: such a number is mostly one of inches.

    >>> [bare_fraction(text) for text in ("14 1/2", "14½", "14 1/2 in", "14.5")]
    [True, True, False, False]
    """
    tidied = _tidy(text)
    return "/" in tidied and not re.search(r"[a-z\"']", tidied)


def shown(value: object) -> str:
    """What was typed, quoted, short enough for a sentence and harmless to a terminal."""
    text = value if isinstance(value, str) else repr(value)
    text = "".join(c if c.isprintable() else " " for c in text)
    return f"'{text[:40]}...'" if len(text) > 43 else f"'{text}'"
