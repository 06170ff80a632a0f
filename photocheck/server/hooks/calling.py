"""One call to another program: to one address, once, without following anybody anywhere."""

from __future__ import annotations

import http.client
import io
import socket
import ssl
from collections.abc import Mapping
from contextlib import suppress
from threading import Timer
from typing import Any, Final

from photocheck.errors import reason_of
from photocheck.server.hooks.reach import CallPlace
from photocheck.speech import tr

WITHIN_S: Final = 10.0
"""From the first connecting to the last line of the answer's head, all together (judgement)."""


MOST_HEAD_BYTES: Final = 100_000
"""Of what is answered before it has begun: "wait a moment", told without an end, kept a processor
busy for `WITHIN_S` (measured: 4.4 s of it).  Answers' heads have some hundred bytes."""


class CallError(Exception):
    """No answer came; what it says is shown to the client."""


class _Few(io.RawIOBase):
    """So many bytes of what is read; more is `http.client.LineTooLong`.

    Parameters
    ----------
    of : binary file
    left : int
    """

    def __init__(self, of: io.BufferedIOBase, left: int) -> None:
        super().__init__()
        self._of, self._left = of, left

    def readable(self) -> bool:
        """It is."""
        return True

    def readinto(self, into: Any) -> int:
        """As `io.RawIOBase.readinto`."""
        if not self._left:
            raise http.client.LineTooLong("head")
        part = self._of.read1(min(len(into), self._left))
        self._left -= len(part)
        into[: len(part)] = part
        return len(part)

    def close(self) -> None:
        """And what it reads."""
        self._of.close()
        super().close()


class _HeadOnly(http.client.HTTPResponse):
    """One of which no more than its head is wanted."""

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        self.fp = io.BufferedReader(_Few(self.fp, MOST_HEAD_BYTES))


class _Connection(http.client.HTTPConnection):
    """To the address that was looked up, whatever the name may mean by now."""

    response_class = _HeadOnly

    def __init__(self, place: CallPlace, context: ssl.SSLContext | None) -> None:
        super().__init__(place.host, place.port, timeout=WITHIN_S)
        self._place, self._context = place, context
        self.was_cut = False

    def connect(self) -> None:
        """Connect, and believe only the certificate of the host."""
        place = self._place
        self.sock = socket.create_connection((place.address, place.port), WITHIN_S)
        if self._context is not None:
            self.sock = self._context.wrap_socket(self.sock, server_hostname=place.host)
        if self.was_cut:  # there was nothing to end yet, and nothing would end it any more
            raise TimeoutError("timed out")

    def cut(self) -> None:
        """End it from another thread."""
        self.was_cut = True
        with suppress(OSError, AttributeError):
            self.sock.shutdown(socket.SHUT_RDWR)


def call(
    place: CallPlace,
    body: bytes,
    headers: Mapping[str, str],
    *,
    context: ssl.SSLContext | None = None,
) -> int:
    """POST once, and give the answer's status; its body is not read, and no redirect followed.

    Parameters
    ----------
    place : CallPlace
    body : bytes
    headers : mapping
    context : SSLContext, optional
        Whose certificates are believed; the system's unless given.

    Raises
    ------
    CallError
    """
    if place.encrypted and context is None:
        context = ssl.create_default_context()
    connection = _Connection(place, context if place.encrypted else None)
    # A timeout of the socket begins anew with every byte that somebody lets drip.
    watch = Timer(WITHIN_S, connection.cut)
    watch.daemon = True
    watch.start()
    try:
        connection.request("POST", place.path, body, dict(headers))
        status = connection.getresponse().status
        if connection.was_cut:  # a head that breaks off is taken for a whole one
            raise TimeoutError("timed out")
        return status
    except (OSError, http.client.HTTPException) as error:
        said = reason_of(error) if isinstance(error, OSError) else type(error).__name__
        raise CallError(tr("no answer ({reason})", reason=" ".join(said.split()))) from error
    finally:
        watch.cancel()
        connection.close()
