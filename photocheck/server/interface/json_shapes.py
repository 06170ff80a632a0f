"""What comes in and goes out, as JSON Schema: from the published formats and from our own types."""

from __future__ import annotations

import json
import types
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, Final, Union, get_args, get_origin, get_type_hints

from photocheck.fit.answer import FitAnswer
from photocheck.orders.bounds import LONGEST_ADDRESS, LONGEST_FIELD
from photocheck.orders.model import CHOICES, DECISIONS, STATES
from photocheck.orders.store.kept_changes import KINDS, WHYS
from photocheck.orders.store.kept_clients import SEES
from photocheck.schemas.published import schema
from photocheck.speech import LANGUAGES
from photocheck.words import VERDICTS

Shape = Mapping[str, Any]

_PLAIN: Final[Mapping[Any, str]] = {
    str: "string",
    float: "number",
    int: "integer",
    bool: "boolean",
    type(None): "null",
}


def shape_of(kind: Any) -> dict[str, Any]:
    """The schema of what `dataclasses.asdict` and `json.dumps` make of a type.

    >>> shape_of(tuple[str, ...])
    {'type': 'array', 'items': {'type': 'string'}}
    """
    if kind in _PLAIN:
        return {"type": _PLAIN[kind]}
    if is_dataclass(kind):
        hints = get_type_hints(kind)
        return _object({one.name: shape_of(hints[one.name]) for one in fields(kind)})
    origin, parts = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return {"anyOf": [shape_of(part) for part in parts]}
    if origin is tuple and len(parts) == 2 and parts[1] is Ellipsis:
        return {"type": "array", "items": shape_of(parts[0])}
    if origin is tuple:
        return {
            "type": "array",
            "prefixItems": [shape_of(part) for part in parts],
            "minItems": len(parts),
            "maxItems": len(parts),
        }
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {"type": "object", "additionalProperties": shape_of(parts[1])}
    raise TypeError(f"{kind} has no shape")


def _object(properties: Mapping[str, Any], *, maybe: tuple[str, ...] = ()) -> dict[str, Any]:
    return {
        "type": "object",
        "additionalProperties": False,
        "required": [name for name in properties if name not in maybe],
        "properties": dict(properties),
    }


def _list(name: str, **more: Any) -> dict[str, Any]:
    return {"type": "array", "items": _ref(name), **more}


def _ref(name: str) -> dict[str, Any]:
    return {"$ref": f"#/components/schemas/{name}"}


def _or_null(one: Shape) -> dict[str, Any]:
    return {"anyOf": [dict(one), {"type": "null"}]}


_TEXT: Final = {"type": "string"}
_NUMBER: Final = {"type": "integer", "minimum": 0}
_MOMENT: Final = {
    "type": "string",
    "pattern": r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z$",
    "description": "UTC, ISO 8601.",
}
_OWN_NUMBER: Final = {
    "description": "The client's own number of the order; null where it did not begin it.",
    **_or_null(_TEXT),
}
_STATE: Final = {"enum": list(STATES)}
_VERDICT: Final = {"enum": list(VERDICTS)}


