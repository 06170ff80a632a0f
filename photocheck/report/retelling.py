"""A report in another language: its sentences are said in each when it is made, and kept with it.

Whoever reads it later may speak another language than who had it made, and nothing that was told
may change with a later version's wording.
"""

from __future__ import annotations

from collections.abc import Callable
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
    texts: list[str] = []

    def plain(text: str) -> str:
        # what a text was made of only takes memory, for as long as a report is held
        texts.append(text)
        return str(text)

    made: Report = _resaid(report, plain)
    others = {}
    for language in LANGUAGES:
        if language != spoken():
            said = {str(text): str(said_in(text, language)) for text in texts}
            others[language] = {here: there for here, there in said.items() if here != there}
    return replace(made, language=spoken(), in_other_languages=others)


def in_language(report: Report, language: str) -> Report:
    """The same report for who reads `language`; as it is where it was not said in that.

    To be shown, not to be kept: what was told is what the report as it was made holds.
    """
    told = report.in_other_languages.get(language)
    if told is None:
        return report
    again: Report = _resaid(report, lambda text: told.get(text, text))
    return replace(again, language=language, in_other_languages={})


def _resaid(part: Any, say: Callable[[str], str], said: bool = False) -> Any:
    """A report, or a part of it, with `say` of every text that is said to people."""
    if isinstance(part, str):
        if isinstance(part, Said) and not said:
            raise TypeError(f"{part!r} is said in a field that is not known to hold sentences")
        return say(part) if said else part
    if isinstance(part, tuple):
        return tuple(_resaid(each, say, said) for each in part)
    if is_dataclass(part) and not isinstance(part, type):
        again = {
            each.name: _resaid(getattr(part, each.name), say, each.name in SENTENCES)
            for each in fields(part)
            if each.name not in _NOT_SAID
        }
        return replace(part, **again)
    return part
