"""What breaks a published schema, as one violation and in words."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable
from functools import cache
from itertools import islice
from typing import TYPE_CHECKING, Any, Final

from photocheck.errors import CaseError
from photocheck.schemas.published import fits, schema
from photocheck.speech import later, tr
from photocheck.words import LANDMARK_HINTS, LANDMARK_TITLES, READING_TITLES

if TYPE_CHECKING:
    from jsonschema.exceptions import ValidationError

_TYPE_WORDS = {
    "object": later("a group of named values in braces"),
    "array": later("a list in brackets"),
    "string": later("a text in quotes"),
    "number": later("a number"),
    "integer": later("a whole number"),
    "boolean": later("true or false"),
    "null": later("nothing"),
}


MOST_WEIGHED: Final = 200
"""Violations that are weighed against each other: no file that people write has as many."""


def complaint(data: Any, name: str, *, part: str = "") -> ValidationError | None:
    """The one violation of a published schema that is most worth telling, or None.

    An unknown name comes before a missing one, for a misspelt name causes both;
    otherwise `jsonschema`'s own order of relevance.

    Parameters
    ----------
    data : parsed JSON
    name : str
        One of `photocheck.schemas.published.NAMES`.
    part : str
        Of its definitions, when only such a part is given.
    """
    if fits(data, name, part=part):
        return None
    return most_telling(_validator(name, part).iter_errors(data))


def most_telling(violations: Iterable[ValidationError]) -> ValidationError | None:
    """Of all violations the one that is most worth telling, as `complaint` has it, or None.

    A list that is too long is not looked into, and of a crowd the first `MOST_WEIGHED` are
    weighed: a file of a few hundred kilobytes has room for a hundred thousand, and to make each of
    them takes as long as to tell it.
    """
    from jsonschema.exceptions import relevance

    errors: list[ValidationError] = []
    for error in islice(violations, MOST_WEIGHED):
        errors.append(error)
        if error.validator == "maxItems":
            break
    unknown = [error for error in errors if error.validator == "additionalProperties"]
    return max(unknown or errors, key=relevance) if errors else None


@cache
def _validator(name: str, part: str) -> Any:
    from jsonschema import Draft202012Validator

    return Draft202012Validator(schema(name, part))


def refused(error: ValidationError, where: str) -> CaseError:
    """What to raise for a violation: what is wrong, where in the file, and what to do."""
    wrong, do = in_words(error)
    place = path_in_words(error.absolute_path)
    return CaseError(wrong, where=f"{where}, {place}" if place else where, do=do)


def format_in_words(found: Any, *, given: bool) -> str:
    """What is wrong with the ``format`` that a file names, or does not."""
    return tr("the format is {found!r}", found=found) if given else tr("no format is given")


def path_in_words(path: Iterable[str | int]) -> str:
    """A JSON path for people: ``photo 1, marking 2, marks, breastbone``."""
    said: list[str] = []
    for step in path:
        if isinstance(step, int):
            last = said.pop() if said else "item"
            singular = {"photos": "photo", "markings": "marking", "corners": "corner"}
            said.append(f"{singular.get(last, last)} {step + 1}")
        else:
            said.append(LANDMARK_TITLES.get(step, READING_TITLES.get(step, step.replace("_", " "))))
    return ", ".join(said)


def in_words(error: ValidationError) -> tuple[str, str]:
    """What was wrong and what to do, from one schema violation."""
    value, rule, asked = error.instance, error.validator, error.validator_value
    if rule == "additionalProperties":
        return _unknown_name(value, list(error.schema["properties"]))
    if rule == "required":
        return _missing(next(name for name in asked if name not in value))
    if rule == "type":
        kinds = [asked] if isinstance(asked, str) else asked
        wanted = tr(_TYPE_WORDS[kinds[0]])
        for kind in kinds[1:]:
            wanted = tr("{one} or {other}", one=wanted, other=tr(_TYPE_WORDS[kind]))
        return tr("this must be {wanted}, not {found}", wanted=wanted, found=_kind(value)), tr(
            "Correct it"
        )
    if rule in ("enum", "const"):
        return _unknown_word(value, [str(each) for each in (asked if rule == "enum" else [asked])])
    if rule in ("minItems", "maxItems"):
        return _miscounted(error)
    if rule in ("minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum"):
        return tr("{value} is outside the limits", value=_short(value)), {
            "minimum": tr("It must be at least {limit}", limit=asked),
            "exclusiveMinimum": tr("It must be above {limit}", limit=asked),
            "maximum": tr("It must be at most {limit}", limit=asked),
            "exclusiveMaximum": tr("It must be below {limit}", limit=asked),
        }[rule]
    if rule == "minLength":
        return tr("this text is empty"), tr("Correct it")
    if rule == "maxLength":
        return tr("this text is too long"), tr("Correct it")
    raise AssertionError(f"the schema uses {rule}, for which there are no words")


def _unknown_name(value: dict[str, Any], allowed: list[str]) -> tuple[str, str]:
    extra = sorted(set(value) - set(allowed))[0]
    close = difflib.get_close_matches(extra, allowed, n=1, cutoff=0.5)
    do = (
        tr("Did you mean '{name}'; correct it or take it out", name=close[0])
        if close
        else tr("Known here: {names}; correct it or take it out", names=", ".join(allowed))
    )
    return tr("'{name}' is not known here", name=extra[:60]), do


def _missing(name: str) -> tuple[str, str]:
    if name in LANDMARK_TITLES:
        return tr("the mark '{name}' is missing", name=name), tr(
            "Mark {point}, as [x, y]", point=tr(LANDMARK_HINTS[name])
        )
    return tr("'{name}' is missing", name=name), tr("Add it")


def _unknown_word(value: Any, options: list[str]) -> tuple[str, str]:
    close = difflib.get_close_matches(_short(value).strip('"'), options, n=1, cutoff=0.5)
    names = ", ".join(options)
    do = (
        tr("Did you mean '{name}'? Use one of {names}", name=close[0], names=names)
        if close
        else tr("Use one of {names}", names=names)
    )
    return tr("{value} is not known here", value=_short(value)), do


def _miscounted(error: ValidationError) -> tuple[str, str]:
    rules, asked, count = error.schema, error.validator_value, len(error.instance)
    if rules.get("minItems") == rules.get("maxItems"):
        wrong = tr("{count} given here, exactly {asked} needed", count=count, asked=asked)
    elif error.validator == "minItems":
        wrong = tr("{count} given here, at least {asked} needed", count=count, asked=asked)
    else:
        wrong = tr("{count} given here, at most {asked} needed", count=count, asked=asked)
    if asked == 2 and rules.get("items") == {"type": "number"}:
        return wrong, tr("Give [x, y]")
    return wrong, tr("Give {asked}", asked=asked)


def _kind(value: Any) -> str:
    if isinstance(value, bool):
        return tr(_TYPE_WORDS["boolean"])
    if value is None:
        return tr(_TYPE_WORDS["null"])
    names = ((dict, "object"), (list, "array"), (str, "string"), ((int, float), "number"))
    return tr(_TYPE_WORDS[next(name for types, name in names if isinstance(value, types))])


def _short(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 50 else text[:47] + "..."
