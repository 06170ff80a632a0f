"""The message to the owner as an e-mail that a program opens, to be read and sent there.

Nothing is sent here: it becomes an address that begins with ``mailto:`` (RFC 6068).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import quote

from photocheck.orders.draft import OwnerTold
from photocheck.orders.harmless import one_line, plain
from photocheck.orders.model import Order
from photocheck.speech import speaking, tr

LONGEST_MAILTO: Final = 2000
"""Letters of an address that programs open whole: Windows hands on 2,083 at most
(INTERNET_MAX_URL_LENGTH, from memory), and some mail programs somewhat less (common practice, no
source)."""

LONGEST_ADDRESS: Final = 254
"""Letters of somebody's e-mail address (RFC 5321, 4.5.3.1.3, less the brackets)."""

LONGEST_SUBJECT: Final = 150
"""Judgement: lists of mails show half of it; RFC 5322, 2.1.1, would let 998 through."""

_ADDRESS: Final = re.compile(
    r"[a-zA-Z0-9.!#$%&'*+/=?^_`{|}~-]+"
    r"@[a-zA-Z0-9](?:[a-zA-Z0-9-]{0,61}[a-zA-Z0-9])?"
    r"(?:\.[a-zA-Z0-9](?:[a-zA-Z0-9-]{0,61}[a-zA-Z0-9])?)+"
)
"""A valid e-mail address as HTML has it (HTML Living Standard, 4.10.5.1.5), with a dot in its
host."""


@dataclass(frozen=True)
class Mail:
    """What is to be sent, and whether all of it goes with the address.

    Attributes
    ----------
    to : str
        Empty where no address is known: whoever sends it fills it in.
    subject, body : str
        Lines end in "\\n".
    whole : bool
        Whether the message is in the body: one too long for many programs is left out, to be
        copied into it.
    """

    to: str
    subject: str
    body: str
    whole: bool = True

    @property
    def mailto(self) -> str:
        """The address to open (RFC 6068, 2)."""
        return mailto(self.to, subject=self.subject, body=self.body)


def mail_for(order: Order, message: str, *, link: str = "") -> Mail:
    """The message to an order's owner as an e-mail, in the owner's language.

    Parameters
    ----------
    order : Order
    message : str
        As it stands at the desk.
    link : str
        The whole address that leads the owner to the order; empty for none.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from photocheck.orders.draft import Draft
    >>> told = {"owner": {"name": "Ann", "reach": "ann@mail.example"}, "dog": {"name": "Juno"}}
    >>> order = Order("key", datetime.now(UTC), "en", Draft.from_dict(told))
    >>> mail_for(order, "Hello,\\n\\nthank you.").mailto.partition("?")[0]
    'mailto:ann@mail.example'
    """
    owner = order.told.owner if order.told.owner != OwnerTold() else order.draft.owner
    with speaking(order.language):
        subject = _subject(order, owner)
        name = one_line(owner.name, 60)
        bare = tr("Hello,")
        greeting = tr("Hello {name},", name=name) if name else bare
        rest = plain(message.replace("\r\n", "\n"), len(message))
        rest = rest.removeprefix(greeting).removeprefix(bare).strip()
        leading = tr("Your order, to look at and to answer: {link}", link=link) if link else ""
    parts = [greeting, rest, "" if link and link in rest else leading]
    whole = Mail(address_of_owner(owner), subject, "\n\n".join(filter(None, parts)))
    if len(whole.mailto) <= LONGEST_MAILTO:
        return whole
    short = "\n\n".join(filter(None, (greeting, leading)))
    return replace(whole, body=short, whole=False)


def address_of_owner(owner: OwnerTold) -> str:
    """The owner's e-mail address, if one is told as how to reach them; else empty.

    >>> address_of_owner(OwnerTold(reach="ann@mail.example")), address_of_owner(OwnerTold())
    ('ann@mail.example', '')
    """
    told = (value.strip() for value in owner.to_dict().values() if isinstance(value, str))
    return next((text for text in told if is_address(text)), "")


def is_address(text: str) -> bool:
    """Whether a text is one e-mail address and nothing else."""
    return len(text) <= LONGEST_ADDRESS and _ADDRESS.fullmatch(text) is not None


def mailto(to: str, *, subject: str, body: str) -> str:
    """An address as RFC 6068 has it: UTF-8, percent-encoded, lines parted by CR LF (section 5).

    Examples
    --------
    The address of RFC 6068, 6.1.

    >>> mailto("gorby%kremvax@example.com", subject="", body="")
    'mailto:gorby%25kremvax@example.com'
    """
    local, at, host = to.rpartition("@")
    lines = body.replace("\r\n", "\n").replace("\n", "\r\n")
    fields = (("subject", one_line(subject, LONGEST_SUBJECT)), ("body", lines))
    told = "&".join(f"{name}={quote(value, safe='')}" for name, value in fields if value)
    return f"mailto:{quote(local, safe='')}{at}{quote(host, safe='')}" + (
        f"?{told}" if told else ""
    )


def _subject(order: Order, owner: OwnerTold) -> str:
    names = [one_line(text, 60) for text in (order.told.dog.name or order.name, owner.number)]
    known = ", ".join(filter(None, names))
    said = tr("Your harness order: {name}", name=known) if known else tr("Your harness order")
    return one_line(said, LONGEST_SUBJECT)
