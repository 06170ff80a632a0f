"""A report in another language: its sentences are said in each when it is made, and kept with it.

Whoever reads it later may speak another language than who had it made, and nothing that was told
may change with a later version's wording.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any, Final

from photocheck.report.model import Report
from photocheck.speech import LANGUAGES, Said, said_in, spoken

SENTENCES: Final = frozenset(
    {
        *("headline", "promise", "sentence", "redundancy", "remarks", "instruction", "outliers"),
        *("title", "action", "next_step", "brings", "cautions", "candidates"),
    }
)
"""Fields of a report and of its parts that hold what is said to people; others hold words of the
vocabulary, names and what people typed."""

_NOT_SAID: Final = frozenset({"case", "in_other_languages"})


def with_retellings(report: Report) -> Report:
    """The same report with its sentences in every language.

    Parameters
    ----------
    report : Report
        As it was just made, in the language spoken now: its sentences remember what they were
        made of (`photocheck.speech.Said`).
    """
    others = {}
    for language in LANGUAGES:
        if language != spoken():
            said = {str(text): str(said_in(text, language)) for text in _texts(report)}
            others[language] = {here: there for here, there in said.items() if here != there}
    # once that is done what they were made of only takes memory, for as long as a report is held
    plain: Report = _retold(report, {})
    return replace(plain, language=spoken(), in_other_languages=others)


def in_language(report: Report, language: str) -> Report:
    """The same report for who reads `language`; as it is where it was not said in that.

    To be shown, not to be kept: what was told is what the report as it was made holds.
    """
    told = report.in_other_languages.get(language)
    if told is None:
        return report
    again: Report = _retold(report, told)
    return replace(again, language=language, in_other_languages={})


def _texts(part: Any, said: bool = False) -> Iterator[str]:
    """Every text below that is said to people."""
    if isinstance(part, str):
        if said:
            yield part
        elif isinstance(part, Said):
            raise TypeError(f"{part!r} is said in a field that is not known to hold sentences")
    elif isinstance(part, tuple):
        for each in part:
            yield from _texts(each, said)
    elif is_dataclass(part):
        for each in fields(part):
            if each.name not in _NOT_SAID:
                yield from _texts(getattr(part, each.name), each.name in SENTENCES)


def _retold(part: Any, told: Mapping[str, str], said: bool = False) -> Any:
    if isinstance(part, str):
        return told.get(part, str(part)) if said else part
    if isinstance(part, tuple):
        return tuple(_retold(each, told, said) for each in part)
    if is_dataclass(part) and not isinstance(part, type):
        again = {
            each.name: _retold(getattr(part, each.name), told, each.name in SENTENCES)
            for each in fields(part)
            if each.name not in _NOT_SAID
        }
        return replace(part, **again)
    return part
