"""The document of what may be asked, made of the very table by which it is answered."""

from __future__ import annotations

import json
from functools import cache
from http import HTTPStatus
from typing import Any, Final

from photocheck.server.interface.json_shapes import shapes
from photocheck.server.interface.operations import (
    ALWAYS,
    BASE,
    OPERATIONS,
    PATH_PARTS,
    PHOTO_KINDS,
    PROBLEM,
    Operation,
    Parameter,
)
from photocheck.version import __version__

_ABOUT: Final = """What other programs may ask of a desk that runs.

Every request carries `Authorization: Bearer TOKEN`; `photocheck client add NAME` gives a token.
Whatever is refused is told as a problem (RFC 9457): what was wrong, where, and what to do. Lengths
are mm unless they are as somebody typed them. Sentences come in the language that `Accept-Language`
asks for, those of a check in the owner's.

Of changes a subscription is told by POST, one at a time and in their order, until an answer of 2xx
has come; where none comes for two days the subscription ends. The body is a `change`. The header
`Photocheck-Timestamp` has the seconds since 1970, and `Photocheck-Signature` is `sha256=` and the
HMAC-SHA-256 (RFC 2104), in hexadecimal digits, of timestamp, full stop and body, by the
subscription's secret. The same change may be told twice: it has the same number."""

_TOKEN: Final = "token"


def openapi_text() -> str:
    """The document as JSON."""
    return json.dumps(openapi(), indent=2) + "\n"


@cache
def openapi() -> dict[str, Any]:
    """The OpenAPI 3.1 document; not to be changed."""
    paths: dict[str, dict[str, Any]] = {}
    for one in OPERATIONS:
        paths.setdefault(one.path, {})[one.method.lower()] = _operation(one)
    change = {"content": {"application/json": {"schema": _ref("change")}}, "required": True}
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "photocheck",
            "version": __version__,
            "summary": "Orders of a workshop for made-to-measure dog harnesses, checked.",
            "description": _ABOUT,
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": BASE}],
        "security": [{_TOKEN: []}],
        "paths": paths,
        "webhooks": {
            "change": {
                "post": {
                    "operationId": "told_change",
                    "summary": "What a subscription is told.",
                    "parameters": [
                        _header("Photocheck-Timestamp", {"type": "integer"}),
                        _header("Photocheck-Signature", {"type": "string"}),
                    ],
                    "requestBody": change,
                    "responses": {"2XX": {"description": "Heard."}},
                    "security": [],
                }
            }
        },
        "components": {
            "schemas": shapes(),
            "securitySchemes": {_TOKEN: {"type": "http", "scheme": "bearer"}},
        },
    }


def _operation(one: Operation) -> dict[str, Any]:
    said: dict[str, Any] = {
        "operationId": one.id,
        "summary": one.about.partition(". ")[0].rstrip("."),
        "description": one.about,
        "responses": _responses(one),
    }
    named = [
        {"name": name, "in": "path", "required": True, "schema": dict(PATH_PARTS[name])}
        for name in one.names
    ]
    if parameters := [*named, *map(_parameter, one.parameters)]:
        said["parameters"] = parameters
    if one.body == "photo":
        content = {kind: {"schema": {"type": "string", "format": "binary"}} for kind in PHOTO_KINDS}
        said["requestBody"] = {"required": True, "content": content}
    elif one.body:
        said["requestBody"] = {
            "required": True,
            "content": {"application/json": {"schema": _ref(one.body)}},
        }
    return said


def _responses(one: Operation) -> dict[str, Any]:
    said: dict[str, Any] = {}
    for status, shape in one.answers.items():
        answer: dict[str, Any] = {"description": _phrase(status)}
        if shape:
            answer["content"] = {"application/json": {"schema": _ref(shape)}}
        if status == 201 and one.id == "create_order":
            answer["headers"] = {"Location": {"required": True, "schema": {"type": "string"}}}
        if one.tagged:
            answer["headers"] = {"ETag": {"required": True, "schema": {"type": "string"}}}
        said[str(status)] = answer
    if one.tagged:
        said["304"] = {"description": _phrase(304)}
    for status in sorted({*one.refusals, *ALWAYS, *((400,) if one.method != "DELETE" else ())}):
        said[str(status)] = {
            "description": _phrase(status),
            "content": {PROBLEM: {"schema": _ref("problem")}},
        }
    return dict(sorted(said.items()))


def _parameter(one: Parameter) -> dict[str, Any]:
    return {
        "name": one.name,
        "in": one.place,
        "description": one.about,
        "schema": dict(one.schema),
    }


def _header(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "header", "required": True, "schema": schema}


def _ref(name: str) -> dict[str, Any]:
    return {"$ref": f"#/components/schemas/{name}"}


def _phrase(status: int) -> str:
    return HTTPStatus(status).phrase