def shapes() -> dict[str, dict[str, Any]]:
    """All of them by their names, for the document's components."""
    return {
        "problem": {
            "type": "object",
            "description": "What was wrong, where, and what to do (RFC 9457).",
            "required": ["type", "title", "status", "detail"],
            "properties": {
                "type": {"const": "about:blank"},
                "title": _TEXT,
                "status": {"type": "integer"},
                "detail": {"description": "All of it as a sentence.", **_TEXT},
                "wrong": _TEXT,
                "where": _TEXT,
                "do": _TEXT,
                "lacking": {"type": "array", "items": _ref("lacking")},
            },
        },
        "document": {"type": "object", "required": ["openapi", "info", "paths"]},
        "client": _object(
            {
                "name": _TEXT,
                "sees": {
                    "description": "All orders of the shop, or those that it began itself.",
                    "enum": list(SEES),
                },
                "calls": {
                    "description": "Hosts at which it may be told of changes.",
                    "type": "array",
                    "items": _TEXT,
                },
            }
        ),
        "draft": _published("draft"),
        "kept_case": {
            "description": "As `draft` has it; of an order that its owner begins, parts may be "
            "missing.",
            "type": "object",
        },
        "report": _published("report"),
        "new_order": _object(
            {
                "number": {
                    "description": "The client's own: by it the order is known when it is sent "
                    "again. It is printable and has no blanks around it.",
                    "type": "string",
                    "minLength": 1,
                    "maxLength": LONGEST_FIELD,
                    "pattern": r"^[!-~]([ -~]*[!-~])?$",
                },
                "language": {
                    "description": "The owner's.",
                    "enum": list(LANGUAGES),
                    "default": "en",
                },
                "case": _ref("draft"),
            },
            maybe=("language",),
        ),
        "line": _object(
            {
                "order": _TEXT,
                "number": _OWN_NUMBER,
                "name": _TEXT,
                "opened": _MOMENT,
                "state": _STATE,
                "checked": _or_null(_MOMENT),
                "verdict": _or_null(_VERDICT),
                "headline": _TEXT,
            }
        ),
        "orders": _object({"orders": _list("line"), "next": _or_null(_NUMBER)}),
        "lacking": _object(
            {
                "step": {"description": "Where it is filled in.", **_TEXT},
                "reading": {"description": "Which one it is about, or empty.", **_TEXT},
                "sentence": _TEXT,
            }
        ),
        "kept_photo": _object({"name": _TEXT, "sha256": _TEXT, "at": _MOMENT}),
        "check": _object(
            {
                "number": _NUMBER,
                "at": _MOMENT,
                "by": _TEXT,
                "verdict": _VERDICT,
                "headline": _TEXT,
            }
        ),
        "decision": _object(
            {
                "at": _MOMENT,
                "choice": {"enum": list(CHOICES)},
                "check": {"description": "The check that it rests on.", **_NUMBER},
                "message": {"description": "What was said to the owner.", **_TEXT},
            }
        ),
        "order": _object(
            {
                "order": {"description": "The order's key: it names the order here.", **_TEXT},
                "number": _OWN_NUMBER,
                "name": _TEXT,
                "language": {"enum": list(LANGUAGES)},
                "opened": _MOMENT,
                "state": _STATE,
                "lacking": _list("lacking", description="What keeps it from being checked."),
                "photos": _list("kept_photo"),
                "check": _or_null(_ref("check")),
                "decision": _or_null(_ref("decision")),
            }
        ),
        "photo": _object({"photo": {"description": "What the case calls it.", **_TEXT}}),
        "cut": _object(
            {
                "check": _NUMBER,
                "state": _STATE,
                "verdict": _VERDICT,
                "fit": {
                    "description": "As `photocheck fit --json` has it; lengths in mm.",
                    **shape_of(FitAnswer),
                },
            }
        ),
        "change": _object(
            {
                "change": _NUMBER,
                "kind": {"enum": list(KINDS)},
                "order": _TEXT,
                "number": _OWN_NUMBER,
                "at": _MOMENT,
                "check": _or_null(_NUMBER),
                "verdict": _or_null(_VERDICT),
                "choice": _or_null({"enum": list(DECISIONS)}),
            }
        ),
        "changes": _object({"changes": _list("change"), "next": _NUMBER}),
        "subscribe": _object(
            {
                "address": {
                    "description": "Where to POST to: https, or http on the server's own machine, "
                    "without user and fragment.",
                    "type": "string",
                    "minLength": 1,
                    "maxLength": LONGEST_ADDRESS,
                }
            }
        ),
        "new_subscription": _object(
            {
                "subscription": _NUMBER,
                "address": _TEXT,
                "secret": {"description": "What calls are signed with; never shown again."} | _TEXT,
            }
        ),
        "subscription": _object(
            {
                "subscription": _NUMBER,
                "address": _TEXT,
                "at": _MOMENT,
                "ended": _or_null(_MOMENT),
                "why": {"enum": list(WHYS)},
                "waiting": {"description": "How many changes are still to be told.", **_NUMBER},
                "said": {"description": "What came of the last try that failed.", **_TEXT},
            }
        ),
        "subscriptions": _object({"subscriptions": _list("subscription")}),
    }


def _published(name: str) -> dict[str, Any]:
    """A published format, whose own references lead to where it stands in the document."""
    there = f"#/components/schemas/{name}/$defs/"
    text = json.dumps({k: v for k, v in schema(name).items() if k not in ("$id", "$schema")})
    placed: dict[str, Any] = json.loads(text.replace('"#/$defs/', f'"{there}'))
    return placed
