"""Where a server may call: only where the shop has said, encrypted, and into no private network.

A client's word alone makes no server connect anywhere (OWASP, "Server Side Request Forgery
Prevention"): the host stands in the shop's list, its name is looked up once, each address that it
has is held against the rule, and the connection goes to that very address.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from threading import BoundedSemaphore, Thread
from typing import Any, Final
from urllib.parse import SplitResult, urlsplit

from photocheck.errors import PhotocheckError, reason_of
from photocheck.orders.bounds import LONGEST_ADDRESS
from photocheck.orders.store.kept_clients import Calls
from photocheck.speech import tr

_PORTS: Final = {"https": 443, "http": 80}

LOOK_UP_S: Final = 5.0
"""For so long a name is looked up: the system has no limit of its own that could be relied on, and
a name's own servers may answer as late as they like (judgement)."""

_LOOKED_UP: Final = BoundedSemaphore(16)
"""Names looked up at once, with those that nobody waits for any more and that cannot be ended."""

IPAddress = ipaddress.IPv4Address | ipaddress.IPv6Address


class ReachError(PhotocheckError):
    """There, nothing may be called; `status` is what HTTP has for it."""

    def __init__(self, status: int, wrong: str, *, where: str = "", do: str = "") -> None:
        super().__init__(wrong, where=where, do=do)
        self.status = status


@dataclass(frozen=True)
class CallPlace:
    """Where to connect.

    Attributes
    ----------
    address : str
        An IP address that may be connected to.
    host : str
        Whose certificate it must have, and what the request asks for.
    port : int
    encrypted : bool
    path : str
        With what stands behind the question mark.
    """

    address: str
    host: str
    port: int
    encrypted: bool
    path: str


def refuse_address(text: str, calls: Calls) -> None:
    """Refuse what may not be called, without looking anything up.

    Raises
    ------
    ReachError
        422 for what is no such address, 403 for a host that the shop has not named.
    """
    _parts(text, calls)


def place_of(
    text: str,
    calls: Calls,
    *,
    look_up: Callable[..., list[Any]] = socket.getaddrinfo,
) -> CallPlace:
    """Where a call to this address goes, its name looked up once.

    Raises
    ------
    ReachError
        Also when the name has no address, or one in a private network that the shop has not
        allowed.
    """
    parts, port = _parts(text, calls)
    host = str(parts.hostname)
    try:
        found = _looked_up(look_up, host, port)
    except (OSError, UnicodeError) as error:
        raise ReachError(
            502, tr("the host is not found ({reason})", reason=reason_of(error)), where=host
        ) from error
    addresses = [ipaddress.ip_address(str(one[4][0]).partition("%")[0]) for one in found]
    if not addresses:
        raise ReachError(502, tr("the host is not found ({reason})", reason="-"), where=host)
    plain = parts.scheme == "http"
    # All of them, for which of them comes first is the asked server's to choose.
    for one in addresses:
        if plain and not one.is_loopback:
            raise _not_encrypted()
        if not (is_everybodys(one) or calls.private or (one.is_loopback and is_here(host))):
            raise ReachError(
                403,
                tr("the host lies in a private network"),
                where=host,
                do=tr("Ask the workshop: photocheck client token NAME --calls HOST --private"),
            )
    path = parts.path or "/"
    path += f"?{parts.query}" if parts.query else ""
    return CallPlace(str(addresses[0]), host, port, not plain, path)


def _looked_up(look_up: Callable[..., list[Any]], host: str, port: int) -> list[Any]:
    """What a name means, within `LOOK_UP_S`.

    Raises
    ------
    OSError, UnicodeError
    """
    if not _LOOKED_UP.acquire(timeout=LOOK_UP_S):
        raise TimeoutError("timed out")
    came: SimpleQueue[list[Any] | Exception] = SimpleQueue()

    def look() -> None:
        try:
            came.put(look_up(host, port, type=socket.SOCK_STREAM))
        except Exception as error:  # whatever it is, it is raised where it is waited for
            came.put(error)
        finally:
            _LOOKED_UP.release()

    Thread(target=look, name="looking up", daemon=True).start()
    try:
        found = came.get(timeout=LOOK_UP_S)
    except Empty:
        raise TimeoutError("timed out") from None
    if isinstance(found, Exception):
        raise found
    return found


def is_everybodys(address: IPAddress) -> bool:
    """Whether an address is on the public Internet (IANA's registries of special addresses).

    What carries an older address inside (RFC 4291, 2.5.5.2; RFC 6052; RFC 3056) counts as that.

    >>> is_everybodys(ipaddress.ip_address("64:ff9b::10.0.0.1"))
    False
    """
    if isinstance(address, ipaddress.IPv6Address):
        inner = address.ipv4_mapped or address.sixtofour
        if inner is None and address in _TRANSLATED:
            inner = ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
        if inner is not None:
            return is_everybodys(inner)
        if address.teredo is not None or address.is_site_local:
            return False
    return address.is_global and not address.is_multicast and not address.is_reserved


_TRANSLATED: Final = ipaddress.IPv6Network("64:ff9b::/96")


def is_here(host: str) -> bool:
    """Whether a host is written as this machine's own address; no name is looked up."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _parts(text: str, calls: Calls) -> tuple[SplitResult, int]:
    wrong = ReachError(
        422,
        tr("this is no address to call"),
        do=tr("Write it as https://host/path, without user, password and #"),
    )
    if len(text) > LONGEST_ADDRESS or not text.isascii() or not text.isprintable() or " " in text:
        raise wrong
    try:
        parts = urlsplit(text)
        port = parts.port or _PORTS.get(parts.scheme, 0)
    except ValueError as error:
        raise wrong from error
    odd = parts.username is not None or parts.password is not None or "#" in text or "\\" in text
    if not parts.hostname or not port or odd:
        raise wrong
    host = parts.hostname
    if parts.scheme == "http" and not is_here(host):
        raise _not_encrypted()
    if f"{host}:{port}" not in _named(calls, parts.scheme):
        raise ReachError(
            403,
            tr("the workshop lets this client have no calls made to this host"),
            where=host,
            do=tr("Ask the workshop: photocheck client token NAME --calls HOST"),
        )
    return parts, port


def _named(calls: Calls, scheme: str) -> tuple[str, ...]:
    """The shop's hosts with their ports; of one that has none the usual one is meant."""
    told = [urlsplit(f"//{one}") for one in calls.hosts]
    return tuple(f"{one.hostname}:{one.port or _PORTS[scheme]}" for one in told)


def _not_encrypted() -> ReachError:
    return ReachError(
        422,
        tr("only this machine is called without encryption"),
        do=tr("Use https"),
    )
