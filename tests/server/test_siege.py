"""One stranger with many connections, and an honest visitor meanwhile (small).

`python -m tests.support.visitors.siege` does it with three hundred of them, and measures.
"""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from tests.support.visitors.kept import wrongs
from tests.support.visitors.made import told_by
from tests.support.visitors.owner import Owner, play_all
from tests.support.visitors.serving import served
from tests.support.visitors.siege import KINDS, MAKE_ORDERS, pages, under


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kinds", "same", "connections"),
    [
        (list(KINDS), False, 100),
        # Ended the server: its loop answered nobody for 15 s.
        (["results", "revisits"], False, 300),
        # Somebody of the same household, school or phone company.
        (list(KINDS), True, 100),
        (["held"], True, 100),
        (["slow"], True, 100),
    ],
    ids=[
        "elsewhere",
        "elsewhere, results",
        "same address",
        "same address, all pages",
        "same address, all requests",
    ],
)
def test_a_siege_keeps_no_honest_visitor_out(
    kinds: list[str], same: bool, connections: int, tmp_path: Path
) -> None:
    with served(tmp_path) as app:
        owner = Owner(app.address, told_by(0))
        with under(app.address, kinds, connections=connections, same=same):
            assert max(asyncio.run(pages(app.address, 3))) < float("inf")
            play_all([owner])
        headlines = {owner.told.name: owner.headline}
        others = not MAKE_ORDERS.isdisjoint(kinds)
        assert wrongs(app.store, [owner.told], headlines, others=others) == []
        # Some lines are fair; a flood of them fills a disk.
        assert app.log.stat().st_size < 100_000
