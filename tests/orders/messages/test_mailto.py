"""The message as an address that begins with mailto: by RFC 6068, its own examples, and by reading
it back with the standard library."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from photocheck.orders.draft import Draft
from photocheck.orders.messages.drafting import DRAFTS, draft_message
from photocheck.orders.messages.mailto import (
    LONGEST_MAILTO,
    address_of_owner,
    is_address,
    mail_for,
    mailto,
)
from photocheck.orders.model import Order
from photocheck.speech import LANGUAGES
from tests.support.made_report import made_report


def order_of(language: str = "en", **owner: str) -> Order:
    draft = Draft.from_dict({"owner": owner, "dog": {"name": "Juno"}} if owner else {})
    return Order("key", datetime.now(UTC), language, draft)


def read(address: str) -> tuple[str, dict[str, str]]:
    """Whom it goes to, and its fields, as any program reads them."""
    parts = urlsplit(address)
    assert parts.scheme == "mailto"
    fields = parse_qs(parts.query, strict_parsing=bool(parts.query), keep_blank_values=True)
    return unquote(parts.path), {name: value for name, (value,) in fields.items()}


def test_the_examples_of_the_standard_come_out_as_they_stand_there() -> None:
    # RFC 6068, 6.1 and 6.2; that of the café has "subject=caf%C3%A9&body=caf%C3%A9" behind its "?"
    assert mailto("chris@example.com", subject="", body="") == "mailto:chris@example.com"
    assert (
        mailto("infobot@example.com", subject="current-issue", body="")
        == "mailto:infobot@example.com?subject=current-issue"
    )
    assert (
        mailto("infobot@example.com", subject="", body="send current-issue\nsend index")
        == "mailto:infobot@example.com?body=send%20current-issue%0D%0Asend%20index"
    )
    assert (
        mailto("gorby%kremvax@example.com", subject="", body="")
        == "mailto:gorby%25kremvax@example.com"
    )
    assert (
        mailto("unlikely?address@example.com", subject="", body="")
        == "mailto:unlikely%3Faddress@example.com"
    )
    assert (
        mailto("user@example.org", subject="café", body="")
        == "mailto:user@example.org?subject=caf%C3%A9"
    )
    assert mailto("", subject="", body="Mike&family") == "mailto:?body=Mike%26family"


@given(st.text(max_size=200), st.text(max_size=500))
def test_whatever_is_written_is_read_back_and_adds_no_field(subject: str, body: str) -> None:
    address = mailto("ann@mail.example", subject=subject, body=body.replace("\r", ""))
    assert address.isascii()
    assert not set(address) & set(" \r\n\t\"<>'")
    to, fields = read(address)
    assert to == "ann@mail.example"
    assert set(fields) <= {"subject", "body"}
    assert fields.get("body", "") == body.replace("\r", "").replace("\n", "\r\n")
    assert "\n" not in fields.get("subject", "")


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("choice", DRAFTS)
def test_every_drafted_message_opens_with_greeting_and_link(language: str, choice: str) -> None:
    order = order_of(language, name="Ann Lee", reach="ann@mail.example", number="A-7")
    message = draft_message(made_report(), choice, language=language)
    link = "https://check.shop.example/?order=abc.def.ghi"
    mail = mail_for(order, message, link=link)
    assert len(mail.mailto) <= LONGEST_MAILTO
    to, fields = read(mail.mailto)
    assert to == "ann@mail.example"
    assert "Juno" in fields["subject"]
    assert "A-7" in fields["subject"]
    first = fields["body"].split("\r\n")[0]
    assert first == {"en": "Hello Ann Lee,", "de": "Guten Tag Ann Lee,"}[language]
    assert fields["body"].count(link) == 1
    # All of the message or nothing of it: never a part.
    rest = message.partition("\n")[2].strip().replace("\n", "\r\n")
    assert (rest in fields["body"]) == mail.whole


def test_what_is_too_long_is_left_to_be_copied() -> None:
    order = order_of(reach="ann@mail.example")
    long = mail_for(order, "ü" * 400, link="https://check.shop.example/?order=abc")
    assert not long.whole
    assert "ü" not in long.body
    assert "order=abc" in long.body
    assert len(long.mailto) < LONGEST_MAILTO
    assert mail_for(order, "u" * 400).whole


def test_the_address_is_the_owners_if_it_is_one() -> None:
    for right in ("ann@mail.example", "a.b+c@x-y.example", "o'hara@mail.example"):
        assert is_address(right)
        assert address_of_owner(order_of(reach=f" {right} ").draft.owner) == right
    for wrong in (
        "",
        "+49 30 123456",
        "ann@",
        "@mail.example",
        "ann@mail",
        "ann@mail.example, bob@mail.example",
        "ann@mail.example?bcc=eve@evil.example",
        "ann@mail.example\nBcc: eve@evil.example",
        "Ann <ann@mail.example>",
        "ann@-mail.example",
        "a" * 250 + "@mail.example",
    ):
        assert not is_address(wrong)
        assert mail_for(order_of(reach=wrong, name="Ann"), "Hello,").to == ""


def test_a_line_break_in_a_name_adds_nothing() -> None:
    order = order_of(name="Ann\r\nBcc: eve@evil.example", reach="ann@mail.example")
    odd = replace(order.draft, dog=replace(order.draft.dog, name="Juno\r\n\r\nBuy"))
    _, fields = read(mail_for(replace(order, draft=odd), "Thank you.").mailto)
    assert set(fields) == {"subject", "body"}
    assert fields["subject"] == "Your harness order: Juno Buy"
    assert fields["body"].startswith("Hello Ann Bcc: eve@evil.example,\r\n\r\nThank you.")


def test_an_order_of_which_nothing_is_known_has_a_mail_as_well() -> None:
    to, fields = read(mail_for(order_of(), "").mailto)
    assert (to, fields) == ("", {"subject": "Your harness order", "body": "Hello,"})
