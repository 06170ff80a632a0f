"""Bounds of the doors, reached to the byte."""

from __future__ import annotations

import asyncio
import inspect
from types import SimpleNamespace
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from photocheck.orders.store import kept_clients
from photocheck_app.doors import language, sign_in, signed_in
from photocheck_app.doors.bodies import Arriving, TooLargeError
from photocheck_app.doors.connections import Room
from photocheck_app.doors.middleware import _shortened
from photocheck_app.doors.rate_limits import COUNTS
from photocheck_app.doors.settings import the_store


@pytest.mark.parametrize("parts", [(10,), (4, 6), (1,) * 10])
@pytest.mark.parametrize("more", [0, 1])
def test_a_body_may_be_as_long_as_is_allowed_and_not_a_byte_longer(
    parts: tuple[int, ...], more: int
) -> None:
    sizes = [*parts[:-1], parts[-1] + more]
    coming = iter([{"type": "http.request", "body": b"x" * size} for size in sizes])
    counted: list[int] = []

    async def receive() -> Any:
        return next(coming)

    body = Arriving(receive, 10, counted.append)
    got = [asyncio.run(body())["type"] for _ in sizes]
    assert got[:-1] == ["http.request"] * (len(sizes) - 1)
    assert got[-1] == ("http.disconnect" if more else "http.request")
    assert isinstance(body.refused, TooLargeError) is bool(more)
    # what was counted is what came
    assert counted == [sum(sizes[: n + 1]) for n in range(len(sizes) - more)]


@pytest.mark.parametrize(
    "said", ["x" * 500, "ä" * 300, "x" + "€" * 200, "x" * 3, "\U0001f415" * 90]
)
def test_why_a_websocket_is_closed_fits_into_its_frame(said: str) -> None:
    """RFC 6455, 5.5: at most 125 bytes, of which two are the code; and no letter is cut."""
    kept = _shortened(said)
    assert said.startswith(kept)
    bytes_kept = len(kept.encode())
    assert bytes_kept == min(len(said.encode()), bytes_kept)
    assert bytes_kept <= 123
    assert kept == said or bytes_kept > 100


def test_what_guards_against_guessing_is_counted_in_the_store() -> None:
    assert COUNTS.store is the_store


def test_where_all_have_one_connection_who_waited_longest_makes_room() -> None:
    class Line(asyncio.Transport):
        gone = False

        def abort(self) -> None:
            self.gone = True

    room = Room(in_all=3, of_address=4)
    lines = [Line() for _ in range(3)]
    for number, line in enumerate(lines):
        assert room.enter(line, f"203.0.113.{number}")
    assert room.enter(Line(), "203.0.113.9")
    assert [line.gone for line in lines] == [True, False, False]
    assert len(room) == 3


@pytest.mark.parametrize(("fields", "long", "taken"), [(10, 0, True), (11, 0, False), (3, 3, True)])
def test_a_form_to_sign_in_has_few_fields(fields: int, long: int, taken: bool) -> None:
    app = Starlette(routes=sign_in.ROUTES)
    form = {f"field{n}": "x" * (long or 1) for n in range(fields - 1)} | {"act": "nothing"}
    answer = TestClient(app, "http://shop.example").post("/staff", data=form)
    assert (answer.status_code == 200) is taken
    assert answer.status_code in (200, 400)


@pytest.mark.parametrize(
    ("accepted", "weight"),
    [("", 1.0), ("q=0.3", 0.3), ("q=1", 1.0), ("q=1.2", 1.0), ("q=-1", 0.0), ("q=x", 0.0)],
)
def test_a_language_is_wanted_at_most_wholly(accepted: str, weight: float) -> None:
    """RFC 9110, 12.4.2: from 0 to 1."""
    assert language._weight(accepted) == weight


@pytest.mark.parametrize("there", [True, False])
@pytest.mark.parametrize("signed", [True, False])
@pytest.mark.parametrize("staff", ["", "Ada"])
def test_only_whom_the_provider_knows_and_the_desk_does_not_is_told_so(
    monkeypatch: pytest.MonkeyPatch, there: bool, signed: bool, staff: str
) -> None:
    class User(dict[str, str]):
        is_logged_in = signed

        def to_dict(self) -> dict[str, str]:
            return dict(self)

    known = SimpleNamespace(named=lambda claims: staff) if there else None
    monkeypatch.setattr(signed_in, "provider", lambda: known)
    for claims in ({"email": "eve@example.org", "name": "Eve"}, {"name": "Eve"}, {}):
        monkeypatch.setattr(signed_in, "st", SimpleNamespace(user=User(claims)))
        told = claims.get("email") or claims.get("name", "")
        assert signed_in._turned_away() == (told if there and signed and not staff else "")


def test_a_program_gets_a_hundred_orders_unless_it_asks_for_others() -> None:
    assert inspect.signature(kept_clients.orders_of).parameters["limit"].default == 100
