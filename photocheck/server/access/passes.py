"""What opens an order or the desk: signed, for one purpose, for a time, until it is taken back.

A pass carries 192 random bits and the moment it was made, signed.  The signature turns away what
was made up or meant for something else before the store is asked; the store knows only hashes, so
that whoever reads a copy of it can open nothing with that.
"""

from __future__ import annotations

import secrets
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from hashlib import sha256
from typing import Final

from itsdangerous import BadSignature, TimestampSigner

from photocheck.orders.model import OrderError
from photocheck.orders.store import kept_passes as kept
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.kept_passes import Pass
from photocheck.server.access.carried import may_be_signed
from photocheck.speech import tr

ORDER: Final = "order"
DESK: Final = "desk"

LONGEST: Final = {ORDER: timedelta(days=366), DESK: timedelta(days=1)}
"""What passes are made for, and how long one may last at most."""

LINK_DAYS: Final = 60
"""Days an owner's link lasts unless told otherwise (judgement: an order with a photo taken again
and an answer takes weeks)."""

SHIFT: Final = timedelta(hours=12)
"""How long somebody stays signed in (judgement: a working day; at most 12 hours is also what NIST
SP 800-63B, 2.2.3, asks at its second level)."""

SKEW: Final = timedelta(minutes=5)
"""How far ahead the clock of somebody else's machine may be (RFC 4120, 7.5.8, recommends five
minutes)."""

_LONGEST_TEXT = 200
"""Longer than any pass: what is longer is not looked at."""


class AccessError(OrderError):
    """This opens nothing, or no longer."""


def link_for(store: DatabaseStore, key: str, *, by: str, days: float = LINK_DAYS) -> str:
    """Make a link to one order and give what it carries; nobody can see it again later.

    Parameters
    ----------
    store : DatabaseStore
    key : str
        Of the order.
    by : str
        Who makes it.
    days : float
        How long it lasts.

    Raises
    ------
    OrderError
        When there is no such order, or a link cannot last so long.
    """
    carried, digest = _new()
    expires = _expiry(ORDER, timedelta(days=days))
    kept.put_order_pass(store, digest, purpose=ORDER, by=by, expires=expires, key=key)
    return _signed(store, carried, ORDER)


def begin_with_link(
    store: DatabaseStore, *, by: str, language: str = "en", days: float = LINK_DAYS
) -> tuple[str, str]:
    """Begin an order together with its link.

    Returns
    -------
    (str, str)
        The order's key, and what its link carries.
    """
    carried, digest = _new()
    expires = _expiry(ORDER, timedelta(days=days))
    key = kept.put_order_pass(
        store, digest, purpose=ORDER, by=by, expires=expires, language=language
    )
    return key, _signed(store, carried, ORDER)


def order_of(store: DatabaseStore, link: str) -> str:
    """The key of the order that a link leads to.

    Raises
    ------
    AccessError
        When it leads to none, has run out or was taken back.
    """
    return _opened(store, link, ORDER).holder


def desk_pass(store: DatabaseStore, known_as: str) -> str:
    """Sign somebody in whose password was right, and give what their cookie carries."""
    carried, digest = _new()
    expires = _expiry(DESK, SHIFT)
    kept.put_staff_pass(store, digest, purpose=DESK, known_as=known_as, expires=expires)
    return _signed(store, carried, DESK)


def at_desk(store: DatabaseStore, carried: str) -> str:
    """The name of who is signed in with this.

    Raises
    ------
    AccessError
        When nobody is, or no longer.
    """
    return _opened(store, carried, DESK).holder


def sign_out(store: DatabaseStore, carried: str) -> None:
    """End being signed in; what opens nothing stays so."""
    try:
        found = _opened(store, carried, DESK)
    except AccessError:
        return
    kept.end_pass(store, found.sha256)


def links_of(store: DatabaseStore, key: str) -> tuple[Pass, ...]:
    """All links ever made to an order, oldest first."""
    return tuple(one for one in kept.passes_of(store, key) if one.purpose == ORDER)


def end_link(store: DatabaseStore, key: str, sha256_of_link: str) -> None:
    """Take back one link of an order.

    Raises
    ------
    OrderError
        When the order has no such link.
    """
    if sha256_of_link not in {one.sha256 for one in links_of(store, key)}:
        raise OrderError(tr("there is no such link"), do=tr("Look at the order again"))
    kept.end_pass(store, sha256_of_link)


def end_links(store: DatabaseStore, key: str) -> int:
    """Take back all links of an order; gives how many still opened it.

    Raises
    ------
    OrderError
        When there is no such order.
    """
    valid = [one for one in links_of(store, key) if one.open_at(datetime.now(UTC))]
    for one in valid:
        kept.end_pass(store, one.sha256)
    return len(valid)


def end_all(store: DatabaseStore, *, links: bool) -> int:
    """End whoever is signed in at the desk, and all owners' links as well if asked.

    Returns
    -------
    int
        How many passes opened something until now.
    """
    ended = kept.end_every_pass(store, datetime.now(UTC), links=links)
    _secret.cache_clear()
    return ended


def _new() -> tuple[str, str]:
    carried = secrets.token_urlsafe(24)
    return carried, _digest(carried)


def _digest(carried: str) -> str:
    # No salt and no slow hash are needed for 192 random bits.
    return sha256(carried.encode()).hexdigest()


def _expiry(purpose: str, lasting: timedelta) -> datetime:
    if not timedelta(0) < lasting <= LONGEST[purpose]:
        raise OrderError(
            tr("a link cannot last so long"),
            do=tr("Choose at most {days} days", days=LONGEST[purpose].days),
        )
    return datetime.now(UTC) + lasting


@lru_cache(maxsize=8)
def _secret(store: DatabaseStore) -> str:
    # Each page asks several times; it changes only where a copy is put back.
    return kept.signing_secret(store)


def _signer(secret: str, purpose: str) -> TimestampSigner:
    return TimestampSigner(
        secret, salt=f"photocheck {purpose}", key_derivation="hmac", digest_method=sha256
    )


def _signed(store: DatabaseStore, carried: str, purpose: str) -> str:
    return _signer(kept.signing_secret(store), purpose).sign(carried).decode()


def _carried(store: DatabaseStore, text: str, purpose: str) -> str | None:
    """What a pass carries, when its signature is right and not impossibly old.

    One that another server's clock signed ahead of this one's is as good: how long it opens
    something is the store's to say, and a signature cannot be had without the secret.
    """
    for fresh in (False, True):
        if fresh:
            _secret.cache_clear()
        try:
            signed, made = _signer(_secret(store), purpose).unsign(text, return_timestamp=True)
        except BadSignature:
            continue
        return signed.decode() if datetime.now(UTC) - made <= LONGEST[purpose] else None
    return None


def _opened(store: DatabaseStore, text: str, purpose: str) -> Pass:
    found = None
    # Most visitors carry nothing: that is not worth looking for a newer secret.
    if may_be_signed(text, _LONGEST_TEXT):
        carried = _carried(store, text, purpose)
        if carried is not None:
            found = kept.find_pass(store, _digest(carried), purpose=purpose)
    if found is None:
        raise AccessError(
            tr("this link leads to no order"),
            do=tr("Check that it is whole: perhaps a part of it was lost on the way"),
        )
    if not found.open_at(datetime.now(UTC)):
        # Told apart from the others only to somebody who once held a true one.
        raise AccessError(
            tr("this link is no longer valid"), do=tr("Ask the workshop for a new one")
        )
    return found
