"""Other programs that may come to the orders: made, given another token, ended, recognised.

A token carries 256 random bits.  It is shown once; the store knows only its hash, so that whoever
reads a copy of it can open nothing with that.
"""

from __future__ import annotations

import hmac
import re
import secrets
from collections.abc import Sequence
from hashlib import sha256
from typing import Final
from urllib.parse import urlsplit

from photocheck.errors import PhotocheckError
from photocheck.orders.store import kept_clients as kept
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.kept_clients import OWN, SHOP, Calls, Client
from photocheck.server.access.staff import shown_and_known_as
from photocheck.speech import tr

PREFIX: Final = "photocheck_"
"""What tokens begin with, so that programs that look for lost secrets know one."""

TOKEN_FORM: Final = re.compile(rf"{PREFIX}[A-Za-z0-9_-]{{43}}")

_MOST_HOSTS: Final = 20
"""Judgement: a client has one or two places where it is told of changes."""


class ClientError(PhotocheckError):
    """There is no such client, or it cannot be made as asked."""


def make_client(
    store: DatabaseStore, name: str, *, own_orders: bool = False, calls: Calls | None = None
) -> str:
    """Let another program come to the orders, and give its token; nobody can see that again.

    Parameters
    ----------
    store : DatabaseStore
    name : str
        As the history of orders shows it.
    own_orders : bool
        Whether it sees only the orders that it began.
    calls : Calls, optional
        Whom it may have called back; nobody unless it is said.

    Raises
    ------
    ClientError
        When the name is taken, or a host cannot be meant.
    StaffError
        When it cannot be a name.
    """
    shown, known_as = shown_and_known_as(name)
    token = _new_token()
    made = kept.put_client(
        store,
        known_as,
        shown,
        sees=OWN if own_orders else SHOP,
        calls=calls or Calls(),
        digest=digest_of(token),
    )
    if not made:
        raise ClientError(
            tr("there is a client called {name} already", name=shown),
            do=tr("Choose another name, or give it another token: photocheck client token NAME"),
        )
    return token


def renew_client(store: DatabaseStore, name: str, *, calls: Calls | None = None) -> str:
    """Give a client another token; those it had open nothing any more.

    Parameters
    ----------
    calls : Calls or None
        Whom it may have called back from now on; None for whom it might before.

    Raises
    ------
    ClientError
        When there is none of this name.
    """
    shown, known_as = shown_and_known_as(name)
    token = _new_token()
    if not kept.renew_client(store, known_as, digest_of(token), calls=calls):
        raise _unknown(shown)
    return token


def end_client(store: DatabaseStore, name: str) -> None:
    """Let a client in no more, from now on, and tell it nothing more.

    Raises
    ------
    ClientError
        When there is none of this name.
    """
    shown, known_as = shown_and_known_as(name)
    if not kept.end_client(store, known_as):
        raise _unknown(shown)


def recognised_client(store: DatabaseStore, token: str) -> Client | None:
    """Whose token this is, or None where it opens nothing."""
    if not TOKEN_FORM.fullmatch(token):
        return None
    digest = digest_of(token)
    found = kept.client_of(store, digest)
    # How long the database looks for a hash tells nothing that helps to guess 256 bits; that the
    # last word is spoken in constant time costs nothing.
    if found is None or not hmac.compare_digest(found[1], digest):
        return None
    return found[0]


def digest_of(token: str) -> str:
    """What the store keeps of a token.  No salt and no slow hash are needed for 256 bits."""
    return sha256(token.encode()).hexdigest()


def calls_to(hosts: Sequence[str], *, private: bool = False) -> Calls:
    """Whom a client may have called back, as a command was told.

    Parameters
    ----------
    hosts : sequence of str
        "hooks.example", "hooks.example:8443" or "127.0.0.1:9000".
    private : bool
        Whether they may lie in a private network.

    Raises
    ------
    ClientError
        When one is no host.

    Examples
    --------
    >>> calls_to(["Hooks.Example"]).hosts
    ('hooks.example',)
    """
    if len(hosts) > _MOST_HOSTS:
        raise ClientError(
            tr("these are more hosts than a client may have called back"),
            where="--calls",
            do=tr("Name at most {most}", most=_MOST_HOSTS),
        )
    return Calls(tuple(dict.fromkeys(map(_host, hosts))), private)


def _host(text: str) -> str:
    told = text.strip().lower()
    try:
        parts = urlsplit(f"//{told}")
        port = parts.port  # one that cannot be is told by an error
        fits = bool(parts.hostname) and parts.netloc == told and "@" not in told and port != 0
        fits = fits and told.isascii() and told.isprintable() and " " not in told
    except ValueError:
        fits = False
    if not fits:
        raise ClientError(
            tr("'{text}' is no host", text=text[:60]),
            where="--calls",
            do=tr("Write the part of the address between // and /: hooks.example for example"),
        )
    return told


def _new_token() -> str:
    return f"{PREFIX}{secrets.token_urlsafe(32)}"


def _unknown(name: str) -> ClientError:
    return ClientError(
        tr("there is no client called {name}", name=name),
        do=tr("Look at the names: photocheck client list"),
    )
