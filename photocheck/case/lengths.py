"""Lengths and weights as people type them, and back.

Inch and centimetre are equal citizens.  All arithmetic here is exact
(`fractions.Fraction`); only the result is a float.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from photocheck.case.typed_numbers import LENGTH_WORDS, WEIGHT_WORDS, parse_typed, shown
from photocheck.errors import CaseError
from photocheck.speech import number, tr
from photocheck.words import FACT_TITLES, NECK_RING, READING_TITLES, READINGS, UNITS

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
        "neck_width": (15.0, 400.0),
        "chest_width": (25.0, 600.0),
        "height": (60.0, 1300.0),
    }
)
"""Shortest and longest that any dog could give, even with a reading doubled by
mistake, for such slips are the judgement's to name.  From memory, generous: the
smallest toy breeds to the largest mastiffs, and a margin."""

POSSIBLE_KG: Final = (0.3, 160.0)
"""From memory, generous: a puppy of the smallest breeds to the heaviest dog on record."""


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
    total, unit = parse_typed(
        value, default_unit, LENGTH_WORDS, MM_PER, field, signed, example, "length"
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
    total, _ = parse_typed(
        value, default_unit, WEIGHT_WORDS, KG_PER, field, False, "28 kg", "weight"
    )
    kg = float(total)
    low, high = POSSIBLE_KG
    if not low <= kg <= high:
        wrong = (
            tr("{typed} is {kg:.4g} kg, heavier than any dog", typed=shown(value), kg=kg)
            if kg > high
            else tr("{typed} is {kg:.4g} kg, lighter than any dog", typed=shown(value), kg=kg)
        )
        raise CaseError(wrong, where=field, do=tr("Check the unit: 28 kg or 62 lb, for example"))
    return kg


def parse_reading(name: str, value: str | int | float, default_unit: str) -> tuple[float, str]:
    """Read a tape reading and refuse what no dog at all could give.

    Parameters
    ----------
    name : str
        One of `photocheck.words.READINGS` or of `photocheck.words.FACT_TITLES`.
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
    title = READING_TITLES.get(name) or FACT_TITLES[name]
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

    With the decimal sign of the language spoken now, and its word for inches where "in" means
    something else there; `parse_length` reads either.

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
    return _inches(f"{sign if eighths else ''}{' '.join(parts)}")


def _inches(figures: str) -> str:
    return tr("{length} in", length=figures)


def as_said(text: str) -> str:
    """A length as it might be typed, with the decimal sign and the unit of the language spoken now.

    >>> as_said("10 1/2 in")
    '10 1/2 in'
    """
    figures, _, unit = text.rpartition(" ")
    return _inches(figures) if unit == "in" else number(text)


def exact_text(mm: float) -> str:
    """A length that `parse_length` reads back as the very same number, ``"367.5 mm"``.

    Below a millionth of a millimetre it is zero.
    """
    if abs(mm) < 1e-6:
        return "0 mm"
    return f"{format(Decimal(repr(float(mm))), 'f')} mm"


if {*READINGS, *FACT_TITLES} != set(POSSIBLE_MM):
    raise AssertionError("every reading needs its limits")
