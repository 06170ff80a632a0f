"""What guards against guessing is counted once for all servers that share a store."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from functools import partial
from pathlib import Path

import pytest
from sqlalchemy import select

from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store.copies import back_up, restore
from photocheck.orders.store.kept_counts import take, wait_s
from photocheck.orders.store.tables import counts
from photocheck.server.access.rates import RATES, SHARED, Rates, TooOftenError

NAME = "failed sign in as"


def refused(act: Callable[[], object]) -> bool:
    try:
        act()
    except TooOftenError:
        return True
    return False


def test_which_counts_are_shared() -> None:
    assert {
        "failed sign in from address",
        "failed sign in as, from address",
        "failed sign in as",
        "failed sign in as, from known browser",
        "unknown links from address",
        "unknown tokens from address",
        "begin from address",
        "orders of client",
    } == SHARED
    assert set(RATES) >= SHARED


def test_guesses_at_two_servers_are_counted_together(store: DatabaseStore, address: str) -> None:
    with closing(open_store(address)) as other:
        one, two = Rates(store=lambda: store), Rates(store=lambda: other)
        most = RATES[NAME].amount
        for number in range(most):
            (one if number % 2 else two).count(NAME, "robyn")
        for server in (one, two, Rates(store=lambda: store)):  # the third was started since
            with pytest.raises(TooOftenError, match="Wait 60 minutes"):
                server.refuse_beyond(NAME, "robyn")
            assert refused(partial(server.count, NAME, "robyn"))
            server.refuse_beyond(NAME, "ben")
            server.refuse_beyond("failed sign in as, from address", "robyn")
        # what is no guess stays with each server, which alone it protects
        one.count("megabytes from address", "203.0.113.7", cost=3000)
        assert refused(lambda: one.count("megabytes from address", "203.0.113.7"))
        two.count("megabytes from address", "203.0.113.7")


def test_a_window_moves_and_a_clock_ahead_shuts_nobody_out_for_long(store: DatabaseStore) -> None:
    def taken(now: float, cost: int = 1) -> float:
        return take(store, "x", most=3, window_s=100, cost=cost, now=now)

    assert [taken(1000.0), taken(1010.0), taken(1020.0)] == [0, 0, 0]
    assert taken(1030.0) == pytest.approx(70)
    assert wait_s(store, "x", most=3, window_s=100, now=1099.0) == pytest.approx(1)
    assert taken(1099.0, cost=2) == pytest.approx(11)
    assert wait_s(store, "x", most=3, window_s=100, now=1100.0) == 0
    assert taken(1100.0) == 0
    assert taken(1100.5) > 0
    assert taken(10.0) == 0, "a clock that had been far ahead"


def test_no_more_than_so_many_pass_at_the_same_moment(store: DatabaseStore) -> None:
    with ThreadPoolExecutor(6) as threads:
        waits = list(
            threads.map(
                lambda _: take(store, "x", most=5, window_s=60, cost=1, now=1000.0), range(18)
            )
        )
    assert waits.count(0) == 5


def test_what_is_over_goes_by_itself_and_tells_of_nobody(store: DatabaseStore) -> None:
    for number in range(8):
        take(store, f"old {number}", most=3, window_s=60, cost=1, now=1000.0)
    Rates(store=lambda: store).count(NAME, "robyn")
    with store.reading() as connection:
        (row,) = connection.execute(select(counts)).mappings()
    assert "robyn" not in str(dict(row))
    assert len(row["whose"]) == 64


def test_a_copy_put_back_lets_nobody_guess_on(
    store: DatabaseStore, address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    rates = Rates(store=lambda: store)
    store.open()
    rates.count(NAME, "robyn", cost=10)
    back_up(store, tmp_path / "copy")
    rates.count(NAME, "robyn", cost=20)
    restore(address, tmp_path / "copy")
    assert refused(lambda: rates.refuse_beyond(NAME, "robyn"))
