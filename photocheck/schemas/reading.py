"""JSON files as people and programs write them, read strictly."""

from __future__ import annotations

import json
import os
from math import isinf
from pathlib import Path
from typing import Any, Final

from photocheck.errors import CaseError, reason_of
from photocheck.files import read_at_most
from photocheck.speech import later, tr

MAX_BYTES: Final = 5_000_000
"""Largest file read; a case with twenty fully marked photos is far below it."""

_LONGEST_SAID: Final = 30

CASE_FILE: Final = later("case file")
"""What such a file is called; tables of other rooms have other names."""


def read_json(path: str | os.PathLike[str], *, what: str = CASE_FILE) -> Any:
    """Read strict JSON: no doubled names, no NaN, no number beyond those of 64 bits, no lone
    surrogate.

    Parameters
    ----------
    path : path
    what : str
        What to call the file in messages, in English; said by `tr`.

    Raises
    ------
    CaseError
    """
    source = Path(path)
    where = str(path)
    kind = tr(what)
    try:
        if source.is_dir():
            raise CaseError(
                tr("this is a folder, not a {kind}", kind=kind),
                where=where,
                do=tr("Name the {kind}", kind=kind),
            )
        if source.stat().st_size > MAX_BYTES:
            raise _too_large(kind, where)
        content = read_at_most(source, MAX_BYTES)
    except FileNotFoundError as error:
        raise CaseError(
            tr("there is no such {kind}", kind=kind),
            where=where,
            do=tr("Check the file name and the folder"),
        ) from error
    except (OSError, ValueError) as error:
        raise CaseError(
            tr("the {kind} cannot be opened ({reason})", kind=kind, reason=reason_of(error)),
            where=where,
            do=tr("Check that you may read it"),
        ) from error
    return parse_json(content, where=where, what=what)


def parse_json(content: bytes, *, where: str, what: str = CASE_FILE) -> Any:
    """The same from what is in a file.

    Raises
    ------
    CaseError
    """
    kind = tr(what)
    if len(content) > MAX_BYTES:
        raise _too_large(kind, where)
    try:
        text = content.decode("utf-8-sig")
        read = json.loads(
            text,
            object_pairs_hook=_once,
            parse_constant=_no_constant,
            parse_float=_number,
            parse_int=_whole_number,
        )
        if "\\u" in text:
            json.dumps(read, ensure_ascii=False).encode()
    except UnicodeDecodeError as error:
        raise CaseError(
            tr("the {kind} is not text in UTF-8", kind=kind),
            where=where,
            do=tr("Save it as JSON in UTF-8"),
        ) from error
    except UnicodeEncodeError as error:
        # Half of a surrogate pair: no page could show it, and no table hold it (RFC 8259, 8.2).
        raise CaseError(
            tr("a text holds a character that cannot be written down"),
            where=where,
            do=tr("Type it again"),
        ) from error
    except json.JSONDecodeError as error:
        raise CaseError(
            tr(
                "this is not JSON: {wrong} in line {line}, column {column}",
                wrong=error.msg.lower(),
                line=error.lineno,
                column=error.colno,
            ),
            where=where,
            do=tr("Correct that line; names and texts stand in double quotes"),
        ) from error
    except RecursionError as error:
        raise CaseError(tr("the JSON is nested too deeply"), where=where) from error
    except ValueError as error:
        raise CaseError(str(error), where=where, do=tr("Correct the {kind}", kind=kind)) from error
    return read


def _too_large(kind: str, where: str) -> CaseError:
    return CaseError(
        tr("the {kind} is too large", kind=kind), where=where, do=tr("Check that it is the one")
    )


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(tr("'{name}' is given twice in the same place", name=key[:60]))
        found[key] = value
    return found


def _no_constant(name: str) -> Any:
    raise ValueError(tr("{name} is not a number", name=name))


def _number(text: str) -> float:
    """A number as 64 bits hold it (IEEE 754; RFC 8259, 6): Python reads 1e999 as infinity."""
    value = float(text)
    if isinf(value):
        raise ValueError(tr("{typed} is too large", typed=_short(text)))
    return value


def _whole_number(text: str) -> int:
    # longer ones than Python would read at all are refused by the same words
    _number(text)
    return int(text)


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST_SAID else f"{text[:_LONGEST_SAID]}..."
