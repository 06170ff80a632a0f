"""What may be asked: one table, by which what is asked is understood and the document is made."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Final

from photocheck.orders.bounds import LONGEST_FIELD
from photocheck.orders.model import KEY_FORM, STATES

BASE: Final = "/api/v1"
"""Where it lies on the server.  What is there keeps its meaning: another version, another path."""

LARGEST: Final = 2**31 - 1
"""Number that either database can hold (PostgreSQL, "Numeric Types": integer)."""

MOST_AT_ONCE: Final = 200
"""Lines of one answer."""

PHOTO_KINDS: Final = (
    "image/jpeg",
    "image/png",
    "image/webp",
    "image/heic",
    "application/octet-stream",
)
"""As what a photo may be sent; what it is, its content decides."""

PROBLEM: Final = "application/problem+json"
"""RFC 9457."""

ALWAYS: Final = (401, 429, 500, 503)
"""How any of them may be refused: no token, too often, a failure, the orders are away."""


@dataclass(frozen=True)
class Parameter:
    """Something that may stand behind the question mark, or in a header.

    Attributes
    ----------
    name, about : str
    schema : mapping
        JSON Schema.
    place : str
        "query" or "header".
    """

    name: str
    about: str
    schema: Mapping[str, Any]
    place: str = "query"


@dataclass(frozen=True)
class Operation:
    """One thing that may be asked.

    Attributes
    ----------
    id, method, path, about : str
        `path` is below `BASE`, parts to be filled in stand in braces.
    answers : mapping of int to str
        What is answered where all goes well: names of `json_shapes.shapes`, empty
        for an answer without a body.
    refusals : tuple of int
        Statuses besides `ALWAYS`.
    body : str
        A name of the shapes, "photo", or empty.
    parameters : tuple of Parameter
    tagged : bool
        Whether the answer carries an ETag and is not sent again to who has it.
    """

    id: str
    method: str
    path: str
    about: str
    answers: Mapping[int, str]
    refusals: tuple[int, ...] = ()
    body: str = ""
    parameters: tuple[Parameter, ...] = ()
    tagged: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """What is to be filled in in its path."""
        return tuple(re.findall(r"{(\w+)}", self.path))


_AFTER: Final = Parameter(
    "after",
    "Only what comes after this: the last number of the answer before.",
    {"type": "integer", "minimum": 0, "maximum": LARGEST, "default": 0},
)
_LIMIT: Final = Parameter(
    "limit",
    "How much at once.",
    {"type": "integer", "minimum": 1, "maximum": MOST_AT_ONCE, "default": 100},
)
_IF_MATCH: Final = Parameter(
    "If-Match",
    "The ETag of the case as it was read: refused (412) where it is another by now.",
    {"type": "string"},
    "header",
)
_NUMBER: Final = Parameter(
    "number",
    "Only the order of this number of the client's own.",
    {"type": "string", "minLength": 1, "maxLength": LONGEST_FIELD},
)
_STATE: Final = Parameter("state", "Only orders in this state.", {"enum": list(STATES)})

OPERATIONS: Final = (
    Operation(
        "describe",
        "GET",
        "/openapi.json",
        "This document.",
        {200: "document"},
        tagged=True,
    ),
    Operation(
        "whoami",
        "GET",
        "/client",
        "Which client the token belongs to, and what it may see.",
        {200: "client"},
    ),
    Operation(
        "create_order",
        "POST",
        "/orders",
        "Begin an order. It is known by the client's own number: the same again gives the order "
        "that is there (200), another order under that number is refused (409).",
        {201: "order", 200: "order"},
        (400, 409, 410, 413, 415, 422),
        "new_order",
    ),
    Operation(
        "list_orders",
        "GET",
        "/orders",
        "Orders that the client sees, oldest first. `next` is the `after` of the next answer.",
        {200: "orders"},
        (400,),
        parameters=(_AFTER, _LIMIT, _NUMBER, _STATE),
    ),
    Operation(
        "read_order",
        "GET",
        "/orders/{order}",
        "An order: its state, what it lacks, the verdict of its latest check, what was decided.",
        {200: "order"},
        (404,),
        tagged=True,
    ),
    Operation(
        "read_case",
        "GET",
        "/orders/{order}/case",
        "The case as far as it is filled in.",
        {200: "kept_case"},
        (404,),
        tagged=True,
    ),
    Operation(
        "put_case",
        "PUT",
        "/orders/{order}/case",
        "Put another case in the place of the one there is: with readings, and what is of known "
        "size and marked in each photo. Photos are called as the upload named them.",
        {200: "order"},
        (400, 404, 409, 412, 413, 415, 422),
        "draft",
        (_IF_MATCH,),
    ),
    Operation(
        "add_photo",
        "POST",
        "/orders/{order}/photos",
        "Add a photo, as it came from the camera. It is decoded, kept as written anew from its "
        "pixels, and added to the case. The same photo again has the name it has already (200).",
        {201: "photo", 200: "photo"},
        (404, 409, 413, 415, 422),
        "photo",
    ),
    Operation(
        "check_order",
        "POST",
        "/orders/{order}/checks",
        "Check the order. Where nothing has changed since, the latest check stands (200). What is "
        "still lacking is told by 422.",
        {201: "order", 200: "order"},
        (404, 409, 413, 422),
    ),
    Operation(
        "read_report",
        "GET",
        "/orders/{order}/report",
        "The whole report of the latest check.",
        {200: "report"},
        (404,),
        tagged=True,
    ),
    Operation(
        "read_cut",
        "GET",
        "/orders/{order}/cut",
        "What to cut by the latest check, and which size of the shelf fits. Nothing is given "
        "unless tape and photo agree. Cut only what the workshop has accepted (`state`).",
        {200: "cut"},
        (404,),
        tagged=True,
    ),
    Operation(
        "list_changes",
        "GET",
        "/changes",
        "What happened to the orders that the client sees, in one numbered list.",
        {200: "changes"},
        (400,),
        parameters=(_AFTER, _LIMIT),
    ),
    Operation(
        "subscribe",
        "POST",
        "/subscriptions",
        "Be told of changes from now on, at an address to which the workshop lets this client "
        "have calls made. `secret` is given once.",
        {201: "new_subscription"},
        (400, 403, 409, 413, 415, 422),
        "subscribe",
    ),
    Operation(
        "list_subscriptions",
        "GET",
        "/subscriptions",
        "The client's subscriptions, also those that have ended.",
        {200: "subscriptions"},
    ),
    Operation(
        "unsubscribe",
        "DELETE",
        "/subscriptions/{subscription}",
        "Be told nothing more at that address.",
        {204: ""},
        (404,),
    ),
)

PATH_PARTS: Final[Mapping[str, Mapping[str, Any]]] = {
    "order": {"type": "string", "pattern": f"^{KEY_FORM.pattern}$"},
    "subscription": {"type": "integer", "minimum": 1, "maximum": LARGEST},
}
"""What stands in for the parts of paths."""

_FORMS: Final = {"order": KEY_FORM.pattern, "subscription": "[1-9][0-9]{0,9}"}


@dataclass(frozen=True)
class PathFound:
    """What a path leads to.

    Attributes
    ----------
    operations : mapping of method to Operation
        Empty for nothing.
    parts : mapping of name to str
    """

    operations: Mapping[str, Operation] = field(default_factory=dict)
    parts: Mapping[str, str] = field(default_factory=dict)


def found_at(path: str) -> PathFound:
    """What lies at a path below `BASE`.

    >>> sorted(found_at("/orders").operations)
    ['GET', 'POST']
    >>> found_at("/orders/../orders").operations
    {}
    """
    for form, operations in _paths().items():
        fits = re.fullmatch(form, path)
        if fits:
            return PathFound(operations, fits.groupdict())
    return PathFound()


@cache
def _paths() -> Mapping[str, dict[str, Operation]]:
    paths: dict[str, dict[str, Operation]] = {}
    for one in OPERATIONS:
        form = re.escape(one.path).replace(r"\{", "{").replace(r"\}", "}")
        for name in one.names:
            form = form.replace(f"{{{name}}}", f"(?P<{name}>{_FORMS[name]})")
        paths.setdefault(form, {})[one.method] = one
    return paths
