"""Bounds of the doors, reached to the byte."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from photocheck_app.doors.bodies import Arriving, TooLargeError
from photocheck_app.doors.middleware import _shortened


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
