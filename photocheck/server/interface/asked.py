"""What was asked, read strictly: path, what stands behind the question mark, and the body."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Final

from photocheck.errors import CaseError
from photocheck.orders.bounds import MOST_ASKED_BYTES
from photocheck.photo.kind import MAX_BYTES
from photocheck.schemas.reading import parse_json
from photocheck.server.interface.json_shapes import shapes
from photocheck.server.interface.operations import (
    PHOTO_KINDS,
    Operation,
    Parameter,
    PathFound,
    found_at,
)
from photocheck.server.interface.problems import RefusedError, nothing_there
from photocheck.speech import tr


@dataclass(frozen=True)
class Asked:
    """One request, without its token.

    Attributes
    ----------
    method, path : str
        `path` below `photocheck.server.interface.operations.BASE`.
    query : sequence of (str, str)
    headers : mapping of str to str
        By names in small letters.
    body : bytes
    """

    method: str
    path: str
    query: Sequence[tuple[str, str]] = ()
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""


def operation_of(asked: Asked) -> tuple[Operation, Mapping[str, str]]:
    """What is asked, and the parts of its path.

    Raises
    ------
    RefusedError
        404 for another path, 405 for another method.
    """
    found: PathFound = found_at(asked.path)
    if not found.operations:
        raise nothing_there()
    method = "GET" if asked.method == "HEAD" else asked.method
    if method not in found.operations:
        allowed = sorted(found.operations)
        raise RefusedError(
            405,
            tr("{method} is not answered here", method=asked.method[:20]),
            do=tr("Use one of {names}", names=", ".join(allowed)),
            headers={"Allow": ", ".join(allowed)},
        )
    return found.operations[method], found.parts


def most_bytes(operation: Operation) -> int:
    """How much may be sent with it."""
    if operation.body == "photo":
        return MAX_BYTES
    return MOST_ASKED_BYTES if operation.body else 0


def parameters_of(operation: Operation, asked: Asked) -> dict[str, Any]:
    """What stands behind the question mark, by its names; what is left out has its default.

    Raises
    ------
    RefusedError
        400 for a name that is not known or given twice, or a value that cannot be.
    """
    known = {one.name: one for one in operation.parameters if one.place == "query"}
    given: dict[str, Any] = {name: one.schema.get("default") for name, one in known.items()}
    seen: set[str] = set()
    for name, text in asked.query:
        if name not in known or name in seen:
            raise RefusedError(
                400,
                tr("'{name}' is not known here, or given twice", name=name[:60]),
                where="?",
                do=tr("Known here: {names}", names=", ".join(known) or "-"),
            )
        seen.add(name)
        given[name] = _value(known[name], text)
    return given


def _value(parameter: Parameter, text: str) -> Any:
    rules = parameter.schema
    value: Any = text
    if rules.get("type") == "integer":
        right = text.isascii() and text.isdecimal() and len(text) < 11
        value = int(text) if right else None
        right = right and rules["minimum"] <= value <= rules["maximum"]
    elif "enum" in rules:
        right = text in rules["enum"]
    else:
        # no number of an order holds what cannot be printed, and no database looks for it
        right = rules["minLength"] <= len(text) <= rules["maxLength"] and text.isprintable()
    if not right:
        raise RefusedError(
            400,
            tr("'{text}' cannot stand here", text=text[:60]),
            where=parameter.name,
            do=tr("Look into openapi.json"),
        )
    return value


_KINDS_OF_JSON: Final = ("application/json",)


def body_of(operation: Operation, asked: Asked) -> Any:
    """What was sent: parsed and as the document has it, or a photo's bytes; none for nothing.

    Raises
    ------
    RefusedError
        413, 415, 400 for what is no JSON, 422 for other JSON than is asked for.
    """
    refuse_kind(operation, asked)
    if operation.body in ("", "photo"):
        return asked.body
    try:
        data = parse_json(asked.body, where=tr("body"), what="JSON")
    except CaseError as error:
        raise RefusedError(400, error.wrong, where=error.where, do=error.do) from error
    wrong = _first_wrong(operation.body, data)
    if wrong is not None:
        from photocheck.schemas.complaints import in_words, path_in_words

        said, do = in_words(wrong) if wrong.validator in _WORDED else (tr("this cannot be"), "")
        place = path_in_words(wrong.absolute_path)
        raise RefusedError(422, said, where=place or tr("body"), do=do)
    return data


def refuse_kind(operation: Operation, asked: Asked) -> None:
    """Refuse a body of a kind that is not asked for, before any of it is read.

    Raises
    ------
    RefusedError
        415.
    """
    if not operation.body:
        return
    kinds = PHOTO_KINDS if operation.body == "photo" else _KINDS_OF_JSON
    told = asked.headers.get("content-type", "").partition(";")[0].strip().lower()
    if told not in kinds:
        raise RefusedError(
            415,
            tr("'{kind}' is not taken here", kind=told[:60]),
            where="Content-Type",
            do=tr("Use one of {names}", names=", ".join(kinds)),
            headers={"Accept": ", ".join(kinds)},
        )


_WORDED: Final = frozenset(
    {
        *("additionalProperties", "required", "type", "enum", "const", "minItems", "maxItems"),
        *("minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum", "minLength", "maxLength"),
    }
)
"""Rules that `photocheck.schemas.complaints` has words for."""


def _first_wrong(name: str, data: Any) -> Any:
    from photocheck.schemas.complaints import most_telling

    return most_telling(_validator(name).iter_errors(data))


@cache
def _validator(name: str) -> Any:
    from jsonschema import Draft202012Validator

    whole = {"components": {"schemas": shapes()}, "$ref": f"#/components/schemas/{name}"}
    return Draft202012Validator(whole)
