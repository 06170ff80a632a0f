"""A reading taken several times: from JSON and from one text to its takes, and back."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from photocheck.case.lengths import parse_reading
from photocheck.case.model import TAKES_APART, Reading, Take
from photocheck.errors import CaseError

MOST_TAKES: Final = 9
"""Of one reading; more bring nothing (judgement)."""

OWNER: Final = "owner"
"""Whose hands led the tape where nobody is named."""

_APART: Final = re.compile(rf"\s*;\s*|{re.escape(TAKES_APART)}")
_UNIT_BEHIND: Final = re.compile(r"\d\s*([^\W\d_]+\.?|[\"'\u2032\u2033\u201d]+)\s*$")


def split_takes(name: str, text: str, unit: str) -> tuple[str, ...]:
    """The takes written into one text: parted by ";", or by "/" with a blank on either side.

    A unit behind the last one is that of all, where no other has its own.  A text that is not
    several lengths a dog could give stays whole: the blanks of ``14 1 / 2`` part no takes.

    >>> split_takes("half_neck", "41 / 41.5", "cm")
    ('41', '41.5')
    >>> split_takes("half_neck", "14 1/2 / 14 3/4 in", "in")
    ('14 1/2 in', '14 3/4 in')
    >>> split_takes("half_neck", "14 1 / 2", "in")
    ('14 1 / 2',)
    """
    parts = _APART.split(text.strip())
    if not 1 < len(parts) <= MOST_TAKES:
        return (text,)
    behind = _UNIT_BEHIND.search(parts[-1])
    if behind and not any(_UNIT_BEHIND.search(part) for part in parts[:-1]):
        parts = [*(f"{part} {behind[1]}" for part in parts[:-1]), parts[-1]]
    try:
        for part in parts:
            parse_reading(name, part, unit)
    except CaseError:
        return (text,)
    return tuple(parts)


def reading_from_json(name: str, value: Any, unit: str) -> Reading:
    """A reading as a case file has it: one value, or a list of values and of takes.

    Parameters
    ----------
    name : str
        One of `photocheck.words.READINGS`.
    value : parsed JSON
        As the schema has it; an empty text among others counts for nothing.
    unit : str
        Of bare numbers.

    Raises
    ------
    CaseError
        When a take is no length, or none that a dog could give.
    """
    every = [
        one if isinstance(one, Mapping) else {"typed": one}
        for one in (value if isinstance(value, list) else [value])
    ]
    told = [one for one in every if str(one["typed"]).strip()] or every
    return Reading.of([_take(name, one, unit) for one in told])


def _take(name: str, told: Mapping[str, Any], unit: str) -> Take:
    typed = told["typed"]
    mm, own = parse_reading(name, typed, unit)
    # Blanks around it are no part of what somebody read off the tape.
    text = typed.strip() if isinstance(typed, str) else repr(typed)
    return Take(mm, text, own, told.get("at", ""), told.get("by", ""))


def takes_to_json(takes: Sequence[Take], texts: Sequence[str]) -> Any:
    """What `reading_from_json` reads back: a text for one take of which no more is told.

    Parameters
    ----------
    takes : sequence of Take
    texts : sequence of str
        Each as it is to stand there.
    """
    made: list[Any] = []
    for take, text in zip(takes, texts, strict=True):
        told = {"typed": text, "at": take.at, "by": take.by}
        known = {key: value for key, value in told.items() if value}
        made.append(text if set(known) == {"typed"} else known)
    return made[0] if len(made) == 1 and isinstance(made[0], str) else made
