"""The published schemas as text, and whether something is as they have it.

What is right needs no library: `fits` knows the few rules that the schemas use.  Only what does
not fit is shown to `jsonschema`, whose loading would take a tenth of a check, and which alone
says what is wrong (`photocheck.schemas.complaints`).  The tests hold the two against each other.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Final

NAMES: Final = ("case", "draft", "report", "outcome", "ratios", "orders", "photographs")
"""The published schemas."""


@cache
def schema_text(name: str) -> str:
    """A published JSON Schema as text.

    Parameters
    ----------
    name : str
        One of `NAMES`.
    """
    if name == "draft":
        return f"{json.dumps(_draft(json.loads(schema_text('case'))), indent=2)}\n"
    return Path(__file__).with_name(f"{name}.schema.json").read_text(encoding="utf-8")


def _draft(case: dict[str, Any]) -> dict[str, Any]:
    """The schema of cases without what only a whole one has."""
    case["$id"] = case["$id"].replace(":case:", ":draft:")
    case["title"] = "photocheck draft"
    case["description"] = f"A case as far as it is filled in. {case['description']}"
    case["required"] = ["format", "unit"]
    del case["properties"]["photos"]["minItems"]
    photo, reference = case["$defs"]["photo"], case["$defs"]["reference"]
    photo["required"] = ["file"]
    del reference["required"]
    return case


@cache
def schema(name: str, part: str = "") -> dict[str, Any]:
    """The same parsed, or one of its definitions as a schema of its own; not to be changed."""
    whole: dict[str, Any] = json.loads(schema_text(name))
    if not part:
        return whole
    return {"$schema": whole["$schema"], "$defs": whole["$defs"], **whole["$defs"][part]}


def fits(data: Any, name: str, *, part: str = "") -> bool:
    """Whether parsed JSON is as the published schema has it.

    Parameters
    ----------
    data : parsed JSON
    name : str
        One of `NAMES`.
    part : str
        Of its definitions, when only such a part is given.
    """
    rules = schema(name, part)
    return _fits(data, rules, rules.get("$defs", {}))


# -- the rules, as JSON Schema 2020-12 has them --------------------------------------

_Definitions = Mapping[str, Any]


def _fits(value: Any, rules: Mapping[str, Any], defs: _Definitions) -> bool:
    return all(
        name in _NOTES or _RULES[name](value, asked, rules, defs) for name, asked in rules.items()
    )


_NOTES = frozenset({"$schema", "$id", "$defs", "title", "description", "then", "else"})


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


_TYPES: Mapping[str, Callable[[Any], bool]] = {
    "object": lambda value: isinstance(value, dict),
    "array": lambda value: isinstance(value, list),
    "string": lambda value: isinstance(value, str),
    "number": _is_number,
    "integer": lambda value: _is_number(value) and (isinstance(value, int) or value.is_integer()),
    "boolean": lambda value: isinstance(value, bool),
    "null": lambda value: value is None,
}


def _type(value: Any, asked: Any, _rules: Any, _defs: Any) -> bool:
    return any(_TYPES[kind](value) for kind in ([asked] if isinstance(asked, str) else asked))


def _same(value: Any, asked: Any) -> bool:
    return type(value) is type(asked) and bool(value == asked)


def _ref(value: Any, asked: Any, _rules: Any, defs: _Definitions) -> bool:
    return _fits(value, defs[asked.removeprefix("#/$defs/")], defs)


def _properties(value: Any, asked: Any, _rules: Any, defs: _Definitions) -> bool:
    return not isinstance(value, dict) or all(
        _fits(value[name], rules, defs) for name, rules in asked.items() if name in value
    )


def _additional(value: Any, asked: Any, rules: Any, defs: _Definitions) -> bool:
    if not isinstance(value, dict):
        return True
    others = value.keys() - rules.get("properties", {}).keys()
    if isinstance(asked, bool):
        return asked or not others
    return all(_fits(value[name], asked, defs) for name in others)


def _items(value: Any, asked: Any, rules: Any, defs: _Definitions) -> bool:
    first = len(rules.get("prefixItems", ()))
    return not isinstance(value, list) or all(_fits(item, asked, defs) for item in value[first:])


def _prefix(value: Any, asked: Any, _rules: Any, defs: _Definitions) -> bool:
    return not isinstance(value, list) or all(
        _fits(item, rules, defs) for item, rules in zip(value, asked, strict=False)
    )


_RULES: Mapping[str, Callable[[Any, Any, Any, _Definitions], bool]] = {
    "type": _type,
    "const": lambda value, asked, rules, defs: _same(value, asked),
    "enum": lambda value, asked, rules, defs: any(_same(value, option) for option in asked),
    "$ref": _ref,
    "anyOf": lambda value, asked, rules, defs: any(_fits(value, each, defs) for each in asked),
    "oneOf": lambda value, asked, rules, defs: sum(_fits(value, each, defs) for each in asked) == 1,
    "if": lambda value, asked, rules, defs: _fits(
        value, rules.get("then" if _fits(value, asked, defs) else "else", {}), defs
    ),
    "properties": _properties,
    "required": lambda value, asked, rules, defs: (
        not isinstance(value, dict) or all(name in value for name in asked)
    ),
    "additionalProperties": _additional,
    "items": _items,
    "prefixItems": _prefix,
    "minItems": lambda value, asked, rules, defs: (
        not isinstance(value, list) or len(value) >= asked
    ),
    "maxItems": lambda value, asked, rules, defs: (
        not isinstance(value, list) or len(value) <= asked
    ),
    "minLength": lambda value, asked, rules, defs: (
        not isinstance(value, str) or len(value) >= asked
    ),
    "maxLength": lambda value, asked, rules, defs: (
        not isinstance(value, str) or len(value) <= asked
    ),
    "pattern": lambda value, asked, rules, defs: (
        not isinstance(value, str) or re.search(asked, value) is not None
    ),
    "minimum": lambda value, asked, rules, defs: not _is_number(value) or value >= asked,
    "maximum": lambda value, asked, rules, defs: not _is_number(value) or value <= asked,
    "exclusiveMinimum": lambda value, asked, rules, defs: not _is_number(value) or value > asked,
    "exclusiveMaximum": lambda value, asked, rules, defs: not _is_number(value) or value < asked,
}
