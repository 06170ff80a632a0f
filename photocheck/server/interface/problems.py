"""Whatever goes wrong, as a problem that a program can act on (RFC 9457)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Any, Final

from photocheck.errors import DecodingFailedError, PhotocheckError
from photocheck.orders.model import OrderError, StoreError
from photocheck.server.access.door_secret import SecretError
from photocheck.server.access.rates import TooOftenError
from photocheck.server.interface.operations import PROBLEM
from photocheck.speech import tr
from photocheck.uploads.gate import BusyError


@dataclass(frozen=True)
class Reply:
    """What is sent back.

    Attributes
    ----------
    status : int
    content : bytes
    kind : str
        As in a Content-Type; empty without content.
    headers : mapping of str to str
    """

    status: int
    content: bytes = b""
    kind: str = ""
    headers: Mapping[str, str] = field(default_factory=dict)


def as_json(value: Any) -> bytes:
    """In ASCII, so that half a surrogate pair that somebody typed passes; no NaN."""
    return json.dumps(value, ensure_ascii=True, allow_nan=False).encode() + b"\n"


class RefusedError(PhotocheckError):
    """What was asked cannot be had so.

    Parameters
    ----------
    status : int
    wrong, where, do : str
        As for `PhotocheckError`.
    more : mapping
        What else the problem tells.
    headers : mapping
    """

    def __init__(
        self,
        status: int,
        wrong: str,
        *,
        where: str = "",
        do: str = "",
        more: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(wrong, where=where, do=do)
        self.status, self.more, self.headers = status, more or {}, headers or {}


_STATUS: Final[tuple[tuple[type[PhotocheckError], int], ...]] = (
    (DecodingFailedError, 500),
    (TooOftenError, 429),
    (BusyError, 503),
    (StoreError, 503),
    (SecretError, 503),
    (OrderError, 409),
)
"""By kind of error, the first that fits; all others are about what was sent (422)."""


def problem_of(error: PhotocheckError) -> Reply:
    """What is answered for an error that people can read."""
    if isinstance(error, RefusedError):
        return problem(error.status, error, more=error.more, headers=error.headers)
    status = next((code for kind, code in _STATUS if isinstance(error, kind)), 422)
    headers = {"Retry-After": "60"} if status in (429, 503) else {}
    return problem(status, error, headers=headers)


def problem(
    status: int,
    error: PhotocheckError,
    *,
    more: Mapping[str, Any] | None = None,
    headers: Mapping[str, str] | None = None,
) -> Reply:
    """One with a status of its own."""
    said = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": str(error),
        "wrong": error.wrong,
        "where": error.where,
        "do": error.do,
        **(more or {}),
    }
    told = {"Cache-Control": "no-store", **(headers or {})}
    return Reply(status, as_json(said), PROBLEM, told)


def failure() -> Reply:
    """What is answered where the program failed; why is in the log."""
    return problem(
        500,
        PhotocheckError(
            tr("the program failed, and nothing of what was sent is to blame"),
            do=tr("Try again later, and tell whoever runs photocheck if it happens again"),
        ),
    )


def unknown_token() -> RefusedError:
    """No token, or one that opens nothing."""
    return RefusedError(
        401,
        tr("this needs a token that opens something"),
        where="Authorization",
        do=tr("Send the header: Authorization: Bearer TOKEN"),
        headers={"WWW-Authenticate": "Bearer"},
    )


def nothing_there() -> RefusedError:
    """A path that leads to nothing."""
    return RefusedError(404, tr("there is nothing here"), do=tr("Look into openapi.json"))


def too_large() -> RefusedError:
    """A body that is larger than any of its kind."""
    return RefusedError(
        413,
        tr("this is more than can be taken in at once"),
        do=tr("Send less at once"),
        headers={"Connection": "close"},
    )
